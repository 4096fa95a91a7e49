"""Held and filling voices: the cheapest path through the possible voicings, with the freedom to rest.

In: the score, its spans of harmony, one range per voice. Out: per voice ``(start, end, pitch)`` in ticks and sounding
MIDI. What may be played is filtered first (nothing outside the harmony, below the bass, or within a minor third of the
tune); what is left is weighed (:mod:`mapping.voicing_costs`), and the best chain of voicings is found exactly among the
sixty best of each span (:func:`best_chain`). The same input always gives the same voices.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from base.errors import InputError
from mapping.harmony import spans as spans_of
from mapping.instruments import midi_of
from mapping.voicing_costs import FILL, HOLD, Chain, Weights, best_chain, candidates
from mapping.voicing_pieces import Piece, pieces_of
from reading.score import TICKS_PER_QUARTER

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from mapping.arrangement import Player
    from mapping.harmony import Span
    from reading.score import Score

__all__ = ["REGISTERS", "Held", "gap_voices", "held_voices", "ranges_for"]

Held = list[tuple[int, int, int]]
"""Notes of one voice: start and end in ticks, sounding MIDI pitch."""

REGISTERS = {"low": (36, 57), "middle": (46, 69), "high": (60, 81)}
"""Registers a spec names, MIDI (*common practice, no source*)."""

RESTRIKES = ("changes", "bars", "beats")

_CENTRES = {1: (60,), 2: (62, 55), 3: (66, 60, 54), 4: (67, 62, 58, 52)}  # highest voice first
_LONGEST_TICKS = 4 * TICKS_PER_QUARTER  # longer spans are voiced in pieces, so that a held note can give way
_FILL_TICKS = 2 * TICKS_PER_QUARTER  # a filling voice follows the hands more closely
_TOP = 79  # a filling voice does not climb into the tune's register
_BOTTOM = 43


def ranges_for(players: Sequence[Player], register: str | tuple[int, int] | None = None) -> list[tuple[int, int, int]]:
    """Return ``(low, high, centre)`` per player for held notes: the safe range, cut to a register, voices spread.

    Parameters
    ----------
    players : sequence of Player
        In score order: of two alike, the first takes the higher voice.
    register : str or (int, int), optional
        ``low``, ``middle``, ``high``, ``C3-C5`` or two MIDI pitches.

    Raises
    ------
    InputError
        For a register that is no range, or that a player cannot reach.
    """
    bottom, top = _register(register) if register else (0, 127)
    count = len(players)
    shape = _CENTRES.get(count) or tuple(67 - round(24 * row / max(1, count - 1)) for row in range(count))
    if register:
        step = (top - bottom) / (count + 1)
        shape = tuple(round(top - step * (row + 1)) for row in range(count))
    order = sorted(range(count), key=lambda row: -players[row].instrument.safe_low)
    found: list[tuple[int, int, int]] = [(0, 0, 0)] * count
    for place, row in enumerate(order):
        item = players[row].instrument
        low, high = max(item.safe_low, bottom), min(item.safe_high, top)
        if low > high:
            low, high = max(item.low, bottom), min(item.high, top)
        if low > high:
            message = f"'{players[row].name}' has no notes in the register {register}."
            raise InputError(message, hint="Choose another register, or another player.")
        found[row] = low, high, min(max(shape[place], low), high)
    return found


def held_voices(
    score: Score,
    harmony: Sequence[Span] | None,
    ranges: Sequence[tuple[int, int, int]],
    *,
    start: int = 0,
    end: int | None = None,
    register: str | tuple[int, int] | None = None,
    restrike: str = "changes",
    melody: np.ndarray[Any, np.dtype[np.bool_]] | None = None,
    only: Iterable[str] = (),
    open_notes: Sequence[frozenset[int] | None] = (),
) -> list[Held]:
    """Return held voices: resonance of the harmony between bass and tune.

    Parameters
    ----------
    score : Score
    harmony : sequence of Span or None
        From :func:`mapping.harmony.spans`; found here where None.
    ranges : sequence of (low, high, centre)
        One per voice, MIDI; see :func:`ranges_for`.
    start, end : int
        Ticks; the whole piece where left out.
    register : str or (int, int), optional
        ``low``, ``middle``, ``high``, ``C3-C5`` or two MIDI pitches; cuts the ranges.
    restrike : {'changes', 'bars', 'beats'}
        When a note that stays is struck again: never, at bar lines, at beats.
    melody : ndarray of bool, shape (notes,), optional
        Which notes are the tune; found by :func:`reading.layers.find_layers` where left out.
    only : iterable of str, optional
        Chord members to hold (``root``, ``third``, ``fifth``, ``seventh``); all where empty.
    open_notes : sequence of frozenset of int or None, optional
        Pitches each voice is confined to, in the order of *ranges*.

    Returns
    -------
    list of list of (int, int, int)
        Per voice, in the order of *ranges*: start and end in ticks, MIDI pitch. A voice that has no good note rests.

    Raises
    ------
    InputError
        For an unknown *restrike* or *register*.
    """
    if restrike not in RESTRIKES:
        raise InputError(f"restrike '{restrike}' is not one of {', '.join(RESTRIKES)}.")
    limits = _limits(ranges, register)
    pieces = _pieces(score, harmony, start, end, melody, tuple(only))
    voices = _solve(pieces, limits, HOLD, open_notes)
    return [_struck(score, voice, restrike) for voice in voices]


def gap_voices(
    score: Score,
    ranges: Sequence[tuple[int, int, int]],
    *,
    start: int = 0,
    end: int | None = None,
    over: int = 12,
    harmony: Sequence[Span] | None = None,
    melody: np.ndarray[Any, np.dtype[np.bool_]] | None = None,
) -> list[Held]:
    """Return voices that fill the gap between the hands where neighbouring notes lie more than *over* semitones apart.

    Parameters
    ----------
    score, ranges, start, end, harmony, melody
        As in :func:`held_voices`.
    over : int
        Widest distance of neighbouring notes, in semitones, that does not count as a gap.

    Returns
    -------
    list of list of (int, int, int)
        As in :func:`held_voices`.

    References
    ----------
    No empty gap between the highest and the lowest parts: N. Rimsky-Korsakov, Principles of Orchestration (1922),
    chapter III, "Distribution of notes in chords", p. 67.
    """
    limits = [(max(low, _BOTTOM), min(high, _TOP), centre) for low, high, centre in ranges]
    limits = [(low, high, centre) if low <= high else (1, 0, centre) for low, high, centre in limits]
    pieces = [piece.with_gap(over) for piece in _pieces(score, harmony, start, end, melody, (), filling=True)]
    return [_struck(score, voice, "changes") for voice in _solve(pieces, limits, FILL)]


def _register(register: str | tuple[int, int]) -> tuple[int, int]:
    """Return the MIDI range of a register."""
    if not isinstance(register, str):
        return register
    if register in REGISTERS:
        return REGISTERS[register]
    low, dash, high = register.partition("-")
    if not dash:
        names = ", ".join(REGISTERS)
        raise InputError(f"'{register}' is no register.", hint=f"Write {names}, or two pitches such as C3-C5.")
    bottom, top = midi_of(low), midi_of(high)
    if bottom > top:
        raise InputError(f"the register '{register}' runs downwards.", hint="Write the lower note first.")
    return bottom, top


def _limits(
    ranges: Sequence[tuple[int, int, int]], register: str | tuple[int, int] | None
) -> list[tuple[int, int, int]]:
    """Return the ranges cut to a register."""
    if register is None:
        return list(ranges)
    bottom, top = _register(register)
    found = []
    for low, high, centre in ranges:
        cut = max(low, bottom), min(high, top)
        found.append((*cut, min(max(centre, cut[0]), cut[1])) if cut[0] <= cut[1] else (1, 0, centre))
    return found


def _pieces(
    score: Score,
    harmony: Sequence[Span] | None,
    start: int,
    end: int | None,
    melody: np.ndarray[Any, np.dtype[np.bool_]] | None,
    only: tuple[str, ...],
    *,
    filling: bool = False,
) -> list[Piece]:
    """Return the stretches to be voiced."""
    found = spans_of(score) if harmony is None else harmony
    longest = _FILL_TICKS if filling else _LONGEST_TICKS
    return pieces_of(score, found, start, score.end if end is None else end, melody, only, longest, gaps=filling)


def _solve(
    pieces: list[Piece],
    limits: list[tuple[int, int, int]],
    weights: Weights,
    open_notes: Sequence[frozenset[int] | None] = (),
) -> list[Held]:
    """Return the voices of the cheapest chain, in the order of *limits*."""
    order = sorted(range(len(limits)), key=lambda row: (limits[row][2], -row))  # lowest voice first
    ranked = [limits[row] for row in order]
    usable = [row for row, (low, high, _) in enumerate(ranked) if low <= high]
    found: list[Held] = [[] for _ in limits]
    if not pieces or not usable:
        return found
    only = [open_notes[order[row]] for row in usable] if open_notes else ()
    chain: Chain = best_chain(
        pieces, [candidates(piece, [ranked[row] for row in usable], weights, only) for piece in pieces], weights
    )
    for place, row in enumerate(usable):
        found[order[row]] = _joined(pieces, chain.pitches[:, place])
    return found


def _joined(pieces: list[Piece], pitches: np.ndarray[Any, Any]) -> Held:
    """Return one voice's notes, common tones tied, rests (−1) left out."""
    notes: Held = []
    for piece, pitch in zip(pieces, pitches.tolist(), strict=True):
        if pitch < 0:
            continue
        if notes and notes[-1][2] == pitch and notes[-1][1] == piece.start:
            notes[-1] = notes[-1][0], piece.end, pitch
        else:
            notes.append((piece.start, piece.end, pitch))
    return notes


def _struck(score: Score, voice: Held, restrike: str) -> Held:
    """Return the voice with its notes struck again at bar lines or beats."""
    if restrike == "changes":
        return voice
    cuts = [int(bar["onset"]) for bar in score.bars]
    if restrike == "beats":
        cuts = [
            int(bar["onset"]) + place
            for bar in score.bars
            for place in range(0, int(bar["duration"]), 4 * TICKS_PER_QUARTER // int(bar["beat_type"]))
        ]
    grid = np.array(cuts, dtype=np.int64)
    found: Held = []
    for begin, stop, pitch in voice:
        inside = grid[(grid > begin) & (grid < stop)].tolist()
        edges = [begin, *inside, stop]
        found.extend((a, b, pitch) for a, b in pairwise(edges))
    return found
