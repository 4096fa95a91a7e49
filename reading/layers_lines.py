"""Six simple lines: the top, the bottom and the longest notes of each staff."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from reading.layers_texture import IntArray, Texture

__all__ = ["Line", "lines_of"]


@dataclass(frozen=True, eq=False)
class Line:
    """One candidate: the rows of the texture it is made of, its staff (0 = uppermost) and its kind."""

    staff: int
    kind: str
    rows: IntArray


def lines_of(texture: Texture) -> list[Line]:
    """Return top, longest and bottom line of every staff that has notes.

    Parameters
    ----------
    texture : Texture

    Returns
    -------
    list of Line
    """
    lines = []
    for staff in range(texture.staves):
        rows = np.flatnonzero(texture.staff == staff)
        if not len(rows):
            continue
        onset, pitch, end = texture.onset[rows], texture.pitch[rows], texture.end[rows]
        starts = np.flatnonzero(np.diff(onset, prepend=onset[0] - 1))
        last = np.append(starts[1:], len(rows)) - 1
        by_length = np.lexsort((pitch, end - onset, onset))
        lines.append(Line(staff, "top", rows[_unless_covered(last, onset, end, pitch)]))
        lines.append(Line(staff, "long", rows[_unless_outlasted(by_length[last], onset, end)]))
        lines.append(Line(staff, "bottom", rows[_unless_covered(starts, onset, end, -pitch)]))
    return lines


def _unless_covered(picked: IntArray, onset: IntArray, end: IntArray, height: IntArray) -> IntArray:
    """Leave out notes struck while the line's own last note still sounds beyond them."""
    kept: list[int] = []
    for row in picked.tolist():
        if kept and end[kept[-1]] > onset[row] and height[kept[-1]] > height[row]:
            continue
        kept.append(row)
    return np.asarray(kept, dtype=np.int64)


def _unless_outlasted(picked: IntArray, onset: IntArray, end: IntArray) -> IntArray:
    """Leave out notes that begin inside the line's current note and do not outlast it."""
    kept: list[int] = []
    for row in picked.tolist():
        if kept and end[kept[-1]] > onset[row] and end[row] <= end[kept[-1]]:
            continue
        kept.append(row)
    return np.asarray(kept, dtype=np.int64)
