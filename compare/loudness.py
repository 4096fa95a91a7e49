"""Loudness to ITU-R BS.1770-5 and EBU Tech 3341/3342, and the gains that make clips equally loud.

This meter is our own so that the clips can be judged by another one (the tests measure them with libebur128). It uses
the coefficients printed in BS.1770 with the high-pass numerator exactly 1, −2, 1, counts complete blocks only and
gates with a strict ">". The filter is applied as a product of spectra, block by block: the impulse response falls
below 10⁻¹⁷ within the overlap, so the result is that of the recursive filter to rounding, and no filter library has to
be loaded. True peak is read at four times the rate, then at sixteen times where the signal comes nearest to its peak;
BS.1770 asks for at least four.

References
----------
ITU-R BS.1770-5 (11/2023), Annex 1 (K weighting, gating) and Annex 2 (true peak).
EBU Tech 3341 V4 (2023), section 2 (momentary, short-term). EBU Tech 3342 V4 (2023), section 3 (loudness range).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from compare.transforms import irfft, rfft

if TYPE_CHECKING:
    from collections.abc import Sequence

    from compare.scales import Floats

__all__ = [
    "CEILING_DBTP",
    "TARGET_LUFS",
    "Loudness",
    "Meter",
    "k_coefficients",
    "k_response",
    "matching_gains",
    "true_peak",
]

CEILING_DBTP = -1.0
"""No clip's true peak lies above this (EBU Tech 3343)."""
TARGET_LUFS = -23.0
"""Clips are brought to this loudness (EBU R 128), or lower where one of them would pass the ceiling."""

_OFFSET_DB = -0.691
_ABSOLUTE_GATE_LUFS = -70.0
_BLOCK_S, _STEP_S = 0.4, 0.1
_SHORT_S = 3.0
_TAIL_S = 0.17
_AT_ONCE = 8
_PEAK_BLOCK, _PEAK_MARGIN, _PEAK_NEAREST, _PEAK_SLICE = 4096, 128, 32, 64


@dataclass(frozen=True)
class Loudness:
    """What the meter reads. Values that need more sound than there is are −inf (levels) or 0 (range).

    Attributes
    ----------
    integrated_lufs : float
        Gated, over the whole clip; ungated mean where the clip holds no complete 400 ms block (see ``note``).
    momentary_max_lufs, short_term_max_lufs : float
        Highest 0.4 s and 3 s means, hop 10 ms.
    range_lu : float
        Loudness range.
    true_peak_dbtp, sample_peak_dbfs : float
    note : str
        Empty, or what to know about these values.
    """

    integrated_lufs: float
    momentary_max_lufs: float
    short_term_max_lufs: float
    range_lu: float
    true_peak_dbtp: float
    sample_peak_dbfs: float
    note: str = ""


def k_coefficients(sample_rate_hz: int) -> tuple[Floats, Floats, Floats, Floats]:
    """Return the K-weighting filter as ``(b1, a1, b2, a2)``: shelf, then high-pass, three coefficients each.

    Parameters
    ----------
    sample_rate_hz : int
        At 48 kHz the result is that of BS.1770-5 Annex 1, Tables 1 and 2; other rates follow the same analogue shapes.
    """
    k = np.tan(np.pi * 1681.974450955533 / sample_rate_hz)
    q, high = 0.7071752369554196, 10.0 ** (3.999843853973347 / 20.0)
    band = high**0.4996667741545416
    a0 = 1.0 + k / q + k * k
    b1 = np.array([high + band * k / q + k * k, 2.0 * (k * k - high), high - band * k / q + k * k]) / a0
    a1 = np.array([a0, 2.0 * (k * k - 1.0), 1.0 - k / q + k * k]) / a0
    k = np.tan(np.pi * 38.13547087602444 / sample_rate_hz)
    q = 0.5003270373238773
    a0 = 1.0 + k / q + k * k
    a2 = np.array([a0, 2.0 * (k * k - 1.0), 1.0 - k / q + k * k]) / a0
    return b1, a1, np.array([1.0, -2.0, 1.0]), a2


def k_response(frequency_hz: Floats, sample_rate_hz: int) -> np.ndarray[Any, np.dtype[np.complex128]]:
    """Return the complex response of the K weighting at the given frequencies."""
    z = np.exp(-2j * np.pi * np.asarray(frequency_hz, dtype=float) / sample_rate_hz)
    b1, a1, b2, a2 = (c[0] + c[1] * z + c[2] * z * z for c in k_coefficients(sample_rate_hz))
    response: np.ndarray[Any, np.dtype[np.complex128]] = b1 / a1 * b2 / a2
    return response


