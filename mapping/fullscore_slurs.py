"""Slurs of a part: those of the piano, over the notes a player has of them, broken at rests."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from typing import TYPE_CHECKING, Any

from mapping.fullscore_directions import free_number
from reading.score import Flag

if TYPE_CHECKING:
    from mapping.arrangement import Part
    from mapping.draft import Rows
    from reading.score import Mark, Score

__all__ = ["Slurs", "slurs"]

Slurs = dict[int, list[tuple[str, int, int]]]
"""Start or stop, number, and the tick it stands at (within a tied note), by row."""


def slurs(part: Part, score: Score, graces: dict[int, tuple[int, int]]) -> Slurs:
    """Return starts and stops of slurs with their numbers and ticks, by row of the part.

    A piece of a slur is still one breath or bow. A player on one staff ends a slur before a rest (common practice, no
    source); on two staves the piano's slurs stay as they are.

    Parameters
    ----------
    graces : dict of int to (int, int)
        Place in its run, and printed value, of grace notes by row.
    """
    finder = _Finder(part.notes, score, graces)
    found: Slurs = defaultdict(list)
    open_until: dict[int, int] = {}
    for mark in score.marks_of("slur"):
        under, firsts, lasts = finder.under(mark)
        for run in _runs(under, part.notes) if part.player.instrument.staves == 1 else [under]:
            start = next((row for row in firsts if row in run), run[0] if run else -1)
            stop = next((row for row in reversed(lasts) if row in run), run[-1] if run else -1)
            if start < 0 or run.index(start) >= run.index(stop) or _struck(start, stop, part.notes):
                continue
            if number := free_number(open_until, int(part.notes["onset"][start]), score):
                open_until[number] = int(part.notes["onset"][stop] + max(1, part.notes["duration"][stop]))
                found[start].append(("start", number, mark.onset))
                found[stop].append(("stop", number, mark.end - 1))
    return found


class _Finder:
    """Finds the rows of a part under a slur of the piano."""

    def __init__(self, notes: Rows, score: Score, graces: dict[int, tuple[int, int]]) -> None:
        self.notes, self.score, self.graces = notes, score, graces
        self.rows_of: dict[int, list[int]] = defaultdict(list)
        self.lines: dict[tuple[int, ...], list[int]] = defaultdict(list)
        for row, source in enumerate(notes["source"].tolist()):
            if 0 <= source < len(score.notes):
                self.rows_of[source].append(row)
                self.lines[_line(score.notes[source])].append(row)
        self.onsets = {line: notes["onset"][rows].tolist() for line, rows in self.lines.items()}
        self.places = {int(notes["source"][row]): place for row, (place, _) in graces.items()}

    def under(self, mark: Mark) -> tuple[list[int], list[int], list[int]]:
        """Rows under a slur in order of time, those of its first note, those of its last."""
        score = self.score
        known = [one for one in mark.notes if 0 <= one < len(score.notes)]
        ends = sorted(known, key=lambda one: (*_order(score.notes[one]), self.places.get(one, 0)))
        if len(ends) < 2:
            return [], [], []
        first, last = score.notes[ends[0]], score.notes[ends[-1]]
        line, onsets = self.lines.get(_line(first), []), self.onsets.get(_line(first), [])
        inside = line[bisect_left(onsets, int(first["onset"])) : bisect_right(onsets, int(last["onset"]))]
        firsts, lasts = self.rows_of.get(ends[0], []), self.rows_of.get(ends[-1], [])
        rows = {*inside, *firsts, *lasts}
        return sorted(rows, key=self._when), firsts, lasts

    def _when(self, row: int) -> tuple[int, bool, int]:
        """Order in time of a row."""
        return (*_order(self.notes[row]), self.graces.get(row, (0, 0))[0])


def _struck(one: int, other: int, notes: Rows) -> bool:
    """Whether two notes are struck together, so that no slur joins them."""
    grace = (int(notes["flags"][one]) | int(notes["flags"][other])) & Flag.GRACE
    return not grace and bool(notes["onset"][one] == notes["onset"][other])


def _line(note: Any) -> tuple[int, ...]:
    """Part, staff and voice of a piano note."""
    return int(note["part"]), int(note["staff"]), int(note["voice"])


def _order(note: Any) -> tuple[int, bool]:
    """Order in time: grace notes before what they ornament."""
    return int(note["onset"]), not int(note["flags"]) & Flag.GRACE


def _runs(rows: list[int], notes: Rows) -> list[list[int]]:
    """Rows in stretches without a rest between."""
    found: list[list[int]] = []
    edge = -1
    for row in rows:
        onset = int(notes["onset"][row])
        if not found or onset > edge:
            found.append([])
        found[-1].append(row)
        edge = max(edge, onset + int(notes["duration"][row]))
    return found
