"""The stretches to be voiced: what the harmony allows there, and what already sounds."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.harmony_frames import Floats, Ints, Notes, pairs_of, sounding
from reading.score import TICKS_PER_QUARTER

if TYPE_CHECKING:
    from collections.abc import Sequence

    from mapping.harmony import Span
    from reading.score import Score

__all__ = ["Piece", "pieces_of"]

_SURE = 0.6  # a pitch class less sure than this is not held
_MAIN = 0.2  # share of the time from which the lowest pitch is the main bass
_STRUCK = 0.04  # share of the time of a note that is more than an ornament
_LASTING = 0.1  # share of the time a tune's note must last to bound what lies below it
_BRIEF_TICKS = TICKS_PER_QUARTER // 8  # shorter gaps do not ask to be filled
_BELOW_TUNE = 3  # semitones kept free below the tune


@dataclass(frozen=True, eq=False)
class Piece:
    """One stretch of one harmony, at most four quarters long.

    Attributes
    ----------
    start, end : int
        Ticks.
    roles : dict of int to str
        Pitch classes that may be played, with their place in the chord.
    leading : frozenset of int
        Pitch classes that must not be doubled: leading note and seventh of the chord.
    low, high : int
        Lowest and highest MIDI pitch that may be played.
    bass : int
        Main bass, MIDI; -1 for none.
    heads, tails : tuple of (int, int)
        Bass and tune as the piece begins and ends, MIDI; -1 for none.
    given : tuple of int
        Pitches that count when the chord's members are counted.
    posterior, pc_share : ndarray, shape (12,)
        How sure each pitch class is; share of the time it sounds.
    pitch_share, melody_share : ndarray, shape (128,)
        Share of the time each pitch sounds, and sounds as the tune.
    frames : tuple of (float, ndarray of int)
        Length in ticks and sounding pitches between any two changes of what sounds.
    resting : bool
        Nothing is to be played here.
    """

    start: int
    end: int
    roles: dict[int, str]
    leading: frozenset[int]
    low: int
    high: int
    bass: int
    heads: tuple[int, int]
    tails: tuple[int, int]
    posterior: Floats
    pc_share: Floats
    pitch_share: Floats
    melody_share: Floats
    given: tuple[int, ...] = ()
    frames: tuple[tuple[float, Ints], ...] = field(default=())
    resting: bool = False

    @property
    def length_q(self) -> float:
        """Length in quarters."""
        return (self.end - self.start) / TICKS_PER_QUARTER

    def with_gap(self, over: int) -> Piece:
        """Return the piece, resting where no two neighbouring notes lie more than *over* semitones apart."""
        wide = any(
            length >= _BRIEF_TICKS and len(pitches) > 1 and int(np.diff(pitches).max()) > over
            for length, pitches in self.frames
        )
        return self if wide else replace(self, resting=True)


def pieces_of(
    score: Score,
    harmony: Sequence[Span],
    start: int,
    end: int,
    melody: np.ndarray[Any, np.dtype[np.bool_]] | None,
    only: tuple[str, ...],
    longest_ticks: int,
    *,
    gaps: bool = False,
) -> list[Piece]:
    """Return the spans between *start* and *end*, cut into stretches of at most *longest_ticks*.

    Parameters
    ----------
    score : Score
    harmony : sequence of Span
    start, end : int
        Ticks.
    melody : ndarray of bool, shape (notes,), optional
        The tune; found by :func:`reading.layers.find_layers` where left out.
    only : tuple of str
        Members of the chord that may be played; all where empty.
    longest_ticks : int
    gaps : bool
        Whether the pieces also say what sounds from moment to moment.
    """
    notes = sounding(score)
    attacks = np.unique(notes["onset"])
    cuts = [cut for span in harmony for cut in _cuts(span, start, end, longest_ticks, attacks)]
    if not cuts or not len(notes):
        return []
    tune = (_melody_of(score) if melody is None else melody)[notes["id"]]
    begins, ends = np.array([cut[0] for cut in cuts]), np.array([cut[1] for cut in cuts])
    rows, places, overlap = pairs_of(notes, begins, ends)
    edges = np.searchsorted(places, np.arange(len(cuts) + 1))
    frames = _moments(notes, np.concatenate([begins, ends])) if gaps else None
    found = []
    for place, (begin, stop, span) in enumerate(cuts):
        inside = slice(edges[place], edges[place + 1])
        found.append(_piece(span, begin, stop, notes[rows[inside]], overlap[inside], tune[rows[inside]], only, frames))
    return found


def _melody_of(score: Score) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Return which notes are the tune, as the reader finds it."""
    from reading.layers import Role, find_layers

    return np.asarray(find_layers(score).roles == Role.MELODY)


