"""Plugins by entry point: listed without importing, checked when loaded, named when they fail.

The three groups are ``klangprobe.techniques``, ``klangprobe.synths`` and ``klangprobe.measures``. Built-in plugins
register through the same groups in ``pyproject.toml``, so the core has no special cases.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.metadata import EntryPoint, entry_points
from typing import Any

from base.errors import InputError, PluginFault, nearest

__all__ = ["Plugin", "find", "load"]


@dataclass(frozen=True)
class Plugin:
    """A plugin that is known but not yet imported."""

    name: str
    group: str
    entry: EntryPoint

    @property
    def provider(self) -> str:
        """Distribution and version that provide the plugin."""
        dist = self.entry.dist
        return f"{dist.name} {dist.version}" if dist else "unknown distribution"


@cache
def find(group: str) -> dict[str, Plugin]:
    """Return the plugins of *group* by name, without importing any.

    Raises
    ------
    PluginFault
        Where two distributions register one name: the last one never silently wins.
    """
    found: dict[str, Plugin] = {}
    for entry in sorted(_installed().select(group=group), key=lambda item: item.name):
        plugin = Plugin(entry.name, group, entry)
        if entry.name in found and found[entry.name].entry.value != entry.value:
            msg = f"two plugins of {group} are named '{entry.name}': {found[entry.name].provider}, {plugin.provider}"
            raise PluginFault(msg, hint="Uninstall one of them.")
        found[entry.name] = plugin
    return found


@cache
def _installed() -> Any:  # the type changes with Python 3.12; both have select()
    """All entry points of this Python: every distribution is looked through for them, so once."""
    return entry_points()


@cache
def load(group: str, name: str) -> Any:
    """Import and return the object registered as *name* in *group*.

    Raises
    ------
    InputError
        For an unknown name (with the nearest known one).
    PluginFault
        Where importing the plugin fails.
    """
    plugins = find(group)
    if name not in plugins:
        msg = f"unknown {group.rsplit('.', 1)[-1].removesuffix('s')} '{name}'."
        raise InputError(msg, hint=nearest(name, plugins))
    plugin = plugins[name]
    try:
        return plugin.entry.load()
    except Exception as error:  # a plugin may fail in any way; the message must name it
        msg = f"plugin '{name}' of {group} ({plugin.provider}) could not be loaded: {error!r}"
        raise PluginFault(msg) from error
