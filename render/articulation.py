"""How a note is attacked and let go: accents, lengths, slurs, as amounts.

All amounts are *common practice, no source*, kept here to be seen and changed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from reading.score import Flag

if TYPE_CHECKING:
    from collections.abc import Sequence

    from mapping.arrangement import Player

__all__ = ["ACCENT_S", "DAMPED_S", "FP_HELD_S", "boosts_db", "is_struck", "let_go"]

ACCENT_S = 0.25
"""Time in which the emphasis of an accent on a held note is gone."""

FP_HELD_S = 0.18
"""How long the f of an fp lasts before it falls."""

_BOOST_DB = ((Flag.ACCENT, 3.0), (Flag.MARCATO, 4.5), (Flag.SFORZANDO, 6.0), (Flag.TENUTO, 0.8), (Flag.FP, 2.0))
_SHORT = ((Flag.STACCATISSIMO, 0.3, 0.16), (Flag.STACCATO, 0.5, 0.30))  # share of the written length, most seconds
_GAP_SHARE, _GAP_S = 0.10, 0.045  # between notes that are neither slurred nor marked
_OVERLAP_S = 0.030  # of slurred notes
_STRUCK = ("keyboard", "plucked", "percussion")
_STRUCK_WAYS = ("pizzicato", "col legno")
_SECCO_SHARE, _SECCO_S = 0.5, 0.3  # as staccato
DAMPED_S = 0.32
"""When a stroke that is damped at once (secco) is silent."""

_RING_S = {"plucked": 1.2, "percussion": 0.8}  # strings and bars are not damped at once

Rows = np.ndarray[Any, np.dtype[np.void]]
Floats = np.ndarray[Any, np.dtype[np.float64]]


def boosts_db(flags: np.ndarray[Any, Any]) -> Floats:
    """Return the emphasis of each note's attack in dB: the strongest of its signs counts."""
    found = np.zeros(len(flags))
    for flag, boost in _BOOST_DB:
        found = np.maximum(found, np.where((flags & int(flag)) != 0, boost, 0.0))
    return found


def is_struck(player: Player, way: str) -> bool:
    """Whether the sound cannot be shaped after its attack."""
    return (player.family in _STRUCK and way != "roll") or way in _STRUCK_WAYS


def let_go(
    player: Player, flags: np.ndarray[Any, Any], start_s: Floats, end_s: Floats, ways: Sequence[str] | None = None
) -> Floats:
    """Return when each note is let go, in seconds.

    Parameters
    ----------
    player : Player
    flags : ndarray of int
        Bits of reading.score.Flag.
    start_s, end_s : ndarray
        As written.
    ways : sequence of str, optional
        Way of playing of each note: what is ``secco`` is damped, and a roll ends with its note.
    """
    length = end_s - start_s
    gap = np.minimum(_GAP_SHARE * length, _GAP_S)
    held = (flags & int(Flag.TENUTO | Flag.SLUR_END)) != 0
    slurred = (flags & int(Flag.SLUR_START | Flag.SLUR_INSIDE)) != 0
    found = np.where(slurred, end_s + _OVERLAP_S, np.where(held, end_s - 0.3 * gap, end_s - gap))
    for flag, share, most_s in reversed(_SHORT):
        short = ((flags & int(flag)) != 0) & ~slurred
        found = np.where(short, start_s + np.minimum(share * length, most_s), found)
    dry, rolled = (np.array([way == name for way in ways or [""] * len(flags)], bool) for name in ("secco", "roll"))
    item = player.instrument.unpitched
    ring_s = _RING_S.get(player.family, 0.0) if item is None else item.ring_s
    found = np.where(rolled, found, np.maximum(found, start_s + ring_s)) if ring_s else found
    short_s = np.minimum(_SECCO_SHARE * length, _SECCO_S)
    return np.asarray(np.where(dry, start_s + (DAMPED_S if player.family == "percussion" else short_s), found))
