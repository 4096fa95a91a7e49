"""Singers: players who keep what the score gives the voice, as written and with its text.

By default every sung part of a score goes to a singer named after it, without a step. A spec may name them otherwise
(``singers: [tenor]``) or do without (``singers: none``: the sung line is then part of what is orchestrated).
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from base.errors import InputError, nearest
from mapping.arrangement import PART_DTYPE
from mapping.orchestra import in_score_order, player
from reading.sung import sung_notes, sung_parts, voice_type

if TYPE_CHECKING:
    from collections.abc import Iterable

    from mapping.arrangement import Part, Player, Rows
    from reading.score import Score

__all__ = [
    "FAMILY",
    "NOBODY",
    "Singing",
    "is_singer",
    "marked_for",
    "may_be_singer",
    "names_of_singers",
    "singing_of",
    "with_singers",
]

FAMILY = "voice"
_MALE = ("tenor", "baritone", "bass voice")
NOBODY: tuple[str, ...] = ()
"""The singers of a spec that says ``singers: none``."""


class Singing:
    """Who sings what: the players of a song, and the notes that are theirs from the start.

    Attributes
    ----------
    players : tuple of Player
        The orchestra and the singers, in score order.
    notes : ndarray, dtype PART_DTYPE
        What is sung, by row of its player; ``cause`` is −1, since no step wrote it.
    kept : ndarray of bool, shape (notes of the score,)
        Notes that belong to a singer; no layer but ``voice`` holds them.
    """

    def __init__(self, players: tuple[Player, ...], notes: Rows, kept: np.ndarray[Any, np.dtype[np.bool_]]) -> None:
        self.players, self.notes, self.kept = players, notes, kept


def is_singer(one: Player) -> bool:
    """Whether a player sings."""
    return one.family == FAMILY


def marked_for(part: Part, score: Score) -> Score:
    """Return the score with the marks that are for one part: a singer's own, or for an instrument the piano's."""
    sung = sung_parts(score)
    if not sung:
        return score
    own = set(score.notes["part"][part.notes["source"][part.notes["source"] >= 0]].tolist())
    own = own & set(sung) if is_singer(part.player) else set(range(len(score.parts))) - set(sung)
    return replace(score, marks=tuple(mark for mark in score.marks if mark.part in own))


def may_be_singer(name: str) -> bool:
    """Whether a name is one that singers can have, so that the score decides whether there is one."""
    from mapping.steps import resolve, split_octave

    known = tuple(player(kind) for kind in _voices())
    return split_octave(name)[0].rstrip("0123456789 ") in (*_voices(), "singers") or bool(resolve(name, known))


def _voices() -> tuple[str, ...]:
    """Names of all voices in the tables."""
    from mapping.instruments import instruments

    return tuple(name for name, item in instruments().items() if item.family == FAMILY)


def names_of_singers(score: Score, wanted: tuple[str, ...] | None = None) -> tuple[str, ...]:
    """Return the name of the singer of each sung part, several of one kind numbered.

    Parameters
    ----------
    score : Score
    wanted : tuple of str, optional
        Names for the parts in their order; the parts' own where left out.

    Raises
    ------
    InputError
        For more names than there are sung parts, or a name no voice has.
    """
    rows = sung_parts(score)
    names = [voice_type(score.parts[row].name) for row in rows]
    if wanted:
        if len(wanted) > len(names):
            parts = "no sung part" if not names else f"{len(names)} sung part{'s' if len(names) > 1 else ''}"
            message = f"{len(wanted)} singers are named, but the score has {parts}."
            raise InputError(message, hint="A sung part has one staff, with text under it.")
        for name in wanted:
            if name.rstrip("0123456789 ") not in _voices():
                raise InputError(f"'{name}' is no voice.", hint=nearest(name, _voices()))
        names[: len(wanted)] = wanted
    several, seen = Counter(names), Counter[str]()
    found = []
    for name in names:
        seen[name] += 1
        found.append(f"{name} {seen[name]}" if several[name] > 1 else name)
    return tuple(found)


def with_singers(
    players: tuple[Player, ...], score: Score, wanted: tuple[str, ...] | None = None
) -> tuple[Player, ...]:
    """Return an orchestra with the singers of a score, in score order.

    Parameters
    ----------
    players : tuple of Player
    score : Score
    wanted : tuple of str, optional
        As the spec names them; :data:`NOBODY` for none.
    """
    if wanted == NOBODY:
        return players
    there = {one.name for one in players}
    more = [player(name) for name in names_of_singers(score, wanted) if name not in there]
    return in_score_order([*players, *more]) if more else players


def singing_of(players: Iterable[Player], score: Score, wanted: tuple[str, ...] | None = None) -> Singing:
    """Return who sings what.

    Parameters
    ----------
    players : iterable of Player
        The orchestra, with or without the singers.
    score : Score
    wanted : tuple of str, optional
        As the spec names them; :data:`NOBODY` for none.
    """
    group = tuple(players)
    if wanted == NOBODY or not sung_parts(score):
        return Singing(group, np.zeros(0, PART_DTYPE), np.zeros(len(score.notes), dtype=bool))
    group = with_singers(group, score, wanted)
    row_of = {one.name: row for row, one in enumerate(group)}
    kept = sung_notes(score)
    own = score.notes[kept]
    notes = np.zeros(len(own), PART_DTYPE)
    for name in own.dtype.names or ():
        notes[name] = own[name]
    for part, name in zip(sung_parts(score), names_of_singers(score, wanted), strict=True):
        mine = own["part"] == part
        notes["part"][mine] = row_of[name]
        if _sounds_octave_lower(group[row_of[name]], notes["pitch"][mine]):
            notes["pitch"][mine] -= 12
            notes["octave"][mine] -= 1
    notes["source"], notes["cause"], notes["dynamic"] = own["id"], -1, -1
    return Singing(group, notes, kept)


def _sounds_octave_lower(singer: Player, pitch: np.ndarray[Any, Any]) -> bool:
    """Whether a line printed in a plain treble clef is meant for a male voice: it lies in the voice an octave down.

    Songs are printed so for high and low voices alike, and men read them an octave lower (common practice, no source).
    """
    if singer.instrument.name not in _MALE:
        return False
    low, high = singer.instrument.low, singer.instrument.high
    outside, lower = (((line < low) | (line > high)).sum() for line in (pitch, pitch - 12))
    return bool(lower < outside)
