"""Scores, layers and arrangements from a few numbers, so that expected figures can be worked out on paper."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from mapping.arrangement import PART_DTYPE, TECHNIQUES, Arrangement, Part, StepWords
from mapping.orchestra import player
from reading.layers import Layers, Role
from reading.score import BAR_DTYPE, DYNAMICS, NOTE_DTYPE, TICKS_PER_QUARTER, Mark, PartInfo, Score

Q = TICKS_PER_QUARTER


def score_of(rows, *, bars=None, beats=4, beat_type=4, fifths=0, tempo=120, marks=()):
    """A piano score from ``(onset in quarters, length in quarters, pitch, staff)`` rows."""
    length = beats * 4 * Q // beat_type
    last = max((round((row[0] + row[1]) * Q) for row in rows), default=0)
    count = bars or max(1, -(-last // length))
    table = np.zeros(count, BAR_DTYPE)
    table["index"] = np.arange(1, count + 1)
    table["duration"], table["onset"] = length, np.arange(count) * length
    table["beats"], table["beat_type"], table["fifths"], table["minor"] = beats, beat_type, fifths, -1
    notes = np.zeros(len(rows), NOTE_DTYPE)
    ordered = sorted(rows, key=lambda row: (row[0], row[2], row[3]))
    for row, (onset, duration, pitch, staff) in enumerate(ordered):
        notes[row]["id"] = row
        notes[row]["onset"], notes[row]["duration"] = round(onset * Q), round(duration * Q)
        notes[row]["pitch"], notes[row]["staff"], notes[row]["voice"] = pitch, staff, 1
        notes[row]["bar"] = 1 + round(onset * Q) // length
        notes[row]["velocity"] = -1
    _spell(notes, fifths)
    every = sorted((Mark("tempo", 0, 0, value=str(tempo)), *marks), key=lambda mark: mark.onset)
    numbers = tuple(str(row + 1) for row in range(count))
    return Score("", "", "by hand", "0" * 64, (PartInfo("Piano", 2),), notes, table, numbers, tuple(every))


def _spell(notes, fifths):
    from mapping.spelling import respelt

    respelt(notes, np.full(len(notes), fifths))


def layers_of(score, melody=(), bass=()):
    """Layers with the given note ids as tune and bass, the rest middle."""
    roles = np.full(len(score.notes), Role.MIDDLE, dtype=np.int8)
    roles[list(melody)], roles[list(bass)] = Role.MELODY, Role.BASS
    return Layers(roles, np.ones(len(roles), np.float32), (), (), (score.notes["staff"] - 1).astype(np.int64))


def outer_layers(score):
    """Layers with the highest of every attack in staff 1 as tune and the lowest in staff 2 as bass."""
    notes, melody, bass = score.notes, {}, {}
    for note in notes:
        onset = int(note["onset"])
        if note["staff"] == 1:
            melody[onset] = int(note["id"])  # sorted by pitch: the last is the highest
        else:
            bass.setdefault(onset, int(note["id"]))
    return layers_of(score, melody.values(), bass.values())


def part_of(name, rows, *, level=None, technique="plain", cause=0, marks=(), flags=0, score=None, count=None):
    """A player with ``(onset, length, pitch)`` rows in quarters; bars are four quarters long."""
    notes = np.zeros(len(rows), PART_DTYPE)
    for row, (onset, duration, pitch, *source) in enumerate(sorted(rows)):
        notes[row]["id"] = row
        notes[row]["onset"], notes[row]["duration"] = round(onset * Q), round(duration * Q)
        notes[row]["pitch"], notes[row]["flags"] = pitch, flags
        notes[row]["source"] = source[0] if source else -1
    notes["bar"] = 1 + notes["onset"] // (4 * Q)
    notes["velocity"], notes["cause"] = -1, cause
    notes["technique"] = TECHNIQUES.index(technique)
    notes["dynamic"] = -1 if level is None else DYNAMICS.index(level)
    _spell(notes, 0)
    return Part(player(name, count), notes, tuple(marks))


def arrangement_of(score, *parts, verbs=("play",)):
    """An arrangement of the parts."""
    return Arrangement("variant", "", score, tuple(parts), tuple(StepWords(verb, verb) for verb in verbs))


def literal(score, change=None):
    """The piano's own notes on one piano, after *change* (a function of the note table)."""
    notes = np.zeros(len(score.notes), PART_DTYPE)
    for name in score.notes.dtype.names:
        notes[name] = score.notes[name]
    notes["source"], notes["dynamic"] = score.notes["id"], -1
    if change is not None:
        notes = change(notes)
    return arrangement_of(score, Part(player("piano"), notes))


def transposed(score, semitones):
    """The score with every pitch moved."""
    notes = score.notes.copy()
    notes["pitch"] += semitones
    _spell(notes, 0)
    return replace(score, notes=notes)
