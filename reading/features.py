"""Hands, attacks and places in the bar: what every analysis of texture and form counts with.

All of it comes straight from the note table by array operations, and positions are a share of the bar, so that
scaling all note values changes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.score import TICKS_PER_QUARTER, Flag

if TYPE_CHECKING:
    from reading.score import Score

__all__ = [
    "LOWER",
    "OTHER",
    "SLOTS",
    "UPPER",
    "Attacks",
    "attacks",
    "beat_ticks",
    "first_endings",
    "hands",
    "has_half_upbeat",
    "has_keyboard",
    "nominal_ticks",
    "onset_sets",
    "places",
    "played",
]

UPPER, LOWER, OTHER = 0, 1, -1
SLOTS = 24
"""Positions a bar is divided into for rhythm: divides evenly by 2, 3, 4, 6 and 8."""
SPLIT_PITCH = 60
HALF_UPBEAT = (0.4, 0.6)
"""Share of the bar, from and to which an upbeat is half a bar."""

Floats = np.ndarray[Any, np.dtype[np.float64]]
Ints = np.ndarray[Any, np.dtype[np.int64]]
Bools = np.ndarray[Any, np.dtype[np.bool_]]


def hands(score: Score) -> Ints:
    """Return the hand of every note: ``UPPER``, ``LOWER``, or ``OTHER`` for notes that are not the piano's.

    The keyboard is the part (or parts) on two staves or more. Where there is none, one part is split at middle C,
    two parts are the two hands, and of more parts the upper half by mean pitch is the upper hand.

    Returns
    -------
    ndarray of int, shape (n_notes,)
    """
    notes = score.notes
    keyboard = [row for row, part in enumerate(score.parts) if part.staves >= 2]
    if keyboard:
        inside = np.isin(notes["part"], keyboard)
        return np.where(inside, np.where(notes["staff"] >= 2, LOWER, UPPER), OTHER).astype(np.int64)
    if len(score.parts) == 1:
        return np.where(notes["pitch"] < SPLIT_PITCH, LOWER, UPPER).astype(np.int64)
    count = np.bincount(notes["part"], minlength=len(score.parts))
    mean = np.bincount(notes["part"], weights=notes["pitch"], minlength=len(score.parts)) / np.maximum(count, 1)
    lower = np.argsort(mean, kind="stable")[: len(score.parts) // 2]
    return np.where(np.isin(notes["part"], lower), LOWER, UPPER).astype(np.int64)


def has_keyboard(score: Score) -> bool:
    """Say whether the score has a part on two staves, or so few parts that they are taken for two hands."""
    return len(score.parts) <= 2 or any(part.staves >= 2 for part in score.parts)


def has_half_upbeat(score: Score) -> bool:
    """Say whether the piece begins with about half a bar of upbeat, in bars that divide in two.

    A first bar that begins with rests is an upbeat as well as a short one.
    """
    bars, sounding = score.bars, score.notes["onset"][played(score)]
    if len(bars) < 2 or not len(sounding) or not int(bars["duration"][1]):
        return False
    length = (int(bars["onset"][1]) - int(sounding.min())) / int(bars["duration"][1])
    return HALF_UPBEAT[0] <= length <= HALF_UPBEAT[1] and int(bars["beats"][1]) % 2 == 0


def beat_ticks(score: Score) -> Ints:
    """Return the length of a beat in ticks for every bar: the lower figure, or three of them in 6/x, 9/x and 12/x.

    Returns
    -------
    ndarray of int, shape (n_bars,)
    """
    beats, unit = score.bars["beats"].astype(np.int64), score.bars["beat_type"].astype(np.int64)
    compound = np.where((beats > 3) & (beats % 3 == 0), 3, 1)
    return np.asarray(np.maximum(4 * TICKS_PER_QUARTER * compound // np.maximum(unit, 1), 1), np.int64)


def first_endings(score: Score) -> Bools:
    """Return True for every bar of a first ending, and of any ending that another one follows at once.

    Such bars lead back to an opening already heard; left in, they look like a return in the wrong place. An ending
    that closes the piece is never one.
    """
    volta = score.bars["volta"].astype(np.int64)
    drop = (volta & 1) > 0
    later = 0
    for row in range(len(volta) - 1, -1, -1):
        here, after = int(volta[row]), int(volta[row + 1]) if row + 1 < len(volta) else 0
        later = 0 if here == 0 else (after if after not in (0, here) else later)
        drop[row] |= later != 0
    drop[-1:] = False
    return np.asarray(drop, bool)


@dataclass(frozen=True, eq=False)
class Attacks:
    """Notes struck together in one hand, in order of hand and time.

    Attributes
    ----------
    hand, bar : ndarray of int, shape (n_attacks,)
        ``UPPER`` or ``LOWER``; row of the bar, from 0.
    onset : ndarray of int, shape (n_attacks,)
        Ticks.
    low, high, count : ndarray of int, shape (n_attacks,)
        Lowest and highest MIDI pitch, number of notes.
    order : ndarray of int, shape (n_notes_used,)
        Note ids by attack; ``order[start[i]:start[i] + count[i]]`` are the notes of attack i, low to high.
    start : ndarray of int, shape (n_attacks,)
    """

    hand: Ints
    bar: Ints
    onset: Ints
    low: Ints
    high: Ints
    count: Ints
    order: Ints
    start: Ints


def attacks(score: Score, chosen: Bools | None = None) -> Attacks:
    """Gather the sounding notes of both hands (graces and cues left out) into attacks.

    Parameters
    ----------
    score : Score
    chosen : ndarray of bool, shape (n_notes,), optional
        Notes to take; all by default.
    """
    notes, hand = score.notes, hands(score)
    use = played(score) & (hand != OTHER)
    ids = np.flatnonzero(use if chosen is None else use & chosen)
    ids = ids[np.lexsort((notes["pitch"][ids], notes["onset"][ids], hand[ids]))]
    onset, side, pitch = notes["onset"][ids].astype(np.int64), hand[ids], notes["pitch"][ids].astype(np.int64)
    new = np.ones(len(ids), bool)
    new[1:] = (np.diff(onset) != 0) | (np.diff(side) != 0)
    start = np.flatnonzero(new)
    count = np.diff(np.append(start, len(ids)))
    bar = np.searchsorted(score.bars["onset"], onset[start], side="right") - 1
    high = pitch[start + count - 1] if len(start) else pitch[:0]
    return Attacks(side[start], np.maximum(bar, 0), onset[start], pitch[start], high, count, ids, start)


def onset_sets(score: Score, *, chroma: bool = False, slots: int = SLOTS, chosen: Bools | None = None) -> Floats:
    """Return which pitches are struck at which place of each bar, as 0 and 1.

    Parameters
    ----------
    score : Score
    chroma : bool
        Fold octaves together (12 columns per place, else 128).
    slots : int
        Places per bar.
    chosen : ndarray of bool, shape (n_notes,), optional
        Notes to take; all by default.

    Returns
    -------
    ndarray of float, shape (n_bars, slots, 12 or 128)
    """
    use = played(score)
    notes = score.notes[use if chosen is None else use & chosen]
    bar, place = places(score, notes["onset"].astype(np.int64), slots)
    width = 12 if chroma else 128
    out = np.zeros((len(score.bars), slots, width))
    out[bar, place, notes["pitch"].astype(np.int64) % width] = 1.0
    return out


def played(score: Score) -> Bools:
    """Return True for notes with a written time of their own (no graces, no cues), shape (n_notes,)."""
    notes = score.notes
    return np.asarray((notes["duration"] > 0) & (notes["flags"] & (Flag.GRACE | Flag.CUE) == 0), bool)


def nominal_ticks(score: Score) -> Ints:
    """Return the full length of each bar in ticks by its metre, shape (n_bars,).

    A bar that holds more counts as long as it is filled; not where nothing begins in the time beyond its metre (a rest
    too many in the file).
    """
    bars, notes = score.bars, score.notes
    length = 4 * TICKS_PER_QUARTER * bars["beats"].astype(np.int64) // np.maximum(bars["beat_type"], 1)
    last = np.full(len(bars), -1, np.int64)
    row = np.searchsorted(bars["onset"], notes["onset"], side="right") - 1
    inside = row >= 0
    np.maximum.at(last, row[inside], notes["onset"][inside] - bars["onset"][row[inside]])
    filled = np.where(last >= length, bars["duration"], 0)
    return np.asarray(np.maximum(np.maximum(length, filled), 1), np.int64)


def places(score: Score, onset: Ints, slots: int) -> tuple[Ints, Ints]:
    """Return the bar row (from 0) of each onset and its place in the bar, 0 to *slots* - 1.

    A pickup, and the second part of a bar divided by a repeat sign, are counted back from their bar line, so that an
    upbeat falls where it falls in a full bar.
    """
    bars = score.bars
    row = np.maximum(np.searchsorted(bars["onset"], onset, side="right") - 1, 0)
    full = nominal_ticks(score)
    missing = full - bars["duration"]
    divided = np.zeros(len(bars), bool)
    divided[1:] = (missing[1:] > 0) & (bars["duration"][1:] + bars["duration"][:-1] == full[1:])
    shift = np.where(bars["pickup"] | divided, missing, 0)
    inside = onset - bars["onset"][row] + shift[row]
    place = np.clip((inside * slots + full[row] // 2 // slots) // full[row], 0, slots - 1)
    return np.asarray(row, np.int64), np.asarray(place, np.int64)
