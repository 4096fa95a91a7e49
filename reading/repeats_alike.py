"""How alike bars are by what is struck where: Dice's coefficient between sets of strokes, at any transposition.

Sets are packed into machine words and shared strokes counted with bit operations: exact, and without a threaded linear
algebra library, whose start-up cost and contention would dwarf the work.

References
----------
L. R. Dice, Measures of the amount of ecologic association between species, *Ecology* 26 (1945), 297-302.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from reading.features import Floats

__all__ = ["diagonal_runs", "dice", "dice_between", "dice_by_interval", "soft_dice", "transposed_dice"]

Words = np.ndarray[Any, np.dtype[np.uint64]]


def dice(sets: Floats) -> Floats:
    """Return Dice's coefficient between all rows.

    Parameters
    ----------
    sets : ndarray of float, shape (n, ...)
        0 or 1; a row of zeros (silence) resembles nothing.

    Returns
    -------
    ndarray of float, shape (n, n)
    """
    words = _packed(sets)
    return 2.0 * _shared(words, words) / _strokes_of_both(sets)


def transposed_dice(strokes: Floats, semitones: int) -> Floats:
    """Return Dice's coefficient of bar i with bar j moved down by *semitones*, octaves folded.

    Parameters
    ----------
    strokes : ndarray of float, shape (n, slots, 12)
        From :func:`reading.features.onset_sets`.
    semitones : int

    Returns
    -------
    ndarray of float, shape (n, n)
    """
    return dice_between(strokes, strokes, semitones)


def dice_between(strokes: Floats, later: Floats, semitones: int) -> Floats:
    """Return Dice's coefficient of bar i of some strokes with bar j of others moved down by *semitones*.

    Parameters
    ----------
    strokes, later : ndarray of float, shape (n, slots, 12)
        For example two lines of one score.
    semitones : int

    Returns
    -------
    ndarray of float, shape (n, n)
    """
    size = strokes.sum(axis=(1, 2))[:, None] + later.sum(axis=(1, 2))[None, :]
    moved = np.roll(later, -semitones, axis=2)
    return np.asarray(2.0 * _shared(_packed(strokes), _packed(moved)) / np.maximum(size, 1.0))


def dice_by_interval(strokes: Floats, most_semitones: int) -> Floats:
    """Return Dice's coefficient of bar i with bar j moved down by every interval in turn, pitches as written.

    Parameters
    ----------
    strokes : ndarray of float, shape (n, slots, 128)
    most_semitones : int
        Intervals from minus this to this.

    Returns
    -------
    ndarray of float, shape (2 * most_semitones + 1, n, n)
    """
    n_bars = len(strokes)
    bar, slot, pitch = np.nonzero(strokes)
    shared = np.zeros((2 * most_semitones + 1, n_bars, n_bars), np.float32)
    for place in np.unique(slot):  # every pair of strokes at one place of the bar counts for one interval
        here = slot == place
        interval = pitch[here][None, :] - pitch[here][:, None]
        first, second = np.nonzero(np.abs(interval) <= most_semitones)
        which = interval[first, second] + most_semitones
        np.add.at(shared, (which, bar[here][first], bar[here][second]), np.float32(2.0))
    shared /= _strokes_of_both(strokes)
    return shared.astype(np.float64)


def soft_dice(strokes: Floats, semitones: int) -> Floats:
    """Return the same with half credit for a neighbouring semitone, so that a change of mode costs little.

    Parameters
    ----------
    strokes : ndarray of float, shape (n, slots, 12)
    semitones : int

    Returns
    -------
    ndarray of float, shape (n, n)
        The mean of both directions.
    """
    struck = strokes > 0
    beside = np.roll(struck, 1, axis=2).astype(np.int8) + np.roll(struck, -1, axis=2)
    plain, both = _packed(struck), _packed((beside == 2) & ~struck)
    one = (beside == 1) & ~struck
    moved, moved_one, moved_both = (
        _packed(np.roll(sets, -semitones, axis=2)) for sets in (struck, one, (beside == 2) & ~struck)
    )
    here = _shared(_packed(one), moved) / 2 + _shared(both, moved)
    there = _shared(plain, moved_one) / 2 + _shared(plain, moved_both)
    return (2.0 * _shared(plain, moved) + here + there) / _strokes_of_both(strokes)


def diagonal_runs(alike: Floats, threshold: float, least_bars: int) -> list[tuple[int, int, int]]:
    """Return the runs of resembling bars above the diagonal as (first row, lag, length).

    Parameters
    ----------
    alike : ndarray of float, shape (n, n)
        ``alike[i, j]``: how much bar j resembles bar i.
    threshold : float
    least_bars : int
        Shortest run returned. One bar below the threshold inside a run is forgiven.
    """
    n_bars = len(alike)
    # Row i of the sheared matrix holds alike[i, i + 1], alike[i, i + 2] ...; diagonals become columns.
    sheared = np.zeros((n_bars + 2, max(n_bars - 1, 0)), bool)  # a row of False at both ends parts the diagonals
    for row in range(n_bars - 1):
        sheared[row + 1, : n_bars - 1 - row] = alike[row, row + 1 :] >= threshold
    strong = np.ascontiguousarray(sheared.T)
    strong[:, 1:-1] |= strong[:, :-2] & strong[:, 2:]
    edge = np.diff(strong.astype(np.int8), axis=1)
    start_lag, start = np.nonzero(edge == 1)
    _, stop = np.nonzero(edge == -1)
    length = stop - start
    long = length >= least_bars
    return list(zip(start[long].tolist(), (start_lag[long] + 1).tolist(), length[long].tolist(), strict=True))


def _packed(sets: Any) -> Words:
    """Return the rows as bits in 64-bit words."""
    bits = np.packbits(np.asarray(sets).reshape(len(sets), -1) > 0, axis=1)
    return np.pad(bits, ((0, 0), (0, -bits.shape[1] % 8))).view(np.uint64)


def _shared(one: Words, other: Words) -> Floats:
    """Return how many strokes each row of one shares with each row of the other."""
    total = np.zeros((len(one), len(other)), np.int32)
    for word in range(one.shape[1]):
        total += np.bitwise_count(one[:, word, None] & other[None, :, word])
    return total.astype(np.float64)


def _strokes_of_both(sets: Any) -> Floats:
    """Return the strokes of both rows together, 1 where there are none (so that silence resembles nothing)."""
    size = np.asarray(sets).reshape(len(sets), -1).sum(axis=1).astype(np.float64)
    return np.asarray(np.maximum(size[:, None] + size[None, :], 1.0))
