"""What a bar looks like, as numbers an orchestrator would name: rhythm, harmony, register, texture, figuration.

Counted per bar and per hand, in units that do not change when all note values are scaled: positions as a share of the
bar, lengths in beats.

References
----------
Key profiles: C. L. Krumhansl, *Cognitive Foundations of Musical Pitch*, Oxford 1990, table 2.1 (Krumhansl and
Kessler's probe-tone ratings); the values from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reading.features import (
    LOWER,
    SLOTS,
    UPPER,
    Attacks,
    Bools,
    Floats,
    Ints,
    attacks,
    beat_ticks,
    first_endings,
    nominal_ticks,
    places,
    played,
)
from reading.score import DYNAMICS

if TYPE_CHECKING:
    from reading.score import Score

__all__ = ["BarFeatures", "bar_features"]

KEY_PROFILES = {
    "major": (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88),
    "minor": (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17),
}


@dataclass(frozen=True, eq=False)
class BarFeatures:
    """One row per bar kept, one matrix per group of features.

    Attributes
    ----------
    bars : ndarray of int, shape (n,)
        Bar indices (from 1) of the rows.
    groups : dict of str to ndarray, each of shape (n, d)
        ``rhythm upper``, ``rhythm lower``, ``harmony`` (pitch classes), ``key`` (fit to the keys), ``register``,
        ``texture``, ``dynamics``, ``figuration``.
    """

    bars: Ints
    groups: dict[str, Floats]


def bar_features(score: Score, keep: Bools | None = None) -> BarFeatures:
    """Return the feature matrices of the bars kept (default: all but first endings).

    Parameters
    ----------
    score : Score
    keep : ndarray of bool, shape (n_bars,), optional
    """
    keep = ~first_endings(score) if keep is None else keep
    hit = attacks(score)
    groups = {
        "rhythm upper": _rhythm(score, hit, UPPER),
        "rhythm lower": _rhythm(score, hit, LOWER),
        "harmony": _unit(_pitch_classes(score)),
        "register": _register(score, hit),
        "texture": _texture(score, hit),
        "dynamics": _dynamics(score),
        "figuration": _figuration(score, hit),
    }
    chosen = {name: matrix[keep] for name, matrix in groups.items()}
    chosen["key"] = _keys(_pitch_classes(score)[keep])
    return BarFeatures(np.flatnonzero(keep) + 1, chosen)


def _unit(matrix: Floats) -> Floats:
    """Return the rows scaled to length 1 (rows of zeros stay)."""
    size = np.linalg.norm(matrix, axis=1, keepdims=True)
    return np.asarray(matrix / np.where(size > 0, size, 1.0))


def _rhythm(score: Score, hit: Attacks, hand: int) -> Floats:
    """Return where in the bar a hand strikes, slightly blurred, at length 1."""
    mine = hit.hand == hand
    row, place = places(score, hit.onset[mine], SLOTS)
    out = np.zeros((len(score.bars), SLOTS + 2))
    np.add.at(out, (row, place + 1), 1.0)
    return _unit(0.25 * out[:, :-2] + 0.5 * out[:, 1:-1] + 0.25 * out[:, 2:])


def _sounding(score: Score) -> tuple[Ints, Ints, Ints]:
    """Return note id, bar row and ticks sounded, once for every bar a note sounds in."""
    notes, start = score.notes, score.bars["onset"].astype(np.int64)
    ids = np.flatnonzero(played(score))
    begin = notes["onset"][ids].astype(np.int64)
    end = begin + notes["duration"][ids]
    first = np.maximum(np.searchsorted(start, begin, side="right") - 1, 0)
    span = np.maximum(np.searchsorted(start, end, side="left") - first, 1)
    which = np.repeat(np.arange(len(ids)), span)
    bar = np.repeat(first, span) + np.arange(len(which)) - np.repeat(np.cumsum(span) - span, span)
    stop = np.append(start[1:], score.end)[bar]
    return ids[which], bar, np.minimum(end[which], stop) - np.maximum(begin[which], start[bar])


def _pitch_classes(score: Score) -> Floats:
    """Return how long each pitch class sounds in each bar, as a share of the bar."""
    ids, bar, length = _sounding(score)
    out = np.zeros((len(score.bars), 12))
    np.add.at(out, (bar, score.notes["pitch"][ids].astype(np.int64) % 12), length / nominal_ticks(score)[bar])
    return out


def _keys(pitch_classes: Floats) -> Floats:
    """Return how well three bars around each fit the 24 keys: correlation with the profiles, cubed."""
    padded = np.pad(pitch_classes, ((1, 1), (0, 0)), mode="edge")
    near = padded[:-2] + padded[1:-1] + padded[2:]
    profiles = np.array([np.roll(KEY_PROFILES[mode], tonic) for mode in ("major", "minor") for tonic in range(12)])
    centred = _unit(near - near.mean(axis=1, keepdims=True))
    fit = centred @ _unit(profiles - profiles.mean(axis=1, keepdims=True)).T
    return np.asarray(np.maximum(fit, 0.0) ** 3)


def _mean(score: Score, bar: Ints, value: Floats | Ints, *, empty: float = np.nan) -> Floats:
    """Return the mean of the values per bar."""
    n_bars = len(score.bars)
    count = np.bincount(bar, minlength=n_bars)
    total = np.bincount(bar, weights=value, minlength=n_bars)
    return np.where(count > 0, total / np.maximum(count, 1), empty)


def _median(score: Score, bar: Ints, value: Floats) -> Floats:
    """Return the lower median of the values per bar (nan where there are none)."""
    order = np.lexsort((value, bar))
    first = np.searchsorted(bar[order], np.arange(len(score.bars) + 1))
    count = np.diff(first)
    out = np.full(len(count), np.nan)
    out[count > 0] = value[order][first[:-1][count > 0] + (count[count > 0] - 1) // 2]
    return out


def _carried(column: Floats) -> Floats:
    """Return the column with each gap filled from before (a leading gap from after, an empty column with zeros)."""
    known = np.flatnonzero(~np.isnan(column))
    if not len(known):
        return np.zeros_like(column)
    return column[known[np.maximum(np.searchsorted(known, np.arange(len(column)), side="right") - 1, 0)]]


def _register(score: Score, hit: Attacks) -> Floats:
    """Return, in octaves: lowest and mean of the lower hand, mean and highest of the upper hand."""
    lower, upper = hit.hand == LOWER, hit.hand == UPPER
    low = np.full(len(score.bars), 999)
    np.minimum.at(low, hit.bar[lower], hit.low[lower])
    high = np.full(len(score.bars), -1)
    np.maximum.at(high, hit.bar[upper], hit.high[upper])
    columns = [
        np.where(low < 999, low, np.nan),
        _mean(score, hit.bar[lower], (hit.low[lower] + hit.high[lower]) / 2),
        _mean(score, hit.bar[upper], (hit.low[upper] + hit.high[upper]) / 2),
        np.where(high >= 0, high, np.nan),
    ]
    return np.stack([_carried(column) for column in columns], axis=1) / 12


def _texture(score: Score, hit: Attacks) -> Floats:
    """Return density and thickness: attacks per beat and notes per attack of each hand, silence, polyphony, gap."""
    n_bars = len(score.bars)
    beats = nominal_ticks(score) / beat_ticks(score)
    columns = []
    for hand in (UPPER, LOWER):
        mine = hit.hand == hand
        count = np.bincount(hit.bar[mine], minlength=n_bars)
        columns += [np.log1p(count / beats), _mean(score, hit.bar[mine], hit.count[mine], empty=0.0) / 2, count == 0]
    _, bar, length = _sounding(score)
    polyphony = np.bincount(bar, weights=length, minlength=n_bars) / nominal_ticks(score)
    register = _register(score, hit)
    return np.stack([*columns, polyphony / 3, (register[:, 2] - register[:, 1]) / 2], axis=1).astype(np.float64)


def _dynamics(score: Score) -> Floats:
    """Return the dynamic level in force in the middle of each bar (mezzo-forte until one is set)."""
    marks = [mark for mark in score.marks_of("dynamic") if mark.value in DYNAMICS]
    middle = score.bars["onset"] + score.bars["duration"] // 2
    onset = np.array([mark.onset for mark in marks], np.int64)
    level: Floats = np.array([5.0, *(float(DYNAMICS.index(mark.value)) for mark in marks)])
    return np.asarray(level[np.searchsorted(onset, middle, side="right")][:, None])


def _figuration(score: Score, hit: Attacks) -> Floats:
    """Return the shape of each hand's motion: time between attacks, thickness, intervals, turns, span, rest."""
    columns: list[Floats] = []
    beat = beat_ticks(score)
    for hand in (UPPER, LOWER):
        mine = np.flatnonzero(hit.hand == hand)
        bar = hit.bar[mine]
        step = np.diff((hit.low[mine] + hit.high[mine]) / 2)
        turn = (step[1:] * step[:-1] < 0).astype(np.float64)
        inside = bar[1:] == bar[:-1]  # moves across a bar line belong to neither bar
        twice = inside[1:] & inside[:-1]
        wait = np.diff(hit.onset[mine], append=score.end) / beat[bar]
        low, high = np.full(len(score.bars), 999.0), np.full(len(score.bars), -1.0)
        np.minimum.at(low, bar, hit.low[mine])
        np.maximum.at(high, bar, hit.high[mine])
        rest = np.bincount(bar, minlength=len(score.bars)) == 0
        columns += [
            _carried(np.log2(_median(score, bar, np.maximum(wait, 1e-3)))),
            _mean(score, bar, hit.count[mine], empty=0.0),
            _moving(score, bar[1:][inside], np.minimum(np.abs(step[inside]), 12), rest) / 4,
            _moving(score, bar[1:][inside], (step[inside] == 0).astype(np.float64), rest),
            _moving(score, bar[2:][twice], turn[twice], rest),
            np.where(rest, 0.0, (high - low) / 12),
            rest.astype(np.float64),
        ]
    return np.stack(columns, axis=1)


def _moving(score: Score, bar: Ints, value: Floats, rest: Bools) -> Floats:
    """Return the mean per bar of what belongs to a move; a bar with one attack and no move takes its neighbour's."""
    return np.where(rest, 0.0, _carried(_mean(score, bar, value)))
