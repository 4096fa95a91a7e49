"""From the words of a spec to players in score order: ensembles, sections, desks, seats.

Players are named as musicians say them: ``flute 1``, ``horn 2``, ``timpani``, ``violins 1``, ``violas``, ``basses``.
"""

from __future__ import annotations

import re
from dataclasses import fields, replace
from typing import TYPE_CHECKING, Any

from base.errors import InputError, Problem, SpecError, nearest
from mapping.arrangement import Player
from mapping.instrument_tables import read_yaml
from mapping.instruments import built_in_table, instruments, load_user, user_files
from mapping.reach import reaches_of
from reading.palette import Palette

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from mapping.band import Band
    from mapping.instruments import Instrument

__all__ = ["DEFAULT", "ensembles", "in_score_order", "load_orchestra", "palette_of", "player", "players_of", "seat_of"]

DEFAULT = "classical full"
"""The ensemble where a spec names none."""

_NUMBERED = re.compile(r"(.+?)\s+(\d{1,2})$")
_SECTION_DEFAULT = {"violins 1": 8, "violins 2": 6, "violas": 4, "cellos": 3, "basses": 2}
_IN_SCORE = ("woodwind", "brass", "percussion", "plucked", "keyboard", "voice", "strings")
"""Families from the top of the score down: singers above the strings (common practice, no source)."""
_SINGERS_DEG = {"soprano": -40.0, "mezzo-soprano": -25.0, "tenor": 15.0, "baritone": 25.0, "bass voice": 40.0}
"""Where soloists stand around the conductor, the high women's voices on the left; own default."""
_SEATED_WITH = {"english horn": "oboe", "contrabassoon": "bassoon", "cornet": "trumpet"}


def ensembles() -> dict[str, tuple[str, ...]]:
    """Return the players' names of every known ensemble."""
    return {name: tuple(entry["players"]) for name, entry in _ensembles().items()}


def players_of(
    use: str = DEFAULT,
    add: Iterable[str] = (),
    without: Iterable[str] = (),
    desks: Mapping[str, int] | None = None,
    players: Iterable[str] = (),
    band: Band | None = None,
) -> tuple[Player, ...]:
    """Return the players of an orchestra, in score order.

    Parameters
    ----------
    use : str
        Name of an ensemble; see :func:`ensembles`.
    add, without : iterable of str
        Players put in and left out.
    desks : mapping of str to int, optional
        Desks (two players each) of string sections, where the ensemble's own numbers do not hold.
    players : iterable of str
        All the players, in place of an ensemble.
    band : Band, optional
        An orchestra of the user's own, in place of an ensemble; see :mod:`mapping.orchestra_file`.

    Raises
    ------
    InputError
        For an unknown ensemble or player, a player left out who is not there, one named twice, an empty orchestra.
    """
    entry = _entry(use, list(players), band)
    names = [*entry["players"], *add]
    gone = list(without)
    for name in gone:
        if name not in names:
            raise InputError(f"'{name}' is to be left out but is not in the orchestra.", hint=nearest(name, names))
    names = [name for name in names if name not in gone]
    if twice := sorted({name for name in names if names.count(name) > 1}):
        raise InputError(f"'{twice[0]}' is in the orchestra twice.", hint=f"Number the players: '{twice[0]} 2'.")
    if not names:
        raise InputError("the orchestra has no players.", hint="Name an ensemble with 'use' or list players.")
    asked = {name: 2 * number for name, number in (desks or {}).items()}
    if strangers := [name for name in asked if name not in names]:
        message = f"desks are given for '{strangers[0]}', who is not in the orchestra."
        raise InputError(message, hint=nearest(strangers[0], names))
    sizes = {**_SECTION_DEFAULT, **entry.get("sections", {}), **asked}
    own = band.instruments if band else {}
    found = [player(name, sizes.get(name), own) for name in names]
    return in_score_order(found, entry.get("order", ""))


def in_score_order(players: Iterable[Player], order: str = "") -> tuple[Player, ...]:
    """Return players from the top of the score down; with *order* ``band``, horns below trumpets."""
    return tuple(sorted(players, key=lambda one: _place(one, order)))


