"""Tiny scores and arrangements built by hand, so that the tests of sound depend on no reader."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from mapping.arrangement import PART_DTYPE, TECHNIQUES, Arrangement, Part
from mapping.orchestra import player
from reading.score import BAR_DTYPE, NOTE_DTYPE, TICKS_PER_QUARTER, Mark, PartInfo, Score

_SPELT = ((0, 0), (0, 1), (1, 0), (2, -1), (2, 0), (3, 0), (3, 1), (4, 0), (5, -1), (5, 0), (6, -1), (6, 0))


def score_of(bars=4, *, marks=(), beats=4, tempo=120):
    """A score of empty bars."""
    table = np.zeros(bars, BAR_DTYPE)
    table["index"] = np.arange(1, bars + 1)
    table["duration"] = beats * TICKS_PER_QUARTER
    table["onset"] = (np.arange(bars)) * beats * TICKS_PER_QUARTER
    table["beats"], table["beat_type"] = beats, 4
    every = (Mark("tempo", 0, 0, value=str(tempo)), *marks)
    return Score(
        "", "", "by hand", "0" * 64, (PartInfo("Piano", 2),), np.zeros(0, NOTE_DTYPE), table,
        tuple(str(n + 1) for n in range(bars)), tuple(sorted(every, key=lambda mark: mark.onset)),
    )  # fmt: skip


def notes_of(*rows, dynamic="mf", technique="plain", flags=0):
    """Notes from (onset in quarters, length in quarters, pitch)."""
    from reading.score import DYNAMICS

    table = np.zeros(len(rows), PART_DTYPE)
    for row, (onset, length, pitch, *rest) in enumerate(sorted(rows)):
        table[row]["onset"] = round(onset * TICKS_PER_QUARTER)
        table[row]["duration"] = round(length * TICKS_PER_QUARTER)
        table[row]["pitch"] = pitch
        table[row]["flags"] = rest[0] if rest else flags
        table[row]["id"] = row
        step, alter = _SPELT[pitch % 12]
        table[row]["step"], table[row]["alter"], table[row]["octave"] = step, alter, pitch // 12 - 1
        table[row]["bar"] = int(onset // 4) + 1
    table["source"] = -1
    table["velocity"] = -1
    table["technique"] = TECHNIQUES.index(technique)
    table["dynamic"] = -1 if dynamic is None else DYNAMICS.index(dynamic)
    return table


def arrangement_of(parts, *, score=None, variant="plain"):
    """An arrangement from {player name: notes or (notes, marks)}; a name may end in '*n' for n players."""
    made = []
    for name, notes in parts.items():
        marks = ()
        if isinstance(notes, tuple):
            notes, marks = notes
        word, _, count = name.partition("*")
        one = player(word)
        if count:
            one = replace(one, count=int(count))
        made.append(Part(one, notes, marks))
    return Arrangement(variant, "", score or score_of(), tuple(made))


def level_db(samples, first_s=None, last_s=None, rate=48_000):
    """Mean level of a stretch in dB re full scale, both channels' powers added."""
    part = samples[slice(*(None if at is None else round(at * rate) for at in (first_s, last_s)))]
    return 10.0 * np.log10(np.sum(np.mean(part.astype(np.float64) ** 2, axis=0)) + 1e-30)
