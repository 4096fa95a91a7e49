"""An orchestra of the user's own in a YAML file beside the spec: its players, and instruments no table has."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from base.errors import InputError, Problem, SpecError, nearest
from mapping.band import Band
from mapping.instruments import built_in_sources, user_instrument
from mapping.orchestra import player
from mapping.spec_yaml import Located, read_yaml

if TYPE_CHECKING:
    from pathlib import Path

    from mapping.instruments import Instrument

__all__ = ["Band", "is_file_name", "problems_at", "read_band"]

_KEYS = ("players", "sections", "order", "source", "instruments", "sources", "ensembles")
_ENSEMBLE = ("players", "sections", "order", "source")


def is_file_name(use: str) -> bool:
    """Return whether ``use`` names a file, not an ensemble."""
    return use.lower().endswith((".yaml", ".yml"))


def read_band(path: Path) -> Band:
    """Return the orchestra of a YAML file: ``players``, or ``ensembles`` with one entry; ``instruments`` of its own.

    Parameters
    ----------
    path : Path

    Raises
    ------
    SpecError
        With every problem, each with the file's line and column.
    """
    if not path.is_file():
        raise SpecError([Problem("there is no such file.", hint="The path starts at the spec's folder.")], path=path)
    located = read_yaml(path)
    reader = _Reader(located, list(located.problems))
    band = reader.band() if not reader.problems else Band(())
    if reader.problems:
        raise SpecError(sorted(reader.problems, key=lambda one: (one.line or 0, one.column or 0)), path=path)
    return band


def problems_at(error: InputError, located: Located | None) -> list[Problem]:
    """Return the problems of an orchestra at the spec's line; those of a file of its own with that file's line too."""
    if not isinstance(error, SpecError):
        line, column = located.place(("orchestra",)) if located else (None, None)
        return [Problem(error.message, line, column, "orchestra", error.hint)]
    path = ("orchestra", "use") if located and ("orchestra", "use") in located.values else ("orchestra",)
    line, column = located.place(path, value=True) if located else (None, None)
    file = str(error.path or "").rpartition("/")[2]
    return [Problem(one.text(file), line, column, ".".join(path)) for one in error.problems]


class _Reader:
    """Reads one file and notes what is wrong with it."""

    def __init__(self, located: Located, problems: list[Problem]) -> None:
        self.located, self.problems = located, problems

    def problem(self, message: str, path: tuple[str | int, ...], hint: str = "", *, value: bool = True) -> None:
        """Note a problem at a place."""
        line, column = self.located.place(path, value=value)
        self.problems.append(Problem(message, line, column, ".".join(str(part) for part in path), hint))

    def band(self) -> Band:
        """The whole file."""
        data = self.located.data
        if not isinstance(data, dict):
            self.problem("keys with values are expected here: 'players:', 'instruments:'.", ())
            return Band(())
        self.keys(data, (), _KEYS)
        own = self.instruments(data)
        entry, path = self.entry(data)
        self.keys(entry, path, _KEYS if not path else _ENSEMBLE)
        players = self.players(entry, path, own)
        return Band(players, self.sections(entry, path, players), str(entry.get("order") or ""), own)

    def keys(self, data: dict[str, Any], path: tuple[str | int, ...], legal: tuple[str, ...]) -> None:
        """Refuse unknown keys."""
        for key in data:
            if key not in legal and not any(one.place.endswith(key) for one in self.problems):
                self.problem(f"the key '{key}' is not known here.", (*path, key), nearest(key, legal), value=False)

    def entry(self, data: dict[str, Any]) -> tuple[dict[str, Any], tuple[str | int, ...]]:
        """The keys that name the players, and where they stand."""
        listed = data.get("ensembles")
        if listed is None:
            return data, ()
        if "players" in data or not isinstance(listed, dict) or len(listed) != 1:
            self.problem("one ensemble is expected.", ("ensembles",), "Keep one orchestra in a file.", value=False)
            return {"players": ["piano"]}, ()
        ((name, entry),) = listed.items()
        if isinstance(entry, dict):
            return entry, ("ensembles", name)
        self.problem("keys with values are expected here: 'players:'.", ("ensembles", name))
        return {"players": ["piano"]}, ()

    def instruments(self, data: dict[str, Any]) -> dict[str, Instrument]:
        """The file's own instruments."""
        found: dict[str, Instrument] = {}
        listed = data.get("instruments") or {}
        sources = data.get("sources") or {}
        if not isinstance(listed, dict) or not isinstance(sources, dict):
            self.problem("a table by name is expected here.", ("instruments",))
            return {}
        told = {**built_in_sources(), **{name: str(text) for name, text in sources.items()}}
        for name, entry in listed.items():
            try:
                found[name] = user_instrument(name, entry, told, found)
            except (KeyError, TypeError, ValueError, AttributeError, InputError) as error:
                self.bad_instrument(name, entry, error)
        return found

    def bad_instrument(self, name: str, entry: Any, error: Exception) -> None:
        """Note what is wrong with an instrument, at the key or value the message names."""
        path: tuple[str | int, ...] = ("instruments", name)
        message = f"'{error.args[0]}' is missing." if isinstance(error, KeyError) else str(error).split("\n")[0]
        if not isinstance(entry, dict):
            message, entry = "keys with values are expected here: 'family:', 'written:'.", {}
        named = [key for key, value in entry.items() if f"'{key}'" in message or f"'{value}'" in message]
        hint = error.hint if isinstance(error, InputError) else ""
        message = error.message if isinstance(error, InputError) else message
        self.problem(message, (*path, *named[:1]), hint, value=not (named and f"'{named[0]}'" in message))

    def players(
        self, entry: dict[str, Any], path: tuple[str | int, ...], own: dict[str, Instrument]
    ) -> tuple[str, ...]:
        """The players, each known."""
        names = entry.get("players")
        if not isinstance(names, list) or not names:
            self.problem("'players:' with a list of names is expected here.", (*path, "players"), value=False)
            return ()
        sound = not any(one.place.startswith("instruments") for one in self.problems)
        for row, name in enumerate(names if sound else ()):  # a faulty instrument would be told again by each player
            try:
                player(str(name), own=own)
            except InputError as error:
                self.problem(error.message, (*path, "players", row), error.hint)
        return tuple(str(name) for name in names)

    def sections(self, entry: dict[str, Any], path: tuple[str | int, ...], players: tuple[str, ...]) -> dict[str, int]:
        """Players in each section."""
        said = entry.get("sections") or {}
        if not isinstance(said, dict):
            self.problem("a number for each section is expected here.", (*path, "sections"))
            return {}
        for name, count in said.items():
            if name not in players:
                self.problem(f"'{name}' is not among the players.", (*path, "sections", name), nearest(name, players))
            elif not isinstance(count, int) or isinstance(count, bool) or not 1 <= count <= 100:
                self.problem("a whole number from 1 to 100 is expected here.", (*path, "sections", name))
        return {name: count for name, count in said.items() if isinstance(count, int)}
