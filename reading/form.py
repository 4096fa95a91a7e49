"""Where a passage begins, and how strongly it stands out from what came before.

Six curves are added, each scaled over the piece: novelty of everything an orchestrator would notice (four bars either
side), novelty of the figuration alone (two bars either side), starts of passages that are repeated elsewhere, likeness
to the opening, and, with half the weight, starts of repeats and their models, and a thinner bar just before. Local
maxima are ranked; a double bar, a heading of tempo, a rehearsal mark, a new key signature or metre raises the rank.
Keys explain a start, they do not find it. First endings and the upbeat are left out.

References
----------
Novelty by a checkerboard kernel along the diagonal of a self-similarity matrix: J. Foote, Automatic audio segmentation
using a measure of audio novelty, *Proc. IEEE ICME* 2000, 452-455. The features and the repetition curves are our own;
see ``docs/form.md``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from reading.barwords import bars_said
from reading.features import Bools, Floats, Ints, first_endings, onset_sets
from reading.features_bars import BarFeatures, bar_features
from reading.features_noted import plainly_noted
from reading.features_whole import WholeBars, whole_bars
from reading.form_curves import likeness, novelty, scaled
from reading.form_phrases import closings, from_upbeat, repeat_starts
from reading.form_signs import signs
from reading.form_stretches import stretches
from reading.form_words import Told, reasons_for
from reading.repeats import find
from reading.repeats_alike import diagonal_runs, dice_by_interval

if TYPE_CHECKING:
    from collections.abc import Callable

    from reading.repeats import Repeat
    from reading.score import Score

__all__ = ["Section", "Sections", "main_list", "novelty", "sections", "sections_on_page", "whole_sections"]

LEAST_APART = 2
"""Bars between two starts."""
CUT = 0.6
"""The main list holds starts of at least this share of the mean of the five strongest,"""
LEAST_BETWEEN, MOST_BETWEEN = 6, 12
"""but on average at most one in six bars and at least one in twelve, as people mark them."""
SIGNS = 0.4
"""What is printed adds at most this share of the strongest start heard, so that it lowers no other start."""
REPEATS = 0.5
"""Weight of a start of the repeats that are told: the curve ``repetition`` knows most of them."""
CLOSING = 0.5
"""Weight of a thinner bar before a start: a cadence ends many phrases that end no section."""
OPENING_BARS = 4
MOST_SEMITONES = 12
"""Transpositions tried, up and down."""
REPEAT_CURVES = ((True, 0.4), (True, 0.5), (False, 0.4))
"""Transposed or not, and the resemblance asked for."""


@dataclass(frozen=True)
class Section:
    """The start of a passage.

    Attributes
    ----------
    bar_index : int
        From 1.
    strength : float
        0 to 1, as a share of the strongest start of the piece; the opening has 1.
    reasons : tuple of str
        In words, the strongest first.
    new, back : bool
        Its first two bars resemble no two before them; a longer repeat begins here, or the opening comes back.
    """

    bar_index: int
    strength: float
    reasons: tuple[str, ...]
    new: bool = False
    back: bool = False


@dataclass(frozen=True, eq=False)
class Sections:
    """The starts of a piece and the curve they were read from.

    Attributes
    ----------
    rows : tuple of Section
        The main list, strongest first; the opening bar comes first of all.
    more : tuple of Section
        Weaker candidates, strongest first.
    bars : ndarray of int, shape (n,)
        Bar indices of the curve (first endings and a pickup bar are missing).
    curve : ndarray of float, shape (n,)
        Strength of a start at each bar, 0 to 1.
    parts : dict of str to ndarray, each of shape (n,)
        The curves that were added: ``change``, ``figuration``, ``repetition``, ``opening``, ``repeats``,
        ``closing``, ``signs``.
    """

    rows: tuple[Section, ...]
    more: tuple[Section, ...]
    bars: Ints
    curve: Floats
    parts: dict[str, Floats]


def sections(score: Score) -> Sections:
    """Return where passages begin, ranked by strength, each with its reasons.

    Parameters
    ----------
    score : Score
        Bars divided by a repeat sign are read as one.
    """
    if not len(score.bars):
        return Sections((), (), np.zeros(0, np.int64), np.zeros(0), {})
    page = whole_bars(score)
    return sections_on_page(whole_sections(page), page)


def sections_on_page(found: Sections, page: WholeBars) -> Sections:
    """Return sections of whole bars by the bars of the page, where a bar is divided each from its upbeat on.

    Parameters
    ----------
    found : Sections
        From :func:`whole_sections`.
    page : WholeBars
    """
    if not page.divided:
        return found
    rows, more = (
        tuple(replace(row, bar_index=int(page.start[row.bar_index - 1])) for row in listed)
        for listed in (found.rows, found.more)
    )
    return Sections(rows, more, page.start[found.bars - 1], found.curve, found.parts)


def whole_sections(page: WholeBars) -> Sections:
    """Return the sections of a score with whole bars (bar indices are those of ``page.score``).

    Parameters
    ----------
    page : WholeBars
        From :func:`reading.features_whole.whole_bars`; the score has a bar at least.
    """
    repeats, music = find(page.score), from_upbeat(plainly_noted(page.score))
    stretch_of = [_gathered(stretch, before, repeats, page) for before, stretch in stretches(music)]
    bars = np.concatenate([part[0] for part in stretch_of])
    parts = {name: np.concatenate([part[1][name] for part in stretch_of]) for name in stretch_of[0][1]}
    heard = np.sum([curve for name, curve in parts.items() if name != "signs"], axis=0)
    strongest = heard[_peaks(heard)[:5]] if _peaks(heard) else np.ones(1)
    parts["signs"] = parts["signs"] * (SIGNS * strongest[0])
    total = heard + parts["signs"]
    curve = np.clip(total / strongest[0], 0.0, 1.0)
    words = [words_of for part in stretch_of for words_of in part[2]]
    ranked = _peaks(total)
    told = {row: words[row]() for row in ranked}
    listed = [
        Section(int(bars[row]), round(float(curve[row]), 3), told[row].reasons, told[row].new, told[row].back)
        for row in ranked
    ]
    main = main_list(total[ranked], len(bars))
    opening = (Section(1, 1.0, ("opening",)),) if len(bars) else ()
    return Sections(opening + tuple(listed[:main]), tuple(listed[main:]), bars, curve, parts)


def main_list(ranked: Floats, n_bars: int) -> int:
    """Return how many starts the main list holds.

    Parameters
    ----------
    ranked : ndarray of float
        What they reach, strongest first.
    n_bars : int
    """
    strong = int(np.count_nonzero(ranked >= CUT * ranked[:5].mean())) if len(ranked) else 0
    return min(max(strong, n_bars // MOST_BETWEEN), -(-n_bars // LEAST_BETWEEN), len(ranked))


def _gathered(
    score: Score, before: int, repeats: tuple[Repeat, ...], page: WholeBars
) -> tuple[Ints, dict[str, Floats], list[Callable[[], Told]]]:
    """Return bar indices, curves and, by row, a function for the reasons, of a stretch that starts after *before*."""
    keep = ~first_endings(score)
    if keep.sum() > 1 and score.bars["pickup"][0]:
        keep[0] = False  # an upbeat contrasts with everything and begins nothing but the piece
    features = bar_features(score, keep)
    parts, alike = _curves(score, features, keep)
    parts["repeats"] = REPEATS * scaled(repeat_starts(repeats, features.bars + before))
    words = reasons_for(features, parts, repeats, alike, signs(score), lambda bar: _bar_said(page, bar), before)
    return features.bars + before, parts, [partial(words, row) for row in range(len(features.bars))]


def _bar_said(page: WholeBars, bar: int) -> str:
    """Return the bar a passage begins with, upbeat included, as the page numbers it."""
    first = int(page.start[bar - 1])
    return bars_said(page.page, first, first)


def _curves(score: Score, features: BarFeatures, keep: Bools) -> tuple[dict[str, Floats], Floats]:
    """Return the curves that add up to the strength of a start, and how alike bars are at the best transposition."""
    alike = {name: likeness(matrix) for name, matrix in features.groups.items()}
    whole = np.mean(list(alike.values()), axis=0)
    same, moved, opening = _recurrence(score, keep)
    repeated = [_repeat_starts(moved if free else same, like) for free, like in REPEAT_CURVES]
    parts = {
        "change": scaled(novelty(whole, 4)),
        "figuration": scaled(novelty(alike["figuration"], 2)),
        "repetition": scaled(np.sum([scaled(curve) for curve in repeated], axis=0)),
        "opening": scaled(opening),
        "closing": CLOSING * scaled(closings(score, keep)),
        "signs": signs(score).strength[keep],
    }
    return parts, moved


def _recurrence(score: Score, keep: Bools) -> tuple[Floats, Floats, Floats]:
    """Return how alike bars are as they stand and at the best transposition, and how much each takes up the opening."""
    by_interval = dice_by_interval(onset_sets(score)[keep], MOST_SEMITONES)
    opening = np.max([_opening_returns(alike) for alike in by_interval], axis=0)
    return by_interval[MOST_SEMITONES], by_interval.max(axis=0), opening


def _repeat_starts(alike: Floats, like: float) -> Floats:
    """Return how strongly each bar begins a passage heard elsewhere; long ones and distant ones weigh more."""
    runs = diagonal_runs(alike, like, 2)
    best, total = np.zeros(len(alike)), np.zeros(len(alike))
    for start, lag, length in runs:
        weight = np.log2(1 + min(length, 16)) * min(1.0, lag / 4)
        for row, value in ((start + lag, weight), (start, 0.8 * weight)):
            best[row] = max(best[row], value)
            total[row] += value
    return np.asarray(best + 0.05 * (total - best))


def _opening_returns(alike: Floats) -> Floats:
    """Return how much the four bars from each bar on resemble the first four."""
    n_bars, out = len(alike), np.zeros(len(alike))
    rows = np.arange(OPENING_BARS, n_bars - OPENING_BARS + 1)
    if len(rows):
        out[rows] = np.mean([alike[step, rows + step] for step in range(OPENING_BARS)], axis=0)
    return out


def _peaks(total: Floats) -> list[int]:
    """Return the local maxima after the first bar, strongest first, ``LEAST_APART`` bars or more apart."""
    around = np.pad(total, 1, constant_values=-1.0)
    top = (total >= around[:-2]) & (total >= around[2:]) & (total > 0)
    top[:1] = False
    top[max(len(top) - 1, 1) :] = False  # a last bar begins nothing
    chosen: list[int] = []
    for row in sorted(np.flatnonzero(top).tolist(), key=lambda row: (-total[row], row)):
        if all(abs(row - other) >= LEAST_APART for other in chosen):
            chosen.append(row)
    return chosen
