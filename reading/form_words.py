"""Why a bar counts as the start of a passage, in an orchestrator's words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reading.features import Bools, Floats

if TYPE_CHECKING:
    from collections.abc import Callable

    from reading.features_bars import BarFeatures
    from reading.score import Score

__all__ = ["reasons_for"]

TELLING = 0.5
"""A curve explains a start where it reaches this share of its range."""
MOST_REASONS = 4
LIKE = 0.5
TONICS_MAJOR = ("C", "D-flat", "D", "E-flat", "E", "F", "F-sharp", "G", "A-flat", "A", "B-flat", "B")
CHANGES = {
    "rhythm lower": "new rhythm in the left hand",
    "rhythm upper": "new rhythm in the right hand",
    "harmony": "new harmony",
    "key": "key changes",
    "register": "new register",
    "texture": "texture changes",
    "dynamics": "dynamics change",
    "figuration": "figuration changes",
}


def reasons_for(
    score: Score, features: BarFeatures, parts: dict[str, Floats], keep: Bools
) -> Callable[[int], tuple[str, ...]]:
    """Return a function that tells, for a row of the features, why a passage starts there.

    Parameters
    ----------
    score : Score
    features : BarFeatures
    parts : dict of str to ndarray
        The curves of :class:`reading.form.Sections`.
    keep : ndarray of bool, shape (n_bars,)
        Bars analysed.
    """
    steps = {name: _step(matrix) for name, matrix in features.groups.items()}

    def words(row: int) -> tuple[str, ...]:
        found = []
        if parts["bar line"][row] > 0:
            found.append((3.0, "double bar or repeat sign"))
        if parts["opening"][row] >= TELLING:
            found.append((2.0 * parts["opening"][row], "opening returns"))
        if parts["repetition"][row] >= TELLING:
            found.append((parts["repetition"][row], "a passage heard elsewhere starts"))
        found += [(step[row], CHANGES[name]) for name, step in steps.items() if step[row] >= TELLING]
        found.sort(key=lambda pair: -pair[0])
        return tuple(text for _, text in found[:MOST_REASONS]) or ("many small changes together",)

    return words


def _step(matrix: Floats) -> Floats:
    """Return how much the mean of two bars from each bar on differs from the two before, scaled to 0..1."""
    n_bars = len(matrix)
    padded = np.pad(matrix, ((2, 1), (0, 0)), mode="edge")
    before = (padded[0:n_bars] + padded[1 : n_bars + 1]) / 2
    after = (padded[2 : n_bars + 2] + padded[3 : n_bars + 3]) / 2
    size = np.linalg.norm(after - before, axis=1)
    top = float(np.percentile(size, 98)) if n_bars else 0.0
    return np.clip(size / top, 0.0, 1.0) if top > 0 else np.zeros(n_bars)
