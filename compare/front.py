"""The front end all measures share: one short-time spectrum per stem, reduced to what they need.

Left and right enter one complex transform; their powers are added, never their waveforms. A stem whose key was seen
before is not analysed again.

References
----------
Glasberg & Moore 1990, *Hearing Research* 47:103; Moore, Glasberg & Baer 1997, *J. Audio Eng. Soc.* 45:224 (rounded-
exponential auditory filters). The level-dependent slope is frozen at 70 dB and the outer and middle ear are left out:
excitation here ranks bands of music against each other, it is not a standard's loudness model.
"""

from __future__ import annotations

import hashlib
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from compare.loudness import k_response
from compare.scales import erb_bandwidth_hz, erb_number_to_hz
from compare.spectra import hann
from compare.transforms import fft, product

if TYPE_CHECKING:
    from collections.abc import Sequence

    from compare.scales import Floats
    from render.sound import Rendering, Stem

__all__ = [
    "BAND_CAM",
    "BAND_HZ",
    "FRAME",
    "HOP",
    "Front",
    "Fronts",
    "analyse",
    "auditory_weights",
    "both_powers",
    "paired",
]

FRAME, HOP = 4096, 2048
BAND_CAM = np.arange(2.0, 39.0)
"""ERB-numbers of the 37 auditory bands."""
BAND_HZ = erb_number_to_hz(BAND_CAM)
LOW_HZ = 4200.0
"""Up to here single bins are kept (partials for roughness)."""
_LEVEL_DB = 70.0
_CHUNK = 64

Singles = np.ndarray[Any, np.dtype[np.float32]]


@dataclass(frozen=True, eq=False)
class Front:
    """A stem or mix as frames of 4096 samples, one every 2048.

    Attributes
    ----------
    k_power : ndarray, shape (frames,)
        K-weighted mean square, both channels added.
    excitation : ndarray, float32, shape (frames, 37)
        Power passed by each auditory filter, both channels added, re full scale.
    low : ndarray, float32, shape (frames, bins)
        Power of single bins up to 4.2 kHz.
    thirds : ndarray, float32, shape (frames, bands)
        Power in third-octave bands from 50 Hz up.
    """

    k_power: Floats
    excitation: Singles
    low: Singles
    thirds: Singles


def auditory_weights(frequency_hz: Floats, *, level_db: float = _LEVEL_DB) -> Floats:
    """Return the power weights of the 37 auditory filters at the given frequencies, shape (37, n).

    ``W = (1 + p g) exp(−p g)`` with ``g = |f − fc| / fc`` and ``p = 4 fc / ERB``; on the lower side
    ``p − 0.35 (p / p_1k) (level − 51)``, where p_1k is p at 1 kHz.
    """
    centre = np.asarray(BAND_HZ)[:, None]
    upper = 4.0 * centre / erb_bandwidth_hz(centre)
    at_1k = 4.0 * 1000.0 / erb_bandwidth_hz(1000.0)
    lower = upper - 0.35 * (upper / at_1k) * (level_db - 51.0)
    distance = (np.asarray(frequency_hz)[None, :] - centre) / centre
    slope = np.where(distance < 0.0, lower, upper) * np.abs(distance)
    return np.asarray((1.0 + slope) * np.exp(-slope))


@lru_cache(maxsize=4)
def _matrices(sample_rate_hz: int) -> tuple[Singles, np.ndarray[Any, Any], int]:
    """Weights that turn grouped bins into K power, excitation and third octaves; first bin of each group; bins kept.

    Bins above 1 kHz are joined in groups of one percent of their frequency, far inside any filter that follows.
    """
    frequency = np.fft.rfftfreq(FRAME, 1.0 / sample_rate_hz)
    k_weights = np.abs(k_response(frequency, sample_rate_hz)) ** 2
    weights = np.vstack((k_weights[None, :], auditory_weights(frequency), _third_weights(frequency)))
    starts = [0]
    while starts[-1] + max(1, round(0.01 * starts[-1])) < len(frequency):
        starts.append(starts[-1] + max(1, round(0.01 * starts[-1])))
    groups = np.array(starts)
    widths = np.diff([*starts, len(frequency)])
    grouped = np.add.reduceat(weights, groups, axis=1) / widths
    low = int(np.searchsorted(frequency, LOW_HZ)) + 1
    return np.ascontiguousarray(grouped.T, dtype=np.float32), groups, low


