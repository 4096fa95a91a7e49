"""Octave lines and pedal signs of a part, where they mean something to its player."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from mapping.fullscore_details import origins
from mapping.fullscore_directions import Direction, Placed
from mapping.fullscore_pitch import CLEFS

if TYPE_CHECKING:
    from mapping.arrangement import Part
    from reading.score import Score

__all__ = ["PEDALLED", "octave_lines", "pedals"]

PEDALLED = ("piano", "celesta", "vibraphone")
"""Instruments with a damper pedal; a harp rings on by itself. Common practice, no source."""

_READ_WITH_LINES = ("piccolo", "flute", "violin", "glockenspiel", "xylophone", "vibraphone", "marimba")
_LEDGERS = 4  # ledger lines from which a line of the piano is kept in a part on one staff
_SIZES = {"8va": (8, "down"), "8vb": (8, "up"), "15ma": (15, "down"), "15mb": (15, "up"), "22ma": (22, "down")}


def octave_lines(part: Part, score: Score, pitches: list[tuple[int, int, int]], placed: Placed) -> None:
    """Add the piano's octave lines that help the part's reader; other parts have the real octaves.

    Keyboards and the harp keep a line where they have its notes as the piano has them. Players on one staff keep one
    only over a passage that lies several ledger lines high throughout.

    Parameters
    ----------
    pitches : list of (int, int, int)
        Written (step, alter, octave) of every note.
    """
    notes, staves = part.notes, part.player.instrument.staves
    parts, origin = origins(notes, score)
    for mark in score.marks_of("ottava"):
        if mark.value not in _SIZES or mark.end <= mark.onset:
            continue
        inside = (notes["onset"] >= mark.onset) & (notes["onset"] < mark.end)
        mine = inside & (parts == mark.part) & ((origin == mark.staff) | (mark.staff == 0))
        if not mine.any() or (notes["pitch"][mine] != score.notes["pitch"][notes["source"][mine]]).any():
            continue
        staff = max(1, mark.staff) if staves > 1 else 1
        if staves == 1 and not _high(part, pitches, np.flatnonzero(inside).tolist(), mark.value):
            continue
        size, way = _SIZES[mark.value]
        placement = "above" if way == "down" else "below"
        start = f'<octave-shift type="{way}" size="{size}" number="{staff}"/>'
        stop = f'<octave-shift type="stop" size="{size}" number="{staff}"/>'
        placed.opening[mark.onset].append(Direction(placement, start, staff))
        placed.closing[mark.end].append(Direction(placement, stop, staff))


def _high(part: Part, pitches: list[tuple[int, int, int]], rows: list[int], value: str) -> bool:
    """Whether a passage on one staff lies so high throughout that a line helps."""
    if part.player.instrument.name not in _READ_WITH_LINES or not value.endswith("a"):
        return False
    top = CLEFS["treble"][2] + 4
    return all((7 * pitches[row][2] + pitches[row][0] - top) // 2 >= _LEDGERS for row in rows)


def pedals(part: Part, score: Score, placed: Placed) -> None:
    """Add the piano's pedal signs, and the part's own, for a player who has a pedal, while that player plays."""
    if part.player.instrument.name not in PEDALLED:
        return
    notes, staves = part.notes, part.player.instrument.staves
    until: dict[int, int] = {}
    for mark in (*score.marks_of("pedal"), *(mark for mark in part.marks if mark.kind == "pedal")):
        sounding = (notes["onset"] < mark.end) & (notes["onset"] + notes["duration"] > mark.onset)
        if mark.end <= mark.onset or not sounding.any():
            continue
        kind, number = ("sostenuto", 2) if mark.value == "sostenuto" else ("start", 1)
        if kind == "start" and until.get(number) == mark.onset:  # lifted and pressed at once: one sign
            kind = "change"
            placed.closing[mark.onset] = [sign for sign in placed.closing[mark.onset] if "<pedal" not in sign.xml]
        until[number] = mark.end
        start, stop = (f'<pedal type="{way}" number="{number}" sign="yes" line="no"/>' for way in (kind, "stop"))
        placed.opening[mark.onset].append(Direction("below", start, staves))
        placed.closing[mark.end].append(Direction("below", stop, staves))
