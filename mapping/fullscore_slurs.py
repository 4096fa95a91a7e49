"""Slurs of a part: those of the piano, over the notes a player has of them, broken at rests."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any

from mapping.fullscore_directions import free_number
from reading.score import Flag

if TYPE_CHECKING:
    from mapping.arrangement import Part
    from mapping.draft import Rows
    from reading.score import Score

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
    notes = part.notes
    found: Slurs = defaultdict(list)
    rows_of: dict[int, list[int]] = defaultdict(list)
    lines: dict[tuple[int, ...], list[int]] = defaultdict(list)
    for row, source in enumerate(notes["source"].tolist()):
        if 0 <= source < len(score.notes):
            rows_of[source].append(row)
            lines[_line(score.notes[source])].append(row)
    places = {int(notes["source"][row]): place for row, (place, _) in graces.items()}
    open_until: dict[int, int] = {}
    for mark in score.marks_of("slur"):
        known = [one for one in mark.notes if 0 <= one < len(score.notes)]
        ends = sorted(known, key=lambda one: (*_order(score.notes[one]), places.get(one, 0)))
        if len(ends) < 2:
            continue
        first, last = score.notes[ends[0]], score.notes[ends[-1]]
        under = [row for row in lines[_line(first)] if first["onset"] <= notes["onset"][row] <= last["onset"]]
        tops = rows_of.get(ends[0], []), rows_of.get(ends[-1], [])
        under = sorted({*under, *tops[0], *tops[1]}, key=lambda row: (*_order(notes[row]), graces.get(row, (0, 0))[0]))
        for run in _runs(under, notes) if part.player.instrument.staves == 1 else [under]:
            start = next((row for row in tops[0] if row in run), run[0] if run else -1)
            stop = next((row for row in reversed(tops[1]) if row in run), run[-1] if run else -1)
            apart = (
                start >= 0 and start != stop and run.index(start) < run.index(stop) and not _struck(start, stop, notes)
            )
            number = free_number(open_until, int(notes["onset"][start]), score)
            if apart and number:
                open_until[number] = int(notes["onset"][stop] + max(1, notes["duration"][stop]))
                found[start].append(("start", number, mark.onset))
                found[stop].append(("stop", number, mark.end - 1))
    return found


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
