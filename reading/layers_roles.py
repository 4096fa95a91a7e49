"""From the chosen line to roles: answers of the other hand, and doublings.

Every function takes rows of a :class:`~reading.layers_texture.Texture` and gives a mask over its rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reading.layers_texture import attack_sizes, sounding_pairs

if TYPE_CHECKING:
    from reading.layers_lines import Line
    from reading.layers_texture import BoolArray, IntArray, Texture

__all__ = ["HandOver", "doubling_rows", "finish_phrases", "hand_overs"]

_ANSWER_SHARE = 0.45
_AROUND_BEATS = 2.0
_UNDER_FIGURE = 3  # right-hand attacks over one held left-hand note: the bass of a figure shared by both hands
_PERIODS = (2, 3, 4, 6, 8)  # notes after which a figure comes round
_RUN = 3  # attacks in a row before two notes an octave apart count as one line
_RUN_THIRDS = 4  # the same for thirds and sixths, which also come about by chance


@dataclass(frozen=True, eq=False)
class HandOver:
    """A run of lone notes of the lowest staff that answers a resting upper staff.

    ``rows`` of the texture; ``share`` of the lowest staff's attacks around at which the upper staves are silent.
    """

    rows: IntArray
    share: float


def hand_overs(texture: Texture) -> list[HandOver]:
    """Return the runs in which the tune goes over to the left hand while the right hand rests.

    Parameters
    ----------
    texture : Texture

    Returns
    -------
    list of HandOver
        Those whose share is 0.45 or more.
    """
    if texture.staves < 2:
        return []
    low = np.flatnonzero(texture.staff == texture.low)
    if not len(low):
        return []
    moments, first, count = np.unique(texture.onset[low], return_index=True, return_counts=True)
    high = texture.staff != texture.low
    _, sounding = sounding_pairs(texture.onset[high], texture.end[high], moments)
    silent = np.bincount(sounding, minlength=len(moments)) == 0
    struck = np.unique(texture.onset[high])
    lone = silent & (count == 1)
    to_chord = (
        silent[1:] & (count[1:] > 1) & (np.searchsorted(struck, moments[1:]) == np.searchsorted(struck, moments[:-1]))
    )
    to_chord = np.append(to_chord, False)
    around = round(_AROUND_BEATS * texture.beat)
    found = []
    for start, stop in _runs(lone, moments, struck, texture.end[low[first]], texture.beat):
        if stop - start < _RUN and to_chord[stop - 1]:
            continue  # a bass before its chord
        if _goes_on(moments, texture.pitch[low[first]], count, start, stop):
            continue  # a figure that does not stop for the other hand's rest
        begin = np.searchsorted(moments, moments[start] - around, side="left")
        until = np.searchsorted(moments, moments[stop - 1] + around, side="right")
        share = float(silent[begin:until].mean())
        rows = low[first[start:stop]]
        over = np.searchsorted(struck, texture.end[rows]) - np.searchsorted(struck, texture.onset[rows], side="right")
        if share >= _ANSWER_SHARE and np.median(over) < _UNDER_FIGURE:
            found.append(HandOver(rows[over < _UNDER_FIGURE], share))
    return found


def _goes_on(moments: IntArray, pitch: IntArray, count: IntArray, start: int, stop: int) -> bool:
    """Whether a run keeps the pace and the ups and downs of the single notes just before it."""
    if stop - start < _RUN:
        return False
    for period in _PERIODS:
        begin = start - period
        if begin < 0 or (count[begin:start] > 1).any() or len(np.unique(np.diff(moments[begin:stop]))) > 1:
            continue
        turns = np.sign(np.diff(pitch[begin:stop]))
        if (turns[period:] == turns[:-period]).all() and len(np.unique(turns)) > 1:
            return True
    return False


def _runs(lone: BoolArray, moments: IntArray, struck: IntArray, end: IntArray, beat: int) -> list[tuple[int, int]]:
    """Stretches of lone notes, broken where another staff strikes between or a rest longer than a beat follows."""
    runs, start = [], -1
    for row in range(len(moments) + 1):
        joined = row < len(moments) and lone[row]
        if joined and start >= 0:
            between = np.searchsorted(struck, moments[row]) - np.searchsorted(struck, moments[row - 1], side="right")
            if between or moments[row] - end[row - 1] > beat:
                runs.append((start, row))
                start = row
        elif joined:
            start = row
        elif start >= 0:
            runs.append((start, row))
            start = -1
    return runs


def finish_phrases(texture: Texture, lines: list[Line], path: IntArray, melody: BoolArray) -> None:
    """Let a tune that goes to another staff end and begin where its phrases do, not at the barline.

    Where the staff it leaves falls silent inside the bar, what that line struck before is still the tune, and the
    other staff leads from there; so an upbeat of the new line belongs to it as well.

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


def _inside(texture: Texture, line: Line, bar: int) -> IntArray:
    """Rows of a line in one bar (from 0)."""
    return np.asarray(line.rows[texture.bar[line.rows] == bar + 1])


def _falls_silent(texture: Texture, staff: int, bar: int) -> int:
    """Tick from which a staff that has struck in a bar (from 0) rests; the end of the bar if it never struck."""
    rows = np.flatnonzero((texture.staff == staff) & (texture.bar == bar + 1))
    return int(texture.end[rows].max()) if len(rows) else int(texture.bar_end[bar])


def doubling_rows(texture: Texture, melody: BoolArray) -> BoolArray:
    """Return the notes parallel to the melody: in octaves or unison, or its only companion in thirds or sixths.

    Parameters
    ----------
    texture : Texture
    melody : ndarray of bool, shape (n,)

    Returns
    -------
    ndarray of bool, shape (n,)
        In octaves for three attacks in a row or more, in thirds or sixths (same hand, same length) for four or more.
    """
    tune = np.flatnonzero(melody)
    result = np.zeros(len(texture.onset), dtype=bool)
    if not len(tune):
        return result
    spot = np.minimum(np.searchsorted(texture.onset[tune], texture.onset), len(tune) - 1)
    mate = tune[spot]
    together = (texture.onset[mate] == texture.onset) & (texture.end[mate] == texture.end) & ~melody
    apart = texture.pitch - texture.pitch[mate]
    for staff in range(texture.staves):
        here = together & (texture.staff == staff)
        for distance in np.unique(apart[here & (apart % 12 == 0)]):
            _mark_runs(result, np.flatnonzero(here & (apart == distance)), spot, _RUN)
    alone = together & (texture.staff == texture.staff[mate]) & _pairs(texture)
    for sizes in ((3, 4), (8, 9)):
        _mark_runs(result, np.flatnonzero(alone & np.isin(np.abs(apart), sizes)), spot, _RUN_THIRDS)
    return result


def _mark_runs(result: BoolArray, rows: IntArray, spot: IntArray, least: int) -> None:
    """Mark the rows that accompany *least* or more melody notes in a row."""
    for run in np.split(rows, np.flatnonzero(np.diff(spot[rows]) != 1) + 1):
        if len(run) >= least:
            result[run] = True


def _pairs(texture: Texture) -> BoolArray:
    """Whether exactly two notes of its staff are struck with a note (itself and one more)."""
    return np.asarray(attack_sizes(texture) == 2)
