"""From written notes to played ones: when each begins and ends, how loud it is, and how that changes while it lasts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.arrangement import TECHNIQUES
from reading.score import Flag
from render.articulation import boosts_db, let_go
from render.deviation import LEVEL_DB, NOTE_CENTS, PLAYER_CENTS, TIME_S, deviates
from render.figures import broken_chords, graces, strokes
from render.pedal import pedalled
from render.shaping import SHAPE_DTYPE, shapes_of

if TYPE_CHECKING:
    from mapping.arrangement import Part, Player
    from render.dynamics import Dynamics
    from render.passage import Passage, Stretch
    from render.settings import RenderSettings

__all__ = ["PLAYED_DTYPE", "SHAPE_DTYPE", "Performance", "perform"]

PLAYED_DTYPE = np.dtype(
    [
        ("note", "<i4"),  # row in the player's notes
        ("source", "<i4"),  # id of the piano note, -1 for none
        ("from_tick", "<i8"),  # where it begins and ends in the score, cut to the passage
        ("to_tick", "<i8"),
        ("start_s", "<f8"),  # seconds of the passage, before human deviation
        ("end_s", "<f8"),  # when it is let go
        ("pitch", "<i2"),  # sounding MIDI pitch
        ("technique", "<i1"),  # row in mapping.arrangement.TECHNIQUES
        ("dynamic", "<f4"),  # place on the scale of reading.score.DYNAMICS at its start
        ("boost_db", "<f4"),  # emphasis and human deviation at its start
        ("late_s", "<f4"),  # human deviation of time
        ("tune_cents", "<f4"),  # human deviation of tuning
    ]
)

_PLAIN, _TREMOLO, _ROLL = (TECHNIQUES.index(way) for way in ("plain", "tremolo", "roll"))

Rows = np.ndarray[Any, np.dtype[np.void]]


@dataclass(frozen=True, eq=False)
class Performance:
    """One player's passage as played.

    Attributes
    ----------
    played : ndarray, dtype PLAYED_DTYPE
        Sorted by start, then pitch.
    shapes : ndarray, dtype SHAPE_DTYPE
        Level over time of notes that swell, fade or are accented while held; sorted by time.
    cut : bool
        Whether a note already sounding at the start had to be struck anew.
    """

    played: Rows
    shapes: Rows
    cut: bool


def perform(part: Part, passage: Passage, settings: RenderSettings, dynamics: Dynamics) -> Performance:
    """Return what a player does in a passage.

    Parameters
    ----------
    part : Part
    passage : Passage
    settings : RenderSettings
        Its spread, seed and pedal are used.
    dynamics : Dynamics
        Of the passage's score.
    """
    tables, cut = [], False
    for stretch in passage.stretches:
        rows, sounding = _rows_in(part.notes, stretch)
        cut |= sounding
        tables.append(_played(part, rows, passage, stretch, settings, dynamics))
    played = np.concatenate(tables) if tables else np.zeros(0, PLAYED_DTYPE)
    played = played[np.lexsort((played["pitch"], played["start_s"]))]
    if settings.spread and len(played):
        _deviate(played, part, settings.seed)
    return Performance(played, shapes_of(played, part, passage, dynamics), cut)


def _rows_in(notes: Rows, stretch: Stretch) -> tuple[np.ndarray[Any, Any], bool]:
    """Rows of the notes heard in a stretch, and whether one of them began before it."""
    ends = notes["onset"] + notes["duration"]
    inside = (notes["onset"] >= stretch.start) & (notes["onset"] < stretch.end)
    sounding = (notes["onset"] < stretch.start) & (ends > stretch.start)
    heard = (notes["flags"] & int(Flag.CUE)) == 0
    return np.flatnonzero((inside | sounding) & heard), bool(np.any(sounding & heard))


def _played(
    part: Part,
    rows: np.ndarray[Any, Any],
    passage: Passage,
    stretch: Stretch,
    settings: RenderSettings,
    dynamics: Dynamics,
) -> Rows:
    """Play the notes of one stretch: times, levels and emphasis."""
    notes = part.notes[rows]
    table = np.zeros(len(rows), PLAYED_DTYPE)
    table["note"], table["source"], table["pitch"] = rows, notes["source"], notes["pitch"]
    table["technique"] = notes["technique"]
    table["from_tick"] = np.maximum(notes["onset"], stretch.start)
    table["to_tick"] = np.minimum(notes["onset"] + notes["duration"], stretch.end)
    table["start_s"] = passage.seconds(stretch, table["from_tick"])
    written_end_s = passage.seconds(stretch, table["to_tick"])
    # A note struck anew at the start of the passage has no accent of its own there.
    flags = np.where(notes["onset"] < stretch.start, notes["flags"] & ~np.uint32(_ATTACKS), notes["flags"])
    table["end_s"] = let_go(part.player, flags, table["start_s"], written_end_s)
    table["boost_db"] = boosts_db(flags)
    for row, note in enumerate(notes):
        table["dynamic"][row] = dynamics.at(note, table["from_tick"][row : row + 1].astype(np.float64), part.marks)[0]
    graces(table, notes)
    broken_chords(table, notes, part.player)
    pedalled(table, part.player, passage, stretch, settings)
    return _stroked(table, notes, part.player)


_ATTACKS = int(Flag.ACCENT | Flag.MARCATO | Flag.SFORZANDO | Flag.FP)


def _stroked(table: Rows, notes: Rows, player: Player) -> Rows:
    """Play rolls and repeated notes as single strokes; the bowed tremolo is a trembling level instead (see shaping)."""
    if not len(table):
        return table
    repeated = (notes["flags"] & int(Flag.TREMOLO)) != 0
    if player.family == "strings":
        table["technique"][repeated & (table["technique"] == _PLAIN)] = _TREMOLO
        return table
    rolled = (table["technique"] == _ROLL) | repeated
    pieces = [table[~rolled], *(strokes(table[row : row + 1], player) for row in np.flatnonzero(rolled))]
    return np.concatenate(pieces)


def _deviate(played: Rows, part: Part, seed: int) -> None:
    """Add human deviations, in place; a section's average out."""
    name, count = part.player.name, part.player.count
    onset, pitch = part.notes["onset"][played["note"]], played["pitch"].astype(np.int64)
    # Notes of one chord of one player move together.
    smaller = 1.0 / np.sqrt(min(count, 9))
    played["late_s"] = TIME_S * smaller * deviates(seed, f"{name} time", onset)
    played["boost_db"] += LEVEL_DB * smaller * deviates(seed, f"{name} level", onset, pitch)
    own = PLAYER_CENTS * deviates(seed, f"{name} pitch", 0)
    if part.player.family in ("woodwind", "brass", "strings"):
        played["tune_cents"] = own + NOTE_CENTS * smaller * deviates(seed, f"{name} cents", onset, pitch)
