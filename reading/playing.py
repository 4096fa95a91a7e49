"""Written and played kept apart: repeats unfolded, graces, ornaments, tremolos and arpeggios as sounding notes.

How small notes and signs are played is common practice, no single source; each rule stands at its function. All of it
is deterministic, and written notes are never changed: the result is a new table.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from reading.playing_signs import Realiser
from reading.score import Flag
from reading.timeline import Timeline
from reading.unfolding import Unfolding, bar_order, unfold

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reading.score import Mark, Score

__all__ = ["Unfolding", "bar_order", "performed_notes", "unfold", "unfolded"]

_SIGNS = int(
    Flag.GRACE
    | Flag.ARPEGGIO
    | Flag.ARPEGGIO_DOWN
    | Flag.TRILL
    | Flag.MORDENT
    | Flag.INVERTED_MORDENT
    | Flag.TURN
    | Flag.INVERTED_TURN
    | Flag.TREMOLO
    | Flag.TREMOLO_BETWEEN
    | Flag.CUE
)


def unfolded(score: Score) -> Score:
    """Return the score with repeats, endings, da capo and dal segno played out (see :func:`unfold` for the sources)."""
    return unfold(score).score


def performed_notes(
    score: Score,
    notes: np.ndarray[Any, np.dtype[np.void]] | None = None,
    *,
    marks: Sequence[Mark] | None = None,
    timeline: Timeline | None = None,
) -> np.ndarray[Any, np.dtype[np.void]]:
    """Return the notes as they sound: signs realised as notes, everything else as written.

    Parameters
    ----------
    score : Score
        For key signatures and tempo, and for notes and marks where those are not given.
    notes : ndarray, optional
        Any table with the fields of NOTE_DTYPE (an arrangement's parts have more); by default those of the score.
    marks : sequence of Mark, optional
        Details of the signs (accidentals, beams); ``mark.notes`` are ids of *notes*. By default the score's where the
        notes are the score's; for another table signs are read from its flags, details from the score's marks through
        the ``source`` field where the table has one.
    timeline : Timeline, optional
        Saves making one.

    Returns
    -------
    ndarray
        The fields of *notes*, and ``written`` (int32): the id of the written note. Sorted by onset, then pitch.
        Times are ticks; no note lasts less than one tick; grace flags are kept. Cue notes are left out.
    """
    table = score.notes if notes is None else notes
    dtype = np.dtype([*table.dtype.descr, ("written", "<i4")])
    made = np.zeros(len(table), dtype)
    for name in table.dtype.names or ():
        made[name] = table[name]
    made["written"] = table["id"]
    if np.any(table["flags"] & _SIGNS):
        by_source = marks is None and "source" in (table.dtype.names or ()) and notes is not score.notes
        keys = table["source"] if by_source else table["id"]
        made = Realiser(
            score, made, keys, score.marks if marks is None else marks, timeline or Timeline(score)
        ).realise()
    return made[np.lexsort([made["pitch"], made["onset"]])]
