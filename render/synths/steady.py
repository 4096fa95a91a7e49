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

Samples = np.ndarray[Any, np.dtype[np.float32]]


def without_offset(samples: Samples) -> Samples:
    """Return a stem without its slow wandering.

    Parameters
    ----------
    samples : ndarray, float32, shape (n, 2)
    """
    return _steadied(samples, 0, len(samples))


def _steadied(samples: Samples, first: int, last: int) -> Samples:
    """Samples from *first* (a multiple of the group) to *last*, less the mean around each.

    Both channels are handled at once as the parts of complex numbers.
    """
    pairs = np.ascontiguousarray(samples, np.float32).view(np.complex64)[:, 0]
    whole, rest = divmod(len(pairs), _GROUP)
    means = np.zeros(whole + 2, np.complex64)
    np.mean(pairs[: whole * _GROUP].reshape(whole, _GROUP), axis=1, out=means[:whole])
    means[whole] = np.sum(pairs[whole * _GROUP :]) / _GROUP if rest else 0.0
    size = 1 << (len(means) + 2 * _HALF).bit_length()
    slow = np.fft.ifft(np.fft.fft(means, size) * _window(size))[_HALF : _HALF + len(means)]
    row, until = first // _GROUP, -(-last // _GROUP)
    ramp = np.arange(_GROUP, dtype=np.float32) / _GROUP
    trend = np.diff(slow[row : until + 1])[:, None] * ramp
    trend += slow[row:until, None]
    found = pairs[first:last] - trend.reshape(-1)[: last - first]
    return np.asarray(found.view(np.float32).reshape(-1, 2))


@cache
def _window(size: int) -> np.ndarray[Any, Any]:
    """Transform of the averaging window."""
    window = np.hanning(2 * _HALF + 3)[1:-1].astype(np.complex64)
    return np.fft.fft(window / window.sum(), size)


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
        found = _steadied(self._held, _CONTEXT, _CONTEXT + count)
        self._held = self._held[count:].copy()
        return found

    def close(self) -> None:
        """Close the stream below."""
        self._stream.close()
