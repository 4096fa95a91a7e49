"""Matching trials: two variants to compare openly, and an unknown that is one of them: which, the listener says.

Whoever hears no difference is right half of the time. The number of trials is fixed before the first one; a session
that was stopped early is reported as unfinished and is not judged, because stopping at a lucky count makes chance look
like hearing.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from typing import TYPE_CHECKING

from compare.listening.binomial import critical_number, holm, interval, power, tail

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["MatchingAnswer", "MatchingJudgement", "MatchingTrial", "judge_matching", "plan_matching", "power_in_words"]

ALPHA = 0.05


@dataclass(frozen=True)
class MatchingTrial:
    """One question.

    Attributes
    ----------
    number : int
        From 1.
    passage : str
    first, second : str
        Variants offered openly as "one" and "two"; which is which is drawn anew for every trial.
    hidden : str
        The variant that the unknown is.
    """

    number: int
    passage: str
    first: str
    second: str
    hidden: str


@dataclass(frozen=True)
class MatchingAnswer:
    """A listener's answer to one trial: the variant named, and how long it took."""

    listener: str
    trial: MatchingTrial
    answer: str
    seconds: float = 0.0

    @property
    def right(self) -> bool:
        """Whether the unknown was named."""
        return self.answer == self.trial.hidden


@dataclass(frozen=True)
class MatchingJudgement:
    """What the answers say.

    Attributes
    ----------
    trials, correct : int
        Over all listeners.
    p_value : float
        Probability of so many right answers or more if nobody heard a difference. The sum over listeners is exact for
        this question, however they differ, because all of them would guess with one half.
    interval : (float, float)
        Exact 95 % interval of the rate of right answers of these listeners.
    power : float
        Probability that this many trials would have shown a listener who is right 75 % of the time.
    listeners : tuple of (str, int, int, float)
        Name, trials, right answers, p value adjusted for the number of listeners (Holm).
    spread : float or None
        p value of "all listeners hear equally well"; None with one listener.
    finished : bool
    sentences : tuple of str
    """

    trials: int
    correct: int
    p_value: float
    interval: tuple[float, float]
    power: float
    listeners: tuple[tuple[str, int, int, float], ...]
    spread: float | None
    finished: bool
    sentences: tuple[str, ...]


def plan_matching(
    passages: Sequence[str], pair: tuple[str, str], trials: int, *, seed: int | None = None
) -> tuple[MatchingTrial, ...]:
    """Return the trials of one session; every draw is independent, so that nothing can be counted out.

    Parameters
    ----------
    passages : sequence of str
        Used in turn, in random order.
    pair : (str, str)
        The two variants.
    trials : int
        At least 1; 16 or more tell something.
    seed : int, optional
        For repeatable plans; by default the system's entropy.

    Raises
    ------
    ValueError
        Without passage, with one variant twice, or without a trial.
    """
    if not passages or pair[0] == pair[1] or trials < 1:
        msg = "matching trials need a passage, two different variants and at least one trial"
        raise ValueError(msg)
    dice = random.Random(seed) if seed is not None else random.SystemRandom()
    order: list[str] = []
    while len(order) < trials:
        order += dice.sample(list(passages), len(passages))
    plan = []
    for number in range(trials):
        first, second = pair if dice.random() < 0.5 else pair[::-1]
        hidden = first if dice.random() < 0.5 else second
        plan.append(MatchingTrial(number + 1, order[number], first, second, hidden))
    return tuple(plan)


def judge_matching(answers: Sequence[MatchingAnswer], *, planned: int | None = None) -> MatchingJudgement:
    """Return what the answers of one or several listeners say.

    Parameters
    ----------
    answers : sequence of MatchingAnswer
        At least one.
    planned : int, optional
        Trials every listener was to answer; fewer answers leave the session unfinished.

    Raises
    ------
    ValueError
        Without answers.
    """
    if not answers:
        msg = "there is no answer to judge"
        raise ValueError(msg)
    names = list(dict.fromkeys(answer.listener for answer in answers))
    counts = [
        (sum(1 for a in answers if a.listener == name), sum(a.right for a in answers if a.listener == name))
        for name in names
    ]
    adjusted = holm([tail(right, total) for total, right in counts])
    trials, correct = len(answers), sum(answer.right for answer in answers)
    finished = planned is None or all(total >= planned for total, _ in counts)
    listeners = tuple((name, *count, p) for name, count, p in zip(names, counts, adjusted, strict=True))
    spread = _spread(counts) if len(counts) > 1 else None
    p_value, bounds, able = tail(correct, trials), interval(correct, trials), power(trials, 0.75)
    sentences = _sentences(trials, correct, p_value, bounds, listeners, spread, finished)
    return MatchingJudgement(trials, correct, p_value, bounds, able, listeners, spread, finished, sentences)


def _spread(counts: Sequence[tuple[int, int]], *, draws: int = 4000) -> float:
    """P value of equal ability: dispersion of the counts among random deals of the same right and wrong answers."""
    import numpy as np

    totals, rights = np.array(counts).T
    rate = rights.sum() / totals.sum()

    def dispersion(correct: np.ndarray) -> np.ndarray:
        return np.asarray(((correct - rate * totals) ** 2 / totals).sum(axis=-1))

    dealt = np.random.default_rng(1).multivariate_hypergeometric(totals, int(rights.sum()), size=draws)
    return float((1 + np.sum(dispersion(dealt) >= dispersion(rights) - 1e-12)) / (draws + 1))


def _sentences(
    trials: int,
    correct: int,
    p_value: float,
    bounds: tuple[float, float],
    listeners: Sequence[tuple[str, int, int, float]],
    spread: float | None,
    finished: bool,
) -> tuple[str, ...]:
    """The judgement in words."""
    lines = [f"{correct} of {trials} answers are right."]
    if not finished:
        lines.append("The session was stopped before its last trial, so it is not judged: finish it, or begin anew.")
        return tuple(lines)
    lines.append(f"Who hears no difference does so well or better in {_percent(p_value)} of such sessions.")
    lines.append(f"The true rate of right answers lies between {_percent(bounds[0])} and {_percent(bounds[1])} (95 %).")
    if p_value > ALPHA:
        lines.append("That does not show that there is no difference. " + power_in_words(trials))
    if len(listeners) > 1:
        heard = [name for name, _, _, p in listeners if p <= ALPHA]
        lines.append(
            f"By themselves, {_listed(heard)} heard a difference." if heard else "No listener by themselves shows it."
        )
        if spread is not None and spread <= ALPHA:
            lines.append("The listeners differ more than chance allows: read the counts of each, not only the sum.")
    return tuple(lines)


def power_in_words(trials: int, true_rate: float = 0.75) -> str:
    """Return what a session of this length would miss, as a sentence."""
    needed = critical_number(trials, ALPHA)
    if needed is None:
        return f"{trials} trials are too few: even with all right, chance could not be ruled out."
    missed = 1.0 - power(trials, true_rate, ALPHA)
    return (
        f"With {trials} trials ({needed} right are needed) a listener who is right {_percent(true_rate)} of the time "
        f"would be missed in {_percent(missed)} of the sessions."
    )


def _percent(share: float) -> str:
    """Share in percent, as exact as it is worth."""
    value = 100.0 * share
    if 0.0 < value < 0.1:
        return "less than 0.1 %"
    return f"{value:.1f} %" if value < 10.0 else f"{value:.0f} %"


def _listed(names: Sequence[str]) -> str:
    """Names joined."""
    return ", ".join(names[:-1]) + f" and {names[-1]}" if len(names) > 1 else names[0]
