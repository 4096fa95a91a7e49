"""Slurs of a part: those of the piano, over the notes a player has of them, broken at rests."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any

from reading.score import Flag

if TYPE_CHECKING:
    from mapping.arrangement import Part
    from mapping.draft import Rows
    from reading.score import Score

__all__ = ["slurs"]

_MOST = 6  # slur numbers at one time

Slurs = dict[int, list[tuple[str, int]]]


def slurs(part: Part, score: Score) -> Slurs:
    """Return starts and stops of slurs with their numbers, by row of the part.

    A piece of a slur is still one breath or bow. A player on one staff ends a slur before a rest (common practice, no
    source); on two staves the piano's slurs stay as they are.
    """
    notes = part.notes
    found: Slurs = defaultdict(list)
    rows_of: dict[int, list[int]] = defaultdict(list)
    lines: dict[tuple[int, ...], list[int]] = defaultdict(list)
    for row, source in enumerate(notes["source"].tolist()):
        if 0 <= source < len(score.notes):
            rows_of[source].append(row)
            lines[_line(score.notes[source])].append(row)
    open_until: dict[int, int] = {}
    for mark in score.marks_of("slur"):
        ends = sorted((score.notes[one] for one in mark.notes if 0 <= one < len(score.notes)), key=_order)
        if len(ends) < 2:
            continue
        first, last = ends[0], ends[-1]
        under = [row for row in lines[_line(first)] if first["onset"] <= notes["onset"][row] <= last["onset"]]
        tops = (rows_of.get(int(first["id"]), []), rows_of.get(int(last["id"]), []))
        under = sorted({*under, *tops[0], *tops[1]}, key=lambda row: _order(notes[row]))
        for run in _runs(under, notes) if part.player.instrument.staves == 1 else [under]:
            start = next((row for row in tops[0] if row in run), run[0] if run else -1)
            stop = next((row for row in reversed(tops[1]) if row in run), run[-1] if run else -1)
            apart = start >= 0 and _order(notes[start]) < _order(notes[stop])
            number = next((n for n in range(1, _MOST + 1) if open_until.get(n, -1) < notes["onset"][start]), 0)
            if apart and number:
                open_until[number] = int(notes["onset"][stop])
                found[start].append(("start", number))
                found[stop].append(("stop", number))
    return found


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
