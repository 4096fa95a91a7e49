"""Why a bar counts as the start of a passage, in an orchestrator's words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reading.features import Floats

if TYPE_CHECKING:
    from collections.abc import Callable

    from reading.features_bars import BarFeatures
    from reading.form_signs import Signs
    from reading.repeats import Repeat

__all__ = ["Told", "interval_words", "reasons_for"]

TELLING = 0.5
"""A curve explains a start where it reaches this share of its range."""
MOST_REASONS = 4
RETURN = 3.0
"""Weight of the words for a return."""
UNHEARD = 0.4
"""Two bars that resemble no earlier ones by more than this are new."""
CHANGES = {
    "rhythm lower": "new rhythm in the left hand",
    "rhythm upper": "new rhythm in the right hand",
    "harmony": "harmony changes",
    "key": "key changes",
    "register": "new register",
    "texture": "texture changes",
    "dynamics": "dynamics change",
    "figuration": "figuration changes",
}
INTERVALS = ("minor second", "major second", "minor third", "major third", "fourth", "tritone")


@dataclass(frozen=True)
class Told:
    """What is said of a start: reasons in words, the strongest first, and the facts behind two of them.

    ``new``: its first two bars resemble no two before them, at any transposition. ``back``: a longer repeat begins
    here, or the opening comes back.
    """

    reasons: tuple[str, ...]
    new: bool
    back: bool


def interval_words(semitones: int) -> str:
    """Return a transposition of at most a tritone in words (``up a fourth``); empty for none.

    Parameters
    ----------
    semitones : int
        -6 to 6.
    """
    if not semitones:
        return ""
    return f"{'up' if semitones > 0 else 'down'} a {INTERVALS[abs(semitones) - 1]}"


def reasons_for(
    features: BarFeatures,
    parts: dict[str, Floats],
    repeats: tuple[Repeat, ...],
    alike: Floats,
    printed: Signs,
    said: Callable[[int], str],
    before: int = 0,
) -> Callable[[int], Told]:
    """Return a function that tells, for a row of the features, why a passage starts there.

    Parameters
    ----------
    features : BarFeatures
    parts : dict of str to ndarray
        The curves of :class:`reading.form.Sections`.
    repeats : tuple of Repeat
    alike : ndarray of float, shape (n, n)
        How alike bars are at the best transposition.
    printed : Signs
        What the page says at each bar.
    said : callable
        The words for a bar, by its index in the whole score.
    before : int
        Bars of the score before the first of the features; repeats count from the start of the score.
    """
    steps = {name: _step(matrix) for name, matrix in features.groups.items()}
    bars = features.bars

    def words(row: int) -> Told:
        found = _returns(int(bars[row]) + before, repeats, said)
        found += [(2.5, text) for text in printed.words[bars[row] - 1]]
        opens = parts["opening"][row] >= TELLING and _like_opening(alike, row)
        back = opens or any(weight == RETURN for weight, _ in found)
        new = _unheard(alike, row)
        if opens:
            found.append((2.0 * float(parts["opening"][row]), "opening returns"))
        if not any(weight == RETURN for weight, _ in found) and new:
            found.append((1.5, "new theme"))
        if parts["repetition"][row] >= TELLING and len(found) < 2:
            found.append((float(parts["repetition"][row]), "starts a passage heard more than once"))
        found += [(float(step[row]), CHANGES[name]) for name, step in steps.items() if step[row] >= TELLING]
        found.sort(key=lambda pair: -pair[0])
        reasons = tuple(text for _, text in found[:MOST_REASONS]) or ("many small changes together",)
        return Told(reasons, new, back)

    return words


def _returns(bar: int, repeats: tuple[Repeat, ...], said: Callable[[int], str]) -> list[tuple[float, str]]:
    """Return the longest repeat that begins at the bar or next to it, as a weighted reason."""
    for repeat in sorted(repeats, key=lambda repeat: repeat.first[0] - repeat.first[1]):
        if abs(repeat.later[0] - bar) <= 1 and repeat.first[1] - repeat.first[0] >= 3:
            how = interval_words(repeat.semitones) or {"literal": "literally", "modal": "in the other mode"}.get(
                repeat.kind, "varied"
            )
            return [(RETURN, f"theme returns: bar {said(repeat.first[0])} on, {how}")]
    return []


def _like_opening(alike: Floats, row: int) -> bool:
    """Say whether the bars from a row on resemble the first four for what they are, not only more than others do."""
    steps = range(min(4, len(alike) - row))
    return float(np.mean([alike[step, row + step] for step in steps])) >= TELLING


def _unheard(alike: Floats, row: int) -> bool:
    """Say whether the two bars from a row on resemble no two bars before."""
    if not 2 <= row < len(alike) - 1:
        return False
    pairs = (alike[: row - 1, row] + alike[1:row, row + 1]) / 2
    return bool(pairs.max() < UNHEARD)


def _step(matrix: Floats) -> Floats:
    """Return how much the mean of two bars from each bar on differs from the two before, scaled to 0..1."""
    n_bars = len(matrix)
    padded = np.pad(matrix, ((2, 1), (0, 0)), mode="edge")
    before = (padded[0:n_bars] + padded[1 : n_bars + 1]) / 2
    after = (padded[2 : n_bars + 2] + padded[3 : n_bars + 3]) / 2
    size = np.linalg.norm(after - before, axis=1)
    top = float(np.percentile(size, 98)) if n_bars else 0.0
    return np.clip(size / top, 0.0, 1.0) if top > 0 else np.zeros(n_bars)
