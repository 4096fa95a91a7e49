"""A small piece, its layers, arrangements and plain-partial sound, built by hand: no reader, no synth library."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from mapping.arrangement import PART_DTYPE, Arrangement, Part, Player, StepWords
from mapping.instruments import instrument, instruments
from reading.layers import Layers, Role
from reading.score import BAR_DTYPE, NOTE_DTYPE, TICKS_PER_QUARTER, Flag, Mark, PartInfo, Score
from render.sound import Rendering, Stem

RATE = 48_000
LEAD_S = 0.25
BEAT_S = 0.5
BARS = 4

MELODY = [(0, 2, 76), (2, 2, 79), (4, 2, 77), (6, 2, 74), (8, 2, 76), (10, 2, 72), (12, 4, 72)]
BASS = [(bar * 4, 1, pitch) for bar, pitch in enumerate((48, 43, 48, 48))]
MIDDLE = [(quarter, 0.5, 55 + 5 * (quarter % 2)) for quarter in range(16)]
SPELLING = ((0, 0), (0, 1), (1, 0), (2, -1), (2, 0), (3, 0), (3, 1), (4, 0), (5, -1), (5, 0), (6, -1), (6, 0))
CHORDS = (60, 59, 60, 60)


def score():
    """Four bars of 4/4 at 120: a tune, a bass note per bar, a middle of detached notes; an accent on bar 3."""
    rows = [(*note, Role.MELODY) for note in MELODY] + [(*note, Role.BASS) for note in BASS]
    rows += [(*note, Role.MIDDLE) for note in MIDDLE]
    rows.sort(key=lambda row: (row[0], row[2]))
    notes = np.zeros(len(rows), NOTE_DTYPE)
    notes["id"] = np.arange(len(rows))
    notes["onset"] = [row[0] * TICKS_PER_QUARTER for row in rows]
    notes["duration"] = [round(row[1] * TICKS_PER_QUARTER) for row in rows]
    notes["pitch"] = [row[2] for row in rows]
    notes["octave"] = notes["pitch"] // 12 - 1
    notes["staff"], notes["voice"], notes["velocity"] = 1, 1, -1
    notes["bar"] = notes["onset"] // (4 * TICKS_PER_QUARTER) + 1
    notes["flags"][notes["onset"] == 8 * TICKS_PER_QUARTER] = Flag.ACCENT
    bars = np.zeros(BARS, BAR_DTYPE)
    bars["index"] = np.arange(1, BARS + 1)
    bars["onset"] = np.arange(BARS) * 4 * TICKS_PER_QUARTER
    bars["duration"], bars["beats"], bars["beat_type"] = 4 * TICKS_PER_QUARTER, 4, 4
    marks = (Mark("tempo", 0, 0, value="120"),)
    names = tuple(str(number) for number in range(1, BARS + 1))
    made = Score("Test", "", "by hand", "0" * 64, (PartInfo("Piano", 2),), notes, bars, names, marks)
    roles = np.array([row[3] for row in rows], dtype=np.int8)
    layers = Layers(roles, np.ones(len(rows), np.float32), (), (), np.zeros(len(rows), np.int64))
    return made, layers


def part(piece, name, notes, *, source=True, family="strings", technique=0):
    """One player with notes (onset and length in quarters, pitch)."""
    table = np.zeros(len(notes), PART_DTYPE)
    for row, (onset, length, pitch) in enumerate(sorted(notes)):
        table[row]["onset"] = onset * TICKS_PER_QUARTER
        table[row]["duration"] = round(length * TICKS_PER_QUARTER)
        table[row]["pitch"] = pitch
        table[row]["octave"] = pitch // 12 - 1
        table[row]["step"], table[row]["alter"] = SPELLING[pitch % 12]
        together = piece.notes["onset"] == table[row]["onset"]
        same = np.flatnonzero(together & (piece.notes["pitch"] == pitch))
        alike = same if len(same) else np.flatnonzero(together & (piece.notes["pitch"] % 12 == pitch % 12))
        table[row]["source"] = alike[0] if source and len(alike) else -1
    table["id"] = np.arange(len(notes))
    table["bar"] = table["onset"] // (4 * TICKS_PER_QUARTER) + 1
    table["dynamic"], table["technique"] = -1, technique
    known = instruments().get(name.rstrip(" 0123456789"), instrument("violin"))
    return Part(Player(name, known, 1, family), table)


def arrangement(piece, parts, *, variant="plain", steps=("violins 1 play the melody",)):
    """A variant; the notes of the last part come from its last step, the others from the first."""
    parts = list(parts)
    if parts and len(steps) > 1:
        notes = parts[-1].notes.copy()
        notes["cause"] = len(steps) - 1
        parts[-1] = replace(parts[-1], notes=notes)
    return Arrangement(
        variant, f"says {variant}", piece, tuple(parts), tuple(StepWords("play", words) for words in steps)
    )


def sound(notes, *, level=0.05, brightness=1.5, pan=0.5, seconds=None, attack_s=0.01, release_s=0.05):
    """Stereo sound of notes from plain partials of amplitude n to the minus *brightness*."""
    length = seconds or LEAD_S + BARS * 4 * BEAT_S + 0.75
    out = np.zeros(round(length * RATE))
    for onset, quarters, pitch in notes:
        count = round((quarters * BEAT_S + release_s) * RATE)
        time = np.arange(count) / RATE
        hz = 440.0 * 2.0 ** ((pitch - 69) / 12.0)
        wave = sum(np.sin(2.0 * np.pi * n * hz * time + n) / n**brightness for n in range(1, 13) if n * hz < 18_000.0)
        shape = np.minimum(1.0, np.minimum(time / attack_s, (count / RATE - time) / release_s))
        start = round((LEAD_S + onset * BEAT_S) * RATE)
        stop = min(len(out), start + count)
        out[start:stop] += (level * shape * wave)[: stop - start]
    return np.stack((out * np.sqrt(1.0 - pan), out * np.sqrt(pan)), axis=1).astype(np.float32)


def rendering(variant, stems, *, passage="opening", scale=1.0):
    """A rendering from {player: samples}."""
    made = tuple(
        Stem(name, (samples * np.float32(scale)).astype(np.float32), f"{variant} {name} {scale}")
        for name, samples in stems.items()
    )
    mix = np.sum([stem.samples for stem in made], axis=0, dtype=np.float32)
    starts = tuple((bar + 1, LEAD_S + bar * 4 * BEAT_S) for bar in range(BARS))
    return Rendering(variant, passage, made, mix, starts, {}, (), {"sample_rate_hz": RATE})


def plain_stems(**levels):
    """Sound of the three plain players; levels by player override."""
    amount = {"violins 1": 0.06, "violas": 0.03, "cellos": 0.05} | levels
    return {
        "violins 1": sound(MELODY, level=amount["violins 1"], pan=0.3),
        "violas": sound(MIDDLE, level=amount["violas"], pan=0.6),
        "cellos": sound(BASS, level=amount["cellos"], pan=0.7),
    }


def plain_parts(piece):
    """The three plain players."""
    return [part(piece, "violins 1", MELODY), part(piece, "violas", MIDDLE), part(piece, "cellos", BASS)]


def held(pitch_shift=0):
    """A note held through every bar."""
    return [(bar * 4, 4, pitch + pitch_shift) for bar, pitch in enumerate(CHORDS)]


def scaled(one, gain):
    """The same rendering, every stem multiplied."""
    stems = tuple(
        replace(stem, samples=stem.samples * np.float32(gain), key=f"{stem.key} x{gain}") for stem in one.stems
    )
    return replace(one, stems=stems, mix=one.mix * np.float32(gain))
