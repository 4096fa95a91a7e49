"""Notes that written time does not place: grace notes, broken chords, rolls.

Speeds are *common practice, no source*.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from reading.score import Flag
from render.deviation import deviates

if TYPE_CHECKING:
    from mapping.arrangement import Player

__all__ = ["ROLL_DB", "broken_chords", "graces", "strokes"]

_GRACE_S = 0.09
_BREAK_S, _BREAK_MOST_S = 0.050, 0.30
_STROKES_HZ = {"percussion": 14.0, "keyboard": 12.0, "plucked": 10.0}
_TONGUE_HZ = 8.0
ROLL_DB = -11.0
"""One stroke of a roll against a single stroke of the same dynamic: the strokes ring into each other."""

Rows = np.ndarray[Any, np.dtype[np.void]]


def graces(table: Rows, notes: Rows) -> None:
    """Place grace notes before the note they lead to, one after the other, in place.

    Parameters
    ----------
    table : ndarray, dtype PLAYED_DTYPE
    notes : ndarray, dtype PART_DTYPE
        The same rows as written.
    """
    grace = np.flatnonzero((notes["duration"] == 0) & ((notes["flags"] & int(Flag.GRACE)) != 0))
    for onset in np.unique(notes["onset"][grace]):
        group = [row for row in grace if notes["onset"][row] == onset]
        group.sort(key=lambda row: int(notes["id"][row]))
        for place, row in enumerate(group):
            before = len(group) - place
            table["end_s"][row] = table["start_s"][row] - (before - 1) * _GRACE_S + 0.02
            table["start_s"][row] -= before * _GRACE_S


def broken_chords(table: Rows, notes: Rows, player: Player) -> None:
    """Spread chords that carry the arpeggio sign, in place: keyboards and harp, from the beat on."""
    if player.family not in ("keyboard", "plucked"):
        return
    for flag, direction in ((Flag.ARPEGGIO, 1), (Flag.ARPEGGIO_DOWN, -1)):
        signed = np.flatnonzero((notes["flags"] & int(flag)) != 0)
        for onset in np.unique(notes["onset"][signed]):
            group = [row for row in signed if notes["onset"][row] == onset]
            if len(group) < 2:
                continue
            group.sort(key=lambda row: direction * int(notes["pitch"][row]))
            step_s = min(_BREAK_S, _BREAK_MOST_S / (len(group) - 1))
            for place, row in enumerate(group):
                latest_s = float(table["end_s"][row]) - 0.03
                table["start_s"][row] = min(float(table["start_s"][row]) + place * step_s, latest_s)


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
