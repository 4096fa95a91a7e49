"""Accompaniment figures rewritten for players: what is struck when stays, what each player does with it changes.

The notes are cut into *cells*: one harmony within one bar. Each cell gives a chord, one note per player, led from the
chord before with as little motion as possible; the attacks of the figure give the rhythm.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement, pairwise
from typing import TYPE_CHECKING

import numpy as np

from mapping.arrangement import TECHNIQUES
from mapping.fullscore_rhythm import beat_ticks
from mapping.sharing import divided, reaches

if TYPE_CHECKING:
    from mapping.arrangement import Player
    from mapping.draft import Context, Rows, Target
    from mapping.steps import StepOptions

__all__ = ["Cell", "cells_of", "chords_for", "figure_notes", "refigured", "stays"]

_KEPT = {"scale", "line"}
_BROKEN = {"broken", "oscillation", "oom-pah"}
_MOST_PITCHES, _MOST_FOR_MANY = 8, 5  # combinations grow fast with the players
_MISSING, _OUT_OF_COMFORT, _OCTAVE_MOVED, _SAME, _CROSSED, _BELOW_BASS = 12.0, 4.0, 6.0, 2.0, 5.0, 15.0
_DOUBLED_LEADING = 8.0


@dataclass(frozen=True)
class Cell:
    """One harmony of the figure within one bar.

    Attributes
    ----------
    start, end : int
        Ticks.
    rows : tuple of int
        Rows of the layer's notes.
    strokes : tuple of (int, int)
        Start and end of every attack of the figure, in ticks.
    pitches : tuple of int
        Distinct pitches of the layer, rising.
    floor : int
        Highest bass note of the cell: chords stay above it; 0 without a bass.
    leading : int
        Pitch class of the leading note, which is not doubled; -1 where that does not matter.
    """

    start: int
    end: int
    rows: tuple[int, ...]
    strokes: tuple[tuple[int, int], ...]
    pitches: tuple[int, ...]
    floor: int = 0
    leading: int = -1


def refigured(piano: Rows, context: Context, options: StepOptions, on: tuple[str, ...], figure: str) -> list[Rows]:
    """Return the notes of the players a figure is rewritten for.

    Parameters
    ----------
    piano : ndarray, dtype NOTE_DTYPE
        The layer's notes.
    figure : str
        As in ``refigure``.
    """
    targets = context.targets(on)
    moving = piano[~stays(piano, context)]
    if not len(moving):
        return []
    if figure in ("shared", "natural"):
        return _shared(moving, context, options, targets, natural=figure == "natural")
    if figure == "pizzicato":
        return _plucked(moving, context, options, targets)
    cells = cells_of(moving, context)
    players = [context.players[target.row] for target in targets]
    chords = chords_for(cells, players)
    found: list[Rows] = []
    holding = {"held": len(targets), "held and pulse": -(-len(targets) // 2) if len(targets) > 1 else 0}.get(figure, 0)
    for place, target in enumerate(targets):
        line: list[tuple[int, int, int]] = []
        for cell, chord in zip(cells, chords, strict=True):
            if place < holding:
                _hold(line, cell, chord[place])
            else:
                line += [(a, b - a, chord[place]) for a, b in cell.strokes]
        notes = context.made(line, target.row, options)
        if figure == "tremolo":
            notes["technique"] = TECHNIQUES.index("tremolo")
        found.append(notes)
    return found


def figure_notes(layer: str, context: Context, options: StepOptions) -> Rows:
    """Return the piano notes a figure is made of: the layer's, and in broken chords the notes above their lowest.

    A broken chord is one figure whose lowest notes are the bass. Where the layers call more of it bass, what lies a
    third or more above the lowest note of two beats counts as accompaniment here.
    """
    notes, piece = context.score.notes, context.piece
    mask = piece.layer(layer) & piece.chosen(options)
    if layer not in {"accompaniment", "middle"}:
        return notes[mask]
    bass = np.flatnonzero(piece.layer("bass") & piece.chosen(options) & (notes["duration"] > 0))
    broken = [row for row in bass.tolist() if piece.figuration.at(int(notes["bar"][row]), 2).family in _BROKEN]
    windows: dict[int, list[int]] = {}
    for row in broken:
        windows.setdefault(_beat_number(int(notes["onset"][row]), context) // 2, []).append(row)
    for rows in windows.values():
        lowest = min(int(notes["pitch"][row]) for row in rows)
        mask[[row for row in rows if notes["pitch"][row] >= lowest + 3]] = True
    return notes[mask]


def stays(piano: Rows, context: Context) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Return which notes lie in bars whose figure is a line of its own, or are grace notes: those are not refigured."""
    figures = context.piece.figuration
    lower = context.piece.layers.staff[piano["id"]] >= max(1, int(context.piece.layers.staff.max(initial=0)))
    families = [
        figures.at(int(bar), 2 if low else 1).family for bar, low in zip(piano["bar"], lower.tolist(), strict=True)
    ]
    return np.array([family in _KEPT for family in families], dtype=bool) | (piano["duration"] <= 0)


