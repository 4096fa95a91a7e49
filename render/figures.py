"""Rolls as single strokes. Speeds are *common practice, no source*."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from render.deviation import deviates

if TYPE_CHECKING:
    from mapping.arrangement import Player

__all__ = ["ROLL_DB", "strokes"]

_STROKES_HZ = {"percussion": 14.0, "keyboard": 12.0, "plucked": 10.0}
_TONGUE_HZ = 8.0
ROLL_DB = -11.0
"""One stroke of a roll against a single stroke of the same dynamic: the strokes ring into each other."""

Rows = np.ndarray[Any, np.dtype[np.void]]


def strokes(one: Rows, player: Player) -> Rows:
    """Return a roll or a repeated note as single strokes.

    Parameters
    ----------
    one : ndarray, dtype PLAYED_DTYPE, shape (1,)
    player : Player
    """
    length_s = float(one["end_s"][0] - one["start_s"][0])
    count = max(1, round(length_s * _STROKES_HZ.get(player.family, _TONGUE_HZ)))
    rows = np.repeat(one, count)
    number = np.arange(count)
    step_s = length_s / count
    # Each stroke is as loud as the place it falls on, so that a roll can grow.
    rows["from_tick"] += (number * int(one["to_tick"][0] - one["from_tick"][0])) // count
    rows["start_s"] += number * step_s + 0.004 * deviates(0, f"{player.name} roll", number, int(one["from_tick"][0]))
    rows["start_s"][0] = one["start_s"][0]
    rows["boost_db"] += 0.7 * deviates(0, f"{player.name} hand", number, int(one["from_tick"][0]))
    if player.family == "percussion":
        rows["end_s"] = np.minimum(rows["start_s"] + 0.4, float(one["end_s"][0]) + 0.05)
        rows["boost_db"] += ROLL_DB
        rows["boost_db"][0] = one["boost_db"][0] + ROLL_DB + 4.0  # the roll begins with a firm stroke
    else:
        rows["end_s"] = rows["start_s"] + 0.85 * step_s
    return rows
