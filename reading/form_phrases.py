"""What phrases say of form: bars from an upbeat of half a bar, thinner bars that close, repeats that begin."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from reading.features import attacks, has_half_upbeat

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reading.features import Bools, Floats, Ints
    from reading.repeats import Repeat
    from reading.score import Score

__all__ = ["closings", "from_upbeat", "repeat_starts"]

_BEFORE = 4
"""Bars whose mean a closing bar is thinner than."""
_LEAST, _MOST = 4, 16
"""Bars of a repeat that begins something, and beyond which it weighs no more."""
_FAR = 8
"""Bars from model to repeat, below which it is rather one phrase said twice."""
_MODEL = 0.8


def from_upbeat(score: Score) -> Score:
    """Return the score with its bars counted from half-bar to half-bar, where it begins with half a bar of upbeat.

    There every phrase begins in the middle of a bar, and half of each bar line's left side belongs to what comes after:
    a row then holds the second half of the bar before and the first half of its own. A shorter upbeat leaves most of
    the bar to what is ending.

    Parameters
    ----------
    score : Score
        The same object comes back where it begins otherwise.
    """
    if not has_half_upbeat(score):
        return score
    bars, notes = score.bars.copy(), score.notes.copy()
    half = int(bars["duration"][1]) // 2
    bars["onset"][1:] -= half
    bars["onset"][0] = min(bars["onset"][0], bars["onset"][1])
    bars["duration"][0] = bars["onset"][1] - bars["onset"][0]
    bars["duration"][-1] += half
    bars["pickup"][0] = True
    notes["bar"] = np.maximum(np.searchsorted(bars["onset"], notes["onset"], side="right"), 1)
    return replace(score, bars=bars, notes=notes)


def closings(score: Score, keep: Bools) -> Floats:
    """Return how much thinner the bar before each bar is than the four that end with it: most phrases end so.

    Parameters
    ----------
    score : Score
    keep : ndarray of bool, shape (n_bars,)
        Bars that count.

    Returns
    -------
    ndarray of float, shape (n_kept,)
        Share of attacks missing, 0 to 1; 0 for the first bar.
    """
    hit = attacks(score)
    moments = np.unique(np.stack([hit.bar, hit.onset]), axis=1)
    count = np.bincount(moments[0], minlength=len(keep))[keep].astype(np.float64)
    out = np.zeros(len(count))
    for row in range(1, len(count)):
        usual = float(count[max(0, row - _BEFORE) : row].mean())
        out[row] = max(0.0, 1 - count[row - 1] / usual) if usual else 0.0
    return out


def repeat_starts(repeats: Iterable[Repeat], bars: Ints) -> Floats:
    """Return how strongly each bar begins a repeat or its model; long ones and distant ones weigh more.

    Parameters
    ----------
    repeats : iterable of Repeat
    bars : ndarray of int, shape (n,)
        Indices of the bars that count.
    """
    best: dict[int, float] = {}
    for repeat in repeats:
        length = repeat.first[1] - repeat.first[0] + 1
        if length < _LEAST:
            continue
        weight = float(np.log2(1 + min(length, _MOST))) * min(1.0, (repeat.later[0] - repeat.first[0]) / _FAR)
        for bar, value in ((repeat.later[0], weight), (repeat.first[0], _MODEL * weight)):
            best[bar] = max(best.get(bar, 0.0), value)
    return np.array([best.get(bar, 0.0) for bar in bars.tolist()])
