"""Fermatas for everybody: where the piano waits, all players wait, whether they have a note, a held note or a rest."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from reading.score import Flag

if TYPE_CHECKING:
    from mapping.arrangement import Part
    from mapping.fullscore_rhythm import Glyph
    from reading.score import Mark, Score

__all__ = ["Holds", "hold", "holds_of"]


@dataclass
class Holds:
    """Fermatas of a part that are not its notes' own.

    Attributes
    ----------
    within : dict of int to list of (int, int, str)
        Row of the bar to (tick, staff, shape): over what sounds, or is silent, at that tick.
    lines : dict of int to str
        Row of the bar to the shape over its right bar line.
    """

    within: dict[int, list[tuple[int, int, str]]] = field(default_factory=lambda: defaultdict(list))
    lines: dict[int, str] = field(default_factory=dict)


def holds_of(part: Part, score: Score) -> Holds:
    """Return the fermatas a part must have beside those of its own notes.

    References
    ----------
    Common practice, no source: a fermata stands in every part of a score.
    """
    found, notes = Holds(), part.notes
    held = notes[(notes["flags"] & int(Flag.FERMATA)) != 0]
    until = -1
    for mark in score.marks_of("fermata"):
        if not mark.notes and mark.staff == 0 and score.bar_at(mark.onset - 1) != score.bar_at(mark.onset + 1):
            found.lines[score.bar_at(mark.onset - 1) - 1] = mark.value
            continue
        start, end = mark.onset, max(_end(mark, score), mark.onset + 1)
        own = ((held["onset"] < end) & (held["onset"] + held["duration"] >= start)).any()
        kept = part.player.instrument.staves > 1 and not mark.notes  # rests of both hands, each with its own
        if start >= score.end or ((own or start < until) and not kept):
            continue
        until = end
        tick = min(end, score.end) - 1 if mark.notes else start
        staff = max(1, mark.staff) if part.player.instrument.staves > 1 and not mark.notes else 1
        found.within[score.bar_at(tick) - 1].append((tick, staff, mark.value))
    return found


def hold(glyphs: list[Glyph], tick: int, shape: str) -> None:
    """Set a fermata over the note or rest that covers a tick (from the start of the bar), in place."""
    for glyph in glyphs:
        if glyph.start <= tick < glyph.start + glyph.length:
            glyph.fermata = shape


def _end(mark: Mark, score: Score) -> int:
    """End of the notes a fermata stands over."""
    ends = [int(score.notes["onset"][one] + score.notes["duration"][one]) for one in mark.notes]
    return max(ends, default=mark.onset)
