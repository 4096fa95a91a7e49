"""A player's line as the checks look at it: notes in time, seconds, dynamics."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.levels import levels_at
from reading.register import written_name
from reading.score import DYNAMICS, Flag
from reading.timeline import Timeline

if TYPE_CHECKING:
    from mapping.arrangement import Arrangement, Part, Player
    from reading.layers import Layers
    from reading.score import Score

__all__ = ["Hearing", "LevelIndex", "Line", "hearing_of", "level_name"]

Floats = np.ndarray[Any, np.dtype[np.float64]]
Ints = np.ndarray[Any, np.dtype[np.int64]]

LevelIndex = DYNAMICS.index
"""Row of a dynamic in DYNAMICS (p = 3, f = 6)."""


@dataclass(frozen=True, eq=False)
class Line:
    """One player's notes (those with a length), sorted by onset then pitch.

    Attributes
    ----------
    player : Player
    notes : ndarray, dtype PART_DTYPE
    onset_s, end_s : ndarray of float
        Seconds from the start.
    level : ndarray of float
        Dynamic of each note: row in DYNAMICS, between rows in a hairpin.
    """

    player: Player
    notes: np.ndarray[Any, np.dtype[np.void]]
    onset_s: Floats
    end_s: Floats
    level: Floats

    def name(self, row: int) -> str:
        """Return a note in letters, as it is spelled."""
        return written_name(self.notes[row])

    @cached_property
    def onset(self) -> Ints:
        """Onsets, ticks."""
        return np.asarray(self.notes["onset"].astype(np.int64))

    @cached_property
    def end(self) -> Ints:
        """Ends, ticks."""
        return np.asarray(self.onset + self.notes["duration"].astype(np.int64))

    @cached_property
    def pitch(self) -> Ints:
        """Sounding MIDI pitch."""
        return np.asarray(self.notes["pitch"].astype(np.int64))

    @cached_property
    def slurred(self) -> np.ndarray[Any, np.dtype[np.bool_]]:
        """Whether the note is bound to the one after it."""
        bits = int(Flag.SLUR_START) | int(Flag.SLUR_INSIDE)
        return np.asarray((self.notes["flags"] & bits) != 0)

    @cached_property
    def attacks(self) -> list[Ints]:
        """Rows of the notes struck together, in order of time."""
        edges = np.flatnonzero(np.diff(self.onset, prepend=-1))
        return np.split(np.arange(len(self.onset)), edges[1:]) if len(edges) else []

    @cached_property
    def single(self) -> Ints:
        """Rows of the highest note of each attack: the line a listener follows."""
        return np.array([rows[-1] for rows in self.attacks], dtype=np.int64)

    def __len__(self) -> int:
        return len(self.notes)


@dataclass(frozen=True, eq=False)
class Hearing:
    """The whole arrangement as the checks look at it; lines are those of players who play."""

    arrangement: Arrangement
    score: Score
    lines: tuple[Line, ...]
    layers: Layers | None
    timeline: Timeline

    @cached_property
    def pitched(self) -> tuple[Line, ...]:
        """Lines of players whose notes have a pitch."""
        return tuple(line for line in self.lines if line.player.instrument.unpitched is None)


def hearing_of(arrangement: Arrangement, layers: Layers | None) -> Hearing:
    """Return the arrangement with seconds and dynamics worked out."""
    score = arrangement.score
    timeline = Timeline(score)
    lines = tuple(_line(part, score, timeline) for part in arrangement.parts if (part.notes["duration"] > 0).any())
    return Hearing(arrangement, score, lines, layers, timeline)


def _line(part: Part, score: Score, timeline: Timeline) -> Line:
    """Return one player's line."""
    notes = part.notes[part.notes["duration"] > 0]
    notes = notes[np.lexsort((notes["pitch"], notes["onset"]))]
    level = levels_at(score, notes["onset"], part=_sung_part(part, score)).astype(np.float64)
    for mark in part.marks:
        if mark.kind == "dynamic" and mark.value in DYNAMICS:
            inside = (notes["onset"] >= mark.onset) & (notes["onset"] < max(mark.end, mark.onset + 1))
            level[inside] = DYNAMICS.index(mark.value)
    own = notes["dynamic"] >= 0
    level[own] = notes["dynamic"][own]
    seconds = (
        np.asarray(timeline.seconds(notes["onset"])),
        np.asarray(timeline.seconds(notes["onset"] + notes["duration"])),
    )
    return Line(part.player, notes, *seconds, level)


def _sung_part(part: Part, score: Score) -> int | None:
    """Row of the part a singer sings, whose dynamics hold there; None for instruments, which go by the piano's."""
    sources = part.notes["source"][part.notes["source"] >= 0]
    return int(score.notes["part"][sources[0]]) if part.player.family == "voice" and len(sources) else None


def level_name(level: float) -> str:
    """Return the dynamic nearest to a level."""
    return DYNAMICS[int(np.clip(round(level), 0, len(DYNAMICS) - 1))]
