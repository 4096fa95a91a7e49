"""What makes one voicing better than another, and the cheapest chain of voicings.

The weights are small numbers set by hand on held voices and on chorales of J. S. Bach (the corpus of music21), where
they give alto and tenor back note for note in about three cases of four; ``bench/voicing.py`` measures both.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from mapping.harmony_frames import Floats, Ints
    from mapping.voicing_pieces import Piece

__all__ = ["CHORALE", "FILL", "HOLD", "Chain", "Weights", "best_chain", "candidates"]

REST = -1
_BEAM = 60  # voicings kept per stretch; ten give the same result to three digits
_WIDE_BEAM = 600  # partial voicings kept while voices are added from below


@dataclass(frozen=True)
class Weights:
    """Costs of a voicing and of moving to the next; the unit is arbitrary, about one per small fault.

    Attributes
    ----------
    missing : dict of str to float
        Chord member that nobody has, by its place in the chord.
    double_leading, double_third, double_fifth, double_other : float
        A second copy of a leading note or seventh, third, fifth, note outside the chord; of the root it is free.
    gap, gap_slope : float
        Neighbouring voices more than an octave apart; per semitone beyond.
    unison : float
    centre : float
        Per semitone from the middle of the voice's range.
    motion, motion_square, leap, tie : float
        Per semitone, per squared semitone, per semitone beyond a fifth; reward of a common tone.
    parallel : float
        Parallel fifths, octaves and unisons, also with bass and tune.
    unsupported, clash, near, same : float
        A pitch class that is not sure; one a semitone from another that sounds; a note within two semitones of a
        sounding one; the tune's own pitch.
    low_close : float
        Less than a fifth above a bass below C3.
    bass_gap : float
        Per semitone by which the lowest voice lies more than a twelfth and a fifth above the bass.
    rest, change : float
        A voice that rests, per stretch; entering or leaving.
    fill : float
        Per semitone of a gap over an octave that stays open (mean over the stretch).
    """

    missing: dict[str, float]
    double_leading: float = 8.0
    double_third: float = 1.0
    double_fifth: float = 0.5
    double_other: float = 4.0
    gap: float = 3.0
    gap_slope: float = 0.5
    unison: float = 2.0
    centre: float = 0.03
    motion: float = 0.25
    motion_square: float = 0.02
    leap: float = 1.0
    tie: float = -1.5
    parallel: float = 6.0
    unsupported: float = 2.0
    clash: float = 1.5
    near: float = 2.0
    same: float = 0.5
    low_close: float = 1.5
    bass_gap: float = 0.0
    rest: float = 5.0
    change: float = 0.5
    fill: float = 0.0


_LIGHT = {"third": 2.0, "root": 1.0, "fifth": 0.3, "seventh": 0.8, "other": 0.5}

HOLD = Weights(_LIGHT)
"""Held voices: bass and tune already have the chord's main notes, so missing members cost little."""

FILL = replace(HOLD, rest=2.0, unsupported=1.0, fill=5.0)
"""Voices that close a gap."""

CHORALE = Weights(
    {"third": 12.0, "root": 3.0, "fifth": 5.0, "seventh": 10.0, "other": 8.0},
    gap=1.0,
    unison=1.0,
    motion_square=0.01,
    tie=0.7,
    parallel=3.0,
    unsupported=0.0,
    clash=0.0,
    near=0.0,
    same=0.0,
    bass_gap=0.2,
    rest=1e6,
)
"""Inner voices of a four-part chorale between a given soprano and bass."""


@dataclass(frozen=True, eq=False)
class Chain:
    """The chosen voicings: pitches of shape (stretches, voices), lowest voice first, -1 resting; and their cost."""

    pitches: Ints
    cost: float


