"""Plots of a trial: for every kind a function that returns the data and one that draws them into given axes.

:func:`draw_all` writes every plot of a trial. Importing this package does not load matplotlib.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from compare.plots.curves import (
    Curves,
    difference_data,
    draw_difference,
    draw_spectrum,
    draw_third_octaves,
    draw_tune_bands,
    spectrum_data,
    third_octave_data,
    tune_bands_data,
)
from compare.plots.look import figure, save
from compare.plots.over_time import Courses, draw_loudness, draw_tune, loudness_data, tune_data
from compare.plots.spectrogram import Picture, draw_spectrograms, spectrogram_data

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from matplotlib.figure import Figure

    from compare.trial import Trial

__all__ = [
    "Courses",
    "Curves",
    "Picture",
    "difference_data",
    "draw_all",
    "draw_difference",
    "draw_loudness",
    "draw_spectrograms",
    "draw_spectrum",
    "draw_third_octaves",
    "draw_tune",
    "draw_tune_bands",
    "loudness_data",
    "spectrogram_data",
    "spectrum_data",
    "third_octave_data",
    "tune_bands_data",
    "tune_data",
]

_FRAME = (0.125, 0.15, 0.85, 0.74)  # left, bottom, width, height of the axes as shares of the figure
_FLAT = (0.125, 0.19, 0.85, 0.76)


def draw_all(trial: Trial, folder: Path, *, suffixes: Sequence[str] = (".svg",)) -> dict[str, Path]:
    """Write every plot of *trial* into *folder*.

    Parameters
    ----------
    trial : Trial
    folder : Path
    suffixes : sequence of str
        ``.svg``, ``.png`` or both.

    Returns
    -------
    dict of str to Path
        By kind, in the order a page shows them; the path with the first suffix.
    """
    kinds: dict[str, Callable[[], tuple[Figure, str]]] = {
        "spectrum": lambda: _spectrum(trial),
        "third-octaves": lambda: _third_octaves(trial),
    }
    if len(trial.variants) > 1:
        kinds["difference"] = lambda: _difference(trial)
    kinds["loudness"] = lambda: _loudness(trial)
    tune = tune_data(trial)
    if tune is not None:
        kinds["tune"] = lambda: _tune(trial, tune)
    bands = tune_bands_data(trial)
    if bands is not None:
        kinds["tune-bands"] = lambda: _tune_bands(trial, bands)
    kinds["spectrograms"] = lambda: _spectrograms(trial)
    written = {}
    for kind, draw in kinds.items():
        paths = [folder / f"{kind}{suffix}" for suffix in suffixes]
        save(draw, paths)
        written[kind] = paths[0]
    return written


def _spectrum(trial: Trial) -> tuple[Figure, str]:
    """Overlaid spectra."""
    fig = figure()
    draw_spectrum(fig.add_axes(_FRAME), spectrum_data(trial))
    return fig, f"Spectra of {_names(trial)} in {trial.passage}, equally loud"


def _difference(trial: Trial) -> tuple[Figure, str]:
    """Differences from the first."""
    fig = figure()
    first = trial.variants[0].variant
    draw_difference(fig.add_axes(_FRAME), difference_data(trial), first=first)
    return fig, f"Difference of the spectra in {trial.passage} from {first}, equally loud"


def _third_octaves(trial: Trial) -> tuple[Figure, str]:
    """Third-octave levels."""
    fig = figure()
    draw_third_octaves(fig.add_axes(_FRAME), third_octave_data(trial))
    return fig, f"Third-octave levels of {_names(trial)} in {trial.passage}, equally loud"


def _loudness(trial: Trial) -> tuple[Figure, str]:
    """Loudness along the bars."""
    fig = figure(height_in=2.6)
    draw_loudness(fig.add_axes(_FLAT), loudness_data(trial))
    return fig, f"Loudness of {_names(trial)} along the bars of {trial.passage}, as scored"


def _tune(trial: Trial, data: Courses) -> tuple[Figure, str]:
    """Audibility of the tune along the bars."""
    fig = figure(height_in=2.6)
    draw_tune(fig.add_axes(_FLAT), data)
    return fig, f"How much of the tune is heard among the others, beat by beat, in {_names(trial)}"


def _tune_bands(trial: Trial, data: Curves) -> tuple[Figure, str]:
    """Audibility of the tune band by band."""
    fig = figure()
    draw_tune_bands(fig.add_axes(_FRAME), data)
    return fig, f"How far the tune stands above what covers it, band by band, in {_names(trial)}"


def _spectrograms(trial: Trial) -> tuple[Figure, str]:
    """Spectrograms one above the other."""
    data = spectrogram_data(trial)
    count = len(data.names)
    height_in = 0.55 + 1.75 * count
    fig = figure(height_in=height_in)
    tall = 1.35 / height_in
    bottoms = [1.0 - (0.3 + 1.75 * row) / height_in - tall for row in range(count)]
    draw_spectrograms([fig.add_axes((0.105, bottom, 0.83, tall)) for bottom in bottoms], data)
    return fig, f"Spectrograms of {', '.join(data.names)} in {trial.passage}, equally loud, on one scale of 60 dB"


def _names(trial: Trial) -> str:
    """Variants by name."""
    return ", ".join(heard.variant for heard in trial.variants)
