"""What the page itself says about form: double bars, repeat signs, headings of tempo, new metre, new key signature."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reading.features import Bools, Floats, Ints, first_endings
from reading.headings import names_tempo

if TYPE_CHECKING:
    from reading.score import Score

__all__ = ["Signs", "signs"]

WEIGHTS = {
    "double bar or repeat sign": 2.0,
    "new tempo": 1.0,
    "rehearsal mark": 2.0,
    "new key signature": 1.0,
    "new metre": 1.0,
}
PACE = 1.2
MOST = 2.0
"""Weights beyond this sum count no more."""


@dataclass(frozen=True, eq=False)
class Signs:
    """Signs at the start of each bar.

    Attributes
    ----------
    strength : ndarray of float, shape (n_bars,)
        0 to 1.
    words : tuple of tuple of str
        By bar, what stands there.
    """

    strength: Floats
    words: tuple[tuple[str, ...], ...]


def signs(score: Score) -> Signs:
    """Return what is printed at the start of each bar that divides the piece (the first bar has none).

    Parameters
    ----------
    score : Score
    """
    bars = score.bars
    found = {
        "double bar or repeat sign": _after_bar_line(score),
        "new tempo": _headings(score),
        "rehearsal mark": _rehearsals(score),
        "new key signature": _changes(bars["fifths"].astype(np.int64)),
        "new metre": _changes(4 * bars["beats"].astype(np.int64) * 64 // np.maximum(bars["beat_type"], 1)),
    }
    strength = np.sum([WEIGHTS[name] * there for name, there in found.items()], axis=0)
    strength[:1] = 0.0
    words = tuple(tuple(name for name, there in found.items() if there[row]) for row in range(len(bars)))
    return Signs(np.minimum(strength, MOST) / MOST, words)


def _after_bar_line(score: Score) -> Bools:
    """Say which bars follow a double bar or a repeat sign, or begin a repeated passage.

    A second ending follows the sign of the first, yet begins nothing.
    """
    bars = score.bars
    before = (bars["double_bar"] | (bars["repeat_end"] > 0)) & ~first_endings(score)
    out = np.array(bars["repeat_start"], bool)
    out[1:] |= before[:-1]
    out[bars["volta"] > 0] = False
    out[:1] = False
    return out


def _headings(score: Score) -> Bools:
    """Say which bars carry a heading of tempo in their first half, or a metronome figure a fifth away from the last."""
    out = np.zeros(len(score.bars), bool)
    figures = {mark.onset for mark in score.marks_of("tempo")}
    pace = 0.0
    for mark in score.marks_of("tempo", "text"):
        row = score.bar_at(mark.onset) - 1
        if mark.kind == "tempo":
            now = _figure(mark.value)
            heading = pace > 0 and now > 0 and not 1 / PACE < now / pace < PACE
            pace = now or pace
        else:
            heading = names_tempo(mark.value, figure=mark.onset in figures)
        bar = score.bars[row]
        out[row] |= heading and 2 * (mark.onset - bar["onset"]) < bar["duration"]
    out[:1] = False
    return out


def _figure(text: str) -> float:
    """Return a metronome figure, 0 where it is none."""
    try:
        return float(text)
    except ValueError:
        return 0.0


def _rehearsals(score: Score) -> Bools:
    """Say which bars carry a rehearsal mark."""
    out = np.zeros(len(score.bars), bool)
    out[[score.bar_at(mark.onset) - 1 for mark in score.marks_of("rehearsal")]] = True
    out[:1] = False
    return out


def _changes(column: Ints) -> Bools:
    """Say which bars differ from the bar before."""
    out = np.zeros(len(column), bool)
    out[1:] = column[1:] != column[:-1]
    return out
