"""From the chosen line to roles: answers of the other hand, and doublings.

Every function takes rows of a :class:`~reading.layers_texture.Texture` and gives a mask over its rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reading.layers_texture import attack_sizes, sounding_pairs

if TYPE_CHECKING:
    from reading.layers_texture import BoolArray, IntArray, Texture

__all__ = ["HandOver", "doubling_rows", "hand_overs"]

_REST_BEATS = 3.0  # a shorter rest of the right hand is a breath: the left goes on, or leads back
_COUNTED = 2 / 3  # of a beat as the metre counts it is a beat here at least
_BREATH_BEATS = 1.5  # unless the left hand itself has rested: then it enters
_SURE_BEATS = 4.0
_UNDER_FIGURE = 3  # right-hand attacks over one held left-hand note: the bass of a figure shared by both hands
_PERIODS = (2, 3, 4, 6, 8)  # notes after which a figure comes round
_BEFORE = 4  # notes
_BY_STEP, _HELD_SURE = 0.75, 0.7
_ECHOES, _ECHOED = 3, 0.8  # different notes; share of them
_RUN = 3  # attacks in a row before two notes an octave apart count as one line
_RUN_THIRDS = 4  # the same for thirds and sixths, which also come about by chance


@dataclass(frozen=True, eq=False)
class HandOver:
    """A run of lone notes of the lowest staff that answers a resting upper staff.

    ``rows`` of the texture; ``sure``: 0 to 1; ``reason`` in words.
    """

    rows: IntArray
    sure: float
    reason: str


def hand_overs(texture: Texture) -> tuple[list[HandOver], BoolArray]:
    """Return the runs in which the tune goes over to the left hand while the right hand rests, and figures that go on.

    Three notes or more while the right hand rests for three beats or more; four or more, mostly by step, that enter
    under notes the right hand only holds; and single notes that the right hand takes up at once in another octave,
    time after time. In a shorter rest the left hand goes on with its figure, strikes a cadence or leads back: that is
    no answer.

    Parameters
    ----------
    texture : Texture

    Returns
    -------
    list of HandOver
    ndarray of bool, shape (n,)
        Single notes in such a rest that only go on with a figure: no tune, whatever is not heard above them.
    """
    low, high = np.flatnonzero(texture.staff == texture.low), np.flatnonzero(texture.staff != texture.low)
    figure = np.zeros(len(texture.onset), dtype=bool)
    if texture.staves < 2 or not len(low):
        return [], figure
    moments, first, count = np.unique(texture.onset[low], return_index=True, return_counts=True)
    _, sounding = sounding_pairs(texture.onset[high], texture.end[high], moments)
    silent = np.bincount(sounding, minlength=len(moments)) == 0
    struck = np.unique(texture.onset[high])
    found, short = [], []
    for start, stop in _runs(silent & (count == 1), moments, struck, texture.end[low[first]], texture.beat):
        rows = low[first[start:stop]]
        if _goes_on(moments, texture.pitch[low[first]], count, start, stop):
            figure[rows] = True
            continue
        rest = _rest(texture, high, int(moments[start])) / max(texture.beat, _counted_beat(texture, rows[0]) * _COUNTED)
        enters = moments[start] - texture.end[low[first[:start]]].max(initial=0) >= texture.beat
        over = np.searchsorted(struck, texture.end[rows]) - np.searchsorted(struck, texture.onset[rows], side="right")
        if len(rows) >= _RUN and rest >= (_BREATH_BEATS if enters else _REST_BEATS):
            reason = f"single left-hand notes while the right hand rests for {rest:.3g} beats"
            found.append(HandOver(rows[over < _UNDER_FIGURE], min(1.0, rest / _SURE_BEATS), reason))
        elif len(rows) < _RUN:
            short.append(rows)
    found += _echoed(texture, short, high) + _under_held_notes(texture, low[first], count, struck)
    return sorted(found, key=lambda answer: int(answer.rows[0])), figure


def _counted_beat(texture: Texture, row: int) -> float:
    """Ticks of a beat as the metre counts it, where a note stands."""
    bar = texture.bar[row] - 1
    return float((texture.bar_end[bar] - texture.bar_onset[bar]) / texture.metre[bar])


def _rest(texture: Texture, high: IntArray, moment: int) -> int:
    """Ticks from the last end of the upper staves before a moment to their next attack."""
    before = texture.onset[high] < moment
    start = int(texture.end[high[before]].max(initial=int(texture.bar_onset[0])))
    return int(texture.onset[high[~before]].min(initial=int(texture.bar_end[-1]))) - start


def _echoed(texture: Texture, short: list[IntArray], high: IntArray) -> list[HandOver]:
    """Of runs of one or two notes those that, like nearly all around them, the upper staff repeats at once."""
    struck = np.append(texture.onset[high], np.iinfo(np.int64).max)
    echoed = []
    for rows in short:
        after = high[texture.onset[high] == struck[np.searchsorted(struck, texture.onset[rows[-1]], side="right")]]
        echoed.append(bool((texture.pitch[after] % 12 == texture.pitch[rows[-1]] % 12).any()))
    bars, pitch = (np.asarray([kind[rows[-1]] for rows in short]) for kind in (texture.bar, texture.pitch))
    found = []
    for rows, bar in zip(short, bars.tolist(), strict=True):
        near = np.abs(bars - bar) <= 1
        share = float(np.asarray(echoed)[near].mean())
        if share >= _ECHOED and len(np.unique(pitch[near])) >= _ECHOES:
            found.append(HandOver(rows, share, "left-hand notes that the right hand takes up at once"))
    return found


def _under_held_notes(texture: Texture, line: IntArray, count: IntArray, struck: IntArray) -> list[HandOver]:
    """Lines that enter after a rest and go by step until the upper staff, which only holds, strikes again."""
    onset, end, pitch = texture.onset[line], texture.end[line], texture.pitch[line]
    quiet = np.append(np.zeros(1, dtype=np.int64), np.maximum.accumulate(end)[:-1])
    until = np.append(struck, texture.bar_end[-1])[np.searchsorted(struck, onset)]
    found = []
    for start in np.flatnonzero(
        (onset - quiet >= texture.beat) & (until - onset >= _REST_BEATS * texture.beat)
    ).tolist():
        stop = int(np.searchsorted(onset, until[start], side="right"))  # the last may be struck with the other hand
        by_step = np.isin(np.abs(np.diff(pitch[start:stop])), (1, 2))
        if (count[start:stop] == 1).all() and stop - start > _RUN and by_step.mean() >= _BY_STEP:
            found.append(HandOver(line[start:stop], _HELD_SURE, "left-hand notes that enter by step under held ones"))
    return found


def _goes_on(moments: IntArray, pitch: IntArray, count: IntArray, start: int, stop: int) -> bool:
    """Whether a run keeps the pace and the ups and downs of the single notes just before it, or hands them on.

    Or the note that comes back at every other stroke, as just before it.
    """
    if _comes_back(moments, pitch, count, start, stop):
        return True
    for period in _PERIODS:
        for begin, end in ((start - period, stop), (start, stop + period)):
            if begin < 0 or end > len(moments) or (count[begin:end] > 1).any():
                continue
            turns = np.sign(np.diff(pitch[begin:end]))
            even = len(np.unique(np.diff(moments[begin:end]))) == 1
            if even and len(turns) > period and (turns[period:] == turns[:-period]).all() and len(np.unique(turns)) > 1:
                return True
    return False


def _comes_back(moments: IntArray, pitch: IntArray, count: IntArray, start: int, stop: int) -> bool:
    """Whether every other note of a run, and of the four before it at the same pace, is one and the same."""
    begin = start - _BEFORE
    if begin < 0 or stop - start < _BEFORE or (count[begin:stop] > 1).any():
        return False
    even = len(np.unique(np.diff(moments[begin:stop]))) == 1
    return even and any(len(np.unique(pitch[begin + first : stop : 2])) == 1 for first in (0, 1))


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
            _mark_runs(result, np.flatnonzero(here & (apart == distance)), spot, _RUN, texture.pitch)
    alone = together & (texture.staff == texture.staff[mate]) & _pairs(texture)
    for sizes in ((3, 4), (8, 9)):
        _mark_runs(result, np.flatnonzero(alone & np.isin(np.abs(apart), sizes)), spot, _RUN_THIRDS, texture.pitch)
    return result


def _mark_runs(result: BoolArray, rows: IntArray, spot: IntArray, least: int, pitch: IntArray) -> None:
    """Mark the rows that accompany *least* or more melody notes in a row and move with them."""
    for run in np.split(rows, np.flatnonzero(np.diff(spot[rows]) != 1) + 1):
        if len(run) >= least and (pitch[run] != pitch[run[0]]).any():
            result[run] = True


def _pairs(texture: Texture) -> BoolArray:
    """Whether exactly two notes of its staff are struck with a note (itself and one more)."""
    return np.asarray(attack_sizes(texture) == 2)
