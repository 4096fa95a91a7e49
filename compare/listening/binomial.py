"""Exact statistics of right and wrong answers.

All sums are exact to double precision, no approximation by the normal distribution: listening tests are short.

References
----------
Clopper & Pearson 1934, *Biometrika* 26:404 (interval). Holm 1979, *Scand. J. Statist.* 6:65 (several tests at once).
"""

from __future__ import annotations

from functools import lru_cache
from math import exp, lgamma, log, log1p
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

__all__ = ["critical_number", "holm", "interval", "power", "tail", "trials_needed"]

_ROUNDS = 60


@lru_cache(maxsize=4096)
def _at_least(correct: int, trials: int, chance: float) -> float:
    """Probability of *correct* or more right answers."""
    if correct <= 0:
        return 1.0
    if correct > trials or chance <= 0.0:
        return 0.0
    if chance >= 1.0:
        return 1.0
    whole, yes, no = lgamma(trials + 1.0), log(chance), log1p(-chance)
    terms = (
        exp(whole - lgamma(k + 1.0) - lgamma(trials - k + 1.0) + k * yes + (trials - k) * no)
        for k in range(correct, trials + 1)
    )
    return min(1.0, sum(terms))


def tail(correct: int, trials: int, chance: float = 0.5) -> float:
    """Return the probability of *correct* or more right answers by guessing (one-sided p value).

    Parameters
    ----------
    correct, trials : int
        0 ≤ correct ≤ trials.
    chance : float
        Probability of a right guess.

    Raises
    ------
    ValueError
        For impossible numbers.
    """
    if not 0 <= correct <= trials:
        msg = f"{correct} right answers of {trials} is impossible"
        raise ValueError(msg)
    return _at_least(correct, trials, chance)


def critical_number(trials: int, alpha: float = 0.05, chance: float = 0.5) -> int | None:
    """Return the least number of right answers that guessing reaches with probability *alpha* or less.

    None where not even all right would do.
    """
    for correct in range(trials + 1):
        if _at_least(correct, trials, chance) <= alpha:
            return correct
    return None


def power(trials: int, true_rate: float, alpha: float = 0.05, chance: float = 0.5) -> float:
    """Return the probability that a listener who is right with *true_rate* reaches the critical number."""
    needed = critical_number(trials, alpha, chance)
    return 0.0 if needed is None else _at_least(needed, trials, true_rate)


def trials_needed(true_rate: float, wanted: float = 0.8, alpha: float = 0.05, *, most: int = 500) -> int | None:
    """Return the least number of trials from which on the power stays at *wanted* or more; None beyond *most*.

    Because the critical number moves in steps, power falls and rises again with every trial added; the number returned
    is the first that reaches *wanted*.
    """
    return next((trials for trials in range(1, most + 1) if power(trials, true_rate, alpha) >= wanted), None)


def interval(correct: int, trials: int, level: float = 0.95) -> tuple[float, float]:
    """Return the exact confidence interval of the true rate of right answers (Clopper–Pearson)."""
    tail(correct, trials)
    rest = (1.0 - level) / 2.0
    low = 0.0 if correct == 0 else _solve(lambda p: _at_least(correct, trials, p) - rest)
    high = 1.0 if correct == trials else _solve(lambda p: rest - (1.0 - _at_least(correct + 1, trials, p)))
    return low, high


def _solve(rising: Callable[[float], float]) -> float:
    """Zero of a rising function on 0 to 1 by halving."""
    low, high = 0.0, 1.0
    for _ in range(_ROUNDS):
        middle = (low + high) / 2.0
        if rising(middle) > 0.0:
            high = middle
        else:
            low = middle
    return (low + high) / 2.0


def holm(p_values: Sequence[float]) -> list[float]:
    """Return p values adjusted for being several, in the order given."""
    order = sorted(range(len(p_values)), key=lambda row: p_values[row])
    adjusted = [0.0] * len(p_values)
    highest = 0.0
    for place, row in enumerate(order):
        highest = max(highest, min(1.0, (len(p_values) - place) * p_values[row]))
        adjusted[row] = highest
    return adjusted