def _entry(use: str, listed: list[str], band: Band | None) -> dict[str, Any]:
    """Return players, sections and order of an ensemble, of a list, or of the user's own orchestra."""
    if listed:
        return {"players": listed}
    if band:
        return {"players": list(band.players), "sections": band.sections, "order": band.order}
    known = _ensembles()
    if use not in known:
        raise InputError(f"unknown ensemble '{use}'.", hint=nearest(use, known))
    return known[use]


def player(name: str, count: int | None = None, own: Mapping[str, Instrument] | None = None) -> Player:
    """Return the player *name*: an instrument with or without a number, or a string section.

    Parameters
    ----------
    name : str
        ``flute 1``, ``timpani``, ``violins 2``, ``cello`` (one alone), ``cellos`` (the section).
    count : int, optional
        Players of a section; the smallest symphonic strings where it is not given.
    own : mapping of str to Instrument, optional
        Instruments of the user's own, known besides the tables.

    Raises
    ------
    InputError
        For a name no instrument has, with the nearest one.
    """
    stem, number = _split(name)
    known = {**instruments(), **(own or {})}
    for item in known.values():
        if item.section and stem == item.section:
            return Player(name, item, count or _SECTION_DEFAULT.get(name, 4), item.family)
    if stem in known:
        return Player(name, known[stem], 1, known[stem].family)
    for item in known.values():
        if stem == item.plural and not item.section:
            hint = f"Name each player: '{item.name} 1', '{item.name} 2'."
            raise InputError(f"'{name}' is more than one player.", hint=hint)
    names = [*known, *(item.section for item in known.values() if item.section)]
    suffix = f" {number}" if number else ""
    raise InputError(f"unknown player '{name}'.", hint=nearest(stem, names).replace("'?", f"{suffix}'?"))


def load_orchestra(path: Path) -> tuple[str, ...]:
    """Add the instruments and ensembles of a user's YAML file; return the names of the ensembles.

    Raises
    ------
    SpecError
        Where the file is not such a table, or an ensemble names an unknown player.
    """
    load_user(path)
    return _load_ensembles(path)


def _load_ensembles(path: Path) -> tuple[str, ...]:
    """Add the ensembles of a file whose instruments are known; return their names."""
    table = read_yaml(path).get("ensembles", {})
    if not isinstance(table, dict):
        raise SpecError([Problem("expected a table of ensembles by name", place="ensembles")], path=path)
    for name, entry in table.items():
        place = f"ensembles.{name}"
        if not isinstance(entry, dict) or not entry.get("players"):
            raise SpecError([Problem("expected 'players:' with a list of names", place=place)], path=path)
        for one in entry["players"]:
            try:
                player(str(one))
            except InputError as error:
                raise SpecError([Problem(error.message, place=place, hint=error.hint)], path=path) from error
        _user[str(name)] = entry
    return tuple(str(name) for name in table)


def seat_of(one: Player, plan: str = "american") -> tuple[float, float]:
    """Return where a player sits: degrees from straight ahead (− left, + right) and metres from the conductor.

    Raises
    ------
    InputError
        For an unknown plan.
    """
    plans = built_in_table("ensembles")["seats"]
    if plan not in plans:
        raise InputError(f"unknown seat plan '{plan}'.", hint=nearest(plan, plans))
    number = _split(one.name)[1]
    azimuth, distance = plans[plan][_seat_name(one, plans[plan])]
    if one.family == "voice":  # further ones of a kind beside the first
        azimuth = _SINGERS_DEG.get(one.instrument.name, azimuth) + 8.0 * max(0, number - 1)
    # A second wind player sits 3 degrees further from the middle of the pair, so that two of a kind do not coincide.
    side = 3.0 * (number - 1) if number and one.family in ("woodwind", "brass") else 0.0
    return float(azimuth) + (side if azimuth > 0 else -side), float(distance)


def _seat_name(one: Player, seats: dict[str, Any]) -> str:
    """Return the row of the seat plan: the player's own, or the one of the instrument it sits with."""
    item = one.instrument
    if item.section:
        number = _split(one.name)[1]
        return item.section if item.section in seats else f"{item.section} {min(number, 2) or 1}"
    words = [_SEATED_WITH.get(item.name, ""), *item.name.split(), one.family]
    return next((word for word in words if word in seats), "clarinet")


