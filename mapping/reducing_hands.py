"""Two hands for a reduction: which attacks each takes, by the cheapest chain of positions through the piece."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.score import TICKS_PER_QUARTER

if TYPE_CHECKING:
    from mapping.harmony_frames import Ints
    from mapping.reducing_weights import Attacks, Floats

__all__ = ["FINGERS", "SPAN", "hands_of", "shortened"]

FINGERS, SPAN = 5, 14
"""Notes a hand strikes at once, and semitones from its lowest to its highest: a ninth."""

_KEPT = 10  # grips kept for each onset
_LEAP = 1.0  # what a leap of an octave within a quarter costs
_MIDDLE = 62.0  # the hands meet about here
_HOME = 0.02  # cost of a semitone beyond the middle
_NOWHERE = np.nan


class _Grip:
    """What both hands take of one onset: rows, what it is worth, and where the hands are."""

    __slots__ = ("left", "place", "right", "value")

    def __init__(self, left: tuple[int, ...], right: tuple[int, ...], value: float, pitch: list[int]) -> None:
        self.left, self.right = left, right
        places = [sum(pitch[row] for row in hand) / len(hand) if hand else _NOWHERE for hand in (left, right)]
        away = len(left) * max(0.0, places[0] - _MIDDLE) if left else 0.0
        away += len(right) * max(0.0, _MIDDLE - places[1]) if right else 0.0
        self.place, self.value = places, value - _HOME * away


def hands_of(attacks: Attacks) -> Ints:
    """Return for every attack 1 (right hand), 2 (left hand) or 0 (nobody).

    At every onset each hand takes at most :data:`FINGERS` notes within :data:`SPAN` semitones, the left from the lowest
    note up, the right from the highest down; a chain of such grips is chosen in which the hands leap little.
    """
    edges = [*attacks.starts.tolist(), len(attacks.notes)]
    pitch, weight = attacks.notes["pitch"].tolist(), attacks.weight.tolist()
    columns = [_grips(range(a, b), pitch, weight) for a, b in pairwise(edges)]
    hands = np.zeros(len(attacks.notes), dtype=np.int64)
    for grip in _cheapest(columns, attacks.notes["onset"][attacks.starts].tolist()):
        hands[list(grip.right)], hands[list(grip.left)] = 1, 2
    return hands


def _grips(rows: range, pitch: list[int], weight: list[float]) -> list[_Grip]:
    """The best grips of one onset, best first: always the outer notes, and what the hands reach from there."""
    wanted = [row for row in rows if weight[row] > 0]
    found = {}
    for high in range(len(wanted) + 1):
        left, right = _window(wanted[:high], pitch, weight), _window(wanted[high:][::-1], pitch, weight)
        whole = (*left, *right)
        if whole and {wanted[0], wanted[-1]} <= set(whole) and (left, right) not in found:
            found[left, right] = _Grip(left, right, sum(weight[row] for row in whole), pitch)
    if not found:
        return [_Grip((), (), 0.0, pitch)]
    return sorted(found.values(), key=lambda one: (-one.value, one.left, one.right))[:_KEPT]


def _window(rows: list[int], pitch: list[int], weight: list[float]) -> tuple[int, ...]:
    """The notes a hand takes from the first one inward: within reach, the outer two and the weightiest between."""
    reached = [row for row in rows if abs(pitch[row] - pitch[rows[0]]) <= SPAN]
    if len(reached) > FINGERS:
        inner = sorted(reached[1:-1], key=lambda row: (-weight[row], row))[: FINGERS - 2]
        reached = [reached[0], *inner, reached[-1]]
    return tuple(sorted(reached))


def _cheapest(columns: list[list[_Grip]], onsets: list[int]) -> list[_Grip]:
    """The chain of grips worth most: their values less the leaps between them."""
    if not columns:
        return []
    total = np.array([grip.value for grip in columns[0]])
    known = [_places(columns[0], None)]
    back: list[Any] = []
    for row in range(1, len(columns)):
        gap = (onsets[row] - onsets[row - 1]) / TICKS_PER_QUARTER
        here = np.array([grip.place for grip in columns[row]])
        cost = _leaps(known[-1], here) / min(2.0, max(0.25, gap))
        ways = total[:, None] - cost
        best = ways.argmax(axis=0)
        total = ways[best, np.arange(len(best))] + np.array([grip.value for grip in columns[row]])
        back.append(best)
        known.append(_places(columns[row], known[-1][best]))
    place = int(total.argmax())
    chain = [columns[-1][place]]
    for row in range(len(columns) - 2, -1, -1):
        place = int(back[row][place])
        chain.append(columns[row][place])
    return chain[::-1]


def _places(grips: list[_Grip], before: Any) -> Any:
    """Where the hands are after each grip: a hand that rests stays where it was."""
    here = np.array([grip.place for grip in grips], dtype=np.float64)
    return here if before is None else np.where(np.isnan(here), before, here)


def _leaps(before: Any, after: Any) -> Floats:
    """Cost of going from each grip to each, before the time it may take, shape (before, after)."""
    apart = np.nan_to_num(np.abs(before[:, None, :] - after[None, :, :]), nan=0.0)
    return np.asarray(_LEAP * np.maximum(0.0, apart - 5.0).sum(axis=2) / 12.0)


def shortened(onset: Ints, duration: Ints, pitch: Ints, *, upper: bool) -> Ints:
    """Return durations one hand can hold: at each new attack what no longer fits is let go, the shortest rest first.

    The outer voice keeps its written length even out of reach: the pedal carries it, as in every piano reduction.

    Parameters
    ----------
    onset, duration, pitch : ndarray of int
        Of one hand, sorted by onset.
    upper : bool
        Whether the outer voice is the highest (right hand), else the lowest.
    """
    found = duration.copy()
    held: list[int] = []
    carried: list[int] = []
    heads = np.flatnonzero(np.diff(onset, prepend=-1)).tolist()
    for first, last in pairwise([*heads, len(onset)]):
        now, fresh = int(onset[first]), list(range(first, last))
        still = [row for row in (*held, *carried) if onset[row] + found[row] > now]
        held, carried = list(fresh), []
        for row in sorted(still, key=lambda one: (-(onset[one] + found[one]), one)):
            together = [int(pitch[one]) for one in (*held, row)]
            struck = any(pitch[row] == pitch[one] for one in fresh)
            outer = max(together) if upper else min(together)
            if pitch[row] == outer and not struck:
                carried.append(row)
            elif struck or len(together) > FINGERS or max(together) - min(together) > SPAN:
                found[row] = now - onset[row]
            else:
                held.append(row)
    return found
