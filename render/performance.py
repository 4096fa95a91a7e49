"""From written notes to played ones: when each begins and ends, how loud it is, and how that changes while it lasts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.score import Flag
from render.dynamics import level_curve

if TYPE_CHECKING:
    from mapping.arrangement import Part
    from render.passage import Passage, Stretch
    from render.settings import RenderSettings

__all__ = ["PLAYED_DTYPE", "SHAPE_DTYPE", "Performance", "perform"]

PLAYED_DTYPE = np.dtype(
    [
        ("note", "<i4"),  # row in the player's notes
        ("source", "<i4"),  # id of the piano note, -1 for none
        ("start_s", "<f8"),  # seconds of the passage, where the score has it
        ("end_s", "<f8"),
        ("pitch", "<i2"),  # sounding MIDI pitch
        ("technique", "<i1"),  # row in mapping.arrangement.TECHNIQUES
        ("dynamic", "<f4"),  # place on the scale of reading.score.DYNAMICS at its start
        ("boost_db", "<f4"),  # accent and human deviation, at its start
        ("late_s", "<f4"),  # human deviation of time
    ]
)

SHAPE_DTYPE = np.dtype(
    [
        ("played", "<i4"),  # row of the played note
        ("at_s", "<f8"),
        ("dynamic", "<f4"),
        ("boost_db", "<f4"),
    ]
)

_GRACE_S = 0.09
_SHAPE_STEP_S = 0.016

Rows = np.ndarray[Any, np.dtype[np.void]]


@dataclass(frozen=True, eq=False)
class Performance:
    """One player's passage as played.

    Attributes
    ----------
    played : ndarray, dtype PLAYED_DTYPE
        Sorted by start, then pitch.
    shapes : ndarray, dtype SHAPE_DTYPE
        Level over time of notes that swell, fade or are accented while held.
    cut : bool
        Whether a note already sounding at the start had to be struck anew.
    """

    played: Rows
    shapes: Rows
    cut: bool


def perform(part: Part, passage: Passage, settings: RenderSettings) -> Performance:
    """Return what a player does in a passage."""
    played, shapes, cut = [], [], False
    count = 0
    for stretch in passage.stretches:
        rows, sounding = _rows_in(part.notes, stretch)
        cut |= sounding
        some = _played(part, rows, passage, stretch)
        shape = _shapes(part, some, passage, stretch)
        shape["played"] += count
        count += len(some)
        played.append(some)
        shapes.append(shape)
    table, shape = np.concatenate(played), np.concatenate(shapes)
    order = np.lexsort((table["pitch"], table["start_s"]))
    place = np.empty(len(order), np.int32)
    place[order] = np.arange(len(order))
    shape["played"] = place[shape["played"]]
    return Performance(table[order], shape[np.argsort(shape["at_s"], kind="stable")], cut)


def _rows_in(notes: Rows, stretch: Stretch) -> tuple[np.ndarray[Any, Any], bool]:
    """Rows of the notes heard in a stretch, and whether one of them began before it."""
    ends = notes["onset"] + notes["duration"]
    inside = (notes["onset"] >= stretch.start) & (notes["onset"] < stretch.end)
    sounding = (notes["onset"] < stretch.start) & (ends > stretch.start)
    silent = (notes["flags"] & int(Flag.CUE)) != 0
    return np.flatnonzero((inside | sounding) & ~silent), bool(np.any(sounding & ~silent))


def _played(part: Part, rows: np.ndarray[Any, Any], passage: Passage, stretch: Stretch) -> Rows:
    """Notes of one stretch with times and levels."""
    notes = part.notes[rows]
    table = np.zeros(len(rows), PLAYED_DTYPE)
    onset = np.maximum(notes["onset"], stretch.start)
    end = np.minimum(notes["onset"] + notes["duration"], stretch.end)
    table["note"], table["source"], table["pitch"] = rows, notes["source"], notes["pitch"]
    table["technique"] = notes["technique"]
    table["start_s"], table["end_s"] = passage.seconds(stretch, onset), passage.seconds(stretch, end)
    grace = notes["duration"] == 0
    table["end_s"][grace] = table["start_s"][grace]
    table["start_s"][grace] -= _GRACE_S
    for row, note in enumerate(notes):
        curve = level_curve(part, note, passage.score)
        table["dynamic"][row] = float(curve(onset[row : row + 1])[0])
    return table


def _shapes(part: Part, played: Rows, passage: Passage, stretch: Stretch) -> Rows:
    """Level over time of the notes whose dynamic changes while they are held."""
    pieces = []
    for row, one in enumerate(played):
        note = part.notes[one["note"]]
        curve = level_curve(part, note, passage.score)
        count = int((one["end_s"] - one["start_s"]) / _SHAPE_STEP_S)
        if count < 2:
            continue
        at = np.linspace(
            max(int(note["onset"]), stretch.start), min(int(note["onset"] + note["duration"]), stretch.end), count
        )
        levels = curve(at)
        if np.ptp(levels) < 0.01:
            continue
        piece = np.zeros(count, SHAPE_DTYPE)
        piece["played"], piece["at_s"], piece["dynamic"] = row, passage.seconds(stretch, at), levels
        pieces.append(piece)
    return np.concatenate(pieces) if pieces else np.zeros(0, SHAPE_DTYPE)
