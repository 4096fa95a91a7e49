"""Spectra of clips: Welch power spectral density, third-octave levels, difference curves.

Levels are in dB re full scale: 0 dB is the mean square 1.0 of a signal at ±1 all the time, so a full-scale sine has
−3.01 dB. Power spectral density is one-sided, per hertz. Stereo is the mean of both channels' powers, never the power
of their sum: what cancels on paper does not cancel in a room.

References
----------
Welch 1967, *IEEE Trans. Audio Electroacoust.* 15:70. Harris 1978, *Proc. IEEE* 66:51 (windows, ENBW).
IEC 61260-1:2014 (band edges; the bands here are sums of FFT bins, steeper than any filter of class 1).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from compare.scales import Floats, third_octave_edges_hz
from compare.transforms import rfft

__all__ = ["Spectrum", "band_powers", "decibels", "enbw_bins", "hann", "smooth", "third_octaves_db", "welch"]

FLOOR_DB = -160.0


@dataclass(frozen=True, eq=False)
class Spectrum:
    """A power spectral density.

    Attributes
    ----------
    hz, density : ndarray, shape (bins,)
        Frequencies; power per hertz re full scale squared, one-sided.
    window : str
    segment, segments : int
        Samples per segment and number of segments averaged (50 % overlap).
    enbw_hz : float
        Equivalent noise bandwidth of the window.
    """

    hz: Floats
    density: Floats
    window: str
    segment: int
    segments: int
    enbw_hz: float

    @property
    def db(self) -> Floats:
        """Density in dB re full scale squared per hertz, floored at −160 dB."""
        return decibels(self.density)


def hann(size: int) -> Floats:
    """Return the periodic Hann window."""
    return 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(size) / size)


def enbw_bins(window: Floats) -> float:
    """Return the equivalent noise bandwidth of a window in bins."""
    return float(len(window) * np.sum(window**2) / np.sum(window) ** 2)


def decibels(power: Floats) -> Floats:
    """Return 10 lg of a power, floored at −160 dB."""
    return np.maximum(FLOOR_DB, 10.0 * np.log10(np.maximum(power, 1e-30)))


def welch(samples: np.ndarray[Any, Any], sample_rate_hz: int, *, segment: int = 8192) -> Spectrum:
    """Return the mean periodogram of Hann segments overlapping by half, channels averaged in power.

    Parameters
    ----------
    samples : ndarray, shape (n,) or (n, channels)
        A clip shorter than *segment* is padded with silence to one segment.
    sample_rate_hz : int
    segment : int
        Samples per segment, even.
    """
    signal = np.asarray(samples)
    channels = (signal if signal.ndim == 2 else signal[:, None]).T
    if channels.shape[1] < segment:
        channels = np.pad(channels, ((0, 0), (0, segment - channels.shape[1])))
    window = hann(segment)
    frames = np.lib.stride_tricks.sliding_window_view(channels, segment, axis=1)[:, :: segment // 2]
    power = np.zeros(segment // 2 + 1)
    for channel in frames:
        for start in range(0, len(channel), 64):  # in slices, to stay within the processor's cache
            transformed = rfft(channel[start : start + 64] * window.astype(channel.dtype))
            power += np.sum(transformed.real**2 + transformed.imag**2, axis=0, dtype=np.float64)
    count = frames.shape[1]
    density = power / (len(channels) * count * sample_rate_hz * np.sum(window**2))
    density[1:-1] *= 2.0
    enbw_hz = enbw_bins(window) * sample_rate_hz / segment
    return Spectrum(np.fft.rfftfreq(segment, 1.0 / sample_rate_hz), density, "Hann (periodic)", segment, count, enbw_hz)


def band_powers(spectrum: Spectrum, edges_hz: Floats) -> Floats:
    """Return the power between successive edges, shape (edges − 1,); bins cut by an edge count by their share."""
    step = spectrum.hz[1] - spectrum.hz[0]
    sums = np.concatenate(([0.0], np.cumsum(spectrum.density * step)))
    borders = np.concatenate(([0.0], spectrum.hz + step / 2.0))
    return np.diff(np.interp(edges_hz, borders, sums))


def third_octaves_db(spectrum: Spectrum) -> Floats:
    """Return the levels of the bands from 25 Hz to 20 kHz in dB re full scale, shape (30,)."""
    return decibels(band_powers(spectrum, third_octave_edges_hz()))


def smooth(
    spectrum: Spectrum, *, per_octave: int = 24, low_hz: float = 25.0, high_hz: float = 18_000.0
) -> tuple[Floats, Floats]:
    """Return ``(hz, db)``: the density averaged over fractions of an octave, for drawing.

    Below the frequency where a fraction is narrower than a bin the bins are interpolated.
    """
    high = min(high_hz, float(spectrum.hz[-1]))
    count = int(np.log2(high / low_hz) * per_octave) + 1
    centres = low_hz * 2.0 ** (np.arange(count) / per_octave)
    half = 2.0 ** (0.5 / per_octave)
    step = spectrum.hz[1] - spectrum.hz[0]
    sums = np.concatenate(([0.0], np.cumsum(spectrum.density * step)))
    borders = np.concatenate(([0.0], spectrum.hz + step / 2.0))
    low, top = centres / half, np.minimum(centres * half, borders[-1])
    mean = (np.interp(top, borders, sums) - np.interp(low, borders, sums)) / (top - low)
    return centres, decibels(mean)
