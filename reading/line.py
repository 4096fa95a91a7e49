"""What a line asks of whoever plays it: compass, notes at once, speed, breath, loudness, character."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.barwords import bars_named
from reading.layers import select
from reading.score import DYNAMICS, TICKS_PER_QUARTER, Flag

if TYPE_CHECKING:
    from reading.features import Bools, Floats, Ints
    from reading.findings_facts import Facts

__all__ = ["Line", "Lines"]

_ROW = 3  # distances in a row before speed tells: four notes
_BREATH_GAP_S, _CLIP_S = 0.2, 0.6  # a rest in which one breathes; a note that can be clipped for it
_UNMARKED = DYNAMICS.index("mf")
_BOUND = int(Flag.SLUR_START) | int(Flag.SLUR_INSIDE)
_SHORT = int(Flag.STACCATO) | int(Flag.STACCATISSIMO)


@dataclass(frozen=True, eq=False)
class Line:
    """Notes in order of onset, then pitch; arrays of shape (notes,), seconds and MIDI."""

    notes: np.ndarray[Any, np.dtype[np.void]]
    onset_s: Floats
    end_s: Floats
    level: Floats

    def __len__(self) -> int:
        return len(self.notes)

    @cached_property
    def pitch(self) -> Ints:
        """Sounding pitch."""
        return np.asarray(self.notes["pitch"].astype(np.int64))

    @cached_property
    def low(self) -> int:
        """Lowest note."""
        return int(self.pitch.min())

    @cached_property
    def high(self) -> int:
        """Highest note."""
        return int(self.pitch.max())

    @cached_property
    def middle(self) -> float:
        """Median pitch."""
        return float(np.median(self.pitch))

    @cached_property
    def at_once(self) -> int:
        """Most notes that sound together."""
        return _together(self.notes)

    @cached_property
    def overlaps_quarters(self) -> bool:
        """Whether a chord struck at one attack, a quarter long at most, would sound into the next attack."""
        onset, row = np.unique(self.notes["onset"], return_inverse=True)
        longest = np.zeros(len(onset), dtype=np.int64)
        np.maximum.at(longest, row, self.notes["duration"].astype(np.int64))
        return bool((np.minimum(longest[:-1], TICKS_PER_QUARTER) > np.diff(onset)).any())

    @cached_property
    def strands(self) -> int:
        """Players of one note at a time among whom it can be dealt; 0 where it cannot be told.

        A strand is a part, staff, voice and rank in its chords; none may overlap itself or the next bar.
        """
        notes = self.notes
        same = np.stack([notes[name].astype(np.int64) for name in ("onset", "part", "staff", "voice")])
        start = np.flatnonzero(np.any(np.diff(same, axis=1, prepend=-1), axis=0))
        rank = np.arange(len(notes)) - np.repeat(start, np.diff(np.append(start, len(notes))))
        keys = np.stack([*same[1:], rank], axis=1)
        for key in np.unique(keys, axis=0):
            if _together(notes[(keys == key).all(axis=1)]) > 1:
                return 0
        last = np.searchsorted(notes["onset"], notes["onset"] + notes["duration"], side="left") - 1
        if (notes["bar"][last] > notes["bar"]).any():
            return 0
        in_bars = np.unique(np.column_stack([notes["bar"].astype(np.int64), keys]), axis=0)
        return int(np.unique(in_bars[:, 0], return_counts=True)[1].max(initial=0))

    @cached_property
    def _top(self) -> Ints:
        """Rows of the highest note of each attack: the line a listener follows."""
        onset = self.notes["onset"]
        return np.flatnonzero(np.append(np.diff(onset) > 0, True)) if len(onset) else np.zeros(0, dtype=np.int64)

    @cached_property
    def _apart_s(self) -> Floats:
        """Seconds from one attack to the next."""
        return np.maximum(np.diff(self.onset_s[self._top]), 1e-3)

    @cached_property
    def _bound(self) -> Bools:
        """Whether each attack is slurred to the next; the last one left out."""
        return np.asarray((self.notes["flags"][self._top] & _BOUND) != 0)[:-1]

    @cached_property
    def tongued_hz(self) -> float:
        """Fastest four notes that are not slurred, notes a second."""
        return _sustained(np.where(self._bound, 0.0, 1.0 / self._apart_s))

    @cached_property
    def struck_hz(self) -> float:
        """Fastest four notes, slurred or not, notes a second."""
        return _sustained(1.0 / self._apart_s)

    @cached_property
    def held_s(self) -> float:
        """Longest note."""
        return float((self.end_s - self.onset_s).max(initial=0.0))

    @cached_property
    def unbroken_s(self) -> float:
        """Longest stretch without a place to breathe."""
        top, longest, start = self._top, 0.0, 0
        gaps = self.onset_s[top][1:] - self.end_s[top][:-1] >= _BREATH_GAP_S
        gaps |= (self.end_s[top] - self.onset_s[top] >= _CLIP_S)[:-1] & ~self._bound
        for place in (*np.flatnonzero(gaps).tolist(), len(top) - 1):
            if place > start:
                longest = max(longest, float(self.end_s[top[place]] - self.onset_s[top[start]]))
            start = place + 1
        return longest

    @cached_property
    def leap(self) -> int:
        """Widest sudden leap (within a quarter of a second), semitones."""
        leaps = np.abs(np.diff(self.pitch[self._top]))
        return int(leaps[self._apart_s < _CLIP_S - 0.35].max(initial=0))

    @cached_property
    def breaks_chords(self) -> bool:
        """Whether quick slurred thirds and wider follow each other."""
        wide = np.abs(np.diff(self.pitch[self._top])) >= _ROW
        return _sustained((wide & self._bound & (self._apart_s < _CLIP_S - 0.35)).astype(float)) > 0

    @cached_property
    def loudness(self) -> float:
        """Middle level: row in ``DYNAMICS``."""
        return float(np.median(self.level))

    @cached_property
    def legato(self) -> bool:
        """Whether half the notes or more are slurred."""
        return bool(len(self)) and float(((self.notes["flags"] & _BOUND) != 0).mean()) >= 0.5

    @cached_property
    def detached(self) -> bool:
        """Whether a third of the notes or more are staccato."""
        return bool(len(self)) and float(((self.notes["flags"] & _SHORT) != 0).mean()) >= 0.33

    @cached_property
    def pace_hz(self) -> float:
        """Middle speed, notes a second."""
        return float(1.0 / np.median(self._apart_s)) if len(self._apart_s) else 0.0

    @cached_property
    def highest(self) -> Line:
        """What remains for a player of one note at a time: the highest of each attack."""
        return self._reduced(self._top)

    @cached_property
    def lowest(self) -> Line:
        """What remains of a bass: the lowest of each attack."""
        return self._reduced(np.flatnonzero(np.diff(self.notes["onset"], prepend=-1) > 0))

    def _reduced(self, rows: Ints) -> Line:
        """One note for each attack, each ending where the next begins."""
        notes, end_s = self.notes[rows].copy(), self.end_s[rows]
        notes["duration"][:-1] = np.minimum(notes["duration"][:-1], np.diff(notes["onset"]))
        end_s = np.minimum(end_s, np.append(self.onset_s[rows][1:], np.inf))
        return Line(notes, self.onset_s[rows], end_s, self.level[rows])

    def where(self, mask: Bools) -> Line:
        """The notes of a mask."""
        return Line(self.notes[mask], self.onset_s[mask], self.end_s[mask], self.level[mask])


def _together(notes: np.ndarray[Any, np.dtype[np.void]]) -> int:
    """Most notes that sound at one moment."""
    if not len(notes):
        return 0
    begun = np.sort(notes["onset"])
    ended = np.sort(notes["onset"] + notes["duration"])
    before = np.searchsorted(ended, begun, side="right")
    return int((np.searchsorted(begun, begun, side="right") - before).max())


def _sustained(rate: Floats) -> float:
    """The rate that is kept through the fastest row of distances."""
    if len(rate) < _ROW:
        return 0.0
    return float(np.min([rate[row : len(rate) - _ROW + 1 + row] for row in range(_ROW)], axis=0).max())


class Lines:
    """The lines of a piece, each found once.

    Parameters
    ----------
    facts : Facts
    """

    def __init__(self, facts: Facts) -> None:
        score = facts.page.page
        self._score, self._layers = score, facts.layers
        notes = score.notes
        self._order = np.lexsort((notes["pitch"], notes["onset"]))
        self._order = self._order[(notes["duration"] > 0)[self._order]]
        notes = notes[self._order]
        self._bar = notes["bar"].astype(np.int64)
        onset_s = np.asarray(facts.timeline.seconds(notes["onset"]), dtype=np.float64)
        end_s = np.asarray(facts.timeline.seconds(notes["onset"] + notes["duration"]), dtype=np.float64)
        level = facts.degrees[facts.page.row[self._bar - 1] - 1].astype(np.float64)
        self._all = Line(notes, onset_s, end_s, np.where(level < 0, _UNMARKED, level))
        self._masks: dict[str, Bools] = {}
        self._known: dict[tuple[tuple[str, ...], str, str], Line] = {}

    def of(self, bars: str, *layers: str, beats: str = "") -> Line:
        """Return the notes of one or several layers in these bars, on these beats.

        Parameters
        ----------
        bars : str
            As a spec writes them.
        *layers : str
            ``melody``, ``bass`` …; every note where none is named.
        beats : str
            One beat, as a spec writes it.
        """
        key = (layers, bars, beats)
        if key not in self._known:
            here = np.zeros(len(self._all), dtype=bool)
            for first, last in bars_named(self._score, bars):
                here[np.searchsorted(self._bar, first) : np.searchsorted(self._bar, last, side="right")] = True
            if layers:
                here &= np.any([self._layer(name) for name in layers], axis=0)
            if beats:
                bar = self._score.bars[self._bar - 1]
                unit = 4 * TICKS_PER_QUARTER / np.maximum(bar["beat_type"], 1)
                here &= np.abs(self._all.notes["onset"] - bar["onset"] - (float(beats) - 1) * unit) <= 1
            self._known[key] = self._all.where(here)
        return self._known[key]

    def _layer(self, name: str) -> Bools:
        """Which notes belong to a layer."""
        if name not in self._masks:
            self._masks[name] = np.asarray(select(self._layers, self._score, name))[self._order]
        return self._masks[name]
