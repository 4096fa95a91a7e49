"""The notes as arrays to analyse: staves counted top to bottom, a beat taken from the music, what sounds when.

Grace notes have no time of their own, and cue notes are silent; both are left out here, and :mod:`reading.layers` gives
them the role of the note they stand by.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.features import played

if TYPE_CHECKING:
    from reading.score import Score

__all__ = [
    "BoolArray",
    "IntArray",
    "Texture",
    "attack_sizes",
    "moving_pairs",
    "sounding_pairs",
    "staff_rows",
    "texture_of",
]

BoolArray = np.ndarray[Any, np.dtype[np.bool_]]
FloatArray = np.ndarray[Any, np.dtype[np.float64]]
IntArray = np.ndarray[Any, np.dtype[np.int64]]

_IOI_PER_BEAT = 2.5
"""A beat holds two or three attacks: the division of the bar nearest to this many usual attack distances is the beat.

Taken from the music and not from the lower figure of the metre, so that a piece noted in 2/2 and the same piece noted
in 2/4 are read alike.
"""


@dataclass(frozen=True, eq=False)
class Texture:
    """Notes that have time of their own, sorted by onset then pitch.

    Attributes
    ----------
    ids, onset, end, pitch, staff, voice, bar : ndarray of int64, shape (n,)
        Note id; ticks; MIDI pitch; staff counted over all parts from the top (0 = uppermost); voice; bar index from 1.
    staves : int
        How many staves carry notes or are declared.
    sung : tuple of bool
        By staff: a part of one staff above a part of two (a voice or instrument the piano accompanies).
    beat : int
        Ticks of the beat the music moves in.
    pace : float
        Ticks of two and a half usual distances between attacks: a beat that no metre has rounded.
    bar_onset, bar_end : ndarray of int64, shape (bars,)
    metre : ndarray of int64, shape (bars,)
        Beats one counts in the bar: two in 6/8.
    """

    ids: IntArray
    onset: IntArray
    end: IntArray
    pitch: IntArray
    staff: IntArray
    voice: IntArray
    bar: IntArray
    staves: int
    sung: tuple[bool, ...]
    beat: int
    pace: float
    bar_onset: IntArray
    bar_end: IntArray
    metre: IntArray

    @property
    def low(self) -> int:
        """The lowest staff: the left hand of a piano."""
        return self.staves - 1

    @property
    def bars(self) -> int:
        """Number of bars."""
        return len(self.bar_onset)


def staff_rows(score: Score) -> IntArray:
    """Return, by note id, the staff counted over all parts from the top (0 = uppermost).

    Parameters
    ----------
    score : Score

    Returns
    -------
    ndarray of int64, shape (len(score.notes),)
    """
    first, total = [], 0
    for part in score.parts:
        first.append(total)
        total += max(1, part.staves)
    notes = score.notes
    start = np.asarray(first or [0], dtype=np.int64)[np.clip(notes["part"], 0, max(0, len(first) - 1))]
    return np.asarray(start + np.maximum(notes["staff"], 1) - 1, dtype=np.int64)


def texture_of(score: Score) -> Texture:
    """Return the notes of *score* that sound and have time of their own, with the beat of the music.

    Parameters
    ----------
    score : Score

    Returns
    -------
    Texture
    """
    notes, staff = score.notes, staff_rows(score)
    order = np.flatnonzero(played(score))
    order = order[np.lexsort((notes["pitch"][order], notes["onset"][order]))]
    kept = notes[order]
    onset = kept["onset"].astype(np.int64)
    staves = max(1, sum(max(1, part.staves) for part in score.parts), int(staff.max(initial=0)) + 1)
    grand = any(part.staves >= 2 for part in score.parts)
    sung = [grand and part.staves == 1 for part in score.parts for _ in range(max(1, part.staves))]
    bar_onset = score.bars["onset"].astype(np.int64)
    return Texture(
        ids=kept["id"].astype(np.int64),
        onset=onset,
        end=onset + kept["duration"],
        pitch=kept["pitch"].astype(np.int64),
        staff=staff[order],
        voice=kept["voice"].astype(np.int64),
        bar=kept["bar"].astype(np.int64),
        staves=staves,
        sung=tuple(sung + [False] * (staves - len(sung))),
        beat=_beat_ticks(score, onset),
        pace=_IOI_PER_BEAT * _usual_step(onset),
        bar_onset=bar_onset,
        bar_end=bar_onset + score.bars["duration"],
        metre=_counted(score.bars["beats"].astype(np.int64)),
    )


def _counted(beats: IntArray) -> IntArray:
    """Beats one counts: groups of three where the metre has six, nine or twelve."""
    return np.where((beats % 3 == 0) & (beats > 3), beats // 3, np.maximum(beats, 1))


def _beat_ticks(score: Score, onset: IntArray) -> int:
    """Division of the commonest bar nearest to the usual distance between attacks."""
    bars = score.bars
    if not len(bars):
        return 1
    lengths, counts = np.unique(bars["duration"], return_counts=True)
    length = int(lengths[np.argmax(counts)])
    beats = int(bars["beats"][np.flatnonzero(bars["duration"] == length)[0]]) or 4
    counted = int(_counted(np.asarray([beats]))[0])
    finer = (1.0, 1 / 3, 1 / 6) if counted != beats else (1.0, 0.5, 0.25)
    factors = (2.0, *finer) if counted % 2 == 0 else finer
    divisions = [length / counted * factor for factor in factors]
    usual = _usual_step(onset) or divisions[0]
    distance = [abs(float(np.log2(division / (_IOI_PER_BEAT * usual)))) for division in divisions]
    return max(1, round(divisions[int(np.argmin(distance))]))


def _usual_step(onset: IntArray) -> float:
    """Middle distance between attacks, 0 with fewer than two."""
    steps = np.diff(np.unique(onset))
    return float(np.median(steps)) if len(steps) else 0.0


def sounding_pairs(onset: IntArray, end: IntArray, moments: IntArray) -> tuple[IntArray, IntArray]:
    """Return which note sounds at which moment.

    Parameters
    ----------
    onset, end : ndarray of int64, shape (n,)
        Ticks.
    moments : ndarray of int64, shape (m,)
        Ticks, rising.

    Returns
    -------
    note, moment : ndarray of int64, equal shape
        Row of the note and row of the moment, one pair for each moment in ``[onset, end)``.
    """
    first = np.searchsorted(moments, onset, side="left")
    count = np.maximum(np.searchsorted(moments, end, side="left") - first, 0)
    note = np.repeat(np.arange(len(onset)), count)
    within = np.arange(len(note)) - np.repeat(np.cumsum(count) - count, count)
    return note.astype(np.int64), (np.repeat(first, count) + within).astype(np.int64)


def attack_sizes(texture: Texture) -> IntArray:
    """Return how many notes of its staff are struck with each note, itself included, shape (n,)."""
    _, same, count = np.unique(texture.onset * texture.staves + texture.staff, return_inverse=True, return_counts=True)
    return np.asarray(count[same], dtype=np.int64)


def lowest_of(texture: Texture, pool: IntArray) -> BoolArray:
    """Return whether nothing lower of the pool (rows of the texture) sounds at the attack of each of its notes."""
    moments, at = np.unique(texture.onset[pool], return_inverse=True)
    note, moment = sounding_pairs(texture.onset[pool], texture.end[pool], moments)
    lowest = np.full(len(moments), 128)
    np.minimum.at(lowest, moment, texture.pitch[pool][note])
    return np.asarray(texture.pitch[pool] <= lowest[at])


def moving_pairs(texture: Texture, sizes: tuple[int, ...]) -> BoolArray:
    """Return which notes are one of two that move together, up or down, at one of some distances.

    Parameters
    ----------
    texture : Texture
    sizes : tuple of int
        Semitones: 3, 4 for thirds, 8, 9 for sixths.

    Returns
    -------
    ndarray of bool, shape (n,)
        Both notes of a pair of one staff and length whose neighbour before or after is such a pair and moves the same
        way in both notes.
    """
    result = np.zeros(len(texture.onset), dtype=bool)
    for staff in range(texture.staves):
        rows = np.flatnonzero(texture.staff == staff)
        if not len(rows):
            continue
        _, first, count = np.unique(texture.onset[rows], return_index=True, return_counts=True)
        low, high = rows[first], rows[first + count - 1]
        pair = (count == 2) & (texture.end[low] == texture.end[high])
        pair &= np.isin(texture.pitch[high] - texture.pitch[low], sizes)
        up, lower_up = np.sign(np.diff(texture.pitch[high])), np.sign(np.diff(texture.pitch[low]))
        together = pair[1:] & pair[:-1] & (up != 0) & (up == lower_up)
        moving = np.append(together, False) | np.insert(together, 0, False)
        result[low[moving]] = result[high[moving]] = True
    return result
