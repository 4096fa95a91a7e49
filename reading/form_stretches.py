"""Very long scores, cut into stretches: comparing every bar with every other costs the square of the bars."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reading.score import Score

__all__ = ["MOST_BARS", "stretches"]

MOST_BARS = 1000
"""Longer than nearly every movement; the matrices of one stretch then stay near 200 MB."""


def stretches(score: Score) -> Iterator[tuple[int, Score]]:
    """Yield (bars before it, stretch) so that no stretch is longer than ``MOST_BARS``; a shorter score is its own.

    Marks and notes keep their own times; note ids are numbered anew within a stretch.

    Parameters
    ----------
    score : Score
    """
    n_bars = len(score.bars)
    if n_bars <= MOST_BARS:
        yield 0, score
        return
    edges = np.linspace(0, n_bars, -(-n_bars // MOST_BARS) + 1).astype(int)
    for first, last in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        start, end = score.span(first + 1, last)
        bars = score.bars[first:last].copy()
        bars["index"] -= first
        inside = (score.notes["onset"] >= start) & (score.notes["onset"] < end)
        notes = score.notes[inside].copy()
        notes["bar"] -= first
        notes["id"] = np.arange(len(notes))
        marks = tuple(mark for mark in score.marks if start <= mark.onset < end)
        numbers = score.bar_numbers[first:last]
        yield first, replace(score, notes=notes, bars=bars, bar_numbers=numbers, marks=marks)
