"""Level over time of single notes: hairpins, the fall after an accent, fp, the trembling of a bowed tremolo."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.arrangement import TECHNIQUES
from reading.score import Flag
from render.articulation import ACCENT_S, DAMPED_S, FP_HELD_S, is_struck
from render.deviation import deviates

if TYPE_CHECKING:
    from mapping.arrangement import Part
    from render.dynamics import Dynamics
    from render.passage import Passage

__all__ = ["SHAPE_DTYPE", "STEP_S", "shapes_of"]

SHAPE_DTYPE = np.dtype(
    [
        ("played", "<i4"),  # row of the played note
        ("at_s", "<f8"),  # seconds of the passage
        ("dynamic", "<f4"),
        ("boost_db", "<f4"),
    ]
)

STEP_S = 0.008
"""Time between points: a swell of 20 dB in half a second still has steps below 0.5 dB."""

_LEAST_LEVELS = 0.02
_LEAST_DB = 0.2
_FP_TO = 3.0  # the p of an fp
_FP_FALL_S = 0.12
_TREMBLE_HZ, _TREMBLE_DB = 12.0, 4.0
_OPEN_S, _SILENT_DB = 0.08, 60.0  # a hand needs a moment to damp a stroke
_SHORT_S = 0.12  # notes too short to be shaped

Rows = np.ndarray[Any, np.dtype[np.void]]
Floats = np.ndarray[Any, np.dtype[np.float64]]


def shapes_of(played: Rows, part: Part, passage: Passage, dynamics: Dynamics) -> Rows:
    """Return the level over time of all notes that have one of their own, sorted by time.

    Parameters
    ----------
    played : ndarray, dtype PLAYED_DTYPE
    part : Part
    passage : Passage
    dynamics : Dynamics
    """
    pieces = []
    for row, one in enumerate(played):
        way = TECHNIQUES[one["technique"]]
        length_s = float(one["end_s"] - one["start_s"])
        if way == "secco" and part.player.family == "percussion":
            pieces.append(_damped(row, one))
            continue
        if length_s < _SHORT_S or way == "roll" or is_struck(part.player, way):
            continue
        piece = _shape(row, one, part, passage, dynamics)
        if piece is not None:
            pieces.append(piece)
    if not pieces:
        return np.zeros(0, SHAPE_DTYPE)
    table = np.concatenate(pieces)
    return table[np.argsort(table["at_s"], kind="stable")]


def _damped(row: int, one: Any) -> Rows:
    """A stroke damped by the hand: as struck at first, then quickly silent."""
    after_s = np.arange(STEP_S, float(one["end_s"] - one["start_s"]), STEP_S)
    piece = np.zeros(len(after_s), SHAPE_DTYPE)
    piece["played"], piece["at_s"], piece["dynamic"] = row, one["start_s"] + after_s, one["dynamic"]
    fall = np.clip((after_s - _OPEN_S) / (DAMPED_S - 2 * STEP_S - _OPEN_S), 0.0, 1.0)
    piece["boost_db"] = one["boost_db"] - _SILENT_DB * fall
    return piece


def _shape(row: int, one: Any, part: Part, passage: Passage, dynamics: Dynamics) -> Rows | None:
    """One note's level over time, or None where it stays as it begins."""
    note = part.notes[one["note"]]
    ends = np.array([one["from_tick"], one["to_tick"]], np.float64)
    swelling = np.ptp(_levels(note, np.linspace(ends[0], ends[1], 9), part, dynamics)) > _LEAST_LEVELS
    tremble = TECHNIQUES[one["technique"]] == "tremolo"
    accent_db = float(one["boost_db"])
    special = bool(note["flags"] & int(Flag.FP))
    if not (swelling or tremble or special or accent_db > 2.0):
        return None
    after_s = np.arange(STEP_S, float(one["end_s"] - one["start_s"]), STEP_S)
    written_s = _written_s(passage, one)
    at = np.interp(after_s, (0.0, max(written_s, 1e-6)), ends)
    piece = np.zeros(len(after_s), SHAPE_DTYPE)
    piece["played"], piece["at_s"] = row, one["start_s"] + after_s
    # The dynamic at the start is the reference; curves begin there.
    piece["dynamic"] = _levels(note, np.concatenate([ends[:1], at]), part, dynamics)[1:] if swelling else one["dynamic"]
    piece["boost_db"] = accent_db
    if special:
        fall = np.clip((after_s - FP_HELD_S) / _FP_FALL_S, 0.0, 1.0)
        piece["dynamic"] += fall * (np.minimum(_FP_TO, piece["dynamic"]) - piece["dynamic"])
    if special or accent_db > 2.0:
        piece["boost_db"] = accent_db * np.exp(-after_s / (0.5 * ACCENT_S))
    if tremble:
        piece["boost_db"] += _trembling(after_s, int(note["onset"]), part.player.name)
    return piece


def _levels(note: Any, at: Floats, part: Part, dynamics: Dynamics) -> Floats:
    """Dynamic at ticks of a note."""
    return dynamics.at(note, at, part.marks)


def _written_s(passage: Passage, one: Any) -> float:
    """Seconds between the ticks at which a note begins and ends."""
    first, last = passage.clock.seconds(np.array([one["from_tick"], one["to_tick"]]))
    return float(last - first)


def _trembling(after_s: Floats, onset: int, name: str) -> Floats:
    """Level of a bowed tremolo in dB: a dip at each change of bow, uneven as hands are, of mean power 1."""
    stroke = np.floor(after_s * _TREMBLE_HZ).astype(np.int64)
    uneven = 0.8 * deviates(0, f"{name} stroke", stroke, onset)
    phase = after_s * _TREMBLE_HZ - stroke
    level = -_TREMBLE_DB * np.cos(np.pi * phase) ** 6 + uneven
    return np.asarray(level - 10.0 * np.log10(np.mean(10.0 ** (level / 10.0))))
