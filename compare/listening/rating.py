"""Rating with a hidden reference: several variants side by side on a scale from 0 to 100, their names hidden.

After ideas of ITU-R BS.1534-3 (several stimuli with hidden reference and anchor) and BS.1116-3 (hidden reference,
screening of listeners): one passage and one question per trial, everything in random order, the reference once openly
and once hidden among the others, a low-passed anchor so that the lower end of the scale is used, and listeners who
cannot find the reference left out by a rule fixed beforehand. It is no test *to* those recommendations: variants of an
orchestration are not impairments of a reference, and the panel is a class or a desk partner.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from compare.listening.binomial import holm
from compare.transforms import irfft, rfft

if TYPE_CHECKING:
    from collections.abc import Sequence

    from compare.scales import Floats

__all__ = [
    "ANCHOR",
    "FADE_S",
    "LONGEST_EXCERPT_S",
    "REFERENCE",
    "SHORTEST_LOOP_S",
    "Rating",
    "RatingJudgement",
    "RatingTrial",
    "anchor",
    "judge_ratings",
    "plan_ratings",
]

REFERENCE, ANCHOR = "hidden reference", "anchor"
LONGEST_EXCERPT_S = 12.0
"""An excerpt should be about 10 s and no longer than this (BS.1534-3)."""
SHORTEST_LOOP_S = 0.5
"""The shortest loop a listener may set (BS.1534-3)."""
FADE_S = 0.005
"""Fade out and in when switching; never both sounding at once (BS.1534-3)."""
_MOST = 12
_REFERENCE_MIN, _SHARE = 90.0, 0.15
_ALPHA = 0.05
_EXACT = 12


@dataclass(frozen=True)
class RatingTrial:
    """One passage with what is hidden behind each letter.

    Attributes
    ----------
    number : int
    passage, question : str
        One attribute per trial: "how well does the tune come through?"
    reference : str
        The variant played openly.
    behind : tuple of str
        Variants in the order of the letters A, B, C …; ``hidden reference`` and ``anchor`` among them.
    """

    number: int
    passage: str
    question: str
    reference: str
    behind: tuple[str, ...]


@dataclass(frozen=True)
class Rating:
    """One listener's mark for what stood behind one letter, 0 to 100."""

    listener: str
    passage: str
    variant: str
    mark: float


@dataclass(frozen=True)
class RatingJudgement:
    """What the ratings say.

    Attributes
    ----------
    listeners : tuple of str
        Whose ratings count.
    left_out : tuple of (str, str)
        Whose do not, and why.
    variants : tuple of (str, float, float, float, float)
        Name, median, mean, and the 95 % interval of the mean over listeners (Student), the highest mean first.
    pairs : tuple of (str, str, float, float)
        Two variants, mean difference over listeners, p value (sign-flip test over listeners, Holm).
    sentences : tuple of str
    """

    listeners: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]
    variants: tuple[tuple[str, float, float, float, float], ...]
    pairs: tuple[tuple[str, str, float, float], ...]
    sentences: tuple[str, ...]


def plan_ratings(
    passages: Sequence[str], variants: Sequence[str], reference: str, question: str, *, seed: int | None = None
) -> tuple[RatingTrial, ...]:
    """Return one trial per passage, passages and letters in random order.

    Parameters
    ----------
    passages, variants : sequence of str
        At most ten variants besides the reference.
    reference : str
        The variant played openly, and once more hidden.
    question : str
    seed : int, optional
        For repeatable plans; by default the system's entropy.

    Raises
    ------
    ValueError
        Without passage, with fewer than one or more than ten other variants, or without question.
    """
    others = [variant for variant in variants if variant != reference]
    if not passages or not others or not question.strip() or len(others) + 2 > _MOST:
        msg = f"a rating needs a passage, a question, and 1 to {_MOST - 2} variants besides the reference"
        raise ValueError(msg)
    dice = random.Random(seed) if seed is not None else random.SystemRandom()
    hidden = [*others, REFERENCE, ANCHOR]
    order = dice.sample(list(passages), len(passages))
    return tuple(
        RatingTrial(number + 1, passage, question, reference, tuple(dice.sample(hidden, len(hidden))))
        for number, passage in enumerate(order)
    )


def anchor(
    samples: np.ndarray[Any, np.dtype[np.float32]], sample_rate_hz: int
) -> np.ndarray[Any, np.dtype[np.float32]]:
    """Return the low anchor: the sound without anything above 3.5 kHz.

    The mask of BS.1534-3: flat within ±0.1 dB to 3.5 kHz, at least 25 dB down at 4 kHz and 50 dB at 4.5 kHz.

    Parameters
    ----------
    samples : ndarray, float32, shape (n, channels)
    sample_rate_hz : int
    """
    pad = sample_rate_hz // 20
    padded = np.pad(samples, ((pad, pad), (0, 0)))
    hz = np.fft.rfftfreq(len(padded), 1.0 / sample_rate_hz)
    gain = 10.0 ** (np.interp(hz, (3520.0, 3950.0, 4450.0), (0.0, -30.0, -60.0)) / 20.0)
    gain[hz > 5000.0] = 0.0
    kept = irfft(rfft(padded.T) * gain, len(padded)).T
    return kept[pad : pad + len(samples)].astype(np.float32)


