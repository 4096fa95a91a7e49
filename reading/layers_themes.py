"""Where the left hand takes up the tune that the right hand has just had, under a figure of the right hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reading.layers_inner import patterns

if TYPE_CHECKING:
    from reading.layers_lines import Line
    from reading.layers_texture import BoolArray, FloatArray, IntArray, Texture

__all__ = ["taken_up"]

_INTERVALS = 6
_BARS_AGO = 8
_GAIN = 2.0  # as much as going over to another staff costs


def taken_up(texture: Texture, lines: list[Line], path: IntArray, drummed: BoolArray) -> FloatArray:
    """Return what a line of the lowest staff gains where it has the tune of the bars before, shape (bars, lines + 1).

    Six intervals of that tune, in its rhythm, within eight bars; and in half of their bars or more the uppermost staff
    repeats one note or rocks between two: it accompanies.

    Parameters
    ----------
    texture : Texture
    lines : list of Line
    path : ndarray of int64, shape (bars,)
        Line of each bar; ``len(lines)`` where nobody leads.
    drummed : ndarray of bool, shape (bars, lines)
        From :func:`reading.layers_idle.drummed_bars`.
    """
    gain = np.zeros((texture.bars, len(lines) + 1))
    top = next((column for column, line in enumerate(lines) if line.staff == 0 and line.kind == "top"), None)
    if top is None or texture.low == 0:
        return gain
    upper, figure = lines[top], drummed[:, top]
    usual = float(np.median(texture.bar_end - texture.bar_onset))
    led = np.append([line.staff == 0 for line in lines], False)[path]
    tune = upper.rows[led[texture.bar[upper.rows] - 1]]
    models: dict[tuple[int, ...], list[int]] = {}
    for key, rows in patterns(texture, tune, _INTERVALS, usual):
        models.setdefault(key, []).append(int(texture.onset[rows[0]]))
    for column, line in enumerate(lines):
        if line.staff != texture.low or line.kind == "long":
            continue
        for key, rows in patterns(texture, line.rows, _INTERVALS, usual):
            ago = int(texture.onset[rows[0]]) - np.asarray(models.get(key, []))
            bars = np.arange(texture.bar[rows[0]], texture.bar[rows[-1]] + 1) - 1
            if ((ago > 0) & (ago <= _BARS_AGO * usual)).any() and 2 * figure[bars].sum() >= len(bars):
                gain[bars, column] = _GAIN
    return gain
