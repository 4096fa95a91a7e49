"""The dynamic of every piano note as a number, from marks and hairpins."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from reading.score import DYNAMICS
from reading.sung import lead_part, sung_parts

if TYPE_CHECKING:
    from reading.score import Mark, Score

__all__ = ["UNMARKED", "followed_part", "levels", "levels_at"]

UNMARKED = DYNAMICS.index("mf")
"""Level where nothing is marked."""


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
    staves are marked differently at the same moment does each keep its own. A sung part without dynamics of its own
    goes by the piano's.
    """
    part = followed_part(score, part)
    points = _points(score, part, staff)
    ticks = np.array([tick for tick, _ in points], dtype=np.float64)
    values = np.array([value for _, value in points], dtype=np.float64)
    place = np.searchsorted(ticks, onsets, side="right") - 1
    steady = values[np.maximum(place, 0)]
    for start, end, first, last in _hairpins(score, part, staff, ticks, values):
        inside = (onsets >= start) & (onsets < end)
        share = (onsets[inside] - start) / (end - start)
        steady[inside] = first + (last - first) * share
    return np.clip(steady, 0, len(DYNAMICS) - 1).astype(np.float32)


def followed_part(score: Score, part: int | None) -> int:
    """Return the part whose dynamics a part goes by: its own, or the piano's where it is sung and has none."""
    if part is None or (part in sung_parts(score) and not any(mark.part == part for mark in score.marks_of("dynamic"))):
        return lead_part(score)
    return part


def _points(score: Score, part: int, staff: int) -> list[tuple[int, float]]:
    """(tick, level) where the level is set, starting before the first note."""
    points: dict[int, tuple[bool, float]] = {}
    for mark in score.marks_of("dynamic"):
        if mark.part == part and mark.value in DYNAMICS:
            own = mark.staff in (staff, 0)
            if mark.onset not in points or own or not points[mark.onset][0]:
                points[mark.onset] = (own, float(DYNAMICS.index(mark.value)))
    return [(-1, float(UNMARKED)), *((tick, points[tick][1]) for tick in sorted(points))]


def _hairpins(
    score: Score, part: int, staff: int, ticks: np.ndarray[Any, Any], values: np.ndarray[Any, Any]
) -> list[tuple[int, int, float, float]]:
    """(start, end, level at start, level at end) of hairpins; without a mark after it, one step louder or softer."""
    found = []
    for mark in score.marks_of("hairpin"):
        if mark.part != part or mark.end <= mark.onset:
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
