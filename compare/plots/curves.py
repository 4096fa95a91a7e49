"""Spectra as curves: power spectral density, its difference from the first variant, third-octave levels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from compare.plots.look import INK, frequency_axis, label, legend, plain_axes, style
from compare.scales import Floats, third_octave_centres_hz, third_octave_edges_hz
from compare.spectra import smooth

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from compare.trial import Trial

__all__ = [
    "NOTICEABLE_DB",
    "Curves",
    "difference_data",
    "draw_difference",
    "draw_spectrum",
    "draw_third_octaves",
    "draw_tune_bands",
    "spectrum_data",
    "third_octave_data",
    "tune_bands_data",
]

NOTICEABLE_DB = 1.5
"""Half-width of the shaded zone: level changes of a band in running music below this pass unnoticed by most listeners
(common practice, no source; single steady sounds are told apart from 0.5 to 1 dB on)."""

_SHOWN_DB = 70.0


@dataclass(frozen=True, eq=False)
class Curves:
    """Several levels over frequency.

    Attributes
    ----------
    hz : ndarray, shape (n,)
    db : ndarray, shape (variants, n)
    names : tuple of str
    first_style : int
        Place of the first curve's variant in the trial, so that a variant keeps its look.
    """

    hz: Floats
    db: Floats
    names: tuple[str, ...]
    first_style: int = 0


def spectrum_data(trial: Trial) -> Curves:
    """Return the spectra of the matched clips, averaged over 1/24 octave."""
    heard = trial.variants
    hz = smooth(heard[0].spectrum)[0]
    return Curves(hz, np.array([smooth(item.spectrum)[1] for item in heard]), tuple(item.variant for item in heard))


def difference_data(trial: Trial) -> Curves:
    """Return the third-octave-wide difference of every further variant from the first, in steps of 1/24 octave.

    Where both lie more than 70 dB under the loudest point the difference is left out (not a number): it is noise.
    """
    heard = trial.variants
    hz = smooth(heard[0].spectrum)[0]
    power = np.array([10.0 ** (smooth(item.spectrum)[1] / 10.0) for item in heard])
    kernel = np.ones(9) / 9.0
    wide = np.array([np.convolve(np.pad(row, 4, mode="edge"), kernel, mode="valid") for row in power])
    level = 10.0 * np.log10(np.maximum(wide, 1e-30))
    faint = level < level.max() - _SHOWN_DB
    difference = np.where(faint & faint[0], np.nan, level - level[0])
    return Curves(hz, difference[1:], tuple(item.variant for item in heard[1:]), 1)


def third_octave_data(trial: Trial) -> Curves:
    """Return the third-octave levels of the matched clips."""
    heard = trial.variants
    levels = np.array([item.third_octaves_db for item in heard])
    return Curves(third_octave_centres_hz(), levels, tuple(item.variant for item in heard))


def tune_bands_data(trial: Trial) -> Curves | None:
    """Return how far the tune stands above its masked threshold in every auditory band, None where nobody knows it.

    Median over the beats; the rows are the variants that know their tune, in order.
    """
    found = [item for heard in trial.variants for item in heard.measures if item.quantity.name == "melody_share"]
    names = [heard.variant for heard in trial.variants]
    known = [(name, item) for name, item in zip(names, found, strict=False) if item.value is not None]
    if len(found) != len(names) or len(known) != len(names):
        return None
    hz = np.array(known[0][1].detail["band_hz"])
    return Curves(hz, np.array([item.detail["above_threshold_db"] for _, item in known]), tuple(names))


def draw_tune_bands(ax: Axes, data: Curves) -> Axes:
    """Draw the tune's excitation over its masked threshold; under the line it is covered."""
    ax.axhspan(-60.0, 0.0, color=INK, alpha=0.10, linewidth=0)
    ax.axhline(0.0, color=INK, alpha=0.6, linewidth=0.8)
    _lines(ax, data)
    plain_axes(ax, x="frequency in Hz", y="tune above (+) or under (−)\nwhat covers it, dB")
    frequency_axis(ax)
    top = float(np.clip(np.ceil(data.db.max() / 10.0) * 10.0, 10.0, 70.0))
    ax.set_ylim(-30.0, top)
    faint: dict[str, Any] = {"ha": "right", "va": "top", "fontsize": 8, "color": INK, "alpha": 0.75}
    ax.text(0.995, 29.0 / (top + 30.0), "covered by the others", transform=ax.transAxes, **faint)
    legend(ax, loc="upper left")
    return ax


def draw_spectrum(ax: Axes, data: Curves) -> Axes:
    """Draw spectra over a logarithmic frequency axis with note names on top."""
    _lines(ax, data)
    top = float(np.ceil(data.db.max() / 5.0) * 5.0 + 5.0)
    plain_axes(ax, x="frequency in Hz", y="level in dB per Hz\n(0 dB: full scale)")
    frequency_axis(ax)
    ax.set_ylim(top - _SHOWN_DB - 5.0, top)
    legend(ax, loc="upper right")
    return ax


def draw_difference(ax: Axes, data: Curves, *, first: str) -> Axes:
    """Draw differences from the variant *first*, the zone that is hard to hear shaded."""
    ax.axhspan(-NOTICEABLE_DB, NOTICEABLE_DB, color=INK, alpha=0.10, linewidth=0)
    ax.axhline(0.0, color=INK, alpha=0.6, linewidth=0.8)
    _lines(ax, data)
    plain_axes(ax, x="frequency in Hz", y=f"more (+) or less (−) dB\nthan ‘{label(first)}’")
    frequency_axis(ax)
    reach = float(np.nanmax(np.abs(data.db), initial=0.0)) if np.isfinite(data.db).any() else 0.0
    limit = float(np.clip(np.ceil(reach / 6.0) * 6.0, 6.0, 30.0))
    ax.set_ylim(-limit, limit)
    faint: dict[str, Any] = {"ha": "right", "va": "center", "fontsize": 8, "color": INK, "alpha": 0.75}
    ax.text(0.995, 0.5, "hard to hear", transform=ax.transAxes, **faint)
    legend(ax, loc="lower left")
    return ax


def draw_third_octaves(ax: Axes, data: Curves) -> Axes:
    """Draw third-octave levels as steps, one per band."""
    edges = third_octave_edges_hz()
    for number, (row, name) in enumerate(zip(data.db, data.names, strict=True)):
        look = style(number + data.first_style)
        ax.stairs(row, edges, label=label(name), baseline=None, **look.line())
    plain_axes(ax, x="frequency in Hz", y="level per third of an octave, dB\n(0 dB: full scale)")
    frequency_axis(ax)
    top = float(np.ceil(data.db.max() / 5.0) * 5.0 + 5.0)
    ax.set_ylim(top - 65.0, top)
    legend(ax, loc="upper right")
    return ax


def _lines(ax: Axes, data: Curves) -> None:
    """Draw one line per variant in its own style."""
    for number, (row, name) in enumerate(zip(data.db, data.names, strict=True)):
        look = style(number + data.first_style)
        ax.plot(data.hz, row, label=label(name), **look.line())
