"""From the chosen line to roles: answers of the other hand, doublings, bass, pedal points.

Every function takes rows of a :class:`~reading.layers_texture.Texture` and gives a mask over its rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.layers_texture import sounding_pairs

if TYPE_CHECKING:
    from reading.layers_texture import IntArray, Texture

__all__ = ["BoolArray", "HandOver", "bass_rows", "doubling_rows", "hand_overs"]

BoolArray = np.ndarray[Any, np.dtype[np.bool_]]

_ANSWER_SHARE = 0.45
_AROUND_BEATS = 2.0
_RUN = 3  # attacks in a row before two notes an octave (or a third) apart count as one line


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
    around = round(_AROUND_BEATS * texture.beat)
    found = []
    for start, stop in _runs(lone, moments, struck, texture.end[low[first]], texture.beat):
        begin = np.searchsorted(moments, moments[start] - around, side="left")
        until = np.searchsorted(moments, moments[stop - 1] + around, side="right")
        share = float(silent[begin:until].mean())
        if share >= _ANSWER_SHARE:
            found.append(HandOver(low[first[start:stop]], share))
    return found


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


def doubling_rows(texture: Texture, melody: BoolArray) -> BoolArray:
    """Return the notes that double the melody in octaves or unison for three attacks or more.

    Parameters
    ----------
    texture : Texture
    melody : ndarray of bool, shape (n,)

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    tune = np.flatnonzero(melody)
    result = np.zeros(len(texture.onset), dtype=bool)
    if not len(tune):
        return result
    spot = np.searchsorted(texture.onset[tune], texture.onset)
    spot = np.minimum(spot, len(tune) - 1)
    together = (texture.onset[tune[spot]] == texture.onset) & ~melody
    apart = texture.pitch - texture.pitch[tune[spot]]
    for staff in range(texture.staves):
        for distance in np.unique(apart[together & (apart % 12 == 0)]):
            rows = np.flatnonzero(together & (texture.staff == staff) & (apart == distance))
            for run in np.split(rows, np.flatnonzero(np.diff(spot[rows]) != 1) + 1):
                if len(run) >= _RUN:
                    result[run] = True
    return result


def bass_rows(texture: Texture, taken: BoolArray) -> BoolArray:
    """Return the bass: the lowest free note of the lowest staff in each beat, none while a lower one is held.

    Parameters
    ----------
    texture : Texture
    taken : ndarray of bool, shape (n,)
        Notes that already have a role.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    result = np.zeros(len(texture.onset), dtype=bool)
    rows = np.flatnonzero((texture.staff == texture.low) & ~taken)
    if texture.staves < 2 or not len(rows):
        rows = np.flatnonzero(~taken)
    if not len(rows):
        return result
    bar = texture.bar[rows] - 1
    slot = (texture.onset[rows] - texture.bar_onset[bar]) // texture.beat
    order = np.lexsort((texture.onset[rows], texture.pitch[rows], slot, bar))
    rows, slot, bar = rows[order], slot[order], bar[order]
    first = np.flatnonzero((np.diff(bar, prepend=-1) != 0) | (np.diff(slot, prepend=-1) != 0))
    held_until, held_pitch = -1, 0
    for row in rows[first].tolist():
        if held_until > texture.onset[row] and held_pitch < texture.pitch[row]:
            continue
        result[row] = True
        held_until, held_pitch = int(texture.end[row]), int(texture.pitch[row])
    return result
