"""One room for everyone: a synthetic concert hall, the same in every run.

Its impulse response is noise of fixed seed that decays in every octave band at its own rate, after a gap in which a
handful of early reflections arrive. Players feed it with what they radiate, whatever their distance, so that those who
sit further back are heard with more room and less of themselves.

References
----------
ISO 3382-1 defines reverberation time as the time of a 60 dB fall. The times by band are those of a good concert hall
with audience: about 2 s in the middle, a little longer in the bass, shorter above 2 kHz where air absorbs (*common
practice, from memory*: L. Beranek, *Concert Halls and Opera Houses*, 2nd ed. 2004).
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from render.sound import SAMPLE_RATE_HZ

__all__ = ["DECAY_S", "LENGTH_S", "ROOM_DB", "ROOM_VERSION", "Room", "impulse_response"]

DECAY_S = {63: 2.3, 125: 2.2, 250: 2.1, 500: 2.0, 1000: 1.9, 2000: 1.7, 4000: 1.35, 8000: 0.9, 16000: 0.6}
"""Reverberation time (60 dB) by octave band, Hz to s."""

LENGTH_S = 2.4
"""Length of the response; cut where it has fallen by some 70 dB, with a fade."""

ROOM_DB = -7.0
"""Energy of the room's answer relative to the direct sound of a player at the reference distance."""

ROOM_VERSION = 1
_GAP_S = 0.022
_SEED = 1842
_EARLY = ((0.013, -0.30, 0.42), (0.019, 0.40, -0.26), (0.027, 0.22, 0.34), (0.034, -0.28, -0.22), (0.043, 0.20, 0.18))
"""Early reflections: seconds after the direct sound, amplitude left and right, of the whole response's root energy."""

Samples = np.ndarray[Any, np.dtype[np.float32]]


@cache
def impulse_response() -> Samples:
    """Return the room's answer to a unit impulse, float32, shape (n, 2), of energy 10^(ROOM_DB/10) in all."""
    count = round(LENGTH_S * SAMPLE_RATE_HZ)
    size = 1 << (count - 1).bit_length()
    noise = np.random.default_rng(_SEED).standard_normal((2, size), np.float32)
    spectrum = np.fft.rfft(noise)
    frequency = np.fft.rfftfreq(size, 1.0 / SAMPLE_RATE_HZ).astype(np.float32)
    time_s = np.arange(count, dtype=np.float32) / SAMPLE_RATE_HZ
    late = np.zeros((2, count), np.float32)
    for band_hz, decay_s in DECAY_S.items():
        band = np.fft.irfft(spectrum * _band(frequency, band_hz), size)[:, :count]
        late += band * np.exp(np.float32(-3.0 * np.log(10.0) / decay_s) * time_s)
    late[:, time_s < _GAP_S] = 0.0
    fade = round(0.1 * SAMPLE_RATE_HZ)
    late[:, -fade:] *= 0.5 * (1.0 + np.cos(np.linspace(0.0, np.pi, fade)))
    late /= np.sqrt(np.sum(late**2))
    for after_s, left, right in _EARLY:
        late[:, round(after_s * SAMPLE_RATE_HZ)] += np.array((left, right)) / np.sqrt(2.0)
    late *= 10.0 ** (ROOM_DB / 20.0) / np.sqrt(np.sum(late**2))
    return np.ascontiguousarray(late.T, np.float32)


def _band(frequency: np.ndarray[Any, Any], centre_hz: float) -> np.ndarray[Any, Any]:
    """Weight of an octave band: flanks of a third of an octave, so that neighbouring bands add up to one in power."""
    octaves = np.log2(np.maximum(frequency, 1e-3) / centre_hz)
    if centre_hz == min(DECAY_S):
        octaves = np.maximum(octaves, 0.0) + np.where(frequency < 25.0, 1.0, 0.0)
    if centre_hz == max(DECAY_S):
        octaves = np.minimum(octaves, 0.0)
    flank = np.clip(3.0 * np.abs(octaves) - 1.0, 0.0, 1.0)
    return np.asarray(np.cos(0.5 * np.pi * flank), np.float32)


def _transform_size(least: int) -> int:
    """Smallest of 4, 5 or 6 times a power of two that is not below *least*: transforms of these are quick."""
    power = 1 << max(0, least.bit_length() - 3)
    return next(times * power for times in (4, 5, 6, 8) if times * power >= least)


class Room:
    """The room at work on a sound that comes in pieces: overlap-add convolution.

    Parameters
    ----------
    block : int
        Longest piece in samples.
    """

    def __init__(self, block: int = 200_000) -> None:
        response = impulse_response()
        self._size = _transform_size(block + len(response) - 1)
        self.block = self._size - len(response) + 1
        self._answer = np.fft.rfft(response.T, self._size)
        self._tail: np.ndarray[Any, Any] = np.zeros((2, len(response) - 1), np.float32)

    def answer(self, sent: Samples) -> Samples:
        """Return the room's answer while a piece of sound is sent into it.

        Parameters
        ----------
        sent : ndarray, float32, shape (n,)
            What the players radiate, summed; at most ``block`` samples.

        Returns
        -------
        ndarray, float32, shape (n, 2)
            What arrives during these samples; what comes later is kept for the next piece.
        """
        return self.joined(self.spread(sent), len(sent))

    def spread(self, sent: Samples) -> Samples:
        """Return all that comes of a piece, shape (2, at least n + length of the response); for any thread."""
        if not sent.any():
            return np.zeros((2, len(sent) + self._tail.shape[1]), np.float32)
        return np.asarray(np.fft.irfft(np.fft.rfft(sent, self._size) * self._answer, self._size), np.float32)

    def joined(self, spread: Samples, count: int) -> Samples:
        """Return what arrives during the *count* samples of a piece, shape (n, 2), earlier pieces included."""
        rest = self._tail.shape[1]
        spread[:, :rest] += self._tail
        self._tail = spread[:, count : count + rest].copy()
        return np.ascontiguousarray(spread[:, :count].T, np.float32)
