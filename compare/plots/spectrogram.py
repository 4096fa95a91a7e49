"""Spectrograms one above the other on one scale, so that they may be compared by eye."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from compare.front import FRAME, HOP, both_powers, paired
from compare.plots.look import INK, frequency_axis, label, plain_axes
from compare.spectra import decibels, hann
from compare.transforms import fft

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

    from compare.scales import Floats
    from compare.trial import Trial

__all__ = ["MOST_PANELS", "Picture", "draw_spectrograms", "spectrogram_data"]

MOST_PANELS = 4
_LOW_HZ, _HIGH_HZ, _ROWS, _COLUMNS = 50.0, 12_000.0, 150, 360
_SHOWN_DB = 60.0
_SHADE_DB = 1.5  # steps finer than the eye tells apart would only make the file larger


@dataclass(frozen=True, eq=False)
class Picture:
    """Levels over time and (logarithmic) frequency.

    Attributes
    ----------
    db : ndarray, shape (variants, rows, columns)
        Matched clips, dB re the strongest point of all variants, not below −60; lowest frequency first.
    names : tuple of str
    edges_hz : ndarray, shape (rows + 1,)
    length_s : float
    bars : tuple of (str, float)
        Bar index and start in seconds.
    """

    db: Floats
    names: tuple[str, ...]
    edges_hz: Floats
    length_s: float
    bars: tuple[tuple[str, float], ...]


def spectrogram_data(trial: Trial, variants: Sequence[int] | None = None) -> Picture:
    """Return the spectrograms of the matched clips (85 ms Hann frames).

    Parameters
    ----------
    trial : Trial
    variants : sequence of int, optional
        Which ones; default the first four.
    """
    rows = list(variants) if variants is not None else list(range(min(MOST_PANELS, len(trial.variants))))
    heard = [trial.variants[row] for row in rows]
    edges = _LOW_HZ * (_HIGH_HZ / _LOW_HZ) ** (np.arange(_ROWS + 1) / _ROWS)
    levels = np.array([_levels(item.rendering.mix, item.gain_matched, trial.sample_rate_hz, edges) for item in heard])
    levels = np.maximum(levels - levels.max(), -_SHOWN_DB)
    bars = tuple((str(index), start) for index, start in heard[0].rendering.bar_starts_s)
    names = tuple(item.variant for item in heard)
    return Picture(levels, names, edges, len(heard[0].rendering.mix) / trial.sample_rate_hz, bars)


def _levels(samples: Any, gain: float, sample_rate_hz: int, edges_hz: Floats) -> Floats:
    """Level of every frequency row and time column of one clip."""
    padded = np.pad(paired(samples) * np.float32(gain), FRAME // 2)
    frames = np.lib.stride_tricks.sliding_window_view(padded, FRAME)[::HOP]
    window = hann(FRAME).astype(np.float32)
    bins = int(edges_hz[-1] / sample_rate_hz * FRAME) + 2
    power = np.concatenate(
        [both_powers(fft(frames[at : at + 64] * window))[:, :bins] for at in range(0, len(frames), 64)]
    )
    centres = np.sqrt(edges_hz[1:] * edges_hz[:-1]) * FRAME / sample_rate_hz
    # Low rows are narrower than a bin and are interpolated; high rows take the mean of theirs.
    sums = np.concatenate((np.zeros((len(power), 1)), np.cumsum(power, axis=1)), axis=1)
    low = np.clip(np.round(edges_hz[:-1] * FRAME / sample_rate_hz).astype(int), 0, bins - 1)
    high = np.clip(np.round(edges_hz[1:] * FRAME / sample_rate_hz).astype(int), 1, bins)
    wide = high - low > 1
    between = _between(power, centres)
    mean = (sums[:, np.maximum(high, low + 1)] - sums[:, low]) / np.maximum(high - low, 1)
    levels = decibels(np.where(wide, mean, between)).T
    step = max(1, levels.shape[1] // _COLUMNS)
    return levels[:, ::step]


def _between(power: Any, places: Floats) -> Floats:
    """Power at fractional bins, interpolated in decibels."""
    level = np.log(np.maximum(power, 1e-20))
    low = np.minimum(places.astype(int), power.shape[1] - 2)
    share = places - low
    return np.asarray(np.exp(level[:, low] * (1.0 - share) + level[:, low + 1] * share))


def draw_spectrograms(axes: Sequence[Axes], data: Picture) -> Sequence[Axes]:
    """Draw one spectrogram per axes, all on one scale of 60 dB; dark is soft, light is loud, in grey too."""
    for ax, name, levels in zip(axes, data.names, data.db, strict=True):
        plain_axes(ax, x="", y="Hz")
        frequency_axis(ax, vertical=True, low_hz=_LOW_HZ, high_hz=_HIGH_HZ)
        box = ax.get_position()
        inside = ax.figure.add_axes(box.bounds, zorder=ax.get_zorder() - 1)
        shades = np.round(levels / _SHADE_DB) * _SHADE_DB
        inside.imshow(
            shades, origin="lower", aspect="auto", cmap="cividis", vmin=-_SHOWN_DB, vmax=0.0, interpolation="none"
        )
        inside.set_axis_off()
        ax.set_xlim(0.0, data.length_s)
        ax.set_title(label(name), loc="left", fontsize=9.5, color=INK, pad=3)
        if data.bars:
            every = max(1, -(-len(data.bars) // 16))
            shown = data.bars[::every]
            ax.set_xticks([start for _, start in shown], labels=[number for number, _ in shown])
    axes[-1].set_xlabel("bar", color=INK)
    return axes
