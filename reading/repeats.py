"""Passages that come back: literally, varied, transposed, or in the other mode.

Two bars are compared by what is struck where (octaves folded together), at each of the twelve transpositions. A repeat
is a run of consecutive bars that resemble an earlier run at *one* transposition; a single odd bar inside is forgiven.
Octave shifts and new voicings therefore do not hide a repeat, and the interval of a transposition is read off.

The measure of resemblance is Dice's coefficient: twice the shared strokes over all strokes of both bars.

References
----------
L. R. Dice, Measures of the amount of ecologic association between species, *Ecology* 26 (1945), 297-302.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reading.features import Bools, Floats, Ints, first_endings, onset_sets

if TYPE_CHECKING:
    from reading.score import Score

__all__ = ["Repeat", "diagonal_runs", "dice", "find", "transposed_dice"]

LIKE = 0.6
"""Bars at least this alike belong to a run: shuffling the bars of whole movements then leaves no run of four."""
LEAST_BARS = 4
LITERAL = 0.9
EXACT = 0.8


@dataclass(frozen=True)
class Repeat:
    """A passage that takes up an earlier one.

    Attributes
    ----------
    first, later : tuple of int
        First and last bar index (from 1, both included) of the model and of its return.
    kind : str
        ``literal``, ``varied``, ``transposed`` or ``modal`` (in the other mode).
    semitones : int
        Transposition of the return, -5 to 6; octaves are not counted.
    similarity : float
        Mean resemblance of the bars, 0 to 1.
    """

    first: tuple[int, int]
    later: tuple[int, int]
    kind: str
    semitones: int
    similarity: float


def find(score: Score, *, like: float = LIKE, least_bars: int = LEAST_BARS) -> tuple[Repeat, ...]:
    """Return the repeats of a piece, the longest and closest first.

    Parameters
    ----------
    score : Score
    like : float
        Resemblance (0 to 1) from which two bars belong to a run.
    least_bars : int
        Shortest run reported.

    Notes
    -----
    First endings are left out: they restart an opening already heard.
    """
    keep = ~first_endings(score)
    index = np.flatnonzero(keep) + 1
    strokes = onset_sets(score, chroma=True)[keep]
    exact = onset_sets(score)[keep]
    same = dice(exact.reshape(len(exact), -1))
    found: list[tuple[float, Repeat]] = []
    for semitones in range(12):
        alike = transposed_dice(strokes, semitones)
        for start, lag, length in diagonal_runs(alike, like, least_bars):
            rows = np.arange(start, start + length)
            value = float(alike[rows, rows + lag].mean())
            literal = float(same[rows, rows + lag].mean())
            found.append((length * value, _repeat(index, start, lag, length, semitones, value, literal)))
    found.sort(key=lambda pair: (-pair[0], pair[1].later, pair[1].first))
    return _without_echoes([repeat for _, repeat in found])


def dice(sets: Floats) -> Floats:
    """Return Dice's coefficient between all rows.

    Parameters
    ----------
    sets : ndarray of float, shape (n, d)
        0 or 1; a row of zeros (silence) resembles nothing.

    Returns
    -------
    ndarray of float, shape (n, n)
    """
    flat = sets[:, sets.any(axis=0)].astype(np.float32)
    size = flat.sum(axis=1)
    total = size[:, None] + size[None, :]
    return np.asarray(2.0 * (flat @ flat.T) / np.where(total > 0, total, 1.0), np.float64)


def transposed_dice(strokes: Floats, semitones: int) -> Floats:
    """Return Dice's coefficient of bar i with bar j moved down by *semitones*.

    Parameters
    ----------
    strokes : ndarray of float, shape (n, slots, width)
        From :func:`reading.features.onset_sets`; with 12 columns (octaves folded) the move wraps round, otherwise what
        leaves the columns is lost, so leave room for it.
    semitones : int

    Returns
    -------
    ndarray of float, shape (n, n)
    """
    n_bars, _, width = strokes.shape
    moved = np.roll(strokes, -semitones, axis=2)
    if width != 12 and semitones:
        moved[:, :, slice(width - semitones, None) if semitones > 0 else slice(None, -semitones)] = 0.0
    flat, shifted = (sets.reshape(n_bars, -1).astype(np.float32) for sets in (strokes, moved))
    size = flat.sum(axis=1)
    total = size[:, None] + size[None, :]
    return np.asarray(2.0 * (flat @ shifted.T) / np.where(total > 0, total, 1.0), np.float64)


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
    lag, row = np.mgrid[1:n_bars, 0:n_bars]
    inside = row + lag < n_bars
    strong = np.zeros((max(n_bars - 1, 0), n_bars + 2), bool)  # a column of False at both ends parts the diagonals
    strong[:, 1:-1][inside] = alike[row[inside], (row + lag)[inside]] >= threshold
    strong[:, 1:-1] |= strong[:, :-2] & strong[:, 2:]
    edge = np.diff(strong.astype(np.int8), axis=1)
    start_lag, start = np.nonzero(edge == 1)
    _, stop = np.nonzero(edge == -1)
    length = stop - start
    long = length >= least_bars
    return list(zip(start[long].tolist(), (start_lag[long] + 1).tolist(), length[long].tolist(), strict=True))


def _repeat(index: Ints, start: int, lag: int, length: int, semitones: int, value: float, literal: float) -> Repeat:
    """Return the run as a repeat with its kind; overlapping runs are cut so that model and return do not share bars."""
    length = min(length, lag)
    first = (int(index[start]), int(index[start + length - 1]))
    later = (int(index[start + lag]), int(index[start + lag + length - 1]))
    signed = semitones if semitones <= 6 else semitones - 12
    if semitones and value >= EXACT:
        kind = "transposed"
    elif not semitones and literal >= LITERAL:
        kind = "literal"
    else:
        kind = "varied"
    return Repeat(first, later, kind, signed, round(value, 3))


def _covered(bars: tuple[int, int], by: Bools) -> float:
    """Return the share of the bars already covered."""
    return float(by[bars[0] : bars[1] + 1].mean())


def _without_echoes(repeats: list[Repeat]) -> tuple[Repeat, ...]:
    """Keep the best account of each passage: drop a repeat whose return is already explained by stronger ones."""
    if not repeats:
        return ()
    seen = np.zeros(max(repeat.later[1] for repeat in repeats) + 1, bool)
    kept = []
    for repeat in repeats:
        if _covered(repeat.later, seen) < 0.5:
            kept.append(repeat)
            seen[repeat.later[0] : repeat.later[1] + 1] = True
    return tuple(kept)
