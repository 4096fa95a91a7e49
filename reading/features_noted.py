"""One notation for what two editions note otherwise: abbreviated tremolos and repetitions, written-out shakes.

Strokes through a stem are the notes they stand for. A shake is its main note: a run of five small notes or more that
keeps coming back to one note, a step away in between, in half the usual distance between attacks or less, is taken for
a written-out one. The score itself stays as it is; bars are compared, and figures named, in this notation.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.features import has_keyboard, played
from reading.score import Flag

if TYPE_CHECKING:
    from reading.features import Ints
    from reading.score import Score

__all__ = ["plainly_noted", "shakes_folded", "strokes_written"]

Table = np.ndarray[Any, np.dtype[np.void]]

_LEAST = 5
_STEP = 2


@lru_cache(maxsize=4)
def plainly_noted(score: Score) -> Score:
    """Return the score with tremolos written out and written-out shakes folded; note ids are numbered anew.

    Parameters
    ----------
    score : Score
        The same object comes back where nothing changes.
    """
    return shakes_folded(strokes_written(score))


@lru_cache(maxsize=4)
def strokes_written(score: Score) -> Score:
    """Return the score with every tremolo, of one note or between two, in the notes it stands for.

    Parameters
    ----------
    score : Score
        The same object comes back where it has none, and where it has no keyboard: an orchestra's tremolo is a colour,
        a piano's strokes abbreviate a figure.
    """
    strokes = np.uint32(Flag.TREMOLO | Flag.TREMOLO_BETWEEN)
    struck = score.notes["flags"] & strokes > 0
    if not struck.any() or not has_keyboard(score):
        return score
    from reading.playing import performed_notes

    table = score.notes[struck]
    made = performed_notes(score, _only(table, strokes), marks=score.marks)
    notes = np.zeros(len(made), score.notes.dtype)
    for name in score.notes.dtype.names or ():
        notes[name] = made[name]
    notes["flags"] = score.notes["flags"][made["written"]] & ~strokes
    notes = np.concatenate([score.notes[~struck], notes])
    notes = notes[np.lexsort((notes["voice"], notes["staff"], notes["part"], notes["pitch"], notes["onset"]))]
    notes["id"] = np.arange(len(notes))
    notes["bar"] = np.maximum(np.searchsorted(score.bars["onset"], notes["onset"], side="right"), 1)
    return replace(score, notes=notes, marks=tuple(replace(mark, notes=()) for mark in score.marks))


def _only(notes: Table, signs: np.uint32) -> Table:
    """Return the notes with no signs but these."""
    notes = notes.copy()
    notes["flags"] &= signs
    return notes


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
