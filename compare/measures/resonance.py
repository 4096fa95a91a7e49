"""Resonance: what goes on sounding between and under the notes.

Two figures, because one fails: in passages with rests the sound left just before the next chord tells; in running
figures, where nothing ever rests, only the part of the spectrum that never stops does.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from compare.front import both_powers, paired
from compare.loudness import k_response
from compare.quantity import Quantity, Reading
from compare.scales import midi_to_hz
from compare.spectra import hann
from compare.transforms import fft, product

if TYPE_CHECKING:
    from compare.scales import Floats
    from compare.sound import Sound

__all__ = ["Resonance", "gap_level_db", "ring_s", "semitone_power", "standing_sound_db"]

_FLOOR_DB = -60.0
_COVERED_DB = -25.0
_SHORTEST_GAP_S = 0.25
_SEMITONES = np.arange(28, 100)
_FRAME = 8192
_FALL_DB = 20.0

_GAP = Quantity(
    name="gap_level",
    title="Sound left between the chords",
    unit="dB",
    definition=(
        "Per interval between onsets of the piano score of 0.25 s or more: K-weighted level of its last quarter (final "
        "10 ms left out) minus its loudest 50 ms; median; not below −60 dB."
    ),
    source="our own; compared on twelve variants with held horns, string pads and the pedalled piano",
    meaning="Just before the next chord, {value} of the chord's level is left.",
    noticeable=1.5,
    noticeable_from="1 dB in running music and three standard deviations of human re-performance, whichever is larger",
    more="keeps {amount} more sound between the chords",
    less="keeps {amount} less sound between the chords",
)
_STANDING = Quantity(
    name="standing_sound",
    title="Sound standing under the notes",
    unit="dB",
    definition=(
        "Per bar, K-weighted power in semitone bands (E1 to D♯7): sum over the bands of the 10th percentile over time, "
        "against the sum of the means; median over the bars; not below −25 dB, where it is covered. Repeated notes "
        "count as standing."
    ),
    source="our own; monotone in the level of an added held part from −40 to +9 dB",
    meaning="The part of the sound that never stops during a bar lies at {value} of the whole.",
    noticeable=1.5,
    noticeable_from="three standard deviations of human re-performance (0.2 to 0.4 dB each) and 1 dB in running music",
    more="holds {amount} more sound under the moving notes",
    less="holds {amount} less sound under the moving notes",
)
_RING = Quantity(
    name="ring",
    title="Ring after the end",
    unit="s",
    definition="Time from the end of the last bar until the K-weighted level (50 ms) is 20 dB below its level there.",
    source="after the decay times of ISO 3382-1; depends on the room and the samples",
    meaning="After the last bar it takes {value} until the sound has all but gone (−20 dB).",
    noticeable=0.15,
    noticeable_from=(
        "three standard deviations of human re-performance (0.03 to 0.04 s each); ISO 3382-1:2009 Table A.1 gives "
        "5 % for the early decay of a room"
    ),
    more="rings {amount} longer after the end",
    less="stops {amount} sooner after the end",
    decimals=2,
)


def gap_level_db(means: Floats, hop_s: float, onsets_s: Floats, *, window_s: float = 0.01) -> list[float]:
    """Return the level left before the next onset for every interval of 0.25 s or more.

    Parameters
    ----------
    means : ndarray, shape (windows,)
        Mean K-weighted power of windows of *window_s*, one every *hop_s*, the first at 0 s.
    hop_s : float
    onsets_s : ndarray
        Rising.
    window_s : float
    """
    found = []
    wide = max(1, round(0.05 / hop_s))
    for start, end in pairwise(onsets_s):
        if end - start < _SHORTEST_GAP_S:
            continue
        first, last = int(np.ceil(start / hop_s)), int((end - 0.01 - window_s) / hop_s)
        late = means[int((end - 0.25 * (end - start)) / hop_s) : last]
        early = means[first:last]
        if not len(late) or len(early) < wide or early.max() <= 0.0:
            continue
        peak = np.convolve(early, np.ones(wide) / wide, mode="valid").max()
        found.append(max(_FLOOR_DB, float(10.0 * np.log10(max(late.mean(), 1e-30) / peak))))
    return found


def semitone_power(samples: Any, sample_rate_hz: int) -> tuple[Floats, Floats]:
    """Return ``(seconds, power)`` of semitone bands: frame centres and an array of shape (frames, 72), K-weighted."""
    pair = paired(samples)
    hop = _FRAME // 4
    frames = max(1, 1 + (len(pair) - _FRAME) // hop)
    pair = np.pad(pair, (0, max(0, _FRAME - len(pair))))
    windows = np.lib.stride_tricks.sliding_window_view(pair, _FRAME)[::hop][:frames]
    window = hann(_FRAME).astype(np.float32)
    weights, bins = _semitone_weights(sample_rate_hz)
    power = np.zeros((len(windows), len(_SEMITONES)))
    for start in range(0, len(windows), 32):
        both = both_powers(fft(windows[start : start + 32] * window))
        power[start : start + 32] = product(np.ascontiguousarray(both[:, :bins]), weights)
    return (np.arange(len(windows)) * hop + _FRAME / 2.0) / sample_rate_hz, power


def _semitone_weights(sample_rate_hz: int) -> tuple[Any, int]:
    """Share of every bin in every semitone band times the K weighting; number of bins reached."""
    edges = midi_to_hz(np.concatenate((_SEMITONES - 0.5, [_SEMITONES[-1] + 0.5])))
    step = sample_rate_hz / _FRAME
    bins = int(edges[-1] / step) + 2
    centre = np.arange(bins) * step
    shared = np.minimum(centre[:, None] + step / 2, edges[1:]) - np.maximum(centre[:, None] - step / 2, edges[:-1])
    weights = np.clip(shared / step, 0.0, 1.0) * np.abs(k_response(centre, sample_rate_hz))[:, None] ** 2
    return weights.astype(np.float32), bins


def standing_sound_db(power: Floats) -> float:
    """Return the part that never stops, in dB of the whole.

    Parameters
    ----------
    power : ndarray, shape (frames, bands)
        One bar (one harmony).
    """
    whole = float(power.mean(axis=0).sum())
    if whole <= 0.0:
        return _FLOOR_DB
    standing = float(np.percentile(power, 10.0, axis=0).sum())
    return max(_FLOOR_DB, float(10.0 * np.log10(max(standing / whole, 1e-30))))


def ring_s(means: Floats, hop_s: float, end_s: float) -> float | None:
    """Return the time the level takes to fall by 20 dB after *end_s*; None where the clip ends before that.

    Parameters
    ----------
    means : ndarray
        Mean K-weighted power of 50 ms windows, one every *hop_s*.
    hop_s, end_s : float
    """
    start = int((end_s - 0.05) / hop_s)
    if start < 0 or start >= len(means) or means[start] <= 0.0:
        return None
    below = np.flatnonzero(means[start:] < means[start] * 10.0 ** (-_FALL_DB / 10.0))
    return float(below[0] * hop_s) if len(below) else None


class Resonance:
    """Sound left between chords, standing under the notes, and ringing after the end."""

    name: ClassVar[str] = "resonance"
    version: ClassVar[int] = 1
    quantities: ClassVar[tuple[Quantity, ...]] = (_GAP, _STANDING, _RING)

    def measure(self, sound: Sound) -> dict[str, Reading]:
        """Return the quantities that are defined here."""
        found = {}
        gaps = gap_level_db(sound.meter.means(0.01, 0.001), 0.001, sound.onsets_s)
        if gaps:
            detail = {"per_interval_db": [round(gap, 1) for gap in gaps]}
            found["gap_level"] = Reading(float(np.median(gaps)), detail)
        seconds, power = semitone_power(sound.mix, sound.sample_rate_hz)
        half = 0.5 * _FRAME / sound.sample_rate_hz
        bars = []
        for index, start, end in sound.bars_s:
            inside = (seconds >= start + 0.5 * half) & (seconds <= end - 0.5 * half)
            if inside.sum() >= 6 and power[inside].sum() > 0.0:
                bars.append({"bar": index, "db": round(standing_sound_db(power[inside]), 2)})
        if bars:
            level = max(_COVERED_DB, float(np.median([bar["db"] for bar in bars])))
            found["standing_sound"] = Reading(level, {"per_bar": bars})
        ring = ring_s(sound.meter.means(0.05, 0.005), 0.005, sound.bars_s[-1][2]) if sound.bars_s else None
        if ring is not None:
            found["ring"] = Reading(ring)
        return found