def _cuts(span: Span, start: int, end: int, longest: int, attacks: Ints) -> list[tuple[int, int, Span]]:
    """Return ``(start, end, span)`` of the stretches of one span; they begin with an attack where one is near.

    A held note that enters between two attacks would add to the rhythm, so that its start waits up to a quarter.
    """
    low, high = max(span.start_ticks, start), min(span.end_ticks, end)
    if low >= high:
        return []
    edges = [
        tick if tick == end else min(_next_attack(tick, attacks), end) for tick in (*range(low, high, longest), high)
    ]
    return [(a, b, span) for a, b in pairwise(edges) if b > a]


def _next_attack(tick: int, attacks: Ints) -> int:
    """Return the next attack within a quarter, else the tick itself."""
    row = int(np.searchsorted(attacks, tick))
    near = row < len(attacks) and int(attacks[row]) - tick <= TICKS_PER_QUARTER
    return int(attacks[row]) if near else tick


def _moments(notes: Notes, edges: Ints) -> tuple[Ints, Ints, list[Ints]]:
    """Return start, end and the distinct sounding pitches, low to high, between any two changes of what sounds."""
    ticks = np.unique(np.concatenate([notes["onset"], notes["onset"] + notes["duration"], edges]))
    starts, ends = ticks[:-1], ticks[1:]
    rows, moments, _ = pairs_of(notes, starts, ends)
    pitch = notes["pitch"].astype(np.int64)[rows]
    fresh = np.append(True, (np.diff(moments) != 0) | (np.diff(pitch) != 0)) if len(rows) else np.zeros(0, dtype=bool)
    parts = np.searchsorted(moments[fresh], np.arange(1, len(starts)))
    return starts, ends, np.split(pitch[fresh], parts)


def _piece(
    span: Span,
    start: int,
    end: int,
    notes: Notes,
    overlap: Ints,
    tune: np.ndarray[Any, np.dtype[np.bool_]],
    only: tuple[str, ...],
    frames: tuple[Ints, Ints, list[Ints]] | None,
) -> Piece:
    """Return one stretch; *notes* are those that sound in it, lowest first."""
    length = end - start
    pitch = notes["pitch"].astype(np.int64)
    share, sung = _shares(pitch, overlap, length), _shares(pitch[tune], overlap[tune], length)
    classes = np.minimum(1.0, np.bincount(np.arange(128) % 12, weights=share))
    bass = _main_bass(pitch, share)
    lasting = np.flatnonzero(sung >= _LASTING)
    ceiling = int(lasting[0]) - _BELOW_TUNE if len(lasting) else 127
    allowed = {
        pc: span.role(pc)
        for pc in sorted(span.pcs)
        if classes[pc] > 0 and span.posterior[pc] >= _SURE and (not only or span.role(pc) in only)
    }
    begin = notes["onset"] <= start
    stop = notes["onset"] + notes["duration"] >= end
    return Piece(
        start,
        end,
        allowed,
        _leading(span),
        max(bass, 0),
        ceiling,
        bass,
        (_outer(pitch[begin], min), _outer(pitch[begin & tune], max)),
        (_outer(pitch[stop], min), _outer(pitch[stop & tune], max)),
        np.array(span.posterior),
        classes,
        share,
        sung,
        frames=() if frames is None else _inside(frames, start, end),
    )


def _main_bass(pitch: Ints, share: Floats) -> int:
    """Return the lowest pitch that lasts; where that lies more than an octave up, the lowest of the figure under it."""
    lowest = _outer(pitch, min)
    strong, struck = np.flatnonzero(share >= _MAIN), np.flatnonzero(share >= _STRUCK)
    if len(strong) and strong[0] <= lowest + 12:
        return int(strong[0])
    return int(struck[0]) if len(struck) else lowest


def _shares(pitch: Ints, overlap: Ints, length: int) -> Floats:
    """Return the share of the time each MIDI pitch sounds, shape (128,)."""
    return np.asarray(np.minimum(1.0, np.bincount(pitch, weights=overlap, minlength=128) / length))


def _inside(frames: tuple[Ints, Ints, list[Ints]], start: int, end: int) -> tuple[tuple[float, Ints], ...]:
    """Return length and pitches of the moments between two ticks."""
    first, last = np.searchsorted(frames[0], [start, end]).tolist()
    return tuple((float(frames[1][row] - frames[0][row]), frames[2][row]) for row in range(first, last))


def _outer(pitches: Ints, which: Any) -> int:
    """Return the lowest or highest pitch, -1 where there is none."""
    return int(which(pitches)) if len(pitches) else -1


def _leading(span: Span) -> frozenset[int]:
    """Return the pitch classes not to be doubled: third and seventh of a dominant, root of a leading-note chord."""
    shape = {
        "dominant seventh": (4, 10),
        "seventh without fifth": (4, 10),
        "diminished": (0,),
        "diminished seventh": (),
        "half-diminished": (0, 10),
        "minor seventh": (10,),
        "major seventh": (11,),
    }.get(span.quality, ())
    return frozenset((span.root + step) % 12 for step in shape)
