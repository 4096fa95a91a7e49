"""What a pianist would rather keep of an orchestra: every distinct attack with a weight, positive to keep.

The weights were set on two orchestral openings with the reduction their first editions print for the pianist (see
``docs/checks.md``): unisons merged, outer notes strong, doublings at the octave weak except under the top, brass and
drums weak, repetitions faster than a hand repeats very weak off the grid of every second one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.arrangement import PART_DTYPE
from mapping.unpitched import pitched
from reading.score import TICKS_PER_QUARTER, Flag
from reading.timeline import Timeline

if TYPE_CHECKING:
    from mapping.arrangement import Arrangement
    from mapping.harmony_frames import Ints, Notes

__all__ = ["Attacks", "attacks_of"]

Floats = np.ndarray[Any, np.dtype[np.float64]]
Bools = np.ndarray[Any, np.dtype[np.bool_]]

_FAST_S = 0.15  # a hand does not repeat a chord faster for long
_LONG = 2 * TICKS_PER_QUARTER
_LEANINGS = {"bassoon": 0.6, "cello": 1.0, "flute": 0.4, "horn": -0.5}
_MERGED = ("onset", "pitch")


@dataclass(frozen=True, eq=False)
class Attacks:
    """Distinct attacks (onset, pitch) of all players, sorted by onset then pitch.

    Attributes
    ----------
    notes : ndarray, dtype PART_DTYPE
        One row each: the longest of the players' notes.
    weight : ndarray of float
        Above 0 to keep where a hand can reach.
    resonance : ndarray of bool
        Held by winds only, inside the chord and sounding elsewhere: what a pedal does on the piano.
    starts : ndarray of int
        Row of the first attack of each onset.
    """

    notes: Notes
    weight: Floats
    resonance: Bools
    starts: Ints


def attacks_of(arrangement: Arrangement) -> Attacks:
    """Return the merged attacks of an arrangement with their weights; grace and cue notes are left out.

    Percussion without pitch has nothing that fingers could play.
    """
    arrangement = replace(arrangement, parts=pitched(arrangement.parts))
    parts = [part.notes for part in arrangement.parts] or [np.zeros(0, dtype=PART_DTYPE)]
    notes = np.concatenate(parts)
    player = np.repeat(np.arange(len(parts)), [len(one) for one in parts])
    heard = (notes["duration"] > 0) & ((notes["flags"] & int(Flag.CUE)) == 0)
    notes, player = notes[heard], player[heard]
    order = np.lexsort((-notes["duration"], notes["pitch"], notes["onset"]))
    notes, player = notes[order], player[order]
    heads = np.ones(len(notes), dtype=bool)
    heads[1:] = np.any([notes[name][1:] != notes[name][:-1] for name in _MERGED], axis=0)
    group = np.cumsum(heads) - 1
    merged = notes[heads].copy()
    starts = np.flatnonzero(np.diff(merged["onset"], prepend=-1))
    sources = _Sources(arrangement, player, group, len(merged))
    place = _Places(merged, starts)
    resonance = _resonance(merged, place, sources)
    weight = place.weights() + sources.weights() + _repeats(arrangement, notes, player, group, merged)
    weight -= 0.5 * _held(merged)
    weight[resonance] = -1.0
    return Attacks(merged, weight, resonance, starts)


class _Sources:
    """Who strikes each attack."""

    def __init__(self, arrangement: Arrangement, player: Ints, group: Ints, count: int) -> None:
        self.players = [part.player for part in arrangement.parts]
        self.player, self.group, self.count = player, group, count
        self.winds = self.all_of([one.family in ("woodwind", "brass") for one in self.players])

    def any_of(self, which: list[bool]) -> Bools:
        """Attacks that one of the players marked has."""
        table = np.array(which, dtype=bool)
        return np.bincount(self.group, weights=table[self.player], minlength=self.count) > 0

    def all_of(self, which: list[bool]) -> Bools:
        """Attacks that nobody but the players marked has."""
        return ~self.any_of([not one for one in which])

    def weights(self) -> Floats:
        """What the instruments add."""
        found = -0.6 * self.all_of([one.family == "brass" for one in self.players])
        found -= 3.0 * self.all_of([one.family == "percussion" for one in self.players])
        for name, leaning in _LEANINGS.items():
            found += leaning * self.any_of([one.instrument.name == name for one in self.players])
        return np.asarray(found)


class _Places:
    """Where each attack stands among those of its onset."""

    def __init__(self, notes: Notes, starts: Ints) -> None:
        self.pitch = notes["pitch"].astype(np.int64)
        self.long = notes["duration"] >= _LONG
        sizes = np.diff(np.append(starts, len(notes)))
        self.size = np.repeat(sizes, sizes)
        self.first = np.repeat(starts, sizes)
        self.rank = np.arange(len(notes)) - self.first
        self.top, self.bottom = self.rank == self.size - 1, self.rank == 0
        self.highest = self.pitch[self.first + self.size - 1] if len(notes) else self.pitch
        self.lowest = self.pitch[self.first] if len(notes) else self.pitch
        self.same_above = self._same_above()

    def _same_above(self) -> Bools:
        """Whether the same pitch class is struck higher at the onset."""
        key = self.first * 12 + self.pitch % 12
        order = np.lexsort((self.pitch, key))
        found = np.zeros(len(key), dtype=bool)
        found[order[:-1]] = key[order[1:]] == key[order[:-1]]
        return found

    def weights(self) -> Floats:
        """What height and density add."""
        inner = ~self.top & ~self.bottom
        second = (self.rank == self.size - 2) & (self.size > 2)
        found = 1.5 + 1.0 * self.top + 1.5 * self.bottom + 0.7 * second
        found += 0.7 * (self.pitch == self.lowest + 12) + 1.5 * (self.pitch == self.highest - 12)
        found -= 0.8 * self.same_above + 0.4 * (inner & (self.pitch >= 57) & (self.pitch <= 67))
        found -= 0.2 * self.long + 0.3 * (self.size >= 5) + 0.3 * (self.size >= 8)
        return np.asarray(found)


def _repeats(arrangement: Arrangement, notes: Notes, player: Ints, group: Ints, merged: Notes) -> Floats:
    """What repetition of a pitch in the same part takes away; fast ones off the grid of every second go first."""
    order = np.lexsort((notes["onset"], notes["pitch"], player))
    one = notes[order]
    again = np.zeros(len(one), dtype=bool)
    gap = np.zeros(len(one), dtype=np.int64)
    gap[1:] = np.diff(one["onset"])
    again[1:] = (player[order][1:] == player[order][:-1]) & (one["pitch"][1:] == one["pitch"][:-1])
    again[1:] &= (one["onset"][:-1] + one["duration"][:-1] == one["onset"][1:]) & (one["duration"][:-1] <= _LONG)
    seconds = np.asarray(Timeline(arrangement.score).seconds(np.append(one["onset"], one["onset"] - gap)))
    fast = again & (seconds[: len(one)] - seconds[len(one) :] < _FAST_S)
    grid = np.maximum(1, 2 * gap)
    into = one["onset"] - arrangement.score.bars["onset"][one["bar"] - 1] + _late(arrangement)[one["bar"] - 1]
    off = fast & (into % grid != 0)
    loss = np.zeros(len(one))
    loss[again] = 0.3
    loss[fast] = 0.7
    loss[off] = 4.0
    least = np.full(len(merged), np.inf)  # an attack that is new to one of its players is no repetition
    np.minimum.at(least, group[order], loss)
    return -least


def _held(notes: Notes) -> Bools:
    """Whether the pitch of each attack already sounds from an earlier one."""
    order = np.lexsort((notes["onset"], notes["pitch"]))
    ends = (notes["onset"] + notes["duration"])[order]
    until = np.maximum.accumulate(ends + notes["pitch"][order].astype(np.int64) * (ends.max(initial=0) + 1))
    found = np.zeros(len(notes), dtype=bool)
    reach = until[:-1] - notes["pitch"][order][1:].astype(np.int64) * (ends.max(initial=0) + 1)
    found[order[1:]] = reach > notes["onset"][order][1:]
    return found


def _late(arrangement: Arrangement) -> Ints:
    """How far into its metre each bar begins, ticks: more than 0 for a pickup."""
    bars = arrangement.score.bars
    nominal = 4 * TICKS_PER_QUARTER * bars["beats"].astype(np.int64) // np.maximum(1, bars["beat_type"])
    return np.asarray(np.where(bars["pickup"], np.maximum(0, nominal - bars["duration"]), 0))


def _resonance(notes: Notes, place: _Places, sources: _Sources) -> Bools:
    """Long inner notes of winds alone, over moving parts, whose pitch class is struck elsewhere while they sound."""
    onsets = np.unique(notes["onset"])
    end = notes["onset"] + notes["duration"]
    moving = np.searchsorted(onsets, end) - np.searchsorted(onsets, notes["onset"], side="right") >= 2
    found = place.long & ~place.top & ~place.bottom & moving & sources.winds
    for row in np.flatnonzero(found).tolist():
        within = slice(*np.searchsorted(notes["onset"], [notes["onset"][row], end[row]]).tolist())
        found[row] = np.count_nonzero(notes["pitch"][within] % 12 == notes["pitch"][row] % 12) > 1
    return np.asarray(found)
