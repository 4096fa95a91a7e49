"""From played times to written ones: for every beat the simplest division that fits its onsets."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from reading.score import TICKS_PER_QUARTER

if TYPE_CHECKING:
    from reading.midi_notes import Stream

__all__ = ["Moved", "quantise"]

_EXACT = (1, 2, 3, 4, 6, 8, 12, 16, 5, 7, 24, 32, 9, 10, 14, 48)
"""Divisions of the quarter tried first, within a tick: files written by notation programs fit one."""
_PLAYED = (1, 2, 3, 4, 6, 8)
"""Divisions for playing that fits none."""
_COST = 0.004
"""Quarters of error that one more division must save (chosen so that a played triplet beats a square 16th)."""


@dataclass(frozen=True)
class Moved:
    """How far onsets were moved: counts, and quarters."""

    total: int
    moved: int
    mean_q: float
    worst_q: float


def quantise(streams: list[Stream], per_quarter: int) -> Moved:
    """Move all notes to the nearest place of a notation; times become score ticks.

    Parameters
    ----------
    streams : list of Stream
        Changed in place: times in file ticks on entry, in score ticks after.
    per_quarter : int
        File ticks to the quarter.

    Returns
    -------
    Moved
        The error of the onsets; moves of less than a tick of the file are no error.
    """
    notes = [note for stream in streams for note in stream.notes]
    onset_at = _fitted({note.start for note in notes}, per_quarter)
    end_at = _fitted({note.end for note in notes}, per_quarter)
    moves = []
    for note in notes:
        start, step = onset_at[note.start]
        end, _ = end_at[note.end]
        move = abs(start / TICKS_PER_QUARTER - note.start / per_quarter)
        moves.append(0.0 if move * per_quarter <= 1 else move)
        note.start, note.end = start, max(end, start + step)
    moved = [move for move in moves if move]
    return Moved(len(notes), len(moved), sum(moves) / len(moves), max(moves))


def _fitted(times: set[int], per_quarter: int) -> dict[int, tuple[int, int]]:
    """Score tick and grid step for every file tick."""
    beats: dict[int, list[int]] = defaultdict(list)
    for time in times:
        beats[time // per_quarter].append(time % per_quarter)
    found = {}
    for beat, places in beats.items():
        grid = _division(places, per_quarter)
        for place in places:
            count = round(place * grid / per_quarter)
            at = beat * TICKS_PER_QUARTER + round(count * TICKS_PER_QUARTER / grid)
            found[beat * per_quarter + place] = (at, TICKS_PER_QUARTER // grid)
    return found


def _division(places: list[int], per_quarter: int) -> int:
    """Return the simplest division of a beat that fits the places in it."""
    tolerance = max(1.0, per_quarter / 480) if per_quarter >= 24 else 0.5
    for grid in _EXACT:
        if _worst(places, grid, per_quarter) <= tolerance:
            return grid
    return min(_PLAYED, key=lambda grid: _mean(places, grid, per_quarter) / per_quarter + _COST * grid)


def _worst(places: list[int], grid: int, per_quarter: int) -> float:
    """Return the largest distance from a grid, in file ticks."""
    return max(abs(place - round(place * grid / per_quarter) * per_quarter / grid) for place in places)


def _mean(places: list[int], grid: int, per_quarter: int) -> float:
    """Return the mean distance from a grid, in file ticks."""
    total = sum(abs(place - round(place * grid / per_quarter) * per_quarter / grid) for place in places)
    return total / len(places)
