"""Where a tick lies: bar index and beat."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from reading.score import TICKS_PER_QUARTER

if TYPE_CHECKING:
    from reading.score import Score

__all__ = ["place_of"]


def place_of(score: Score, tick: int) -> tuple[int, Fraction]:
    """Return ``(bar index, beat)`` of a tick; beats count from 1 in the metre's lower figure, pickups to the bar line.

    Parameters
    ----------
    score : Score
    tick : int
    """
    index = min(score.bar_at(tick), max(1, len(score.bars)))
    if not len(score.bars):
        return 1, Fraction(1)
    bar = score.bars[index - 1]
    unit = Fraction(4 * TICKS_PER_QUARTER, int(bar["beat_type"]) or 4)
    late = unit * int(bar["beats"]) - int(bar["duration"]) if bar["pickup"] else Fraction(0)
    return index, 1 + (int(tick) - int(bar["onset"]) + max(late, Fraction(0))) / unit