def candidates(
    piece: Piece,
    ranges: Sequence[tuple[int, int, int]],
    weights: Weights,
    only: Sequence[frozenset[int] | None] = (),
) -> tuple[Ints, Floats]:
    """Return the best voicings of a stretch and their costs, cheapest first; resting is always among them.

    Parameters
    ----------
    piece : Piece
    ranges : sequence of (low, high, centre)
        Lowest voice first, MIDI.
    weights : Weights
    only : sequence of frozenset of int or None, optional
        Pitches each voice is confined to (the open notes of a natural horn).

    Returns
    -------
    pitches : ndarray of int, shape (n, voices)
    costs : ndarray of float, shape (n,)
    """
    voices = len(ranges)
    resting = np.full((1, voices), REST, dtype=np.int64)
    rest_cost = np.array([weights.rest * voices + _open_gap(piece, resting, weights)[0]])
    table = None if piece.resting or not piece.roles else _expanded(piece, ranges, weights, only)
    if table is None or not len(table[0]):
        return resting, rest_cost
    pitches, costs = table
    costs = costs + _members(piece, pitches, weights) + _open_gap(piece, pitches, weights)
    order = np.argsort(costs, kind="stable")[:_BEAM]
    return np.concatenate([pitches[order], resting]), np.concatenate([costs[order], rest_cost])


def _expanded(
    piece: Piece,
    ranges: Sequence[tuple[int, int, int]],
    weights: Weights,
    only: Sequence[frozenset[int] | None],
) -> tuple[Ints, Floats] | None:
    """Return voicings built from below, without crossings, and their costs voice by voice."""
    unary = _pitch_costs(piece, weights)
    allowed = np.zeros(128, dtype=bool)
    for pc in piece.roles:
        allowed[pc::12] = True
    pitches, costs = np.zeros((0, 0), dtype=np.int64), np.zeros(0)
    for place, (low, high, centre) in enumerate(ranges):
        bottom = max(low, piece.low, 0)
        choice = np.flatnonzero(allowed[bottom : max(min(high, piece.high) + 1, bottom)]) + bottom
        if only and only[place] is not None:
            choice = choice[np.isin(choice, sorted(only[place] or ()))]
        if not len(choice):
            return None
        own = unary[choice] + weights.centre * np.abs(choice - centre)
        if not place:
            pitches, costs = choice[:, None], own + _above_bass(piece, choice, weights)
            continue
        distance = choice[None, :] - pitches[:, -1:]
        total = costs[:, None] + own[None, :] + _between(distance, weights)
        below, above = np.nonzero(distance >= 0)
        pitches, costs = np.column_stack([pitches[below], choice[above]]), total[below, above]
        if len(costs) > _WIDE_BEAM:
            best = np.argsort(costs, kind="stable")[:_WIDE_BEAM]
            pitches, costs = pitches[best], costs[best]
    for pitch in piece.given[1:]:  # a given upper voice closes the chord from above
        costs = costs + _between(pitch - pitches[:, -1], weights)
    return pitches, costs


def _pitch_costs(piece: Piece, weights: Weights) -> Floats:
    """Return the cost of each MIDI pitch for what already sounds, shape (128,)."""
    length = min(piece.length_q, 4.0) / 2
    share, classes = piece.pitch_share, piece.pc_share
    near = np.zeros(128)
    for step in (1, 2):
        near[step:] += share[:-step]
        near[:-step] += share[step:]
    neighbour = np.maximum(np.roll(classes, 1), np.roll(classes, -1))
    per_class = length * (weights.unsupported * (1 - piece.posterior) + weights.clash * neighbour)
    cost = np.tile(per_class, 11)[:128] + weights.near * np.minimum(near, 1.0)
    return np.asarray(cost + weights.same * piece.melody_share)


def _between(distance: Ints, weights: Weights) -> Floats:
    """Return the cost of the distance of neighbouring voices."""
    wide = distance > 12
    return np.asarray((distance == 0) * weights.unison + wide * (weights.gap + weights.gap_slope * (distance - 12)))


def _above_bass(piece: Piece, pitch: Ints, weights: Weights) -> Floats:
    """Return the cost of the lowest voice's distance from the bass."""
    if piece.bass < 0:
        return np.zeros(len(pitch))
    distance = pitch - piece.bass
    close = (piece.bass < 48) & (distance < 7) & (distance > 0)
    return np.asarray(weights.low_close * close + weights.bass_gap * np.maximum(0, distance - 19))