def cells_of(piano: Rows, context: Context) -> list[Cell]:
    """Return the cells of a layer in order of time; the bass notes of the same voice lend it their attacks."""
    cuts = {int(onset) for onset in context.score.bars["onset"]} | {span.start_ticks for span in context.piece.spans}
    edges = np.array(sorted(cuts), dtype=np.int64)
    extra = _bass_attacks(piano, context)
    attacks = np.unique(np.concatenate([piano["onset"], np.array(list(extra), dtype=np.int64)]))
    at = np.searchsorted(edges, piano["onset"], side="right")
    at_attack = np.searchsorted(edges, attacks, side="right")
    found = []
    for place in np.unique(at).tolist():
        rows = np.flatnonzero(at == place)
        struck = attacks[at_attack == place]
        edge = int(edges[place]) if place < len(edges) else context.score.end
        last = max(int((piano["onset"][rows] + piano["duration"][rows]).max()), extra.get(int(struck[-1]), 0))
        ends = [*struck[1:].tolist(), min(edge, last) if min(edge, last) > struck[-1] else edge]
        strokes = tuple((int(a), _end(piano, rows, int(a), int(b))) for a, b in zip(struck, ends, strict=True))
        pitches = tuple(sorted({int(pitch) for pitch in piano["pitch"][rows]}))
        floor = _floor(piano, context, int(struck[0]), strokes[-1][1])
        found.append(Cell(int(struck[0]), strokes[-1][1], tuple(rows.tolist()), strokes, pitches, floor))
    return found


def _bass_attacks(piano: Rows, context: Context) -> dict[int, int]:
    """Attacks (and ends) of bass notes in the bar, staff and voice of the figure: they are its first notes."""
    notes = context.score.notes
    bass = notes[context.piece.layer("bass") & (notes["duration"] > 0)]
    keys = {(int(n["bar"]), int(n["part"]), int(n["staff"]), int(n["voice"])) for n in piano}
    return {
        int(n["onset"]): int(n["onset"] + n["duration"])
        for n in bass
        if (int(n["bar"]), int(n["part"]), int(n["staff"]), int(n["voice"])) in keys
    }


def _floor(piano: Rows, context: Context, start: int, end: int) -> int:
    """Highest bass note struck between two ticks that is not part of the figure; 0 where there is none."""
    notes = context.score.notes
    low, high = np.searchsorted(notes["onset"], [start, end])
    bass = notes[low:high][context.piece.layer("bass")[low:high]]
    bass = bass[~np.isin(bass["id"], piano["id"])]
    return int(bass["pitch"].max()) if len(bass) else 0


def _end(piano: Rows, rows: np.ndarray[tuple[int], np.dtype[np.int64]], start: int, limit: int) -> int:
    """End of an attack: the next one, or earlier where the piano's own notes stop."""
    mine = rows[piano["onset"][rows] == start]
    if not len(mine):
        return limit
    return min(limit, int((piano["onset"][mine] + piano["duration"][mine]).max()))


def chords_for(cells: list[Cell], players: list[Player]) -> list[tuple[int, ...]]:
    """Return a chord per cell, one pitch per player in the order given (the first the highest), smoothly led."""
    found: list[tuple[int, ...]] = []
    before: tuple[int, ...] | None = None
    for cell in cells:
        pitches = cell.pitches
        most = _MOST_PITCHES if len(players) < 5 else _MOST_FOR_MANY
        if len(pitches) > most:
            pitches = tuple(pitches[round(i * (len(pitches) - 1) / (most - 1))] for i in range(most))
        options = combinations_with_replacement(sorted(pitches, reverse=True), len(players))
        scored = [_scored(chord, players, cell, before) for chord in options]
        before = min(scored)[1]
        found.append(before)
    return found


