"""Where the left hand takes up the tune that the right hand has just had, under a figure of the right hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reading.layers_idle import drummed_bars
from reading.layers_inner import patterns
from reading.layers_lines import rows_of_one_note

if TYPE_CHECKING:
    from reading.layers_lines import Line
    from reading.layers_texture import FloatArray, IntArray, Texture

__all__ = ["taken_up"]

_INTERVALS = 6
_BARS_AGO = 8
_GAIN = 2.0  # as much as going over to another staff costs


def taken_up(texture: Texture, lines: list[Line], path: IntArray) -> FloatArray:
    """Return what a line of the lowest staff gains where it has the tune of the bars before, shape (bars, lines + 1).

    Six intervals of that tune, in its rhythm, within eight bars; and in half of their bars or more the uppermost staff
    repeats one note or rocks between two: it accompanies.

    Parameters
    ----------
    texture : Texture
    lines : list of Line
    path : ndarray of int64, shape (bars,)
        Line of each bar; ``len(lines)`` where nobody leads.
    """
    gain = np.zeros((texture.bars, len(lines) + 1))
    upper = next((line for line in lines if line.staff == 0 and line.kind == "top"), None)
    if upper is None or texture.low == 0:
        return gain
    figure = drummed_bars(texture, upper.rows, rows_of_one_note(texture, lines))
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
