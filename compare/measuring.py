"""Run the measures: every plugin on one sound, each on its own.

A measure plugin (entry-point group ``klangprobe.measures``) is a class with a ``name``, a ``version``, the tuple of its
``quantities`` and one method::

    def measure(self, sound: Sound) -> dict[str, Reading]

It accepts a :class:`compare.sound.Sound` and must not change it; it returns a reading for any of its quantities (those
left out are shown as "not defined here"); values are finite. It may raise :class:`compare.quantity.Undefined` with a
reason. Anything else it raises is reported with the plugin's name and takes nothing else down.
"""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING, ClassVar, Protocol

from base.errors import PluginFault
from base.plugins import find, load
from compare.quantity import Measured, Undefined

if TYPE_CHECKING:
    from collections.abc import Iterable

    from base.plugins import Plugin
    from compare.quantity import Quantity, Reading
    from compare.sound import Sound

__all__ = ["GROUP", "Measure", "measure_all"]

GROUP = "klangprobe.measures"


class Measure(Protocol):
    """What a plugin of the group ``klangprobe.measures`` looks like."""

    name: ClassVar[str]
    version: ClassVar[int]
    quantities: ClassVar[tuple[Quantity, ...]]

    def measure(self, sound: Sound) -> dict[str, Reading]:
        """Return the readings by name of quantity."""
        ...


def measure_all(sound: Sound, names: Iterable[str] | None = None) -> tuple[Measured, ...]:
    """Return what every measure (or those named) reads for *sound*, in fixed order.

    A plugin that fails yields readings without value whose note names it; the others are not touched.

    Raises
    ------
    InputError
        For an unknown name in *names*.
    """
    known = find(GROUP)
    found: list[Measured] = []
    for name in sorted(known) if names is None else names:
        provider = _provider(known[name]) if name in known else ""
        found.extend(_measure_one(load(GROUP, name)(), name, provider, sound))
    return tuple(found)


@cache
def _provider(plugin: Plugin) -> str:
    """Distribution and version of a plugin (reading its metadata takes milliseconds)."""
    return plugin.provider


def _measure_one(plugin: Measure, name: str, provider: str, sound: Sound) -> list[Measured]:
    """Run one plugin and check what it returns."""
    signature = {"measure": name, "version": plugin.version, "provider": provider, **sound.signature}
    try:
        readings = plugin.measure(sound)
        _check(plugin, name, readings)
    except Undefined as reason:
        return [Measured(quantity, None, {}, signature, str(reason)) for quantity in plugin.quantities]
    except Exception as error:  # noqa: BLE001  (a plugin may fail in any way; the reading names it)
        note = f"measure '{name}' ({provider}) failed: {error!r}"
        return [Measured(quantity, None, {}, signature, note) for quantity in plugin.quantities]
    found = []
    for quantity in plugin.quantities:
        reading = readings.get(quantity.name)
        if reading is None:
            found.append(Measured(quantity, None, {}, signature, "too little sound to say"))
        else:
            found.append(Measured(quantity, float(reading.value), reading.detail, signature))
    return found


def _check(plugin: Measure, name: str, readings: dict[str, Reading]) -> None:
    """Raise PluginFault where a plugin returns what it did not declare, or a value that is not a number."""
    known = {quantity.name for quantity in plugin.quantities}
    for key, reading in readings.items():
        if key not in known:
            msg = f"measure '{name}' returned '{key}', which is none of its quantities"
            raise PluginFault(msg)
        if not math.isfinite(reading.value):
            msg = f"measure '{name}' returned {reading.value} for '{key}'"
            raise PluginFault(msg)
