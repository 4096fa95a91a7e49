"""The dynamic of every piano note as a number, from marks and hairpins."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.score import DYNAMICS
from reading.sung import lead_part, sung_parts

if TYPE_CHECKING:
    from reading.score import Mark, Score

__all__ = ["UNMARKED", "levels", "levels_at"]

UNMARKED = DYNAMICS.index("mf")
"""Level where nothing is marked."""
_ENOUGH = 0.5
"""Dynamics of a sung part, as a share of the piano's, from which on it has its own."""


def levels(score: Score) -> np.ndarray[Any, np.dtype[np.float32]]:
    """Return the level of every note of a score, shape (notes,): row in DYNAMICS, between rows inside a hairpin."""
    found = np.full(len(score.notes), float(UNMARKED), dtype=np.float32)
    for part in np.unique(score.notes["part"]).tolist():
        for staff in np.unique(score.notes["staff"][score.notes["part"] == part]).tolist():
            mask = (score.notes["part"] == part) & (score.notes["staff"] == staff)
            found[mask] = levels_at(score, score.notes["onset"][mask], part=part, staff=staff)
    return found


def levels_at(
    score: Score, onsets: np.ndarray[Any, Any], *, part: int | None = None, staff: int = 0
) -> np.ndarray[Any, np.dtype[np.float32]]:
    """Return the level at each onset (ticks) for one staff; of the first part that is not sung where none is named.

    A mark holds for its whole part: piano music marks both hands at once, wherever the sign is drawn. Only where two
    staves are marked differently at the same moment does each keep its own. A sung part with few dynamics of its own
    goes by the piano's between them.
    """
    parts = _speaking(score, part)
    points = _points(score, parts, staff)
    ticks = np.array([tick for tick, _ in points], dtype=np.float64)
    values = np.array([value for _, value in points], dtype=np.float64)
    place = np.searchsorted(ticks, onsets, side="right") - 1
    steady = values[np.maximum(place, 0)]
    for start, end, first, last in _hairpins(score, parts, ticks, values):
        inside = (onsets >= start) & (onsets < end)
        share = (onsets[inside] - start) / (end - start)
        steady[inside] = first + (last - first) * share
    return np.clip(steady, 0, len(DYNAMICS) - 1).astype(np.float32)


def _speaking(score: Score, part: int | None) -> tuple[int, ...]:
    """Parts whose dynamics hold for a part, the weaker first: its own; for a sung part with few, the piano's before.

    In songs the piano's signs are for the singer, too, unless the voice has about as many of its own (common practice,
    no source).
    """
    lead = lead_part(score)
    if part is None or part not in sung_parts(score):
        return (lead if part is None else part,)
    count = Counter(mark.part for mark in score.marks_of("dynamic"))
    return (part,) if count[part] >= _ENOUGH * count[lead] else (lead, part)


def _points(score: Score, parts: tuple[int, ...], staff: int) -> list[tuple[int, float]]:
    """(tick, level) where the level is set, starting before the first note."""
    points: dict[int, tuple[tuple[int, bool], float]] = {}
    for mark in score.marks_of("dynamic"):
        if mark.part in parts and mark.value in DYNAMICS:
            rank = parts.index(mark.part), mark.staff in (staff, 0)
            if mark.onset not in points or rank >= points[mark.onset][0]:
                points[mark.onset] = (rank, float(DYNAMICS.index(mark.value)))
    return [(-1, float(UNMARKED)), *((tick, points[tick][1]) for tick in sorted(points))]


def _hairpins(
    score: Score, parts: tuple[int, ...], ticks: np.ndarray[Any, Any], values: np.ndarray[Any, Any]
) -> list[tuple[int, int, float, float]]:
    """(start, end, level at start, level at end) of hairpins; without a mark after it, one step louder or softer."""
    found = []
    for mark in score.marks_of("hairpin"):
        if mark.part not in parts or mark.end <= mark.onset:
            continue
        first = values[max(0, int(np.searchsorted(ticks, mark.onset, side="right")) - 1)]
        sign = 1.0 if mark.value == "cresc" else -1.0
        after = int(np.searchsorted(ticks, mark.end, side="left"))
        last = first + sign
        if after < len(ticks) and ticks[after] - mark.end <= _beat_after(mark):
            marked = float(values[after])
            last = marked if (marked - first) * sign > 0 else last
        found.append((mark.onset, mark.end, float(first), float(last)))
    return found


def _beat_after(mark: Mark) -> int:
    """How far after a hairpin a dynamic still belongs to it, ticks: one quarter, or a tenth of a long hairpin."""
    return max(10_080, (mark.end - mark.onset) // 10)
