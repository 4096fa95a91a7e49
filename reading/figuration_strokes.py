"""The attacks of one hand in one bar, and the note value they move in."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from reading.features import Floats, Ints
from reading.score import TICKS_PER_QUARTER

if TYPE_CHECKING:
    from reading.score import Score

__all__ = ["Strokes", "rhythm_name", "strokes_of"]

NOTE_VALUES = {
    Fraction(8): "breve",
    Fraction(6): "dotted whole",
    Fraction(4): "whole",
    Fraction(7, 2): "double-dotted half",
    Fraction(3): "dotted half",
    Fraction(2): "half",
    Fraction(7, 4): "double-dotted quarter",
    Fraction(3, 2): "dotted quarter",
    Fraction(4, 3): "triplet half",
    Fraction(1): "quarter",
    Fraction(3, 4): "dotted 8th",
    Fraction(2, 3): "triplet quarter",
    Fraction(1, 2): "8th",
    Fraction(3, 8): "dotted 16th",
    Fraction(1, 3): "triplet 8th",
    Fraction(1, 4): "16th",
    Fraction(1, 6): "triplet 16th",
    Fraction(1, 8): "32nd",
    Fraction(1, 12): "triplet 32nd",
    Fraction(1, 16): "64th",
}


@dataclass(frozen=True, eq=False)
class Strokes:
    """The attacks of one hand in one bar, held notes already taken out.

    Attributes
    ----------
    place : ndarray of float, shape (n,)
        Beats from the start of the bar.
    length : ndarray of float, shape (n,)
        Longest note of each attack, in beats.
    pitches : tuple of tuple of int
        MIDI pitches of each attack, low to high.
    bar_beats : float
        Length of the bar in beats.
    compound : bool
        The beat divides in three.
    """

    place: Floats
    length: Floats
    pitches: tuple[tuple[int, ...], ...]
    bar_beats: float
    compound: bool = False

    @cached_property
    def size(self) -> Ints:
        """Notes per attack, shape (n,)."""
        return np.array([len(pitches) for pitches in self.pitches], np.int64)

    @cached_property
    def top(self) -> Ints:
        """Highest pitch of each attack, shape (n,)."""
        return np.array([pitches[-1] for pitches in self.pitches], np.int64)

    @cached_property
    def low(self) -> Ints:
        """Lowest pitch of each attack, shape (n,)."""
        return np.array([pitches[0] for pitches in self.pitches], np.int64)

    @cached_property
    def wait(self) -> Floats:
        """Beats between successive attacks, shape (n - 1,)."""
        return np.diff(self.place)

    @cached_property
    def usual_wait(self) -> float:
        """Median of the waits in beats, 0 with fewer than two attacks."""
        wait = np.sort(self.wait)
        return float((wait[(len(wait) - 1) // 2] + wait[len(wait) // 2]) / 2) if len(wait) else 0.0

    @cached_property
    def chords(self) -> float:
        """Share of the attacks that are of two notes or more."""
        return sum(len(pitches) > 1 for pitches in self.pitches) / len(self.pitches)


def strokes_of(score: Score, ids: Ints, start: int, beat: int, full: int) -> Strokes:
    """Return the attacks of some notes of one hand and bar.

    Parameters
    ----------
    score : Score
    ids : ndarray of int, shape (n,)
    start : int
        Ticks from which places are counted.
    beat, full : int
        Length of a beat and of the bar in ticks.
    """
    notes = score.notes
    times, which = np.unique(notes["onset"][ids].astype(np.int64), return_inverse=True)
    length = np.zeros(len(times))
    np.maximum.at(length, which, notes["duration"][ids] / beat)
    pitches = tuple(tuple(sorted(set(notes["pitch"][ids[which == k]].tolist()))) for k in range(len(times)))
    return Strokes((times - start) / beat, length, pitches, full / beat, beat % 3 == 0 and beat != TICKS_PER_QUARTER)


def rhythm_name(strokes: Strokes, beat_ticks: int) -> str:
    """Return the usual time between attacks (of a single attack, its length) as a note value.

    Parameters
    ----------
    strokes : Strokes
    beat_ticks : int
        Length of a beat in ticks.

    Returns
    -------
    str
        ``8th``, ``triplet 16th``, ``half tied to 8th`` ...; ``uneven`` where fewer than six waits in ten are the usual
        one, or two tied notes do not make it.
    """
    alone = len(strokes.pitches) == 1
    wait = strokes.length if alone else strokes.wait
    usual = float(strokes.length[0]) if alone else strokes.usual_wait
    if np.mean(np.abs(wait - usual) < 0.02) < 0.6:
        return "uneven"
    value = Fraction(usual * beat_ticks / TICKS_PER_QUARTER).limit_denominator(48)
    return NOTE_VALUES.get(value) or _tied(value)


def _tied(value: Fraction) -> str:
    """A length in quarters that no one note has, as the longest note inside it and the rest."""
    for longest, name in NOTE_VALUES.items():
        if longest < value and value - longest in NOTE_VALUES:
            return f"{name} tied to {NOTE_VALUES[value - longest]}"
    return "uneven"
