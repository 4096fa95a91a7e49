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
_AT_ONCE = 2048  # groups that stay in the processor's own memory

Samples = np.ndarray[Any, np.dtype[np.float32]]
Pairs = np.ndarray[Any, np.dtype[np.complex64]]


def without_offset(samples: Samples) -> Samples:
    """Take the slow wandering out of a stem, in place where its memory allows; return it.

    Parameters
    ----------
    samples : ndarray, float32, shape (n, 2)
    """
    samples = np.ascontiguousarray(samples, np.float32)
    _steady(samples.view(np.complex64)[:, 0], 0, len(samples))
    return samples


def _steady(pairs: Pairs, first: int, last: int) -> None:
    """Take the mean around each sample from it, from *first* (a multiple of the group) to *last*, in place.

    Both channels are handled at once as the parts of complex numbers.
    """
    whole, rest = divmod(len(pairs), _GROUP)
    means = np.zeros(whole + 2, np.complex64)
    means[:whole] = np.mean(pairs[: whole * _GROUP].reshape(whole, _GROUP), axis=1)
    means[whole] = np.sum(pairs[whole * _GROUP :]) / _GROUP if rest else 0.0
    size = 1 << (len(means) + 2 * _HALF).bit_length()
    # Twice the backward transform is a transform and back, turned round; NumPy's forward one is slower.
    slow = np.fft.ifft(np.fft.ifft(means, size) * _window(size))[size - _HALF - len(means) + 1 : size - _HALF + 1][::-1]
    ramp = np.arange(_GROUP, dtype=np.float32) / np.float32(_GROUP)
    for row in range(first // _GROUP, -(-last // _GROUP), _AT_ONCE):
        until = min(row + _AT_ONCE, -(-last // _GROUP))
        trend = np.diff(slow[row : until + 1])[:, None] * ramp
        trend += slow[row:until, None]
        here = pairs[row * _GROUP : min(until * _GROUP, last)]
        here -= trend.reshape(-1)[: len(here)]


@cache
def _window(size: int) -> np.ndarray[Any, Any]:
    """Backward transform of the averaging window, scaled so that two backward transforms average."""
    window = np.hanning(2 * _HALF + 3)[1:-1].astype(np.complex64)
    return np.fft.ifft(window * (size * size / window.sum()), size).astype(np.complex64)


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
