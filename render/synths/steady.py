"""Take out what cannot be heard: offsets of a soundfont's samples, which only cost headroom.

Some loops of free soundfonts lie off zero by a tenth of their level. Subtracting a running mean over 0.17 s (a Hann
window, so that nothing above 20 Hz changes by more than 0.1 dB) removes them without delaying the rest.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from render.request import StemStream

__all__ = ["SteadyStream", "without_offset"]

_GROUP = 16  # the mean changes slowly, so it is worked out on every sixteenth sample
_HALF = 256  # groups to either side
_CONTEXT = _GROUP * _HALF
_BLOCK = 4096  # groups of one transform
_AT_ONCE = 2048  # groups that stay in the processor's own memory

Samples = np.ndarray[Any, np.dtype[np.float32]]
Pairs = np.ndarray[Any, np.dtype[np.complex64]]
Stretches = tuple[tuple[int, int], ...]


def without_offset(samples: Samples, heard: Stretches | None = None) -> tuple[Samples, Stretches]:
    """Take the slow wandering out of a stem, in place where its memory allows.

    Parameters
    ----------
    samples : ndarray, float32, shape (n, 2)
    heard : tuple of (int, int), optional
        Stretches outside which *samples* are zero.

    Returns
    -------
    samples : ndarray, float32, shape (n, 2)
    heard : tuple of (int, int)
        Stretches outside which these are zero: what was heard, and half a window to either side.
    """
    samples = np.ascontiguousarray(samples, np.float32)
    pairs = samples.view(np.complex64)[:, 0]
    wide = _widened(((0, len(pairs)),) if heard is None else heard, len(pairs))
    for first, last in wide:
        _steady(pairs[first:last], 0, last - first)
    return samples, wide


def _widened(heard: Stretches, length: int) -> Stretches:
    """Stretches wider by half a window, cut at the ends of the sound; those that then meet are one."""
    wide: list[tuple[int, int]] = []
    for start, end in heard:
        first, last = max(0, start - _CONTEXT), min(length, end + _CONTEXT)
        if wide and first <= wide[-1][1]:
            first = wide.pop()[0]
        wide.append((first, last))
    return tuple(wide)


def _steady(pairs: Pairs, first: int, last: int) -> None:
    """Take the mean around each sample from it, from *first* (a multiple of the group) to *last*, in place.

    Both channels are handled at once as the parts of complex numbers.
    """
    slow = _slow(_means(pairs))
    ramp = np.arange(_GROUP, dtype=np.float32) / np.float32(_GROUP)
    for row in range(first // _GROUP, -(-last // _GROUP), _AT_ONCE):
        until = min(row + _AT_ONCE, -(-last // _GROUP))
        trend = np.diff(slow[row : until + 1])[:, None] * ramp
        trend += slow[row:until, None]
        here = pairs[row * _GROUP : min(until * _GROUP, last)]
        here -= trend.reshape(-1)[: len(here)]


def _means(pairs: Pairs) -> Pairs:
    """Mean of each group, the rest filled up with zeros, and of one more; added up by halves, as memory likes it."""
    whole, rest = divmod(len(pairs), _GROUP)
    means = np.zeros(whole + 2, np.complex64)
    for row in range(0, whole, _AT_ONCE):
        sums = pairs[row * _GROUP : min(row + _AT_ONCE, whole) * _GROUP]
        for _ in range(_GROUP.bit_length() - 1):
            sums = sums[0::2] + sums[1::2]
        means[row : row + len(sums)] = sums
    means[whole] = np.sum(pairs[whole * _GROUP :]) if rest else 0.0
    means *= np.float32(1.0 / _GROUP)
    return means


def _slow(means: Pairs) -> Pairs:
    """Means averaged over the window: overlap-save in blocks that stay in the processor's own memory."""
    step = _BLOCK - 2 * _HALF
    count = -(-len(means) // step)
    padded = np.zeros(count * step + 2 * _HALF, np.complex64)
    padded[_HALF : _HALF + len(means)] = means
    blocks = np.lib.stride_tricks.sliding_window_view(padded, _BLOCK)[::step]
    averaged = np.fft.ifft(np.fft.fft(blocks) * _window())[:, 2 * _HALF :]
    return np.asarray(averaged.reshape(-1)[: len(means)], np.complex64)


@cache
def _window() -> np.ndarray[Any, Any]:
    """Transform of the averaging window over the bins of a block."""
    window = np.zeros(_BLOCK)
    window[: 2 * _HALF + 1] = np.hanning(2 * _HALF + 3)[1:-1]
    return np.fft.fft(window / window.sum()).astype(np.complex64)


class SteadyStream:
    """A stream without its slow wandering: it reads a little ahead.

    Parameters
    ----------
    stream : StemStream
    """

    def __init__(self, stream: StemStream) -> None:
        self._stream = stream
        self._held = np.zeros((_CONTEXT, 2), np.float32)  # from _CONTEXT samples before the next one to give

    @property
    def finished(self) -> bool:
        """Whether only silence follows."""
        return self._stream.finished and not np.any(np.abs(self._held) > 1e-6)

    def read(self, count: int) -> Samples:
        """Return the next *count* samples."""
        missing = count + 2 * _CONTEXT - len(self._held)
        self._held = np.concatenate([self._held, self._stream.read(missing)])
        steadied = self._held.copy()
        _steady(steadied.view(np.complex64)[:, 0], _CONTEXT, _CONTEXT + count)
        found = steadied[_CONTEXT : _CONTEXT + count]
        self._held = self._held[count:].copy()
        return found

    def close(self) -> None:
        """Close the stream below."""
        self._stream.close()