def palette_of(players: Iterable[Player]) -> Palette:
    """Return whom the survey may name in its options, for any ensemble.

    The melody goes to the first violins or else to the highest winds, the bass to the lowest sustaining players.
    Singers are named in no option: what is sung stays as it is.
    """
    group = tuple(one for one in players if one.family != "voice")
    strings = [one.name for one in group if one.family == "strings"]
    winds = [one for one in group if one.family == "woodwind"]
    brass = [one for one in group if one.family == "brass"]
    horns = tuple(one.name for one in brass if one.instrument.name == "horn")
    by_height = sorted((one for one in group if one.instrument.sustains), key=lambda one: -one.instrument.safe_low)
    melody, inner, bass = _voices(group, by_height)
    low = tuple(one.name for one in winds if one.instrument.safe_low < 48)
    high = tuple(one.name for one in winds if one.instrument.safe_low >= 48)
    palette = Palette(
        melody=melody,
        inner=inner,
        bass=bass,
        winds_high=_first_of_each(high),
        winds_low=low[:2],
        held=horns[:2] or low[:2] or inner[:2],
        brass=tuple(one.name for one in brass if one.instrument.name.startswith(("trumpet", "cornet")))[:2],
        drums=tuple(one.name for one in group if one.instrument.name == "timpani"),
        strokes=tuple(one.name for one in group if one.instrument.name in ("bass drum", "cymbals")),
        rolls=tuple(one.name for one in group if one.instrument.name in ("suspended cymbal", "tam-tam"))[:1],
        strings=tuple(strings),
        plucked=tuple(one.name for one in group if one.instrument.name == "harp")[:1],
        reaches=(),
    )
    named = {name for field in fields(palette) for name in getattr(palette, field.name)}
    return replace(palette, reaches=reaches_of(group, named))


def _voices(
    group: tuple[Player, ...], by_height: list[Player]
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """Return melody, inner and bass players."""
    names = [one.name for one in group]
    if "violins 1" in names:
        inner = tuple(name for name in ("violins 2", "violas") if name in names)
        low = [one.name for one in group if one.instrument.name in ("cello", "double bass")]
        bass = tuple(f"{name} 8vb" if name == "basses" and len(low) > 1 else name for name in low)
        return ("violins 1",), inner, bass or inner[-1:]
    if not by_height:
        return tuple(names[:1]), tuple(names[1:-1]) or tuple(names[:1]), tuple(names[-1:])
    order = [one.name for one in by_height if one.instrument.name != "piccolo"] or [by_height[0].name]
    return (order[0],), tuple(order[1:-1])[:3] or tuple(order[:1]), (order[-1],)


def _first_of_each(names: tuple[str, ...]) -> tuple[str, ...]:
    """Return the first player of each instrument, at most three, auxiliaries last."""
    firsts = [name for name in names if not _split(name)[1] or _split(name)[1] == 1]
    plain = [name for name in firsts if _split(name)[0] in ("flute", "oboe", "clarinet")]
    return tuple((plain + [name for name in firsts if name not in plain])[:3])


def _split(name: str) -> tuple[str, int]:
    """Return the name without its number, and the number (0 where there is none)."""
    match = _NUMBERED.match(name.strip())
    return (match.group(1), int(match.group(2))) if match else (name.strip(), 0)


def _place(one: Player, order: str) -> tuple[float, int]:
    """Return the place in the score: family, then the table's order, then the number."""
    names = list(instruments())
    row = float(names.index(one.instrument.name)) if one.instrument.name in names else float(len(names))
    if order == "band" and one.instrument.name == "horn":
        row = names.index("trumpet in C") + 0.5
    family = _IN_SCORE.index(one.family)
    return family * 1000 + row, _split(one.name)[1]


_user: dict[str, dict[str, Any]] = {}
_read: dict[Path, int] = {}  # files of the user's folder, by time of change


def _ensembles() -> dict[str, dict[str, Any]]:
    """Return built-in and user's ensembles by name."""
    for path in user_files():
        stamp = path.stat().st_mtime_ns
        if _read.get(path) != stamp:
            _read[path] = stamp
            _load_ensembles(path)
    return {**built_in_table("ensembles")["ensembles"], **_user}
