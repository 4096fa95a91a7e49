"""Half-beat frames and what sounds in them: the evidence the harmony is found from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.score import TICKS_PER_QUARTER, Flag

if TYPE_CHECKING:
    from reading.score import Score

__all__ = ["Floats", "Ints", "Notes", "SoundingTable", "frame_starts", "pairs_of", "sounding", "weights_of"]

_STRUCK, _BASS, _MASS = 0.25, 0.25, 2.0  # weight of a fresh attack and of the lowest note; cap per frame
_PASSING, _ESCAPING = 0.2, 0.6  # weight left to passing notes and to appoggiaturas
_DOWNBEAT, _BEAT, _OFF = 0.24, 0.43, 0.99  # cost of a change of chord

Floats = np.ndarray[Any, np.dtype[np.float64]]
Ints = np.ndarray[Any, np.dtype[np.int64]]
Notes = np.ndarray[Any, np.dtype[np.void]]


def sounding(score: Score) -> Notes:
    """Return the notes that have a written length and are to be played (no grace notes, no cue notes)."""
    notes: Notes = score.notes
    keep = (notes["duration"] > 0) & ((notes["flags"] & int(Flag.CUE)) == 0)
    kept: Notes = notes[keep]
    return kept


def frame_starts(score: Score) -> tuple[Ints, Ints, Floats]:
    """Return the start and end of every half-beat frame in ticks, and the cost of a change of chord at its start."""
    starts, ends, costs = [], [], []
    for bar in score.bars:
        beat = _beat_ticks(int(bar["beats"]), int(bar["beat_type"]))
        frame = TICKS_PER_QUARTER // 2 if _compound(bar) else beat // 2
        length, full = int(bar["duration"]), int(bar["beats"]) * 4 * TICKS_PER_QUARTER // int(bar["beat_type"])
        lead = max(0, full - length) % frame if bar["pickup"] else 0
        shift = max(0, full - length) if bar["pickup"] else 0
        cuts = [0, *range(frame - lead if lead else frame, length, frame)]
        for cut, end in zip(cuts, [*cuts[1:], length], strict=True):
            if end > cut:
                starts.append(int(bar["onset"]) + cut)
                ends.append(int(bar["onset"]) + end)
                place = cut + shift
                costs.append(_DOWNBEAT if place == 0 else _BEAT if place % beat == 0 else _OFF)
    return np.array(starts, dtype=np.int64), np.array(ends, dtype=np.int64), np.array(costs)


def _compound(bar: Any) -> bool:
    """Whether the metre is counted in dotted beats (6/8, 9/8, 12/8)."""
    return int(bar["beats"]) % 3 == 0 and int(bar["beats"]) > 3 and int(bar["beat_type"]) >= 8


def _beat_ticks(beats: int, beat_type: int) -> int:
    """Return the length of a beat."""
    unit = 4 * TICKS_PER_QUARTER // beat_type
    return 3 * unit if beats % 3 == 0 and beats > 3 and beat_type >= 8 else unit


@dataclass(frozen=True, eq=False)
class SoundingTable:
    """Which notes sound in which frames, and for how long (pairs sorted by frame)."""

    notes: Notes
    rows: Ints
    frames: Ints
    overlap: Ints
    starts: Ints
    ends: Ints

    def within(self, first: int, last: int) -> slice:
        """Return the pairs of the frames *first* up to *last* (excluded)."""
        return slice(*np.searchsorted(self.frames, [first, last]).tolist())


def pairs_of(notes: Notes, starts: Ints, ends: Ints) -> tuple[Ints, Ints, Ints]:
    """Return ``(note row, frame, overlap in ticks)`` of every note in every frame it sounds in, sorted by frame."""
    begin, stop = notes["onset"], notes["onset"] + notes["duration"]
    first = np.searchsorted(ends, begin, side="right")
    last = np.searchsorted(starts, stop, side="left")
    count = np.maximum(0, last - first)
    rows = np.repeat(np.arange(len(notes)), count)
    frames = np.arange(len(rows)) - np.repeat(np.cumsum(count) - count, count) + np.repeat(first, count)
    overlap = np.minimum(stop[rows], ends[frames]) - np.maximum(begin[rows], starts[frames])
    order = np.lexsort((notes["pitch"][rows], frames))
    return rows[order], frames[order], overlap[order]


def weights_of(notes: Notes, rows: Ints, frames: Ints, overlap: Ints, starts: Ints, ends: Ints) -> tuple[Floats, Ints]:
    """Return the weight of each pitch class per frame (frames, 12), and the bass pitch class (carried over rests)."""
    quarter = float(TICKS_PER_QUARTER)
    factor = _chord_likeness(notes)[rows]
    onset, pitch = notes["onset"][rows], notes["pitch"][rows].astype(np.int64)
    struck = (onset >= starts[frames]) & (onset < ends[frames])
    gain = np.minimum(overlap / quarter, 1.0) * factor
    gain += struck * _STRUCK * factor * np.minimum(notes["duration"][rows] / quarter, 1.0)
    weight = np.zeros((len(starts), 12))
    np.add.at(weight, (frames, pitch % 12), gain)
    lowest = np.full(len(starts), -1, dtype=np.int64)
    heads = np.flatnonzero(np.diff(frames, prepend=-1))  # pairs are sorted by frame, then pitch
    lowest[frames[heads]] = pitch[heads]
    sounds = lowest >= 0
    weight[sounds, lowest[sounds] % 12] += _BASS * ((ends - starts) / quarter)[sounds]
    mass = weight.sum(axis=1, keepdims=True)
    weight *= np.minimum(1.0, _MASS / np.maximum(mass, 1e-9))
    known = np.maximum.accumulate(np.where(sounds, np.arange(len(starts)), -1))
    known[known < 0] = np.flatnonzero(sounds)[0]
    return weight, lowest[known] % 12


def _chord_likeness(notes: Notes) -> Floats:
    """Return 1 for notes that may belong to the chord, less for passing notes and appoggiaturas of a single line."""
    order = np.lexsort((notes["pitch"], notes["onset"], notes["voice"], notes["staff"], notes["part"]))
    line = notes[order]
    same = np.ones(len(line) - 1, dtype=bool)
    for name in ("part", "staff", "voice"):
        same &= line[name][1:] == line[name][:-1]
    chord = same & (line["onset"][1:] == line["onset"][:-1])
    single = np.ones(len(line), dtype=bool)
    single[1:] &= ~chord
    single[:-1] &= ~chord
    joined = same & (line["onset"][:-1] + line["duration"][:-1] == line["onset"][1:])
    leap = np.abs(np.diff(line["pitch"].astype(np.int64)))
    step = joined & (leap >= 1) & (leap <= 2)
    both = single.copy()
    both[0] = both[-1] = False
    both[1:-1] &= single[:-2] & single[2:] & joined[:-1] & joined[1:]
    into, out = np.zeros(len(line), dtype=bool), np.zeros(len(line), dtype=bool)
    into[1:], out[:-1] = step, step
    leapt = np.zeros(len(line), dtype=bool)
    leapt[1:] = leap > 2
    factor = np.ones(len(line))
    factor[both & leapt & out & (line["duration"] <= TICKS_PER_QUARTER // 2)] = _ESCAPING
    factor[both & into & out & (line["duration"] <= TICKS_PER_QUARTER)] = _PASSING
    found = np.empty(len(line))
    found[order] = factor
    return found