def _scored(
    chord: tuple[int, ...], players: list[Player], cell: Cell, before: tuple[int, ...] | None
) -> tuple[float, tuple[int, ...]]:
    """Cost of a chord, and the chord with every note in its player's reach."""
    cost = 0.0
    notes = []
    for pitch, player in zip(chord, players, strict=True):
        low, high = player.instrument.safe_low, player.instrument.safe_high
        moved = pitch
        while moved < low and moved + 12 <= high:
            moved += 12
        while moved > high and moved - 12 >= low:
            moved -= 12
        if moved < cell.floor and moved + 12 <= high:
            moved += 12
        cost += _BELOW_BASS if moved < cell.floor else 0
        cost += _OCTAVE_MOVED * abs(moved - pitch) / 12 + (_OUT_OF_COMFORT if not low <= moved <= high else 0)
        notes.append(moved)
    present = {note % 12 for note in notes}
    wanted = {pitch % 12 for pitch in cell.pitches}
    cost += _MISSING * (min(len(wanted), len(notes)) - len(present))
    cost += _SAME * (len(notes) - len(set(notes)))
    cost += _DOUBLED_LEADING * max(0, sum(note % 12 == cell.leading for note in notes) - 1)
    cost += _CROSSED * sum(1 for a, b in pairwise(notes) if a < b)
    if before is not None:
        cost += sum(0.25 * abs(a - b) for a, b in zip(notes, before, strict=True))
    return cost, tuple(notes)


def _hold(line: list[tuple[int, int, int]], cell: Cell, pitch: int) -> None:
    """Add a held note, tied to the one before where it goes on."""
    if line and line[-1][2] == pitch and line[-1][0] + line[-1][1] == cell.start:
        line[-1] = line[-1][0], cell.end - line[-1][0], pitch
    else:
        line.append((cell.start, cell.end - cell.start, pitch))


def _shared(piano: Rows, context: Context, options: StepOptions, targets: list[Target], *, natural: bool) -> list[Rows]:
    """The figure itself, beat by beat from player to player; in close position where it is to lie naturally."""
    owner = _turns(piano, context, targets)
    found = []
    for place, target in enumerate(targets):
        notes = context.written(piano[owner == place], target.row, options, octave=target.octave)
        player = context.players[target.row]
        if natural:
            _folded(notes, player)
        found.append(notes[reaches(player, notes["pitch"])])
    return found


def _turns(piano: Rows, context: Context, targets: list[Target]) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Place in *targets* of every note: whose beat it is, else the next who is free; −1 where all are busy."""
    owner = np.zeros(len(piano), dtype=np.int64)
    busy = [0] * len(targets)
    solo = [context.players[target.row].count == 1 for target in targets]
    for row in np.lexsort((-piano["pitch"], piano["onset"])).tolist():
        onset = int(piano["onset"][row])
        turn = _beat_number(onset, context)
        order = [(turn + step) % len(targets) for step in range(len(targets))]
        pitch = int(piano["pitch"][row])
        able = [one for one in order if context.players[targets[one].row].instrument.in_range(pitch)] or order
        place = next((one for one in able if not solo[one] or busy[one] <= onset), -1)
        owner[row] = place
        if place >= 0:
            busy[place] = max(busy[place], onset + int(piano["duration"][row]))
    return owner


def _beat_number(onset: int, context: Context) -> int:
    """Running number of the beat an onset lies in."""
    bar = context.score.bars[context.score.bar_at(onset) - 1]
    beat = beat_ticks(int(bar["beats"]), int(bar["beat_type"]))
    return int(bar["index"]) * 64 + int((onset - int(bar["onset"])) // beat)


def _folded(notes: Rows, player: Player) -> None:
    """Bring notes by octaves, in place, within a tenth around the middle of what lies in the player's comfort."""
    low, high = player.instrument.safe_low, player.instrument.safe_high
    for bar in np.unique(notes["bar"]).tolist():
        rows = np.flatnonzero(notes["bar"] == bar)
        centre = float(np.clip(np.median(notes["pitch"][rows]), low + 8, max(low + 8, high - 8)))
        shift = np.rint((centre - notes["pitch"][rows]) / 12).astype(np.int64)
        notes["pitch"][rows] += (12 * shift).astype(np.int16)
        notes["octave"][rows] += shift.astype(np.int8)


def _plucked(piano: Rows, context: Context, options: StepOptions, targets: list[Target]) -> list[Rows]:
    """The figure plucked: divided by register, or note by note where one player would be too slow."""
    from reading import Timeline

    onsets = np.unique(piano["onset"])
    seconds = np.asarray(Timeline(context.score).seconds(onsets), dtype=np.float64)
    slowest = min(context.players[target.row].instrument.pizzicato_hz or 4.0 for target in targets)
    quick = len(onsets) > 1 and float(np.median(np.diff(seconds))) < 1 / slowest
    if quick and len(targets) > 1:
        turn = np.searchsorted(onsets, piano["onset"])
        found = []
        for place, target in enumerate(targets):
            found += divided(piano[turn % len(targets) == place], [target], options, context)
    else:
        found = divided(piano, targets, options, context)
    for notes in found:
        notes["technique"] = TECHNIQUES.index("pizzicato")
    return found
