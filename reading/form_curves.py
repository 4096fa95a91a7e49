"""Curves along a piece: likeness of bars, novelty, and one scale for all.

References
----------
Novelty by a checkerboard kernel along the diagonal of a self-similarity matrix: J. Foote, Automatic audio segmentation
using a measure of audio novelty, *Proc. IEEE ICME* 2000, 452-455.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from reading.features import Floats

__all__ = ["likeness", "novelty", "scaled"]

ROUNDING = 1e-6


def novelty(alike: Floats, half_width: int) -> Floats:
    """Return how much the bars from each bar on differ from the bars before it.

    Parameters
    ----------
    alike : ndarray of float, shape (n, n)
        Likeness of bars, 0 to 1.
    half_width : int
        Bars looked at on either side.

    Returns
    -------
    ndarray of float, shape (n,)
        Never negative; the value at row i is for a boundary before bar i. Past the ends the outermost bar is repeated.
    """
    offset = np.arange(-half_width, half_width)
    centre = offset + 0.5
    taper = np.exp(-0.5 * (centre / (0.6 * half_width)) ** 2)
    kernel = np.outer(np.sign(centre) * taper, np.sign(centre) * taper)
    rows = np.clip(np.arange(len(alike))[:, None] + offset, 0, len(alike) - 1)
    windows = alike[rows[:, :, None], rows[:, None, :]]
    return np.asarray(np.maximum(np.einsum("nij,ij->n", windows, kernel), 0.0))


def likeness(matrix: Floats) -> Floats:
    """Return the likeness of rows, ``exp(-distance / median distance)``.

    Parameters
    ----------
    matrix : ndarray of float, shape (n, d)

    Returns
    -------
    ndarray of float, shape (n, n)
    """
    shared = np.einsum("id,jd->ij", matrix, matrix)  # not a threaded product: its start costs more than the work
    square = np.diagonal(shared)
    distance = np.sqrt(np.maximum(square[:, None] + square[None, :] - 2 * shared, 0.0))
    distance[distance < ROUNDING] = 0.0
    apart = distance[np.triu_indices(len(matrix), 1)]
    middle = float(np.median(apart)) if len(apart) else 0.0
    if middle <= 0:
        middle = float(apart.mean()) if len(apart) and apart.any() else 1.0
    return np.asarray(np.exp(-distance / middle))


def scaled(curve: Floats) -> Floats:
    """Return the curve with its minimum at 0 and its 99th percentile at 1, cut there; a flat curve becomes zeros."""
    if not len(curve):
        return curve
    low, high = float(curve.min()), float(np.percentile(curve, 99))
    if high <= low:
        high = float(curve.max())
    return np.clip((curve - low) / (high - low), 0.0, 1.0) if high > low else np.zeros_like(curve)
