"""Fourier transforms and small matrix products, fast on a busy machine.

scipy's transform runs several times faster than numpy's on batches in single precision, because it works on several
rows at once; importing it takes a quarter of a second, so it waits for the first transform. Matrix products are cut
into slices that the linear-algebra library computes on one thread: its threads wait by spinning, which on a machine
with other work costs more than they bring.
"""

from __future__ import annotations

from typing import Any

import numpy as np

__all__ = ["fft", "ifft", "irfft", "product", "rfft"]

_ONE_THREAD = 250_000  # multiplications; OpenBLAS stays on one thread below 4 · 65536


def fft(frames: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Return the complex transform along the last axis, in the precision of the input."""
    from scipy import fft as transforms

    return np.asarray(transforms.fft(frames))


def ifft(spectra: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Return the inverse of :func:`fft` along the last axis."""
    from scipy import fft as transforms

    return np.asarray(transforms.ifft(spectra))


def rfft(frames: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Return the one-sided transform of real data along the last axis."""
    from scipy import fft as transforms

    return np.asarray(transforms.rfft(frames))


def irfft(spectrum: np.ndarray[Any, Any], size: int) -> np.ndarray[Any, Any]:
    """Return real data of *size* points along the last axis from a one-sided transform."""
    from scipy import fft as transforms

    return np.asarray(transforms.irfft(spectrum, size))


def product(rows: np.ndarray[Any, Any], matrix: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Return ``rows @ matrix`` computed in slices of rows.

    Parameters
    ----------
    rows : ndarray, shape (n, k)
    matrix : ndarray, shape (k, m)
    """
    step = max(2, _ONE_THREAD // max(1, matrix.size))
    found = np.empty((len(rows), matrix.shape[1]), dtype=np.result_type(rows, matrix))
    for start in range(0, len(rows), step):
        np.matmul(rows[start : start + step], matrix, out=found[start : start + step])
    return found
