"""The shape of the dynamics: does the variant grow and fade where the piano does."""

from __future__ import annotations

from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import numpy as np

from mapping.arrangement import TECHNIQUES
from mapping.checks.balance import strength_db
from mapping.checks.lines import hearing_of
from mapping.harmony_frames import pairs_of

if TYPE_CHECKING:
    from mapping.arrangement import Arrangement
    from mapping.harmony_frames import Floats
    from reading.score import Score

__all__ = ["CHANGE_DB", "bar_strengths_db", "shape"]

CHANGE_DB = 1.5
"""Half a dynamic step: smaller changes from bar to bar are no shape."""

_STILL_DB = 0.1  # less is rounding, not a change

_piano: WeakKeyDictionary[Score, Floats] = WeakKeyDictionary()


def bar_strengths_db(arrangement: Arrangement) -> Floats:
    """Return the strength of every bar in dB, shape (bars,); NaN where nothing sounds.

    A player counts with the mean power of the notes sounding in the bar, by the published strengths of
    :mod:`mapping.checks.balance`; the players' powers add. Thick chords of one player count no more than thin ones.
    """
    hearing = hearing_of(arrangement, None)
    bars = arrangement.score.bars
    starts = bars["onset"].astype(np.int64)
    total = np.zeros(len(bars))
    for line in hearing.lines:
        db = [
            strength_db(line.player, float(level), TECHNIQUES[technique])
            for level, technique in zip(line.level.tolist(), line.notes["technique"].tolist(), strict=True)
        ]
        power = 10 ** (np.array(db) / 10)
        rows, places, overlap = pairs_of(line.notes, starts, starts + bars["duration"])
        length = np.bincount(places, weights=overlap, minlength=len(bars))
        weight = np.bincount(places, weights=overlap * power[rows], minlength=len(bars))
        total += np.divide(weight, length, out=np.zeros(len(bars)), where=length > 0)
    with np.errstate(divide="ignore"):
        return np.asarray(np.where(total > 0, 10 * np.log10(np.maximum(total, 1e-12)), np.nan))


def shape(arrangement: Arrangement) -> tuple[float, list[tuple[int, bool]]]:
    """Return the share of the piano's changes that the variant makes too, and those it does not.

    Returns
    -------
    value : float
        Changes of half a step or more from one bar to the next that go the same way; 1 where the piano has none.
    missed : list of (int, bool)
        Bar index after the change, and whether the piano grows there.
    """
    score = arrangement.score
    theirs = _piano.get(score)
    if theirs is None:
        from mapping.as_piano import piano

        theirs = bar_strengths_db(piano(score))
        _piano[score] = theirs
    there, here = np.diff(theirs), np.diff(bar_strengths_db(arrangement))
    rows = np.flatnonzero(np.abs(np.nan_to_num(there)) >= CHANGE_DB)
    moves = np.nan_to_num(here[rows])
    kept = np.sign(np.where(np.abs(moves) < _STILL_DB, 0, moves)) == np.sign(there[rows])
    missed: list[tuple[int, bool]] = [(int(row) + 2, bool(there[row] > 0)) for row in rows[~kept]]
    return (float(kept.mean()) if len(rows) else 1.0), missed
