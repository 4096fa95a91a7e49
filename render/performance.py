"""From written notes to played ones: when each begins and ends, how loud it is, and how that changes while it lasts."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.arrangement import TECHNIQUES
from reading.score import Flag
from render.articulation import boosts_db, let_go
from render.deviation import LEVEL_DB, NOTE_CENTS, PLAYER_CENTS, TIME_S, deviates
from render.figures import strokes
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
        ("note", "<i4"),  # row in the notes heard (signs played out)
        ("source", "<i4"),  # id of the piano note, -1 for none
        ("from_tick", "<i8"),  # where it begins and ends in the score, cut to the passage
        ("to_tick", "<i8"),
        ("start_s", "<f8"),  # seconds of the passage, before human deviation
        ("end_s", "<f8"),  # when it is let go
        ("pitch", "<i2"),  # sounding MIDI pitch
        ("technique", "<i1"),  # row in mapping.arrangement.TECHNIQUES
        ("dynamic", "<f4"),  # place on the scale of reading.score.DYNAMICS at its start
        ("boost_db", "<f4"),  # emphasis and human deviation at its start
        ("share_db", "<f4"),  # below the whole part's level: players divided over the notes of a chord
        ("late_s", "<f4"),  # human deviation of time
        ("tune_cents", "<f4"),  # human deviation of tuning
    ]
)

_ROLL = TECHNIQUES.index("roll")

Rows = np.ndarray[Any, np.dtype[np.void]]
Mask = np.ndarray[Any, np.dtype[np.bool_]]


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
    heard = [_heard(part.notes, passage, stretch) for stretch in passage.stretches]
    notes = np.concatenate([rows for rows, _ in heard])
    part = replace(part, notes=notes)
    tables, first = [], 0
    for (rows, held), stretch in zip(heard, passage.stretches, strict=True):
        table = _played(part, slice(first, first + len(rows)), held, passage, stretch, settings)
        first += len(rows)
        for row, one in enumerate(table):
            at = np.array([one["from_tick"]], np.float64)
            table["dynamic"][row] = dynamics.at(notes[one["note"]], at, part.marks)[0]
        tables.append(table)
    played = np.concatenate(tables)
    played = played[np.lexsort((played["pitch"], played["start_s"]))]
    if settings.spread and len(played):
        _deviate(played, part, settings.seed)
    cut = any(bool(np.any(held)) for _, held in heard)
    return Performance(played, shapes_of(played, part, passage, dynamics), cut)


def _heard(notes: Rows, passage: Passage, stretch: Stretch) -> tuple[Rows, Mask]:
    """Notes heard in a stretch with their signs played out, and which of them began before it."""
    from reading.playing import performed_notes

    # A grace note belongs to the bar it is written in, though it may sound before its bar line.
    bars = np.searchsorted(passage.score.bars["onset"], notes["onset"], side="right")
    bars = np.where((notes["duration"] == 0) & (notes["bar"] > 0), notes["bar"], bars)
    before = bars < stretch.first_bar
    inside = ~before & (bars <= stretch.last_bar)
    sounding = before & (notes["onset"] + notes["duration"] > stretch.start)
    rows = performed_notes(passage.score, notes[inside | sounding], timeline=passage.clock)  # type: ignore[arg-type]
    written = dict(zip(notes["id"].tolist(), before.tolist(), strict=True))
    held = np.array([written[one] for one in rows["written"].tolist()], bool) & (rows["onset"] < stretch.start)
    # Of a sign played out that began before, only what still sounds is heard.
    keep = ~held | (rows["onset"] + rows["duration"] > stretch.start)
    return rows[keep], held[keep]


def _played(part: Part, rows: slice, held: Mask, passage: Passage, stretch: Stretch, settings: RenderSettings) -> Rows:
    """Play the notes of one stretch: times and emphasis."""
    notes = part.notes[rows]
    table = np.zeros(len(notes), PLAYED_DTYPE)
    table["note"], table["source"], table["pitch"] = np.arange(rows.start, rows.stop), notes["source"], notes["pitch"]
    table["technique"] = notes["technique"]
    table["from_tick"] = np.where(held, stretch.start, notes["onset"])
    table["to_tick"] = np.minimum(notes["onset"] + notes["duration"], stretch.end)
    table["start_s"] = passage.seconds(stretch, table["from_tick"])
    written_end_s = passage.seconds(stretch, table["to_tick"])
    # A note struck anew at the start of the passage has no accent of its own there.
    flags = np.where(held, notes["flags"] & ~np.uint32(_ATTACKS), notes["flags"])
    flags = np.where(_shaken(notes), flags | np.uint32(int(Flag.SLUR_INSIDE)), flags)
    ways = [TECHNIQUES[way] for way in table["technique"].tolist()]
    table["end_s"] = let_go(part.player, flags, table["start_s"], written_end_s, ways)
    table["boost_db"] = boosts_db(flags)
    if part.player.family == "strings":
        # A section divides over the notes of a chord, a single player's bow over its strings: powers stay the same.
        _, chord, size = np.unique(table["from_tick"], return_inverse=True, return_counts=True)
        table["share_db"] = -10.0 * np.log10(size[chord])
    pedalled(table, part.player, passage, stretch, settings)
    return _stroked(table, notes, part.player)


_ATTACKS = int(Flag.ACCENT | Flag.MARCATO | Flag.SFORZANDO | Flag.FP)
_SHAKES = int(Flag.TRILL | Flag.MORDENT | Flag.INVERTED_MORDENT | Flag.TURN | Flag.INVERTED_TURN)


def _shaken(notes: Rows) -> Mask:
    """Which notes belong to an ornament, whose notes are slurred."""
    return np.asarray((notes["flags"] & _SHAKES) != 0)


def _stroked(table: Rows, notes: Rows, player: Player) -> Rows:
    """Play rolls as single strokes; the bowed tremolo is a trembling level instead (see shaping)."""
    rolled = (table["technique"] == _ROLL) & ((notes["flags"] & int(Flag.TREMOLO)) == 0)
    if not np.any(rolled):
        return table
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
    if part.player.family in ("woodwind", "brass", "voice", "strings"):
        played["tune_cents"] = own + NOTE_CENTS * smaller * deviates(seed, f"{name} cents", onset, pitch)