def _members(piece: Piece, pitches: Ints, weights: Weights) -> Floats:
    """Return the cost of missing and doubled members of the chord."""
    cost = np.zeros(len(pitches))
    given = np.array(piece.given, dtype=np.int64)
    sung = np.bincount(np.arange(128) % 12, weights=piece.melody_share, minlength=12)
    for pc, role in piece.roles.items():
        copies = (pitches % 12 == pc).sum(axis=1)
        there = int((given % 12 == pc).sum())
        extra = np.maximum(copies + there - 1, 0).astype(float)
        if pc in piece.leading or role == "seventh":
            if not len(given):  # held under a tune: the tune's own leading note counts as a copy while it sounds
                extra += (copies > 0) * max(min(1.0, float(sung[pc])), float(piece.bass % 12 == pc))
            cost += weights.double_leading * extra
        else:
            again = {"third": weights.double_third, "fifth": weights.double_fifth, "other": weights.double_other}
            cost += again.get(role, 0.0) * extra
        cost += weights.missing[role] * (copies + there == 0)
    return cost


def _open_gap(piece: Piece, pitches: Ints, weights: Weights) -> Floats:
    """Return the cost of gaps over an octave that stay open, mean over the stretch."""
    total, length = np.zeros(len(pitches)), 0.0
    if not weights.fill:
        return total
    for span, sounding in piece.frames:
        if len(sounding) < 2:
            continue
        added = np.where(pitches == REST, sounding[0], pitches)
        both = np.sort(
            np.concatenate([np.broadcast_to(sounding, (len(pitches), len(sounding))), added], axis=1), axis=1
        )
        total += span * np.maximum(0, np.diff(both, axis=1).max(axis=1) - 12)
        length += span
    return weights.fill * total / length if length else total


def best_chain(pieces: Sequence[Piece], tables: Sequence[tuple[Ints, Floats]], weights: Weights) -> Chain:
    """Return the cheapest chain of voicings.

    Parameters
    ----------
    pieces : sequence of Piece
    tables : sequence of (pitches, costs)
        From :func:`candidates`, one per piece.
    weights : Weights
    """
    value = tables[0][1]
    back: list[Ints] = []
    for row in range(1, len(pieces)):
        before, after = tables[row - 1][0], tables[row][0]
        total = value[:, None] + _moves(before, after, pieces[row - 1], pieces[row], weights)
        best = np.argmin(total, axis=0)
        back.append(best)
        value = total[best, np.arange(len(after))] + tables[row][1]
    choice = int(np.argmin(value))
    cost = float(value[choice])
    chosen = [choice]
    for best in reversed(back):
        choice = int(best[choice])
        chosen.append(choice)
    chosen.reverse()
    return Chain(np.array([tables[row][0][pick] for row, pick in enumerate(chosen)]), cost)


def _moves(before: Ints, after: Ints, last: Piece, piece: Piece, weights: Weights) -> Floats:
    """Return the cost of going from each voicing to each, shape (before, after)."""
    total = np.zeros((len(before), len(after)))
    if last.end != piece.start:
        return total
    old, new = before[:, None, :], after[None, :, :]
    plays = (old != REST) & (new != REST)
    step = np.abs(new - old)
    cost = weights.motion * step + weights.motion_square * step**2 + weights.leap * np.maximum(0, step - 7)
    cost = np.where(step == 0, weights.tie, cost)
    total += np.where(plays, cost, weights.change * ((old != REST) ^ (new != REST))).sum(axis=2)
    outer = [(last.tails[0], piece.heads[0]), (last.tails[1], piece.heads[1])]
    return np.asarray(total + weights.parallel * _parallels(old, new, plays, outer))


def _parallels(old: Ints, new: Ints, plays: Any, outer: list[tuple[int, int]]) -> Ints:
    """Count parallel fifths, octaves and unisons of moving voices, with one another and with bass and tune."""
    voices = old.shape[2]
    moving = plays & (old != new)
    count = np.zeros(np.broadcast_shapes(old.shape, new.shape)[:2], dtype=np.int64)
    for upper in range(voices):
        for lower in range(upper):
            first, then = (old[..., upper] - old[..., lower]) % 12, (new[..., upper] - new[..., lower]) % 12
            count += moving[..., upper] & moving[..., lower] & (first == then) & ((first == 0) | (first == 7))
        for was, now in outer:
            if was >= 0 and now >= 0 and was != now:
                first, then = np.abs(old[..., upper] - was), np.abs(new[..., upper] - now)
                count += moving[..., upper] & (first % 12 == then % 12) & ((first % 12 == 0) | (first % 12 == 7))
    return count
