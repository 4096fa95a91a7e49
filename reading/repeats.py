"""Passages that come back: literally, varied, transposed, or in the other mode.

Two bars are compared by what is struck where (octaves folded together), at each of the twelve transpositions. A repeat
is a run of consecutive bars that resemble an earlier run at *one* transposition; a single odd bar inside is forgiven.
Octave shifts and new voicings therefore do not hide a repeat, and the interval of a transposition is read off.

The measure of resemblance is Dice's coefficient (:mod:`reading.repeats_alike`): twice the shared strokes over all
strokes of both bars.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from reading.features import UPPER, Bools, Floats, Ints, first_endings, hands, onset_sets
from reading.features_bars import bar_features
from reading.features_noted import plainly_noted
from reading.features_whole import WholeBars, whole_bars
from reading.form_stretches import stretches
from reading.repeats_alike import diagonal_runs, dice, soft_dice, transposed_dice
from reading.repeats_runs import CHANCE, LEAST_BARS, LIKE, by_chance, levels, runs, sure_level

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reading.score import Score

__all__ = ["Repeat", "find", "repeats_on_page"]

LEAST_ECHO = 2
"""Bars of a phrase repeated at once, to the note."""
LITERAL = 0.9
EXACT = 0.8
UPPER_WEIGHT = 0.9
"""Two bars alike in the right hand alone count this much: a theme over a new accompaniment."""
LEAST_STROKES = 3
MODAL_LIKE = 0.75
"""Asked of a return in the other mode, where a neighbouring semitone counts half."""
MODAL_GAIN = 0.1
"""Likeness gained by that half credit from which a varied return counts as one in the other mode."""


@dataclass(frozen=True)
class Repeat:
    """A passage that takes up an earlier one.

    Attributes
    ----------
    first, later : tuple of int
        First and last bar index (from 1, both included) of the model and of its return.
    kind : str
        ``literal``, ``varied``, ``transposed`` or ``modal`` (in the other mode).
    semitones : int
        Transposition of the return, -5 to 6; octaves are not counted.
    similarity : float
        Mean resemblance of the bars, 0 to 1.
    """

    first: tuple[int, int]
    later: tuple[int, int]
    kind: str
    semitones: int
    similarity: float


def find(score: Score, *, like: float = LIKE, least_bars: int = LEAST_BARS) -> tuple[Repeat, ...]:
    """Return the repeats of a piece, the longest and closest first.

    Parameters
    ----------
    score : Score
    like : float
        Resemblance (0 to 1) from which two bars belong to a run.
    least_bars : int
        Shortest run reported.

    Notes
    -----
    Bars divided by a repeat sign are read as one. First endings are left out: they restart an opening already heard.
    In scores of more than 1000 bars repeats are
    looked for within stretches of at most that length.
    """
    page = whole_bars(score)
    found = (
        _shifted(repeat, before)
        for before, stretch in stretches(plainly_noted(page.score))
        for repeat in _found(stretch, like, least_bars)
    )
    return repeats_on_page(found, page)


def repeats_on_page(found: Iterable[Repeat], page: WholeBars) -> tuple[Repeat, ...]:
    """Return repeats of whole bars by the bars of the page.

    Parameters
    ----------
    found : iterable of Repeat
        Bar indices of ``page.score``.
    page : WholeBars
    """
    return tuple(replace(one, first=page.on_page(*one.first), later=page.on_page(*one.later)) for one in found)


def _shifted(repeat: Repeat, bars: int) -> Repeat:
    """Return the repeat so many bars later."""
    first, later = ((span[0] + bars, span[1] + bars) for span in (repeat.first, repeat.later))
    return replace(repeat, first=first, later=later)


@lru_cache(maxsize=2)
def _found(score: Score, like: float, least_bars: int) -> tuple[Repeat, ...]:
    """Return the repeats of one stretch; the last are kept, for one survey asks for them more than once."""
    if not len(score.bars):
        return ()
    keep = ~first_endings(score)
    index = np.flatnonzero(keep) + 1
    alike = _likeness(score, keep)
    exact = onset_sets(score)[keep]
    same = dice(exact)
    found: list[tuple[float, Repeat]] = []
    soft, minor = _soft_likeness(score, keep), _minor(score, keep)
    for run in runs(alike, like, least_bars):
        start, lag, length, semitones, rows = run.start, run.lag, run.length, run.semitones, run.rows
        value = float(alike[:, rows, rows + lag].max(axis=0).mean())
        kind = _kind(semitones, value, float(same[rows, rows + lag].mean()))
        if kind == "varied" and _other_mode(minor, rows, lag):
            gain = soft[semitones, rows, rows + lag].mean() - alike[semitones, rows, rows + lag].mean()
            kind = "modal" if gain >= MODAL_GAIN else kind
        found.append((length * value, _repeat(index, start, lag, length, semitones, value, kind)))
    for start, lag, length in _echoes(same):
        rows = np.arange(start, start + length)
        value = float(same[rows, rows + lag].mean())
        found.append((length * value, _repeat(index, start, lag, length, 0, value, "literal")))
    for semitones, start, lag, length, value in _modal_runs(soft, minor, least_bars):
        # Half credit flatters: a modal reading must be clearly longer to outrank a plain one.
        found.append((0.5 * length * value, _repeat(index, start, lag, length, semitones, value, "modal")))
    found.sort(key=lambda pair: (-pair[0], pair[1].later, pair[1].first))
    return _without_echoes([repeat for _, repeat in found])


def _likeness(score: Score, keep: Bools) -> Floats:
    """Return how alike bars are at each of the 12 transpositions, whole or in the right hand alone."""
    whole = onset_sets(score, chroma=True)[keep]
    upper = onset_sets(score, chroma=True, chosen=hands(score) == UPPER)[keep]
    enough = upper.sum(axis=(1, 2)) >= LEAST_STROKES
    both = enough[:, None] & enough[None, :]
    return np.stack(
        [np.maximum(transposed_dice(whole, t), UPPER_WEIGHT * both * transposed_dice(upper, t)) for t in range(12)]
    )


def _echoes(same: Floats) -> list[tuple[int, int, int]]:
    """Return (first row, lag, length) of short phrases said twice at once, to the note; one bar said often is none."""
    out = []
    pairs = int(np.count_nonzero(same[np.triu_indices(len(same), 2)] >= LITERAL))
    for start, lag, length in diagonal_runs(same, LITERAL, LEAST_ECHO):
        rows = np.arange(start, start + length)
        varied = same[rows[:-1], rows[1:]].min() < LITERAL
        sure = by_chance(len(same), pairs, length) <= CHANCE
        if (
            LEAST_ECHO <= lag <= length
            and lag < LEAST_BARS
            and sure
            and varied
            and same[rows, rows + lag].min() >= LITERAL
        ):
            out.append((start, lag, length))
    return out


def _soft_likeness(score: Score, keep: Bools) -> Floats:
    """Return how alike bars are at each of the 12 transpositions when a neighbouring semitone counts half."""
    strokes = onset_sets(score, chroma=True)[keep]
    return np.stack([soft_dice(strokes, semitones) for semitones in range(12)])


def _modal_runs(soft: Floats, minor: Bools, least_bars: int) -> list[tuple[int, int, int, int, float]]:
    """Return (semitones, first row, lag, length, likeness) of runs alike but for the mode."""
    out = []
    for semitones, matrix in enumerate(soft):
        steps = levels(matrix, MODAL_LIKE)
        for start, lag, length in diagonal_runs(matrix, MODAL_LIKE, least_bars):
            rows = np.arange(start, start + length)
            sure = lag > 1 and sure_level(len(matrix), steps, matrix[rows, rows + lag], least_bars) > 0
            if sure and _other_mode(minor, rows, lag):
                out.append((semitones, start, lag, length, float(matrix[rows, rows + lag].mean())))
    return out


def _other_mode(minor: Bools, rows: Ints, lag: int) -> bool:
    """Say whether one of model and return is mostly in minor and the other not."""
    return bool((minor[rows].mean() > 0.5) != (minor[rows + lag].mean() > 0.5))


def _minor(score: Score, keep: Bools) -> Bools:
    """Return which bars fit a minor key best, over three bars."""
    keys = bar_features(score, keep).groups["key"]
    return np.asarray(keys[:, 12:].max(axis=1) > keys[:, :12].max(axis=1), bool)


def _kind(semitones: int, value: float, literal: float) -> str:
    """Return the kind of a repeat by its likeness at the transposition and as it stands."""
    if semitones and value >= EXACT:
        return "transposed"
    return "literal" if not semitones and literal >= LITERAL else "varied"


def _repeat(index: Ints, start: int, lag: int, length: int, semitones: int, value: float, kind: str) -> Repeat:
    """Return the run as a repeat, cut so that model and return share no bars."""
    length = min(length, lag)
    first = (int(index[start]), int(index[start + length - 1]))
    later = (int(index[start + lag]), int(index[start + lag + length - 1]))
    return Repeat(first, later, kind, semitones if semitones <= 6 else semitones - 12, round(min(value, 1.0), 3))


def _covered(bars: tuple[int, int], by: Bools) -> float:
    """Return the share of the bars already covered."""
    return float(by[bars[0] : bars[1] + 1].mean())


def _without_echoes(repeats: list[Repeat]) -> tuple[Repeat, ...]:
    """Keep the best account of each passage: drop a repeat whose return is already explained by stronger ones."""
    if not repeats:
        return ()
    seen = np.zeros(max(repeat.later[1] for repeat in repeats) + 1, bool)
    kept = []
    for repeat in repeats:
        if _covered(repeat.later, seen) < 0.5:
            kept.append(repeat)
            seen[repeat.later[0] : repeat.later[1] + 1] = True
    return tuple(kept)
