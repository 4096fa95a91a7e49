"""A passage: ranges of bars laid one after the other, with their place in seconds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reading.score import Score

__all__ = ["LEAD_S", "Clock", "Passage", "Stretch", "passage_of"]

LEAD_S = 0.25
"""Time before the first bar line, so that slow attacks can begin early and an upbeat breath is heard."""


class Clock(Protocol):
    """Musical time to seconds, as reading.Timeline gives it."""

    def seconds(self, ticks: Any) -> Any:
        """Return seconds from the start of the piece."""
        ...


@dataclass(frozen=True)
class Stretch:
    """One range of bars.

    Attributes
    ----------
    start, end : int
        Ticks.
    first_bar, last_bar : int
        Indices.
    at_s : float
        Second of the passage at which it begins (the first begins at LEAD_S).
    """

    start: int
    end: int
    first_bar: int
    last_bar: int
    at_s: float


@dataclass(frozen=True, eq=False)
class Passage:
    """Ranges of bars as they are heard one after the other.

    Attributes
    ----------
    score : Score
    clock : Clock
    stretches : tuple of Stretch
    end_s : float
        End of the last bar, in seconds of the passage.
    """

    score: Score
    clock: Clock
    stretches: tuple[Stretch, ...]
    end_s: float

    def seconds(self, stretch: Stretch, ticks: np.ndarray[Any, Any] | int) -> np.ndarray[Any, np.dtype[np.float64]]:
        """Return seconds of the passage for *ticks* inside *stretch*."""
        at = np.asarray(self.clock.seconds(np.asarray(ticks)), np.float64)
        return at - float(self.clock.seconds(stretch.start)) + stretch.at_s

    def bar_starts_s(self) -> tuple[tuple[int, float], ...]:
        """Return ``(bar index, second)`` of every bar in the order heard."""
        starts = []
        for stretch in self.stretches:
            rows = self.score.bars[stretch.first_bar - 1 : stretch.last_bar]
            seconds = self.seconds(stretch, rows["onset"])
            starts += [(int(row["index"]), float(at)) for row, at in zip(rows, seconds, strict=True)]
        return tuple(starts)


def passage_of(score: Score, bars: Sequence[int] | Sequence[tuple[int, int]], clock: Clock) -> Passage:
    """Return the passage of *bars*: one ``(first, last)`` or several, bar indices from 1, both included."""
    ranges: list[Any] = [bars] if isinstance(bars[0], int | np.integer) else list(bars)
    stretches: list[Stretch] = []
    at_s = LEAD_S
    for first, last in ranges:
        start, end = score.span(first, last)
        stretches.append(Stretch(start, end, first, last, at_s))
        at_s += float(clock.seconds(end)) - float(clock.seconds(start))
    return Passage(score, clock, tuple(stretches), at_s)
