"""Written-out shakes as one note: what one edition prints as a trill, another writes out in small notes.

For comparing bars a shake is its main note. A run of five small notes or more that keeps coming back to one note, a
step away in between, in half the usual distance between attacks or less, is taken for one; the score itself stays as
it is.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from reading.features import played
from reading.score import Flag

if TYPE_CHECKING:
    from reading.features import Ints
    from reading.score import Score

__all__ = ["shakes_folded"]

_LEAST = 5
_STEP = 2


@lru_cache(maxsize=4)
def shakes_folded(score: Score) -> Score:
    """Return the score with every written-out shake held as its main note; the others are flagged as cues.

    Parameters
    ----------
    score : Score
        The same object comes back where it has no such shake.
    """
    ids = np.flatnonzero(played(score))
    notes = score.notes
    wait = np.diff(np.unique(notes["onset"][ids]))
    if not len(wait):
        return score
    longest = float(np.median(wait)) / 2
    small = ids[notes["duration"][ids] <= longest]
    changed = notes.copy()
    for run in _runs(score, small):
        pitch = notes["pitch"][run].astype(np.int64)
        main = _main(pitch)
        if main is None:
            continue
        changed["pitch"][run[0]] = main
        changed["duration"][run[0]] = notes["duration"][run].sum()
        changed["flags"][run[1:]] |= np.uint32(Flag.CUE)
    return score if np.array_equal(changed, notes) else replace(score, notes=changed)


def _runs(score: Score, ids: Ints) -> list[Ints]:
    """Return the runs of single notes of one staff, equally long, each where the one before ends."""
    notes = score.notes
    ids = ids[np.lexsort((notes["onset"][ids], notes["staff"][ids], notes["part"][ids]))]
    part, staff, onset, length = (notes[name][ids].astype(np.int64) for name in ("part", "staff", "onset", "duration"))
    follows = np.zeros(len(ids), bool)
    follows[1:] = (np.diff(part) == 0) & (np.diff(staff) == 0) & (np.abs(np.diff(length)) <= 1)
    follows[1:] &= onset[1:] == onset[:-1] + length[:-1]
    return [run for run in np.split(ids, np.flatnonzero(~follows)) if len(run) >= _LEAST]


def _main(pitch: Ints) -> int | None:
    """Return the main note: the lower of two that alternate, the middle one of three; None where it is no shake."""
    used = np.unique(pitch)
    if len(used) not in (2, 3):
        return None
    main = int(used[0] if len(used) == 2 else used[1])
    away = pitch != main
    alternates = not (away[1:] == away[:-1]).any()
    return main if alternates and int(np.abs(used - main).max()) <= _STEP else None
