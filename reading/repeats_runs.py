"""Runs of like bars: longer than chance explains, and parted where the interval changes.

A return often shifts register for a few bars and goes on; that does not part it. Where it goes on at another interval,
as recapitulations do, each part is a repeat of its own, and bars between that resemble nothing belong to neither.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from reading.repeats_alike import diagonal_runs

if TYPE_CHECKING:
    from reading.features import Floats, Ints

__all__ = ["LEAST_BARS", "LIKE", "Run", "by_chance", "levels", "parted", "runs", "sure_level"]

LIKE = 0.6
"""Bars at least this alike belong to a run: shuffling the bars of whole movements then leaves no run of four."""
LEAST_BARS = 4
CHANCE = 0.003
"""Runs expected by chance in the whole piece, above which a run is not reported."""
LEVEL_STEP = 0.1
LOOK_AHEAD = 3
"""Bars averaged where a run is continued past its surest part."""
CHANGING = 1.0
"""What a change of interval costs, in bars alike: fewer than three bars at another interval are a shift of register."""
NOTHING = 0.5
"""Likeness below which a passage rather resembles nothing."""


@dataclass(frozen=True)
class Run:
    """Bars that resemble earlier ones: first row of the model, distance, length, semitones (0 to 11)."""

    start: int
    lag: int
    length: int
    semitones: int

    @property
    def rows(self) -> Ints:
        """Rows of the model."""
        return np.arange(self.start, self.start + self.length)


def runs(alike: Floats, like: float, least_bars: int) -> list[Run]:
    """Return every run that chance does not explain, continued at both ends, parted where its interval changes.

    Parameters
    ----------
    alike : ndarray of float, shape (12, n, n)
        Likeness of bars at each transposition.
    like : float
        Likeness from which two bars belong to a run.
    least_bars : int
    """
    best = alike.max(axis=0)
    spans = set()
    for matrix in alike:
        steps = levels(matrix, like)
        for start, lag, length in diagonal_runs(matrix, like, least_bars):
            along = matrix.diagonal(lag)[start : start + length]
            level = sure_level(len(matrix), steps, along, least_bars) if lag > 1 else 0.0
            if level:
                first, last = _continued(best.diagonal(lag), start, start + length, level)
                spans.add((first, lag, last - first))
    return [
        Run(start + offset, lag, size, semitones)
        for start, lag, length in sorted(spans)
        for offset, size, semitones in parted(_along(alike, start, lag, length), least_bars)
    ]


def _along(alike: Floats, start: int, lag: int, length: int) -> Floats:
    """Return the likeness of each bar of a run at each transposition."""
    rows = np.arange(start, start + length)
    return np.asarray(alike[:, rows, rows + lag])


def parted(along: Floats, least_bars: int = LEAST_BARS) -> list[tuple[int, int, int]]:
    """Return (first row, length, semitones) of the parts of a run that keep to one interval.

    Parameters
    ----------
    along : ndarray of float, shape (12, n)
        Likeness of each bar at each transposition.
    least_bars : int
        A shorter part belongs to a neighbour: the longer.
    """
    path = _path(along)
    edges = [0, *(np.flatnonzero(np.diff(path)) + 1).tolist(), len(path)]
    parts = [[first, last, int(path[first])] for first, last in pairwise(edges)]
    while len(parts) > 1 and min(last - first for first, last, _ in parts) < least_bars:
        short = min(range(len(parts)), key=lambda at: parts[at][1] - parts[at][0])
        beside = [at for at in (short - 1, short + 1) if 0 <= at < len(parts)]
        into = max(beside, key=lambda at: (parts[at][2] < len(along), parts[at][1] - parts[at][0]))
        parts[into][:2] = [min(parts[into][0], parts[short][0]), max(parts[into][1], parts[short][1])]
        del parts[short]
        parts = _joined(parts)
    return [(first, last - first, kind) for first, last, kind in parts if kind < len(along)]


def _joined(parts: list[list[int]]) -> list[list[int]]:
    """Return the parts with neighbours of one interval made one."""
    out = [parts[0]]
    for part in parts[1:]:
        if part[2] == out[-1][2]:
            out[-1][1] = part[1]
        else:
            out.append(part)
    return out


def _path(along: Floats) -> Ints:
    """Return the interval of each bar (12: nothing alike) on the best path, where a change costs ``CHANGING``."""
    gain = np.vstack([along, np.full(along.shape[1], NOTHING)])
    total, came = gain[:, 0].copy(), np.zeros(gain.shape, np.int64)
    states = np.arange(len(gain))
    for bar in range(1, gain.shape[1]):
        top = int(total.argmax())
        came[:, bar] = np.where(total >= total[top] - CHANGING, states, top)
        total = total[came[:, bar]] - CHANGING * (came[:, bar] != states) + gain[:, bar]
    path = np.zeros(gain.shape[1], np.int64)
    path[-1] = total.argmax()
    for bar in range(gain.shape[1] - 1, 0, -1):
        path[bar - 1] = came[path[bar], bar]
    return path


def levels(matrix: Floats, like: float) -> list[tuple[float, int]]:
    """Return levels of likeness from *like* up, each with the pairs of bars that reach it (neighbours left out)."""
    upper = matrix[np.triu_indices(len(matrix), 2)]
    return [(float(level), int(np.count_nonzero(upper >= level))) for level in np.arange(like, 1.0, LEVEL_STEP)]


def sure_level(
    n_bars: int, steps: list[tuple[float, int]], along: Floats, least_bars: int, chance: float = CHANCE
) -> float:
    """Return the lowest likeness at which a run is too long for chance (0 for none)."""
    for level, pairs in steps:
        strong = int(np.count_nonzero(along >= level))
        if strong >= least_bars and by_chance(n_bars, pairs, strong) * n_bars / 4 <= chance:
            return level
    return 0.0


def by_chance(n_bars: int, pairs: int, length: int) -> float:
    """Return how many runs of *length* n bars in random order would hold at two given distances.

    Where all bars resemble each other (a drone, one rhythm throughout) four alike in a row mean nothing. With a share
    p of all pairs of bars alike, a distance between bars holds about n * p ** length runs. The run's own pairs do not
    count as a reason to distrust it.
    """
    others = max(pairs - length, 0) / max(n_bars * (n_bars - 1) / 2, 1.0)
    return float(2 * n_bars * others**length)


def _continued(along: Floats, first: int, last: int, like: float) -> tuple[int, int]:
    """Return the run (first row, row after the last) drawn out while the next bars resemble at any transposition.

    A return often shifts register for a few bars; asking one transposition throughout would cut it there.
    """
    while last < len(along) and along[last : last + LOOK_AHEAD].mean() >= like:
        last += 1
    while first > 0 and along[max(first - LOOK_AHEAD, 0) : first].mean() >= like:
        first -= 1
    while along[last - 1] < like:
        last -= 1
    while along[first] < like:
        first += 1
    return first, last
