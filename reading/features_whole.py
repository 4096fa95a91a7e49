"""Bars as they are counted: the two halves of a bar divided by a repeat sign or a double bar are one bar.

Where a passage with an upbeat is repeated, one edition divides the bar at the repeat sign and another prints no sign
and leaves it whole. The music is the same, so form, figures and findings are read on whole bars, and only said in the
bars of the page.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.features import has_half_upbeat
from reading.score import TICKS_PER_QUARTER

if TYPE_CHECKING:
    from reading.features import Bools, Ints
    from reading.score import Mark, Score

__all__ = ["WholeBars", "whole_bars"]

_LEADING = ("tempo", "text", "rehearsal")
"""Marks that speak of the passage an upbeat leads to."""


@dataclass(frozen=True, eq=False)
class WholeBars:
    """A score whose divided bars are joined, and the way back to the page.

    Attributes
    ----------
    page, score : Score
        As printed, and with whole bars; the same object where no bar is divided. Notes and their ids are the same.
    first, last : ndarray of int, shape (n_whole,)
        Indices (from 1) of the bars of the page that make up each whole bar.
    start : ndarray of int, shape (n_whole,)
        Bar of the page with which a passage begins that begins in each whole bar: its upbeat, where the bar before is
        divided for it.
    row : ndarray of int, shape (n_page,)
        Index (from 1) of the whole bar that each bar of the page belongs to.
    """

    page: Score
    score: Score
    first: Ints
    last: Ints
    start: Ints
    row: Ints

    @property
    def divided(self) -> bool:
        """Whether any bar of the page is divided."""
        return self.score is not self.page

    def on_page(self, first: int, last: int, *, upbeat: bool = False) -> tuple[int, int]:
        """Return the bars of the page (indices from 1, both included) that whole bars take up, an upbeat added."""
        return int((self.start if upbeat else self.first)[first - 1]), int(self.last[last - 1])


@lru_cache(maxsize=4)
def whole_bars(score: Score) -> WholeBars:
    """Return the score with the two parts of every divided bar joined.

    Two bars are one where both are shorter than their common metre, together fill it exactly, and the second neither
    opens the piece nor stands under another ending. What is printed between the parts (repeat sign, double bar, a
    heading over the upbeat) belongs to the whole bar the upbeat leads to; where the second part is half the bar or
    more, to the bar itself, unless the piece begins with half a bar of upbeat.

    Parameters
    ----------
    score : Score
    """
    second = _second_parts(score)
    row: Ints = np.cumsum(~second).astype(np.int64)
    start = np.flatnonzero(~second)
    stop = np.append(start[1:], len(second)) - 1
    if not second.any():
        return WholeBars(score, score, start + 1, stop + 1, start + 1, row)
    bars, begins, led = _joined(score, second, row, start, stop)
    notes = score.notes.copy()
    notes["bar"] = row[notes["bar"] - 1]
    numbers = tuple(score.bar_numbers[first] for first in start.tolist())
    whole = replace(score, notes=notes, bars=bars, bar_numbers=numbers, marks=_led(score.marks, led))
    return WholeBars(score, whole, start + 1, stop + 1, begins, row)


def _joined(
    score: Score, second: Bools, row: Ints, start: Ints, stop: Ints
) -> tuple[np.ndarray[Any, np.dtype[np.void]], Ints, list[tuple[int, int]]]:
    """Return the table of whole bars, the bar each passage begins with, and start and end of every upbeat."""
    bars, ends = score.bars[start].copy(), score.bars[stop]
    bars["index"] = np.arange(1, len(bars) + 1)
    bars["duration"] = ends["onset"] + ends["duration"] - bars["onset"]
    bars["repeat_end"], bars["double_bar"] = ends["repeat_end"], ends["double_bar"]
    begins, led = start + 1, []
    half = has_half_upbeat(score)
    for part in np.flatnonzero(second).tolist():
        whole, upbeat, before = int(row[part]) - 1, score.bars[part], score.bars[part - 1]
        over = 2 * int(upbeat["duration"]) - int(bars["duration"][whole])
        leads = (over < 0 or (half and over == 0)) and whole + 1 < len(bars)
        if upbeat["repeat_start"] or before["repeat_end"] or before["double_bar"]:
            bars["repeat_start"][whole + leads] = True
        if leads:
            begins[whole + 1] = part + 1
            led.append((int(upbeat["onset"]), int(bars["onset"][whole + 1])))
    return bars, begins, led


def _second_parts(score: Score) -> Bools:
    """Return which bars are the second part of a divided bar."""
    bars = score.bars
    full = 4 * TICKS_PER_QUARTER * bars["beats"].astype(np.int64) // np.maximum(bars["beat_type"], 1)
    length = bars["duration"].astype(np.int64)
    second = np.zeros(len(bars), bool)
    fits = (length[1:] + length[:-1] == full[1:]) & (full[1:] == full[:-1]) & (length[1:] > 0) & (length[:-1] > 0)
    ending = bars["volta"][1:]
    second[1:] = fits & ((ending == 0) | (ending == bars["volta"][:-1])) & ~bars["pickup"][:-1] & ~bars["pickup"][1:]
    for part in np.flatnonzero(second).tolist():
        second[part] &= not second[part - 1]  # three thirds of a bar are two pairs; the first is taken
    return second


def _led(marks: tuple[Mark, ...], upbeats: list[tuple[int, int]]) -> tuple[Mark, ...]:
    """Return the marks with headings over an upbeat (start, end) moved to the bar it leads to."""
    starts = [start for start, _ in upbeats]

    def moved(mark: Mark) -> Mark:
        place = bisect_right(starts, mark.onset) - 1
        if mark.kind not in _LEADING or place < 0 or mark.onset >= upbeats[place][1]:
            return mark
        return replace(mark, onset=upbeats[place][1], end=max(upbeats[place][1], mark.end))

    return tuple(sorted((moved(mark) for mark in marks), key=lambda mark: mark.onset))