def _third_weights(frequency_hz: Floats) -> Floats:
    """Share of every bin in every third-octave band from 50 Hz up, shape (bands, bins)."""
    from compare.scales import third_octave_edges_hz

    edges = third_octave_edges_hz()[3:]
    half = (frequency_hz[1] - frequency_hz[0]) / 2.0
    low, high = frequency_hz - half, frequency_hz + half
    shared = np.minimum(high, edges[1:, None]) - np.maximum(low, edges[:-1, None])
    return np.asarray(np.clip(shared / (2.0 * half), 0.0, 1.0))


def analyse(samples: Singles, sample_rate_hz: int) -> Front:
    """Return the front end of a stereo (or mono) signal; the last frame is padded with silence."""
    weights, groups, low = _matrices(sample_rate_hz)
    pair = paired(samples)
    frames = max(1, 1 + -(-max(0, len(pair) - FRAME) // HOP))
    turned = np.zeros((frames - 1) * HOP + FRAME, dtype=np.complex64)
    turned[: len(pair)] = pair
    windows = np.lib.stride_tricks.sliding_window_view(turned, FRAME)[::HOP]
    window = hann(FRAME).astype(np.float32)
    scale = np.float32(1.0 / (FRAME * float(np.sum(hann(FRAME) ** 2))))
    reduced = np.zeros((frames, weights.shape[1]), dtype=np.float32)
    bins = np.zeros((frames, low), dtype=np.float32)
    for start in range(0, frames, _CHUNK):
        chunk = windows[start : start + _CHUNK]
        if not chunk.any():
            continue
        power = both_powers(fft(chunk * window)) * scale
        reduced[start : start + _CHUNK] = product(np.add.reduceat(power, groups, axis=1), weights)
        bins[start : start + _CHUNK] = power[:, :low]
    bands = len(BAND_CAM)
    return Front(reduced[:, 0].astype(np.float64), reduced[:, 1 : 1 + bands], bins, reduced[:, 1 + bands :])


def paired(samples: Singles) -> np.ndarray[Any, np.dtype[np.complex64]]:
    """Return left + i right of a stereo signal, or the signal itself for one channel, shape (n,)."""
    signal = np.asarray(samples, dtype=np.float32)
    if signal.ndim == 1 or signal.shape[1] == 1:
        return signal.reshape(-1).astype(np.complex64)
    return np.ascontiguousarray(signal[:, :2]).view(np.complex64)[:, 0]


def both_powers(spectrum: np.ndarray[Any, np.dtype[np.complexfloating[Any, Any]]]) -> Singles:
    """Return the powers of left and right added, from the transform of ``left + i right``.

    Parameters
    ----------
    spectrum : ndarray, complex, shape (frames, n), n even
        The result has n / 2 + 1 columns, one-sided.
    """
    power = spectrum.real**2 + spectrum.imag**2
    half = power.shape[1] // 2
    folded: Singles = power[:, : half + 1].astype(np.float32)
    folded[:, 1:half] += power[:, :half:-1]
    return folded


def _identity(stem: Stem) -> str:
    """The stem's key with a sample of its sound: one key may stand on the stage in two seats."""
    probe = np.ascontiguousarray(stem.samples[::97])
    return f"{stem.key}-{hashlib.blake2b(probe.tobytes(), digest_size=8).hexdigest()}"


class Fronts:
    """Analyses by the key of the stem, the most recent kept; one object may serve many comparisons.

    Parameters
    ----------
    keep : int
        Number of stems kept (about 1 MB per 20 s).
    """

    def __init__(self, keep: int = 256) -> None:
        self._keep = keep
        self._known: dict[tuple[str, int, int], Front] = {}

    def of_rendering(self, rendering: Rendering, sample_rate_hz: int) -> list[Front]:
        """Return the front end of every stem of a rendering."""
        return self.of([(_identity(stem), stem.samples) for stem in rendering.stems], sample_rate_hz)

    def of(self, stems: Sequence[tuple[str, Singles]], sample_rate_hz: int) -> list[Front]:
        """Return the front end of every ``(key, samples)``; equal keys are analysed once, several at a time."""
        keys = [(key, len(samples), sample_rate_hz) for key, samples in stems]
        new = {key: samples for key, (_, samples) in zip(keys, stems, strict=True) if key not in self._known}
        with ThreadPoolExecutor(max_workers=min(4, os.cpu_count() or 1)) as pool:
            made = pool.map(lambda samples: analyse(samples, sample_rate_hz), new.values())
            self._known.update(zip(new, made, strict=True))
        found = [self._known[key] for key in keys]
        while len(self._known) > self._keep:
            del self._known[next(iter(self._known))]
        return found
