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
from reading.repeats_runs import CHANCE, LEAST_BARS, LIKE, Run, by_chance, levels, runs, sure_level
from reading.repeats_tune import drawn_out, tune_runs

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reading.repeats_tune import Tune
    from reading.score import Score

__all__ = ["Repeat", "find", "repeats_on_page"]

LEAST_LITERAL = 2
"""Bars of a phrase repeated at once, to the note."""
LITERAL = 0.9
"""Strokes that are the same to the note, for a repeat to be called literal."""
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
        Mean resemblance of the bars, 0 to 1; of a literal repeat the share of strokes that are the same.
    octaves : int
        Octaves by which nearly every note of the return, or its tune, lies higher than ``semitones`` says.
    tune : bool
        Only the tune comes back, over other music.
    """

    first: tuple[int, int]
    later: tuple[int, int]
    kind: str
    semitones: int
    similarity: float
    octaves: int = 0
    tune: bool = False


@dataclass(frozen=True, eq=False)
class _Likeness:
    """How alike bars are at each of the 12 transpositions, with half credit for a semitone, as they stand."""

    alike: Floats
    soft: Floats
    same: Floats
    minor: Bools


_Row = tuple[float, Run, str, float]
"""Weight, run, kind and likeness of a repeat before the best are chosen."""


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
    exact, tunes = onset_sets(score)[keep], tune_runs(score, keep)
    same, minor = dice(exact), _minor(score, keep)
    likeness = _Likeness(_likeness(score, keep), _soft_likeness(score, keep), same, minor)
    found = _plain(likeness, tunes, like, least_bars)
    for start, lag, length in _echoes(same):
        value = float(same.diagonal(lag)[start : start + length].mean())
        found.append((length * value, Run(start, lag, length, 0), _kind(0, value, value), value))
    for run, value in _modal_runs(likeness.soft, minor, least_bars):
        # Half credit flatters: a modal reading must be clearly longer to outrank a plain one.
        found.append((0.5 * run.length * value, run, "modal", value))
    for tune in tunes:
        # A tune alone is less than whole bars: it tells what nothing else does.
        found.append((0.4 * tune.run.length * tune.value, tune.run, "tune", tune.value))
    found.sort(key=lambda row: (-row[0], row[1].start + row[1].lag, row[1].length, row[1].start))
    index, octaves = np.flatnonzero(keep) + 1, {tune.run: tune.octaves for tune in tunes}
    return _without_echoes([_repeat(index, row, exact, octaves) for row in found])


def _plain(bars: _Likeness, tunes: list[Tune], like: float, least_bars: int) -> list[_Row]:
    """Return the runs of whole bars, drawn out as far as their tune goes on, each with weight, kind and likeness."""
    alike, soft = bars.alike, bars.soft
    found: list[_Row] = []
    for plain in runs(alike, like, least_bars):
        run = drawn_out(plain, tunes)
        rows, lag, semitones = run.rows, run.lag, run.semitones
        value = float(alike[:, rows, rows + lag].max(axis=0).mean())
        exact = float(bars.same[rows, rows + lag].mean())
        kind = _kind(semitones, value, exact)
        if kind == "varied" and _other_mode(bars.minor, rows, lag):
            gain = soft[semitones, rows, rows + lag].mean() - alike[semitones, rows, rows + lag].mean()
            kind = "modal" if gain >= MODAL_GAIN else kind
        found.append((run.length * value, run, kind, exact if kind == "literal" else value))
    return found


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
    for start, lag, length in diagonal_runs(same, LITERAL, LEAST_LITERAL):
        rows = np.arange(start, start + length)
        varied = same[rows[:-1], rows[1:]].min() < LITERAL
        sure = by_chance(len(same), pairs, length) <= CHANCE
        if (
            LEAST_LITERAL <= lag <= length
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


def _modal_runs(soft: Floats, minor: Bools, least_bars: int) -> list[tuple[Run, float]]:
    """Return the runs alike but for the mode, each with its likeness."""
    out = []
    for semitones, matrix in enumerate(soft):
        steps = levels(matrix, MODAL_LIKE)
        for start, lag, length in diagonal_runs(matrix, MODAL_LIKE, least_bars):
            rows = np.arange(start, start + length)
            sure = lag > 1 and sure_level(len(matrix), steps, matrix[rows, rows + lag], least_bars) > 0
            if sure and _other_mode(minor, rows, lag):
                out.append((Run(start, lag, length, semitones), float(matrix[rows, rows + lag].mean())))
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


def _repeat(index: Ints, row: _Row, exact: Floats, octaves: dict[Run, int]) -> Repeat:
    """Return the run as a repeat, cut so that model and return share no bars."""
    _, run, kind, value = row
    length = min(run.length, run.lag)
    last = run.start + length - 1
    first = (int(index[run.start]), int(index[last]))
    later = (int(index[run.start + run.lag]), int(index[last + run.lag]))
    semitones = run.semitones if run.semitones <= 6 else run.semitones - 12
    shift = octaves.get(run, 0) if kind == "tune" else _octaves(exact, run, semitones)
    tune = kind == "tune"
    kind = _kind(semitones, value, 0.0) if tune else kind
    return Repeat(first, later, kind, semitones, round(min(value, 1.0), 3), shift, tune)


def _octaves(exact: Floats, run: Run, semitones: int) -> int:
    """Return by how many octaves nearly every note of a return lies higher than the interval says."""
    model, later = exact[run.rows], exact[run.rows + run.lag]
    size = max(float(model.sum() + later.sum()), 1.0)
    for octaves in (0, -1, 1, -2, 2):
        if 2 * float((model * np.roll(later, -semitones - 12 * octaves, axis=2)).sum()) / size >= EXACT:
            return octaves
    return 0


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