def judge_ratings(ratings: Sequence[Rating]) -> RatingJudgement:
    """Return what the ratings of several listeners say, after screening.

    A listener is left out who marks the hidden reference below 90 in more than 15 % of the passages (BS.1534-3,
    post-screening).

    Parameters
    ----------
    ratings : sequence of Rating
        At least one.

    Raises
    ------
    ValueError
        Without ratings.
    """
    if not ratings:
        msg = "there is no rating to judge"
        raise ValueError(msg)
    names = list(dict.fromkeys(rating.listener for rating in ratings))
    left_out = tuple((name, reason) for name in names if (reason := _screened(name, ratings)))
    kept = [name for name in names if name not in dict(left_out)]
    variants = list(dict.fromkeys(rating.variant for rating in ratings))
    table = _means([rating for rating in ratings if rating.listener in kept], kept, variants)
    described = [_described(name, table[:, row]) for row, name in enumerate(variants)] if kept else []
    described.sort(key=lambda line: -line[2])
    pairs = _pairs(table, variants) if len(kept) > 1 else ()
    sentences = _sentences(kept, left_out, pairs)
    return RatingJudgement(tuple(kept), left_out, tuple(described), pairs, sentences)


def _screened(name: str, ratings: Sequence[Rating]) -> str:
    """Why a listener is left out, or nothing."""
    marks = [rating.mark for rating in ratings if rating.listener == name and rating.variant == REFERENCE]
    low = sum(mark < _REFERENCE_MIN for mark in marks)
    if marks and low > _SHARE * len(marks):
        return f"marked the hidden reference below {_REFERENCE_MIN:.0f} in {low} of {len(marks)} passages"
    return ""


def _means(ratings: Sequence[Rating], listeners: Sequence[str], variants: Sequence[str]) -> Floats:
    """Mean mark of every listener for every variant over the passages, shape (listeners, variants)."""
    sums, counts = np.zeros((len(listeners), len(variants))), np.zeros((len(listeners), len(variants)))
    for rating in ratings:
        place = listeners.index(rating.listener), variants.index(rating.variant)
        sums[place] += rating.mark
        counts[place] += 1
    return np.where(counts > 0, sums / np.maximum(counts, 1), np.nan)


def _described(name: str, marks: Floats) -> tuple[str, float, float, float, float]:
    """Median, mean and interval of one variant."""
    known = marks[~np.isnan(marks)]
    mean = float(known.mean())
    if len(known) < 2:
        return name, float(np.median(known)), mean, 0.0, 100.0
    from scipy.special import stdtrit

    half = float(stdtrit(len(known) - 1, 0.975) * known.std(ddof=1) / np.sqrt(len(known)))
    return name, float(np.median(known)), mean, max(0.0, mean - half), min(100.0, mean + half)


def _pairs(table: Floats, variants: Sequence[str]) -> tuple[tuple[str, str, float, float], ...]:
    """Differences of all pairs of variants (reference and anchor left out) with their adjusted p values."""
    rows = [row for row, name in enumerate(variants) if name not in (REFERENCE, ANCHOR)]
    found = []
    for place, one in enumerate(rows):
        for other in rows[place + 1 :]:
            difference = table[:, one] - table[:, other]
            difference = difference[~np.isnan(difference)]
            if len(difference):
                found.append((variants[one], variants[other], float(difference.mean()), sign_flip(difference)))
    adjusted = holm([p for *_, p in found])
    return tuple((a, b, mean, p) for (a, b, mean, _), p in zip(found, adjusted, strict=True))


def sign_flip(difference: Floats, *, draws: int = 20_000) -> float:
    """Return the two-sided p value of "differences are as often positive as negative", by flipping their signs.

    Exact up to 12 listeners, else from random flips of fixed seed.
    """
    count = len(difference)
    if count <= _EXACT:
        signs = 1.0 - 2.0 * ((np.arange(1 << count)[:, None] >> np.arange(count)) & 1)
        return float(np.mean(np.abs(signs @ difference) >= abs(difference.sum()) - 1e-9))
    signs = np.random.default_rng(1).choice((-1.0, 1.0), size=(draws, count))
    return float((1 + np.sum(np.abs(signs @ difference) >= abs(difference.sum()) - 1e-9)) / (draws + 1))


def _sentences(
    kept: Sequence[str], left_out: Sequence[tuple[str, str]], pairs: Sequence[tuple[str, str, float, float]]
) -> tuple[str, ...]:
    """The judgement in words."""
    lines = [f"{len(kept)} listener{'s' if len(kept) != 1 else ''} counted."]
    lines += [f"{name} is left out: {reason}." for name, reason in left_out]
    if not kept:
        return (*lines, "Nothing can be said.")
    if len(kept) < 2:
        return (*lines, "One listener's marks are that listener's taste: nothing is tested.")
    for one, other, mean, p in pairs:
        higher, lower = (one, other) if mean > 0 else (other, one)
        if p <= _ALPHA:
            lines.append(f"‘{higher}’ is marked {abs(mean):.0f} points higher than ‘{lower}’ (p = {p:.3f}).")
    if pairs and all(p > _ALPHA for *_, p in pairs):
        lines.append("No two variants are marked differently beyond what chance does among so few listeners.")
    return tuple(lines)
