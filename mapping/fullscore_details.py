"""What the piano's marks say of a player's notes beyond their flags: values, accidentals, partners, order.

The flags of a note tell that it has a trill; the marks tell with which accidental. A mark is carried to the notes a
player has of it, and only where the note still has the flag (a step may have taken the sign away).
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.fullscore_global import AT_NOTES
from reading.score import TICKS_PER_QUARTER, Flag

if TYPE_CHECKING:
    from mapping.draft import Rows
    from reading.score import Mark, Score

__all__ = ["Details", "details_of", "origins"]

ORNAMENTS = Flag.TRILL | Flag.MORDENT | Flag.INVERTED_MORDENT | Flag.TURN | Flag.INVERTED_TURN


@dataclass
class Details:
    """By row of the part's table.

    Attributes
    ----------
    ornaments : dict of int to list of str
        Values of ornament marks: ``trill:above sharp``.
    wavy : dict of int to list of str
        ``start`` and ``stop`` of the wavy line after a trill.
    strokes : dict of int to int
        Strokes of a tremolo on one note, those of the note's own value among them.
    pairs : dict of int to (int, int)
        Number and beams of the tremolo between two notes it belongs to.
    graces : dict of int to (int, int)
        Place in its run, printed value (8 for an eighth).
    fermatas, words, accents : dict of int to str
        Shape of its fermata; sign that stands for words (``breath-mark``); accent as printed (``sfz``).
    lines : dict of int to list of (str, int)
        Starts and stops of glissandi with their numbers.
    arpeggios : dict of int to int
        Number of the wavy line it belongs to.
    """

    ornaments: dict[int, list[str]] = field(default_factory=lambda: defaultdict(list))
    wavy: dict[int, list[str]] = field(default_factory=lambda: defaultdict(list))
    strokes: dict[int, int] = field(default_factory=dict)
    pairs: dict[int, tuple[int, int]] = field(default_factory=dict)
    graces: dict[int, tuple[int, int]] = field(default_factory=dict)
    fermatas: dict[int, str] = field(default_factory=dict)
    words: dict[int, str] = field(default_factory=dict)
    accents: dict[int, str] = field(default_factory=dict)
    lines: dict[int, list[tuple[str, int]]] = field(default_factory=lambda: defaultdict(list))
    arpeggios: dict[int, int] = field(default_factory=dict)


def origins(notes: Rows, score: Score) -> tuple[Any, Any]:
    """Return part and staff of the piano score each note comes from, shape (notes,); −1 and 0 where a step made it."""
    sources = notes["source"]
    known = (sources >= 0) & (sources < len(score.notes))
    part, staff = np.full(len(notes), -1, dtype=np.int64), np.zeros(len(notes), dtype=np.int64)
    part[known] = score.notes["part"][sources[known]]
    staff[known] = score.notes["staff"][sources[known]]
    return part, staff


def details_of(notes: Rows, score: Score) -> Details:
    """Return the details of a player's notes.

    Parameters
    ----------
    notes : ndarray, dtype PART_DTYPE
        Sorted by onset.
    score : Score
        The piano piece.
    """
    finder = _Finder(notes, score)
    for number, mark in enumerate(score.marks):
        if mark.kind in _TAKEN:
            _TAKEN[mark.kind](finder, mark, number)
    return finder.found


class _Finder:
    """Finds the rows a mark holds for."""

    def __init__(self, notes: Rows, score: Score) -> None:
        self.notes, self.score, self.found = notes, score, Details()
        self.part, self.staff = origins(notes, score)
        self.rows_of: dict[int, list[int]] = defaultdict(list)
        for row, source in enumerate(notes["source"].tolist()):
            if source >= 0:
                self.rows_of[source].append(row)
        self.lines = 0

    def own(self, mark: Mark, flags: int = 0) -> list[int]:
        """Rows of the mark's own notes, those with one of *flags* where given."""
        rows = [row for one in mark.notes for row in self.rows_of.get(one, ())]
        return [row for row in rows if not flags or int(self.notes["flags"][row]) & flags]

    def chord(self, mark: Mark, flags: int, onset: int | None = None) -> list[int]:
        """Rows struck at a moment in the mark's staff with one of *flags*: the sign holds for the chord."""
        onset = mark.onset if onset is None else onset
        low, high = np.searchsorted(self.notes["onset"], [onset, onset + 1])
        return [
            row
            for row in range(int(low), int(high))
            if int(self.notes["flags"][row]) & flags
            and self.part[row] == mark.part
            and (mark.staff in (0, self.staff[row]) or int(self.notes["source"][row]) in mark.notes)
        ]

    def ornament(self, mark: Mark, _: int) -> None:
        """Ornaments with their accidentals; the wavy line from its first note to the one it ends with."""
        rows = self.own(mark, int(ORNAMENTS))
        if mark.value != "wavy line":
            for row in rows:
                self.found.ornaments[row].append(mark.value)
            return
        ends = self.notes["onset"] + self.notes["duration"]
        stops = np.flatnonzero((ends == mark.end) & (self.part == mark.part) & (self.staff == mark.staff)).tolist()
        if rows and mark.end > mark.onset and (stops := [row for row in stops if row >= rows[0]]):
            same = [row for row in stops if row == rows[0]]
            self.found.wavy[rows[0]].append("start")
            self.found.wavy[(same or stops)[0]].append("stop")

    def tremolo(self, mark: Mark, number: int) -> None:
        """Strokes on one note; or both chords of an alternation."""
        if mark.value.isdecimal():
            for row in self.chord(mark, int(Flag.TREMOLO)):
                length = int(self.notes["duration"][row])
                own = sum(length < TICKS_PER_QUARTER >> level for level in range(5))
                self.found.strokes[row] = int(mark.value) + own
            return
        beams = mark.value.partition(":")[2]
        onsets = {int(self.score.notes["onset"][one]) for one in mark.notes}
        for onset in onsets:
            for row in self.chord(mark, int(Flag.TREMOLO_BETWEEN), onset):
                self.found.pairs[row] = (number, int(beams) if beams.isdecimal() else 3)

    def graces(self, mark: Mark, _: int) -> None:
        """Order and printed values of a run of grace notes."""
        for one, item in zip(mark.notes, mark.value.split(), strict=False):
            place, slash, printed = item.partition("/")
            for row in self.rows_of.get(one, ()):
                if slash and place.isdecimal() and printed.isdecimal():
                    self.found.graces[row] = (int(place), int(printed))

    def fermata(self, mark: Mark, _: int) -> None:
        """Shape of a fermata."""
        for row in self.own(mark, int(Flag.FERMATA)):
            self.found.fermatas[row] = mark.value

    def accent(self, mark: Mark, _: int) -> None:
        """Print of an accent written like a dynamic."""
        for row in self.own(mark, int(Flag.SFORZANDO | Flag.FP)):
            self.found.accents[row] = mark.value

    def text(self, mark: Mark, _: int) -> None:
        """Signs at a note that the reading keeps as words."""
        if mark.value in AT_NOTES:
            for row in self.own(mark)[:1]:
                self.found.words[row] = AT_NOTES[mark.value]

    def arpeggio(self, mark: Mark, _: int) -> None:
        """Which wavy line a note belongs to: one through both staves, or one on each."""
        for row in self.own(mark, int(Flag.ARPEGGIO | Flag.ARPEGGIO_DOWN)):
            self.found.arpeggios[row] = max(1, mark.staff)

    def glissando(self, mark: Mark, _: int) -> None:
        """A glissando between two notes of one player."""
        if len(mark.notes) < 2:
            return
        first, last = sorted((mark.notes[0], mark.notes[-1]), key=lambda one: int(self.score.notes["onset"][one]))
        starts, stops = self.rows_of.get(first), self.rows_of.get(last)
        if starts and stops and int(self.notes["flags"][starts[0]]) & Flag.GLISSANDO:
            self.lines += 1
            number = 1 + (self.lines - 1) % 6
            self.found.lines[starts[0]].append(("start", number))
            self.found.lines[stops[0]].append(("stop", number))


_TAKEN: dict[str, Any] = {
    "ornament": _Finder.ornament,
    "tremolo": _Finder.tremolo,
    "graces": _Finder.graces,
    "fermata": _Finder.fermata,
    "accent": _Finder.accent,
    "text": _Finder.text,
    "arpeggio": _Finder.arpeggio,
    "glissando": _Finder.glissando,
}
