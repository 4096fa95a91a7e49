"""How much each line is like a tune in every bar.

Its likeness is a fixed weighted sum of features taken over the bar and two bars on either side; the weights were fitted
once on five songs with piano and one sonata movement, rounded by hand, and are not changed at run time (see
``docs/survey.md``).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reading.layers_texture import lowest_of, moving_pairs, sounding_pairs

if TYPE_CHECKING:
    from reading.layers_lines import Line
    from reading.layers_texture import BoolArray, FloatArray, IntArray, Texture

__all__ = ["FEATURES", "scores_of"]

FEATURES = {
    "height": 1.7,
    "top": 1.2,
    "block": -2.7,
    "ent": 1.8,
    "unif": 1.0,
    "step": 1.2,
    "leap": -1.7,
    "same": 0.7,
    "rep": -0.8,
    "ldur": 1.0,
    "nrate": 1.5,
    "cover": 0.5,
    "vrange": 0.4,
}
"""Weight of each feature, by its name in the table of ``docs/survey.md``."""

_BIAS_HIGH = {"top": -1.0, "bottom": -1.25, "long": -1.05, "under": 0.0}
_BIAS_LOW = {"top": 0.75, "bottom": 0.7, "long": 0.7}  # offsets the negative height term of the left hand
_BIAS_SUNG = 1.5
_LONG, _FIGURATION = 0.75, 2.0  # taken off the longest notes; notes to the beat from which the highest are figuration
_UPPER_LEADS, _BY_STEP, _FEW_LEAPS = 2.0, 0.6, 0.15
_COMPANIONS = (3, 4, 8, 9)  # semitones of a line in thirds or sixths; it is no block of chords ...
_COMPANION_BLOCK = 0.3  # ... beyond this
_PLAIN_BASS = 1.5  # taken off a lowest line of even notes or of one pattern: that is a bass, or a figure with it
_EVEN = 0.5  # bits
_SAME_PATTERN = 0.95
_SINGS = 5.0  # score from which a line is like a tune; one less is enough within a hand
_DRUMMED = 3.0  # taken off a line that strikes one note through the bar, where another is like a tune
_WINDOW = 2  # bars on either side
_MISSING = 6.0  # how far below the best a line without a note in the bar lies


def scores_of(texture: Texture, lines: list[Line], drummed: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Return how much each line is like a tune in each bar.

    Parameters
    ----------
    texture : Texture
    lines : list of Line
    drummed : ndarray of bool, shape (bars, lines)
        From :func:`reading.layers_idle.drummed_bars`.

    Returns
    -------
    scores : ndarray of float64, shape (bars, lines)
    features : ndarray of float64, shape (bars, lines, len(FEATURES))
        Unweighted, in the order of ``FEATURES``.
    """
    weights = np.asarray(list(FEATURES.values()))
    flags = _note_flags(texture)
    frame = _Frame.of(texture)
    features = np.zeros((texture.bars, len(lines), len(FEATURES)))
    present = np.zeros((texture.bars, len(lines)), dtype=bool)
    bias = np.zeros(len(lines))
    plain_bass = np.zeros((texture.bars, len(lines)))
    for column, line in enumerate(lines):
        found = _line_features(texture, line, flags, frame)
        features[:, column, :] = np.stack([found[name] for name in FEATURES], axis=1)
        present[:, column] = np.bincount(texture.bar[line.rows], minlength=texture.bars + 1)[1:] > 0
        low = line.staff == texture.low and texture.staves > 1
        bias[column] = (_BIAS_LOW if low else _BIAS_HIGH)[line.kind] + _BIAS_SUNG * texture.sung[line.staff]
        if low:
            plain_bass[:, column] = _plain_bass(texture, line, found, frame)
    scores = features @ weights + bias - _PLAIN_BASS * plain_bass - _given_way(texture, lines, features)
    scores = _less_drumming(lines, scores, drummed)
    best = np.where(present, scores, -np.inf).max(axis=1, keepdims=True)
    floor = np.where(np.isfinite(best), best, 0.0) - _MISSING
    return np.where(present, scores, floor), features


