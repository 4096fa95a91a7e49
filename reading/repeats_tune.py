"""A tune that comes back over other music: the highest lines alone, in any octave and in either hand.

Where accompaniment and voicing are new, whole bars have little in common. The tune is then looked for as a line: the
highest notes of each hand, and of the parts beside the piano (a sung line).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from reading.features import LOWER, OTHER, UPPER, hands, onset_sets, played
from reading.repeats_alike import diagonal_runs, dice_between
from reading.repeats_runs import CHANCE, LEAST_BARS, Run, levels, sure_level

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reading.features import Bools, Floats
    from reading.score import Score

__all__ = ["Tune", "drawn_out", "tune_runs"]

_ALIKE = 0.65
_CHANCE = CHANCE / 10
"""A line of few notes is compared with several others, so more is asked of it than of whole bars."""
_DRAWN = 2
"""Bars of tune by which a repeat is drawn out at least: a single one may be chance."""
_LEAST_NOTES = 2
"""Notes in a bar of a tune, on the average of a run."""
_LEAST_PITCHES = 4
"""Pitch classes of a tune: fewer are a call or a figure."""


@dataclass(frozen=True)
class Tune:
    """Bars whose tune comes back: mean likeness, and octaves by which it lies higher than the interval says."""

    run: Run
    value: float
    octaves: int


def tune_runs(score: Score, keep: Bools) -> list[Tune]:
    """Return the runs of bars whose tune alone comes back.

    Parameters
    ----------
    score : Score
    keep : ndarray of bool, shape (n_bars,)
        Bars that count.
    """
    side = hands(score)
    chosen = [_highest(score, side == hand) for hand in (UPPER, LOWER, OTHER) if hand != OTHER or (side == OTHER).any()]
    lines = [onset_sets(score, chroma=True, chosen=line)[keep] for line in chosen]
    height = [_heights(score, line)[keep] for line in chosen]
    out = []
    for here, there in product(range(len(lines)), repeat=2):
        if here == there == 1:
            continue  # the highest notes of the left hand over again are its figure
        for semitones in range(12):
            for run, value in _runs(lines[here], lines[there], semitones):
                rise = np.nanmean(height[there][run.rows + run.lag]) - np.nanmean(height[here][run.rows])
                upward = run.semitones if run.semitones <= 6 else run.semitones - 12
                out.append(Tune(run, value, round((float(rise) - upward) / 12)))
    return out


def drawn_out(run: Run, tunes: Iterable[Tune]) -> Run:
    """Return the run with the bars just before and after it in which its tune comes back at the same interval."""
    first, last = run.start, run.start + run.length
    for tune in tunes:
        more = tune.run
        meets = more.start <= last and more.start + more.length >= first
        if meets and (more.lag, more.semitones) == (run.lag, run.semitones):
            first = more.start if more.start <= first - _DRAWN else first
            last = more.start + more.length if more.start + more.length >= last + _DRAWN else last
    return Run(first, run.lag, last - first, run.semitones)


def _heights(score: Score, line: Bools) -> Floats:
    """Return the mean pitch of a line by bar, not a number where it is silent."""
    row = score.notes["bar"][line].astype(np.int64) - 1
    count = np.bincount(row, minlength=len(score.bars))
    total = np.bincount(row, weights=score.notes["pitch"][line], minlength=len(score.bars))
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _runs(one: Floats, other: Floats, semitones: int) -> list[tuple[Run, float]]:
    """Return the runs at one transposition of a line that was in *one* and is in *other*."""
    matrix = dice_between(one, other, semitones)
    found = []
    steps = None
    for start, lag, length in diagonal_runs(matrix, _ALIKE, LEAST_BARS):
        run = Run(start, lag, length, semitones)
        along = matrix[run.rows, run.rows + lag]
        steps = levels(matrix, _ALIKE) if steps is None else steps
        model = one[run.rows]
        tuneful = model.sum() >= _LEAST_NOTES * length and np.count_nonzero(model.any(axis=(0, 1))) >= _LEAST_PITCHES
        if lag >= LEAST_BARS and tuneful and sure_level(len(matrix), steps, along, LEAST_BARS, _CHANCE):
            found.append((run, float(along.mean())))
    return found


def _highest(score: Score, mine: Bools) -> Bools:
    """Return which of some notes are the highest that sound when they are struck."""
    notes = score.notes
    ids = np.flatnonzero(mine & played(score))
    ids = ids[np.lexsort((-notes["pitch"][ids].astype(np.int64), notes["onset"][ids]))]
    out = np.zeros(len(notes), bool)
    before, end, top = -1, -1, -1
    rows = zip(ids.tolist(), *(notes[name][ids].tolist() for name in ("onset", "duration", "pitch")), strict=True)
    for row, onset, duration, pitch in rows:
        if onset == before:
            continue
        before = onset
        if onset < end and top > pitch:
            continue
        out[row], end, top = True, onset + duration, pitch
    return out
