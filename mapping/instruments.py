"""Instruments as data: ranges, registers, transposition, breath and technique, each figure with its source.

The data are ``mapping/data/instruments.json``, in JSON because every command reads them and YAML takes a hundred times
longer; a user adds instruments and ensembles in YAML files of the same form, laid in the user's data folder
(:func:`user_files`) or read by :func:`load_user`. Pitches are sounding MIDI pitches unless a name says *written*.
"""

from __future__ import annotations

import json
import os
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from base.errors import InputError, Problem, SpecError, nearest
from mapping.instrument_tables import build, read_yaml
from mapping.instrument_types import FAMILIES, Drums, Instrument, Register, Unpitched, midi_of

__all__ = [
    "FAMILIES",
    "Drums",
    "Instrument",
    "Register",
    "Unpitched",
    "built_in_sources",
    "built_in_table",
    "instrument",
    "instruments",
    "load_user",
    "midi_of",
    "reset",
    "user_files",
    "user_instrument",
]


def instruments() -> dict[str, Instrument]:
    """Return every known instrument by name, in score order (the user's own come last).

    Raises
    ------
    SpecError
        Where a file of the user's folder is not a table of instruments.
    """
    for path in user_files():
        stamp = path.stat().st_mtime_ns
        if _read.get(path) != stamp:
            _read[path] = stamp
            load_user(path)
    return {**_built_in(), **_user}


def user_files() -> list[Path]:
    """Return the YAML files of the user's folder, ``klangprobe/instruments`` in the user's data folder."""
    root = os.environ.get("XDG_DATA_HOME")
    folder = (Path(root) if root else Path.home() / ".local" / "share") / "klangprobe" / "instruments"
    return sorted(folder.glob("*.yaml"))


def instrument(name: str) -> Instrument:
    """Return the instrument *name* (``clarinet``, ``double bass``; a plural or a section's name also does).

    Raises
    ------
    InputError
        For an unknown name, with the nearest known one.
    """
    known = instruments()
    if name in known:
        return known[name]
    for item in known.values():
        if name in (item.plural, item.section):
            return item
    msg = f"unknown instrument '{name}'."
    raise InputError(msg, hint=nearest(name, known))


def load_user(path: Path) -> tuple[str, ...]:
    """Add the instruments of a YAML file (``instruments:`` as in the built-in table; ``like:`` copies another).

    Returns
    -------
    tuple of str
        Names added. A name that exists is replaced for this run.

    Raises
    ------
    SpecError
        Where the file is not such a table; names file and entry.
    """
    data = read_yaml(path)
    table = data.get("instruments", {})
    if not isinstance(table, dict):
        raise SpecError([Problem("expected a table of instruments by name", place="instruments")], path=path)
    sources = {**built_in_sources(), **{str(key): str(text) for key, text in dict(data.get("sources", {})).items()}}
    added = []
    for name, entry in table.items():
        try:
            _user[str(name)] = user_instrument(str(name), entry, sources)
        except (KeyError, TypeError, ValueError, InputError) as error:
            message = f"'{error.args[0]}' is missing" if isinstance(error, KeyError) else str(error)
            raise SpecError([Problem(message, place=f"instruments.{name}")], path=path) from error
        added.append(str(name))
    return tuple(added)


def user_instrument(
    name: str, entry: dict[str, Any], sources: dict[str, str], own: dict[str, Instrument] | None = None
) -> Instrument:
    """Return an instrument from a user's *entry*; its ``like`` starts from a known instrument or one of *own*.

    Raises
    ------
    InputError, KeyError, TypeError, ValueError
        Where the entry does not make an instrument.
    """
    entry = dict(entry)
    base = _like(str(entry.pop("like")), own or {}) if "like" in entry else None
    return build(name, entry, {}, sources, base)


def _like(name: str, own: dict[str, Instrument]) -> Instrument:
    """Return the instrument to start from."""
    known = {**instruments(), **own}
    if name not in known:
        raise InputError(f"unknown instrument '{name}'.", hint=nearest(name, known))
    return known[name]


def reset() -> None:
    """Forget the instruments added by :func:`load_user`; those of the user's folder are read again when asked for."""
    _user.clear()
    _read.clear()


_user: dict[str, Instrument] = {}
_read: dict[Path, int] = {}  # files of the user's folder, by time of change


@cache
def built_in_table(name: str) -> dict[str, Any]:
    """Return the table ``mapping/data/NAME.json``; not to be changed."""
    table: dict[str, Any] = json.loads((files("mapping") / "data" / f"{name}.json").read_text(encoding="utf-8"))
    return table


@cache
def built_in_sources() -> dict[str, str]:
    """Return the source keys of the built-in table, spelt out."""
    return dict(built_in_table("instruments")["sources"])


@cache
def _built_in() -> dict[str, Instrument]:
    """Return the built-in instruments."""
    table = built_in_table("instruments")
    return {
        name: build(name, dict(entry), dict(table["defaults"][entry["family"]]["sources"]), built_in_sources())
        for name, entry in table["instruments"].items()
    }
