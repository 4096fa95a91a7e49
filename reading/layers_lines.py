"""Simple lines: the top, the bottom and the longest notes of each staff, and what moves under a repeated top note."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from reading.layers_texture import BoolArray, IntArray, Texture

__all__ = ["Line", "lines_of", "rows_of_one_note"]

_LEAST_ABOVE, _QUICK, _TIMES_QUICKER, _EVENLY = 2, 5, 1.8, 0.8  # attacks above; steps below; their ratio; equal steps
_FIFTH = 7  # semitones
_ROW_ATTACKS, _ROW_BARS = 6, 3  # of one note


@dataclass(frozen=True, eq=False)
class Line:
    """One candidate: the rows of the texture it is made of, its staff (0 = uppermost) and its kind."""

    staff: int
    kind: str
    rows: IntArray


def lines_of(texture: Texture) -> list[Line]:
    """Return top, longest and bottom line of every staff that has notes.

    And, where the uppermost staff has one note at the top for some bars, the highest notes of both hands under it.

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
        top = rows[_unless_covered(last, onset, end, pitch)]
        lines.append(Line(staff, "top", top[~_figure_below(texture, rows)[np.searchsorted(rows, top)]]))
        lines.append(Line(staff, "long", rows[_unless_outlasted(by_length[last], onset, end)]))
        lines.append(Line(staff, "bottom", rows[_unless_covered(starts, onset, end, -pitch)]))
    of_row = rows_of_one_note(texture, lines)
    upper = next((line for line in lines if line.staff == 0 and line.kind == "top"), None)
    if upper is not None and of_row[upper.rows].any():
        under = _under_a_row(texture, upper, of_row)
        lines += [Line(0, "under", under)] if len(under) else []
    return lines


def rows_of_one_note(texture: Texture, lines: list[Line]) -> BoolArray:
    """Which notes belong to a row of one and the same pitch at the top or the bottom of their hand, shape (n,).

    Six attacks or more, over three bars or more: a drone, or an accompaniment.

    Parameters
    ----------
    texture : Texture
    lines : list of Line
    """
    result = np.zeros(len(texture.onset), dtype=bool)
    for line in lines:
        if line.kind != "long" and len(line.rows):
            row = np.cumsum(np.diff(texture.pitch[line.rows], prepend=-1) != 0) - 1
            bar, count = texture.bar[line.rows], np.bincount(row)
            wide = bar[np.cumsum(count) - 1] - bar[np.cumsum(count) - count] + 1
            result[line.rows[((count >= _ROW_ATTACKS) & (wide >= _ROW_BARS))[row]]] = True
    return result


def _under_a_row(texture: Texture, upper: Line, of_row: BoolArray) -> IntArray:
    """The highest of what is left, whichever hand has it, in the bars in which the upper staff's top is one note."""
    bars = texture.bars + 1
    struck, inside = (
        np.bincount(texture.bar[upper.rows], weights=w, minlength=bars) for w in (None, of_row[upper.rows])
    )
    rows = np.flatnonzero(~of_row & ((struck > 0) & (struck == inside))[texture.bar])
    last = np.flatnonzero(np.diff(texture.onset[rows], append=-1))
    return rows[_unless_covered(last, texture.onset[rows], texture.end[rows], texture.pitch[rows])]


def _figure_below(texture: Texture, rows: IntArray) -> BoolArray:
    """Whether a note of a staff belongs to an even figure in the shortest value, wholly below longer notes of its bar.

    Such a figure is not the tune where the longer notes rest for a moment.
    """
    result = np.zeros(len(rows), dtype=bool)
    bar, pitch, onset = texture.bar[rows], texture.pitch[rows], texture.onset[rows]
    length = texture.end[rows] - onset
    for inside in np.split(np.arange(len(rows)), np.flatnonzero(np.diff(bar)) + 1):
        short = length[inside] == length[inside].min()
        below, above = inside[short], inside[~short]
        moments, at = np.unique(onset[above], return_inverse=True)
        steps = np.diff(np.unique(onset[below]))
        if len(moments) < _LEAST_ABOVE or len(steps) < _QUICK or len(steps) + 1 < _TIMES_QUICKER * len(moments):
            continue
        tops = np.zeros(len(moments), dtype=np.int64)
        np.maximum.at(tops, at, pitch[above])
        apart = pitch[above].mean() - pitch[below].mean() >= _FIFTH and pitch[below].max() < tops.min()
        result[below] = apart and (steps == np.median(steps)).mean() > _EVENLY
    return result


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
