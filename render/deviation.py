"""Small human deviations that are the same in every run.

Each deviation is a function of the seed, the player, the place and the pitch, so that an edit elsewhere changes none.

References
----------
R. Rasch, "Synchronization in performed ensemble music", Acustica 43 (1979): onsets in trios differ with a standard
deviation of 30 to 50 ms (from memory). Ours are well inside: 8 ms for one player, less for a section.
"""

from __future__ import annotations

from hashlib import sha256
from typing import Any

import numpy as np

__all__ = ["LEVEL_DB", "NOTE_CENTS", "PLAYER_CENTS", "TIME_S", "deviates"]

TIME_S = 0.008
LEVEL_DB = 0.6
NOTE_CENTS = 1.5
PLAYER_CENTS = 3.0
"""Standard deviations: onset time, level, tuning of a note, tuning of a player."""


def deviates(
    seed: int, name: str, *facts: np.ndarray[Any, np.dtype[np.int64]] | int
) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Return deviates of mean 0 and standard deviation 1, bounded by 3.5, one for each element of *facts*.

    Parameters
    ----------
    seed : int
    name : str
        Player and purpose.
    *facts : ndarray of int64 or int
        What tells one event from another; broadcast together.
    """
    start = int.from_bytes(sha256(f"{seed}|{name}".encode()).digest()[:8], "little")
    state = np.full(np.broadcast_shapes(*(np.shape(fact) for fact in facts)), start, np.uint64)
    for fact in facts:
        state = _mixed(state ^ np.asarray(fact, np.int64).astype(np.uint64))
    quarters = [(state >> np.uint64(16 * part)) & np.uint64(0xFFFF) for part in range(4)]
    total = sum(quarter.astype(np.float64) / 65535.0 - 0.5 for quarter in quarters)
    return np.asarray(total * np.sqrt(3.0), np.float64)  # a sum of four uniforms has variance 1/3


def _mixed(state: np.ndarray[Any, np.dtype[np.uint64]]) -> np.ndarray[Any, np.dtype[np.uint64]]:
    """Mix 64 bits (the finaliser of the SplitMix64 generator)."""
    with np.errstate(over="ignore"):
        state = state + np.uint64(0x9E3779B97F4A7C15)
        state = (state ^ (state >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        state = (state ^ (state >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return np.asarray(state ^ (state >> np.uint64(31)))
