"""The choice among lines over the whole piece: best path with costs for changing, and how sure it is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from reading.layers_lines import Line
    from reading.layers_texture import FloatArray, IntArray

__all__ = ["best_path", "change_costs", "posterior"]

_WITHIN = 0.5  # cost of changing to another line of the same staff
_BETWEEN = 2.0  # cost of changing staff
_TEMPERATURE = 2.0  # scores and costs are divided by this before they are read as log-probabilities


def change_costs(lines: list[Line]) -> FloatArray:
    """Return the cost of going from line to line, and to and from "nobody leads", shape (lines + 1, lines + 1)."""
    staff = np.asarray([*(line.staff for line in lines), -1])
    costs = np.where(staff[:, None] == staff[None, :], _WITHIN, _BETWEEN)
    np.fill_diagonal(costs, 0.0)
    return costs


def best_path(scores: FloatArray, costs: FloatArray) -> IntArray:
    """Return the line chosen in each bar: the path with the largest sum of scores less costs.

    Parameters
    ----------
    scores : ndarray of float64, shape (bars, lines)
    costs : ndarray of float64, shape (lines, lines)

    Returns
    -------
    ndarray of int64, shape (bars,)
    """
    bars, count = scores.shape
    back = np.zeros((bars, count), dtype=np.int64)
    total = scores[0].copy()
    for bar in range(1, bars):
        arrived = total[:, None] - costs
        back[bar] = arrived.argmax(axis=0)
        total = arrived.max(axis=0) + scores[bar]
    path = np.zeros(bars, dtype=np.int64)
    path[-1] = int(total.argmax())
    for bar in range(bars - 1, 0, -1):
        path[bar - 1] = back[bar, path[bar]]
    return path


def posterior(scores: FloatArray, costs: FloatArray) -> FloatArray:
    """Return the probability of each line in each bar given the whole piece (forward and backward sums).

    Parameters
    ----------
    scores : ndarray of float64, shape (bars, lines)
    costs : ndarray of float64, shape (lines, lines)

    Returns
    -------
    ndarray of float64, shape (bars, lines)
        Each row sums to 1.
    """
    step, seen = np.exp(-costs / _TEMPERATURE), scores / _TEMPERATURE
    seen = np.exp(seen - seen.max(axis=1, keepdims=True))
    forward, backward = seen.copy(), np.ones_like(seen)
    for bar in range(1, len(seen)):
        ahead = (forward[bar - 1] @ step) * seen[bar]
        forward[bar] = ahead / ahead.sum()
    for bar in range(len(seen) - 2, -1, -1):
        behind = step @ (seen[bar + 1] * backward[bar + 1])
        backward[bar] = behind / behind.sum()
    both = forward * backward
    return np.asarray(both / both.sum(axis=1, keepdims=True))
