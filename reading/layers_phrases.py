"""Where a tune changes staff: its phrases, not the barlines, say when."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from reading.layers_lines import Line
    from reading.layers_texture import BoolArray, IntArray, Texture

__all__ = ["finish_phrases"]

_ENTRY_BEATS = 2.0  # a rest before notes that begin a phrase


def finish_phrases(texture: Texture, lines: list[Line], path: IntArray, melody: BoolArray) -> None:
    """Let a tune that goes to another staff end and begin where its phrases do.

    Where the staff it leaves falls silent inside the bar, what that line struck before is still the tune, and the
    other staff leads from there. An entry after a rest, once the old line strikes no more, is the upbeat of the new.
    And where a left hand that leads rests for two beats, what the right hand strikes meanwhile is the tune.

    Parameters
    ----------
    texture : Texture
    lines : list of Line
    path : ndarray of int64, shape (bars,)
        Line of each bar; ``len(lines)`` where nobody leads.
    melody : ndarray of bool, shape (n,)
        Changed in place.
    """
    for bar in (np.flatnonzero(np.diff(path)) + 1).tolist():
        if max(path[bar - 1 : bar + 1]) == len(lines):
            continue
        old, new = lines[path[bar - 1]], lines[path[bar]]
        if old.staff == new.staff:
            continue
        for where in (bar, bar - 1):
            end = _falls_silent(texture, old.staff, where)
            before, after = (_inside(texture, line, where) for line in (old, new))
            if (texture.onset[after] >= end).any():
                melody[before] = True
                melody[after] = texture.onset[after] >= end
        melody[_upbeat(texture, old.staff, new, bar - 1)] = True
    melody[_alone(texture, lines, path)] = True


def _inside(texture: Texture, line: Line, bar: int) -> IntArray:
    """Rows of a line in one bar (from 0)."""
    return np.asarray(line.rows[texture.bar[line.rows] == bar + 1])


def _falls_silent(texture: Texture, staff: int, bar: int) -> int:
    """Tick from which a staff that has struck in a bar (from 0) rests; the end of the bar if it never struck."""
    rows = np.flatnonzero((texture.staff == staff) & (texture.bar == bar + 1))
    return int(texture.end[rows].max()) if len(rows) else int(texture.bar_end[bar])


def _upbeat(texture: Texture, old_staff: int, new: Line, bar: int) -> IntArray:
    """Rows of the new line after the old staff's last attack in a bar, if its staff entered there after a rest."""
    here = texture.bar == bar + 1
    mine = texture.staff == new.staff
    if not (here & mine).any():
        return new.rows[:0]
    entry = texture.onset[here & mine].min()
    rest = entry - texture.end[mine & (texture.onset < entry)].max(initial=0)
    rows = _inside(texture, new, bar)
    last = texture.onset[here & (texture.staff == old_staff)].max(initial=-1)
    return np.asarray(rows[texture.onset[rows] > last] if rest >= _ENTRY_BEATS * texture.beat else rows[:0])


def _alone(texture: Texture, lines: list[Line], path: IntArray) -> IntArray:
    """Rows of the uppermost staff's highest line struck in a rest of two beats of a left hand that leads."""
    top = next((line for line in lines if line.staff == 0 and line.kind == "top"), None)
    low = np.flatnonzero(texture.staff == texture.low)
    if top is None or texture.low == 0 or not len(low):
        return np.empty(0, dtype=np.int64)
    leads = np.append([line.staff == texture.low for line in lines], False)[path]
    rows = top.rows[leads[texture.bar[top.rows] - 1]]
    moments = texture.onset[low]
    since = np.append(0, np.maximum.accumulate(texture.end[low]))[np.searchsorted(moments, texture.onset[rows])]
    until = np.append(moments, texture.bar_end[-1])[np.searchsorted(moments, texture.onset[rows])]
    rests = (since <= texture.onset[rows]) & (until > texture.onset[rows])
    return np.asarray(rows[rests & (until - since >= _ENTRY_BEATS * texture.beat)])