def _given_way(texture: Texture, lines: list[Line], features: FloatArray) -> FloatArray:
    """What is taken off where another line has the better claim, shape (bars, lines).

    Off the longest notes of a staff unless its highest are figuration: a tune that moves above a held note is the tune.
    Off the left hand where the highest line of an upper staff goes by step: then both sing, and the upper one leads.
    """
    row = {name: column for column, name in enumerate(FEATURES)}
    result = np.zeros(features.shape[:2])
    sings = np.zeros(len(features), dtype=bool)
    for column, line in enumerate(lines):
        if line.kind == "long":
            result[:, column] = _LONG * (features[:, column - 1, row["nrate"]] < _FIGURATION)
        if line.kind == "top" and line.staff != texture.low:
            sings |= (features[:, column, row["step"]] >= _BY_STEP) & (features[:, column, row["leap"]] <= _FEW_LEAPS)
    low = [line.staff == texture.low for line in lines]
    result[:, low] += _UPPER_LEADS * sings[:, None]
    return result


def _less_drumming(lines: list[Line], scores: FloatArray, drummed: BoolArray) -> FloatArray:
    """Scores in which a line that strikes one note through the bar gives way to one that is like a tune, if any is.

    To another line of its own hand it gives way however fast it is struck.
    """
    moving = np.where(drummed, -np.inf, scores)
    rival = moving.max(axis=1, keepdims=True) >= _SINGS
    result = np.where(drummed, np.where(rival, scores - _DRUMMED, np.minimum(scores, _SINGS)), scores)
    for staff in {line.staff for line in lines}:
        hand = [line.staff == staff for line in lines]
        best = moving[:, hand].max(axis=1, keepdims=True)
        gives = drummed[:, hand] & (best >= _SINGS - 1)
        result[:, hand] = np.where(gives, np.minimum(result[:, hand], best - 1), result[:, hand])
    return result


@dataclass(frozen=True, eq=False)
class _Frame:
    """What the windows share: edges in bars and ticks, mean pitch and middle length of all notes, middle pitch.

    And by note, whether it is the lowest that sounds.
    """

    low_bar: IntArray
    high_bar: IntArray
    span: FloatArray
    mean_pitch: FloatArray
    mid_log: FloatArray
    voice: float
    lowest: FloatArray

    @classmethod
    def of(cls, texture: Texture) -> _Frame:
        """Windows of two bars on either side."""
        index = np.arange(1, texture.bars + 1)
        low, high = np.maximum(index - _WINDOW, 1), np.minimum(index + _WINDOW, texture.bars)
        first = np.searchsorted(texture.bar, low, side="left")
        last = np.searchsorted(texture.bar, high, side="right")
        log_length = np.log2(texture.end - texture.onset)
        middle = [float(np.median(log_length[a:b])) if b > a else 0.0 for a, b in zip(first, last, strict=True)]
        span = (texture.bar_end[high - 1] - texture.bar_onset[low - 1]).astype(float)
        mean_pitch = _window_mean(texture.pitch.astype(float), first, last)
        voice = float(np.median(texture.pitch))
        lowest = lowest_of(texture, np.arange(len(texture.onset))).astype(float)
        return cls(low, high, np.maximum(span, 1.0), mean_pitch, np.asarray(middle), voice, lowest)


def _note_flags(texture: Texture) -> tuple[FloatArray, FloatArray]:
    """By note: nothing higher sounds at its attack; another note of its staff and length is struck with it.

    Two that move in thirds or sixths are a line with its companion: they count as a block in small part only.
    """
    moments, at = np.unique(texture.onset, return_inverse=True)
    note, moment = sounding_pairs(texture.onset, texture.end, moments)
    highest = np.full(len(moments), -1)
    np.maximum.at(highest, moment, texture.pitch[note])
    group = np.stack([texture.onset, texture.staff, texture.end], axis=1)
    _, same, count = np.unique(group, axis=0, return_inverse=True, return_counts=True)
    block = (count[same.reshape(-1)] > 1).astype(float)
    companions = moving_pairs(texture, _COMPANIONS)
    block[companions] = np.minimum(block[companions], _COMPANION_BLOCK)
    return (texture.pitch >= highest[at]).astype(float), block