def _k_power(samples: np.ndarray[Any, Any], sample_rate_hz: int, weights: Floats) -> Floats:
    """Sum over the channels of the squared K-weighted signal, per sample."""
    n, channels = samples.shape
    overlap = int(_TAIL_S * sample_rate_hz)
    size = 1 << (4 * overlap - 1).bit_length()
    hop = size - overlap
    blocks = -(-n // hop)
    response = k_response(np.fft.rfftfreq(size, 1.0 / sample_rate_hz), sample_rate_hz)
    power = np.zeros(blocks * hop)
    for channel in range(channels):
        padded = np.zeros(overlap + blocks * hop)
        padded[overlap : overlap + n] = samples[:, channel]
        frames = np.lib.stride_tricks.sliding_window_view(padded, size)[::hop]
        for first in range(0, blocks, _AT_ONCE):  # in slices: a whole movement must fit into memory
            weighted = irfft(rfft(frames[first : first + _AT_ONCE]) * response, size)[:, overlap:]
            power[first * hop : (first + len(weighted)) * hop] += weights[channel] * np.square(weighted).ravel()
    return power[:n]


def true_peak(samples: np.ndarray[Any, Any]) -> float:
    """Return the true peak as a linear factor of full scale.

    Parameters
    ----------
    samples : ndarray, shape (n,) or (n, channels)
    """
    signal = np.asarray(samples, dtype=np.float32)
    channels = (signal if signal.ndim == 2 else signal[:, None]).T
    hop = _PEAK_BLOCK - 2 * _PEAK_MARGIN
    blocks = max(1, -(-channels.shape[1] // hop))
    padded = np.zeros((len(channels), blocks * hop + 2 * _PEAK_MARGIN), dtype=np.float32)
    padded[:, _PEAK_MARGIN : _PEAK_MARGIN + channels.shape[1]] = channels
    frames = np.lib.stride_tricks.sliding_window_view(padded, _PEAK_BLOCK, axis=1)[:, ::hop].reshape(-1, _PEAK_BLOCK)
    # A band-limited signal can pass its samples by a few dB; blocks 12 dB under the loudest cannot hold the peak.
    loud = np.abs(frames).max(axis=1)
    frames = frames[loud >= 0.25 * loud.max()]
    slices = range(0, len(frames), _PEAK_SLICE)
    coarse = np.concatenate([_oversampled_peaks(frames[first : first + _PEAK_SLICE], 4) for first in slices])
    near = frames[np.argsort(coarse)[-_PEAK_NEAREST:]]
    return float(max(loud.max(), coarse.max(), _oversampled_peaks(near, 16).max()))


def _oversampled_peaks(frames: np.ndarray[Any, np.dtype[np.float32]], times: int) -> np.ndarray[Any, Any]:
    """Peak of each frame, margins faded and left out, at *times* the sample rate."""
    fade = 0.5 - 0.5 * np.cos(np.pi * (np.arange(_PEAK_MARGIN, dtype=np.float32) + 0.5) / _PEAK_MARGIN)
    faded = frames.copy()
    faded[:, :_PEAK_MARGIN] *= fade
    faded[:, -_PEAK_MARGIN:] *= fade[::-1]
    spectrum = rfft(faded)
    spectrum[:, -1] = 0.0  # the half-rate bin has no defined phase
    fine = irfft(spectrum, times * _PEAK_BLOCK)[:, times * _PEAK_MARGIN : -times * _PEAK_MARGIN]
    peaks: np.ndarray[Any, Any] = times * np.maximum(fine.max(axis=1), -fine.min(axis=1))
    return peaks


def _decibels(power: Floats | float) -> Floats:
    """Loudness of a weighted power; −inf for silence."""
    with np.errstate(divide="ignore"):
        return np.asarray(_OFFSET_DB + 10.0 * np.log10(np.asarray(power, dtype=float)))


class Meter:
    """One clip on the meter: filtered once, read at any gain.

    Parameters
    ----------
    samples : ndarray, shape (n,) or (n, channels)
        Full scale 1.0. Up to two channels count alike; give *weights* for surround.
    sample_rate_hz : int
    weights : sequence of float, optional
        Channel weights G of BS.1770-5 Annex 1, Table 3 (1.41 for the surrounds, 0 for the low-frequency channel).
    """

    def __init__(
        self, samples: np.ndarray[Any, Any], sample_rate_hz: int, *, weights: Sequence[float] | None = None
    ) -> None:
        signal = samples if samples.ndim == 2 else samples[:, None]
        self.sample_rate_hz = sample_rate_hz
        self.samples = len(signal)
        factors = np.ones(signal.shape[1]) if weights is None else np.asarray(weights, dtype=float)
        power = _k_power(signal, sample_rate_hz, factors)
        self._sums = np.concatenate(([0.0], np.cumsum(power)))
        self.sample_peak = float(np.abs(signal).max(initial=0.0))
        self.true_peak = true_peak(signal) if self.sample_peak > 0.0 else 0.0

    def means(self, window_s: float, hop_s: float) -> Floats:
        """Return the mean weighted power of every complete window, from the first sample on, shape (windows,)."""
        size = round(window_s * self.sample_rate_hz)
        if size > self.samples:
            return np.zeros(0)
        count = int((self.samples - size) / (hop_s * self.sample_rate_hz) + 1e-9) + 1
        starts = np.round(np.arange(count) * hop_s * self.sample_rate_hz).astype(np.int64)
        starts = starts[starts + size <= self.samples]
        means: Floats = np.maximum(self._sums[starts + size] - self._sums[starts], 0.0) / size
        return means

    def momentary(self, hop_s: float = 0.01) -> Floats:
        """Return the momentary loudness (0.4 s, ungated) in LUFS at every *hop_s*."""
        return _decibels(self.means(_BLOCK_S, hop_s))

    def short_term(self, hop_s: float = 0.01) -> Floats:
        """Return the short-term loudness (3 s, ungated) in LUFS at every *hop_s*."""
        return _decibels(self.means(_SHORT_S, hop_s))

    def integrated(self, gain: float = 1.0) -> float:
        """Return the gated loudness in LUFS of the clip times *gain* (one gate is absolute, so gain matters)."""
        blocks = self.means(_BLOCK_S, _STEP_S) * gain**2
        if not len(blocks):
            return float(_decibels(self._sums[-1] / max(1, self.samples) * gain**2))
        loud = blocks[_decibels(blocks) > _ABSOLUTE_GATE_LUFS]
        if not len(loud):
            return -np.inf
        gate = _decibels(loud.mean()) - 10.0
        return float(_decibels(loud[_decibels(loud) > gate].mean()))

    def loudness_range(self, gain: float = 1.0, *, hop_s: float = _STEP_S) -> float:
        """Return the loudness range in LU: 10th to 95th percentile of the short-term loudness above the gates.

        Parameters
        ----------
        gain : float
            Linear, applied before the gates.
        hop_s : float
            Distance of the 3 s windows; Tech 3342 asks for 0.1 s or less (libebur128 takes 1 s).
        """
        power = self.means(_SHORT_S, hop_s) * gain**2
        power = power[_decibels(power) >= _ABSOLUTE_GATE_LUFS]
        if not len(power):
            return 0.0
        levels = np.sort(_decibels(power[_decibels(power) >= _decibels(power.mean()) - 20.0]))
        low, high = (levels[int((len(levels) - 1) * p / 100.0 + 0.5)] for p in (10.0, 95.0))
        return float(high - low)

    def read(self, gain: float = 1.0) -> Loudness:
        """Return every value for the clip multiplied by *gain*."""
        note = ""
        if self.samples < round(_BLOCK_S * self.sample_rate_hz):
            note = "shorter than 400 ms: loudness is the ungated mean, outside BS.1770"
        elif self.samples < round(_SHORT_S * self.sample_rate_hz):
            note = "shorter than 3 s: no short-term loudness, no loudness range"
        momentary, short = self.means(_BLOCK_S, 0.01), self.means(_SHORT_S, 0.01)
        with np.errstate(divide="ignore"):
            peaks = 20.0 * np.log10(np.array([self.true_peak, self.sample_peak]) * gain)
        return Loudness(
            self.integrated(gain),
            float(_decibels(momentary.max(initial=0.0) * gain**2)),
            float(_decibels(short.max(initial=0.0) * gain**2)),
            self.loudness_range(gain),
            float(peaks[0]),
            float(peaks[1]),
            note,
        )


def matching_gains(
    meters: Sequence[Meter], *, target_lufs: float = TARGET_LUFS, ceiling_dbtp: float = CEILING_DBTP
) -> tuple[list[float], float]:
    """Return one linear gain per clip and the loudness in LUFS they all reach; no compression, no limiting.

    All clips are brought to *target_lufs*, or to the loudness of the clip that meets the ceiling first. A silent clip
    keeps the gain 1.
    """
    heard = [meter for meter in meters if np.isfinite(meter.integrated())]
    ceiling = 10.0 ** (ceiling_dbtp / 20.0)
    level = min([target_lufs, *(meter.integrated(ceiling / meter.true_peak) for meter in heard)])
    return [_gain_to(meter, level, ceiling) for meter in meters], float(level)


def _gain_to(meter: Meter, level_lufs: float, ceiling: float) -> float:
    """Gain that brings a clip to a loudness; a few rounds, because the absolute gate does not move with the gain."""
    gain = 1.0
    for _ in range(4):
        now = meter.integrated(gain)
        if not np.isfinite(now):
            return 1.0 if gain == 1.0 else gain
        gain *= 10.0 ** ((level_lufs - now) / 20.0)
    return float(min(gain, ceiling / meter.true_peak))
