"""Why the notes have their roles, in sentences with numbers."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from reading.layers_scores import FEATURES

if TYPE_CHECKING:
    from reading.layers_lines import Line
    from reading.layers_roles import HandOver
    from reading.layers_texture import BoolArray, FloatArray, IntArray, Texture

__all__ = ["Evidence", "evidence_of", "line_words", "more_evidence"]

_NOBODY = "melody: none; the upper hand rests or repeats a note, and nothing below moves like a tune"
_SAID = 2  # features named for each stretch
_WORDS = {
    "height": "{0:+.1f} octaves from the middle of all notes, {1:+.1f} there",
    "top": "nothing above {0:.0%} of its notes, {1:.0%} there",
    "block": "{0:.0%} of its notes in chords of their hand, {1:.0%} there",
    "ent": "rhythm of {0:.1f} bits, {1:.1f} there",
    "unif": "{0:.0%} of its attacks evenly apart, {1:.0%} there",
    "step": "{0:.0%} steps, {1:.0%} there",
    "leap": "{0:.0%} leaps, {1:.0%} there",
    "same": "{0:.0%} repeated notes, {1:.0%} there",
    "rep": "{0:.0%} of its pattern comes back, {1:.0%} there",
    "ldur": "notes {0:+.1f} doublings from the middle length, {1:+.1f} there",
    "nrate": "{0:.1f} notes to the beat, {1:.1f} there",
    "cover": "{0:.0%} of the time filled, {1:.0%} there",
    "vrange": "{0:.0%} in the range of a voice, {1:.0%} there",
}


@dataclass(frozen=True)
class Evidence:
    """Why the notes of some bars have their roles: first and last bar index, and a sentence."""

    first_bar: int
    last_bar: int
    text: str


def evidence_of(
    texture: Texture, lines: list[Line], path: IntArray, judged: tuple[FloatArray, FloatArray]
) -> list[Evidence]:
    """Say for each stretch of bars that keeps one line which it is, what came next, by how much, and why.

    Parameters
    ----------
    texture : Texture
    lines : list of Line
    path : ndarray of int64, shape (bars,)
    judged : tuple of ndarray
        Scores (bars, lines) and features (bars, lines, features).

    Returns
    -------
    list of Evidence
        By rising first bar.
    """
    scores, features = judged
    weights = np.asarray(list(FEATURES.values()))
    edges = [0, *(np.flatnonzero(np.diff(path)) + 1).tolist(), len(path)]
    result = []
    for first, last in pairwise(edges):
        chosen = int(path[first])
        if chosen == len(lines):
            result.append(Evidence(first + 1, last, _NOBODY))
            continue
        mean = scores[first:last].mean(axis=0)
        text = f"melody: {line_words(texture, lines[chosen])}"
        other = _runner_up(texture, lines, mean, chosen, (first, last))
        if other is not None:
            mine, theirs = features[first:last, chosen].mean(axis=0), features[first:last, other].mean(axis=0)
            why = _reasons(mine, theirs, weights)
            text += f"; next best {line_words(texture, lines[other])}, margin {mean[chosen] - mean[other]:.1f}"
            text += f" ({'; '.join(why)})" if why else ""
        result.append(Evidence(first + 1, last, text))
    return result


def _runner_up(texture: Texture, lines: list[Line], mean: FloatArray, chosen: int, bars: tuple[int, int]) -> int | None:
    """The best other line that is not (nearly) the same notes."""
    mine = _inside(texture, lines[chosen], bars)
    for other in np.argsort(-mean).tolist():
        rows = _inside(texture, lines[other], bars)
        if other != chosen and len(rows) and np.isin(rows, mine).mean() < 0.9:
            return int(other)
    return None


def _inside(texture: Texture, line: Line, bars: tuple[int, int]) -> IntArray:
    """Rows of a line in a stretch of bars (from 0, the end left out)."""
    bar = texture.bar[line.rows] - 1
    return line.rows[(bar >= bars[0]) & (bar < bars[1])]


def _reasons(mine: FloatArray, theirs: FloatArray, weights: FloatArray) -> list[str]:
    """The features that speak most for the line taken, with both values."""
    gain = weights * (mine - theirs)
    names = list(FEATURES)
    best = [row for row in np.argsort(-gain).tolist() if gain[row] > 0.2][:_SAID]
    return [_WORDS[names[row]].format(float(mine[row]), float(theirs[row])) for row in best]


def more_evidence(
    texture: Texture, answers: list[HandOver], doubling: BoolArray, contrapuntal: tuple[int, ...]
) -> list[Evidence]:
    """Say where the other hand answers, what is doubled, and where no line leads.

    Parameters
    ----------
    texture : Texture
    answers : list of HandOver
    doubling : ndarray of bool, shape (n,)
    contrapuntal : tuple of int
    """
    result = []
    for answer in answers:
        bars = texture.bar[answer.rows]
        result.append(Evidence(int(bars[0]), int(bars[-1]), f"melody: {len(answer.rows)} {answer.reason}"))
    for first, last in _stretches(np.unique(texture.bar[doubling])):
        inside = doubling & (texture.bar >= first) & (texture.bar <= last)
        result.append(Evidence(first, last, f"doubling: {int(inside.sum())} notes run parallel to the melody"))
    for first, last in _stretches(np.asarray(contrapuntal, dtype=np.int64)):
        text = "contrapuntal: one line takes up another's pattern; naming one of them the melody is a guess"
        result.append(Evidence(first, last, text))
    return result


def _stretches(bars: IntArray) -> list[tuple[int, int]]:
    """Rising bar indices as stretches."""
    if not len(bars):
        return []
    return [(int(run[0]), int(run[-1])) for run in np.split(bars, np.flatnonzero(np.diff(bars) > 1) + 1)]


def line_words(texture: Texture, line: Line) -> str:
    """Name a line in words.

    Parameters
    ----------
    texture : Texture
    line : Line
    """
    if line.kind == "under":
        return "highest notes under the repeated one, in either hand"
    kind = {"top": "highest", "bottom": "lowest", "long": "longest"}[line.kind]
    if texture.staves == 2:
        return f"{kind} notes of the {'right' if line.staff == 0 else 'left'} hand"
    return f"{kind} notes of staff {line.staff + 1}"