def _plain_bass(texture: Texture, line: Line, found: dict[str, FloatArray], frame: _Frame) -> FloatArray:
    """1 in bars in which the line lies lowest and moves evenly, or is one pattern over and over down to the lowest."""
    bar = texture.bar[line.rows]
    first, last = np.searchsorted(bar, frame.low_bar, side="left"), np.searchsorted(bar, frame.high_bar, side="right")
    deep = _window_mean(frame.lowest[line.rows], first, last)
    even = (found["ent"] < _EVEN) & (deep > 0.9)
    return (even | ((found["rep"] >= _SAME_PATTERN) & (deep >= 0.4))).astype(float)


def _window_mean(values: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    """Mean of ``values[first:last]`` for each window; 0 where it is empty."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    first = np.minimum(first, len(values))
    last = np.clip(last, first, len(values))
    return np.asarray((total[last] - total[first]) / np.maximum(last - first, 1))


def _line_features(
    texture: Texture, line: Line, flags: tuple[FloatArray, FloatArray], frame: _Frame
) -> dict[str, FloatArray]:
    """All features of one line, each of shape (bars,)."""
    rows = line.rows
    bar = texture.bar[rows]
    first, last = np.searchsorted(bar, frame.low_bar, side="left"), np.searchsorted(bar, frame.high_bar, side="right")
    pitch, length = texture.pitch[rows].astype(float), (texture.end - texture.onset)[rows]
    leap = np.abs(np.diff(pitch))
    step, wide = _steps_and_leaps(pitch)
    steps_last = np.maximum(last - 1, first)
    log_length = _window_mean(np.log2(length), first, last) - frame.mid_log
    filled = _window_mean(length.astype(float), first, last) * (last - first)
    entropy, commonest = _rhythm(np.diff(texture.onset[rows]), first, steps_last)
    return {
        "height": (_window_mean(pitch, first, last) - frame.mean_pitch) / 12,
        "top": _window_mean(flags[0][rows], first, last),
        "block": _window_mean(flags[1][rows], first, last),
        "ent": entropy,
        "unif": commonest,
        "step": _window_mean(step, first, steps_last),
        "leap": _window_mean(wide, first, steps_last),
        "same": _window_mean((leap == 0).astype(float), first, steps_last),
        "rep": _repetition(np.diff(texture.onset[rows]), leap, first, steps_last),
        "ldur": np.clip(log_length, -2, 2),
        "nrate": np.minimum(4, (last - first) * texture.pace / frame.span),
        "cover": np.minimum(1, filled / frame.span),
        "vrange": _window_mean(((pitch >= frame.voice - 7) & (pitch <= frame.voice + 17)).astype(float), first, last),
    }


def _steps_and_leaps(pitch: FloatArray) -> tuple[FloatArray, FloatArray]:
    """By interval: a step; a leap. A note a step from the last but one is a step in one of two implied voices."""
    size = np.abs(np.diff(pitch))
    voice = np.full(len(size), np.inf)
    voice[1:] = np.abs(pitch[2:] - pitch[:-2])
    implied = (size > 2) & (voice >= 1) & (voice <= 2)
    return (((size >= 1) & (size <= 2)) | implied).astype(float), ((size >= 5) & ~implied).astype(float)


def _rhythm(steps: IntArray, first: IntArray, last: IntArray) -> tuple[FloatArray, FloatArray]:
    """Entropy (bits) of the distances between attacks, and share of the commonest."""
    if not len(steps):
        return np.zeros(len(first)), np.zeros(len(first))
    kinds, kind = np.unique(steps, return_inverse=True)
    seen = np.zeros((len(steps) + 1, len(kinds)))
    seen[np.arange(1, len(steps) + 1), kind] = 1
    seen = np.cumsum(seen, axis=0)
    counts = seen[np.minimum(last, len(steps))] - seen[np.minimum(first, len(steps))]
    share = counts / np.maximum(counts.sum(axis=1, keepdims=True), 1)
    return -(share * np.log2(np.where(share > 0, share, 1))).sum(axis=1), share.max(axis=1)


def _repetition(steps: IntArray, leap: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    """Share of positions where rhythm and size of interval come back after 2 to 8 notes, for the best such distance."""
    best = np.zeros(len(first))
    for lag in range(2, 9):
        if len(steps) <= lag:
            break
        again = (steps[lag:] == steps[:-lag]) & (np.abs(leap[lag:] - leap[:-lag]) <= 2)
        start = np.minimum(first, len(again))
        stop = np.clip(last - lag, start, len(again))
        best = np.maximum(best, _window_mean(again.astype(float), start, stop))
    return best
