"""How far apart the hands lie, and where the spacing of the piano would sound empty.

Two octaves between the hands are ordinary in much piano music, so a fixed alarm would ring in every bar. The table has
the plain distances; a *region* is a passage that lies wide apart for this piece.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reading.layers_texture import sounding_pairs, staff_rows
from reading.score import Flag

if TYPE_CHECKING:
    from reading.layers_texture import IntArray
    from reading.score import Score

__all__ = ["GapBar", "GapRegion", "Gaps", "gap_regions", "gaps"]

_EMPTY = 16
"""Semitones: below a tenth nothing sounds empty, whatever the habit of the piece (*common practice, no source*)."""
_ABOVE_HABIT = 5
"""Semitones beyond the piece's own middle distance."""
_WIDEST_SHARE = 0.85
"""A region's bars belong to the widest 15 % of the piece."""


@dataclass(frozen=True)
class GapBar:
    """Distances of one bar: largest and median over the onsets at which both hands sound, in semitones.

    ``inside`` is the largest distance between two notes that sound next to each other anywhere in the texture.
    """

    bar_index: int
    semitones: int
    median: int
    onsets: int
    inside: int


@dataclass(frozen=True, eq=False)
class Gaps:
    """Distances at every onset and by bar.

    Attributes
    ----------
    onset, hands, inside : ndarray of int64, equal shape
        Ticks of each onset at which both hands sound; lowest note of the upper less highest note of the lower staff;
        largest distance between neighbours in the whole texture.
    bars : tuple of GapBar
        Only bars in which both hands sound together.
    habit : float
        Median of ``inside`` over the piece: what is usual here.
    """

    onset: IntArray
    hands: IntArray
    inside: IntArray
    bars: tuple[GapBar, ...]
    habit: float


@dataclass(frozen=True)
class GapRegion:
    """A passage that lies wide apart: bar indices, widest distance, median, and the habit of the piece (semitones)."""

    first_bar: int
    last_bar: int
    widest: int
    median: float
    habit: float


def gaps(score: Score) -> Gaps:
    """Return the distance between the hands at every onset where both sound.

    Distance is the lowest sounding note of the upper staff less the highest sounding note of the lower one; it is
    negative where the hands cross. Of more than two staves the lowest is the lower hand.

    Parameters
    ----------
    score : Score

    Returns
    -------
    Gaps
    """
    notes, staff = score.notes, staff_rows(score)
    keep = (notes["duration"] > 0) & (notes["flags"] & int(Flag.GRACE) == 0)
    notes, staff = notes[keep], staff[keep]
    lower = staff == staff.max(initial=1)
    onset, end, pitch = (notes[name].astype(np.int64) for name in ("onset", "duration", "pitch"))
    end = onset + end
    moments = np.unique(onset)
    note, moment = sounding_pairs(onset, end, moments)
    floor, ceiling = np.full(len(moments), 128), np.full(len(moments), -1)
    is_low = lower[note]
    np.minimum.at(floor, moment[~is_low], pitch[note[~is_low]])
    np.maximum.at(ceiling, moment[is_low], pitch[note[is_low]])
    both = (floor < 128) & (ceiling >= 0)
    inside = _widest_inside(moment, pitch[note], len(moments))
    bars = np.searchsorted(score.bars["onset"], moments[both], side="right")
    hands = (floor - ceiling)[both].astype(np.int64)
    rows = _by_bar(bars.astype(np.int64), hands, inside[both])
    habit = float(np.median(inside[both])) if both.any() else 0.0
    return Gaps(moments[both], hands, inside[both], rows, habit)


def _widest_inside(moment: IntArray, pitch: IntArray, count: int) -> IntArray:
    """Largest distance between neighbouring sounding notes at each moment."""
    order = np.lexsort((pitch, moment))
    moment, pitch = moment[order], pitch[order]
    widest = np.zeros(count, dtype=np.int64)
    same = np.flatnonzero(np.diff(moment) == 0)
    np.maximum.at(widest, moment[same], pitch[same + 1] - pitch[same])
    return widest


def _by_bar(bar: IntArray, hands: IntArray, inside: IntArray) -> tuple[GapBar, ...]:
    """Largest and median distance of every bar that has one."""
    edges = np.flatnonzero(np.diff(bar, prepend=-1, append=bar[-1] + 1 if len(bar) else 0))
    return tuple(
        GapBar(int(bar[a]), int(hands[a:b].max()), _middle(hands[a:b]), int(b - a), int(inside[a:b].max()))
        for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)
    )


def _middle(values: IntArray) -> int:
    """Median; the upper of the two middle values where their number is even, so that it is a distance that occurs."""
    return int(np.sort(values)[len(values) // 2])


def gap_regions(score: Score, table: Gaps) -> tuple[GapRegion, ...]:
    """Return the passages that lie wide apart for this piece, widest first.

    Parameters
    ----------
    score : Score
    table : Gaps

    Returns
    -------
    tuple of GapRegion
        Bars whose median distance inside the texture is at least a tenth, five semitones above the piece's own median
        and among its widest 15 %; neighbours joined, a single bar between them included.
    """
    if not len(table.onset):
        return ()
    bar = np.searchsorted(score.bars["onset"], table.onset, side="right")
    present = np.unique(bar)
    middle = np.asarray([float(np.median(table.inside[bar == one])) for one in present])
    limit = max(_EMPTY, table.habit + _ABOVE_HABIT, float(np.quantile(middle, _WIDEST_SHARE)))
    wide = present[middle >= limit]
    if not len(wide):
        return ()
    regions = []
    for run in np.split(wide, np.flatnonzero(np.diff(wide) > 2) + 1):
        inside = table.inside[(bar >= run[0]) & (bar <= run[-1])]
        regions.append(GapRegion(int(run[0]), int(run[-1]), int(inside.max()), float(np.median(inside)), table.habit))
    return tuple(sorted(regions, key=lambda region: -region.median * (region.last_bar - region.first_bar + 1) ** 0.5))
