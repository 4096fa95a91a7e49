"""What is struck and what sounds when, on the piano's side and on the variant's."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import numpy as np

from mapping.arrangement import PART_DTYPE
from mapping.harmony import spans
from mapping.harmony_frames import Ints, Notes, pairs_of, sounding
from mapping.unpitched import pitched
from reading.score import Flag

if TYPE_CHECKING:
    from mapping.arrangement import Arrangement
    from mapping.harmony import Span
    from reading.layers import Layers
    from reading.score import Score

__all__ = ["Facts", "facts_of", "played"]

Bools = np.ndarray[Any, np.dtype[np.bool_]]

_NOWHERE = 999  # a pitch higher than any, where nothing is struck or sounds
_PLAIN = ("play", "double")


@dataclass(frozen=True, eq=False)
class Facts:
    """Notes with a length, sorted by onset, with ways to ask what is struck and what sounds.

    Attributes
    ----------
    notes : ndarray
    melody, bass : ndarray of bool, shape (notes,)
        Empty on the variant's side.
    spans : tuple of Span
        Empty on the variant's side.
    verbs : tuple of str
        Verb of each step, on the variant's side.
    """

    notes: Notes
    melody: Bools
    bass: Bools
    spans: tuple[Span, ...] = ()
    verbs: tuple[str, ...] = ()

    @cached_property
    def onset(self) -> Ints:
        """Onsets in ticks."""
        return np.asarray(self.notes["onset"].astype(np.int64))

    @cached_property
    def pitch(self) -> Ints:
        """Sounding MIDI pitch."""
        return np.asarray(self.notes["pitch"].astype(np.int64))

    @cached_property
    def _struck(self) -> Ints:
        """Onset and pitch of every attack as one sorted number."""
        return np.unique(self.onset * 128 + self.pitch)

    @cached_property
    def _struck_classes(self) -> Ints:
        """Onset and pitch class of every attack as one sorted number."""
        return np.unique(self.onset * 12 + self.pitch % 12)

    def strikes(self, onset: Ints, pc: Ints) -> Bools:
        """Return whether each pitch class is struck at each onset."""
        return np.isin(onset * 12 + pc, self._struck_classes)

    def strikes_pitch(self, onset: Ints, pitch: Ints) -> Bools:
        """Return whether each pitch is struck at each onset."""
        return np.isin(onset * 128 + pitch, self._struck)

    def lowest_struck(self, onset: Ints, pc: Ints) -> Ints:
        """Return the lowest pitch of a class struck at each onset, or more than 127 where there is none."""
        octaves = np.arange(11)[None, :] * 12 + pc[:, None]
        there = np.isin(onset[:, None] * 128 + octaves, self._struck) & (octaves < 128)
        return np.asarray(np.where(there, octaves, _NOWHERE).min(axis=1))

    def lowest_sounding(self, ticks: Ints) -> Ints:
        """Return the lowest pitch sounding at each tick, or more than 127 where nothing sounds."""
        moments, place = np.unique(ticks, return_inverse=True)
        rows, at, _ = pairs_of(self.notes, moments, moments + 1)
        lowest = np.full(len(moments), _NOWHERE, dtype=np.int64)
        np.minimum.at(lowest, at, self.pitch[rows])
        return lowest[place]

    def outer_rows(self) -> tuple[Ints, Ints]:
        """Return the rows of each bar's highest and lowest note (the first of equal ones)."""
        order = np.lexsort((self.onset, self.pitch, self.notes["bar"]))
        bottoms = order[np.flatnonzero(np.diff(self.notes["bar"][order], prepend=-1))]
        order = np.lexsort((self.onset, -self.pitch, self.notes["bar"]))
        return order[np.flatnonzero(np.diff(self.notes["bar"][order], prepend=-1))], bottoms

    def meant(self, start: int, end: int, classes: Ints | None = None) -> bool:
        """Whether every note of the stretch (of the classes, where given) comes from a step that changes notes."""
        inside = (self.onset < end) & (self.onset + self.notes["duration"] > start)
        if classes is not None:
            inside &= np.isin(self.pitch % 12, classes)
        else:
            inside &= self.onset == start
        causes = np.unique(self.notes["cause"][inside]).tolist()
        return bool(causes) and all(
            0 <= cause < len(self.verbs) and self.verbs[cause] not in _PLAIN for cause in causes
        )

    def changed(self, tick: int, pitch: int = -1) -> bool:
        """Whether a note (of the pitch, where given) from a step that changes notes sounds at a tick."""
        inside = (self.onset <= tick) & (self.onset + self.notes["duration"] > tick)
        if pitch >= 0:
            inside &= self.pitch == pitch
        causes = self.notes["cause"][inside].tolist() if "cause" in (self.notes.dtype.names or ()) else []
        return any(0 <= cause < len(self.verbs) and self.verbs[cause] not in _PLAIN for cause in causes)


_known: WeakKeyDictionary[Score, tuple[Layers, Facts]] = WeakKeyDictionary()


def facts_of(score: Score, layers: Layers) -> Facts:
    """Return the piano's facts; found once per score and layers, since every variant is compared with them."""
    from reading.layers import Role

    known = _known.get(score)
    if known and known[0] is layers:
        return known[1]
    notes = sounding(score)
    roles = layers.roles[notes["id"]]
    facts = Facts(notes, roles == Role.MELODY, roles == Role.BASS, tuple(spans(score)))
    _known[score] = layers, facts
    return facts


def played(arrangement: Arrangement) -> Facts:
    """Return the facts of all players whose notes have a pitch."""
    parts = [part.notes for part in pitched(arrangement.parts) if len(part.notes)]
    notes = np.concatenate(parts) if parts else np.zeros(0, dtype=PART_DTYPE)
    notes = notes[(notes["duration"] > 0) & ((notes["flags"] & int(Flag.CUE)) == 0)]
    notes = notes[np.argsort(notes["onset"], kind="stable")]
    nobody = np.zeros(len(notes), dtype=bool)
    return Facts(notes, nobody, nobody, verbs=tuple(step.verb for step in arrangement.steps))
