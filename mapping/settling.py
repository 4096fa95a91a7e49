"""One breath, one note: what steps add to a solo player gives way to what that player has already.

A horn that holds a chord note and strikes an accent in the middle of it plays one thing at a time. Notes of the piano
are never touched; an added note is cut where a note of the piano, or of a later step, sounds in the same part.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from mapping.unpitched import one_at_a_time
from reading.score import TICKS_PER_QUARTER

if TYPE_CHECKING:
    from mapping.arrangement import Player
    from mapping.draft import Rows

__all__ = ["settled"]

_SHORTEST = TICKS_PER_QUARTER // 4


def settled(notes: Rows, player: Player) -> Rows:
    """Return a player's notes with added ones cut to the time that is free for them.

    Parameters
    ----------
    notes : ndarray, dtype PART_DTYPE
        Of one player, sorted by onset.
    player : Player
        A section divides, and a harp or keyboard sounds many notes; only solo lines are settled.
    """
    if player.instrument.unpitched is not None:
        return one_at_a_time(notes)
    added = (notes["source"] < 0) & (notes["duration"] > 0)
    if player.count > 1 or player.instrument.notes_at_once > 1 or not added.any() or len(notes) < 2:
        return notes
    keep = np.ones(len(notes), dtype=bool)
    pieces = [notes]
    ends = notes["onset"] + notes["duration"]
    reach = int(notes["duration"].max())
    for row in np.flatnonzero(added).tolist():
        low = int(np.searchsorted(notes["onset"], notes["onset"][row] - reach, side="left"))
        high = int(np.searchsorted(notes["onset"], ends[row], side="left"))
        near = np.arange(low, high)
        near = near[(ends[near] > notes["onset"][row]) & (notes["duration"][near] > 0) & (near != row)]
        near = near[_stronger(notes, near, row)]
        if not len(near):
            continue
        keep[row] = False
        free = _free(int(notes["onset"][row]), int(ends[row]), notes["onset"][near], ends[near])
        cut = np.repeat(notes[row : row + 1], len(free))
        for place, (start, end) in enumerate(free):
            cut["onset"][place], cut["duration"][place] = start, end - start
        pieces.append(cut)
    if keep.all():
        return notes
    found = np.concatenate([pieces[0][keep], *pieces[1:]])
    return found[np.lexsort((found["pitch"], found["onset"]))]


def _stronger(
    notes: Rows, others: np.ndarray[tuple[int], np.dtype[np.int64]], row: int
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which other notes an added note gives way to: the piano's, those of later steps, later ones of its own step."""
    cause, onset, pitch = notes["cause"][row], notes["onset"][row], notes["pitch"][row]
    same_step = (notes["cause"][others] == cause) & (
        (notes["onset"][others] > onset) | ((notes["onset"][others] == onset) & (notes["pitch"][others] > pitch))
    )
    twin = (notes["cause"][others] == cause) & (notes["onset"][others] == onset) & (notes["pitch"][others] == pitch)
    return np.asarray(
        (notes["source"][others] >= 0) | (notes["cause"][others] > cause) | same_step | (twin & (others < row))
    )


def _free(
    start: int,
    end: int,
    busy_from: np.ndarray[tuple[int], np.dtype[np.int64]],
    busy_to: np.ndarray[tuple[int], np.dtype[np.int64]],
) -> list[tuple[int, int]]:
    """Stretches of (start, end) outside the busy ones, none shorter than a sixteenth."""
    found = []
    for a, b in sorted(zip(busy_from.tolist(), busy_to.tolist(), strict=True)):
        if a - start >= _SHORTEST:
            found.append((start, a))
        start = max(start, b)
    if end - start >= _SHORTEST:
        found.append((start, end))
    return found
