"""Where a line does not lead: one note repeated through a bar, and bars in which nobody has a tune."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reading.layers_lines import rows_of_one_note
from reading.layers_texture import sounding_pairs

if TYPE_CHECKING:
    from reading.layers_lines import Line
    from reading.layers_texture import BoolArray, FloatArray, IntArray, Texture

__all__ = ["drummed_bars", "nobody_leads"]

_DRUM_ATTACKS, _DRUM_SHARE = 4, 0.8
_ROCK_ATTACKS = 6  # of two notes in turn
_LEAST_OF_ROW = 2  # attacks in the bar
_ONE_CHORD = 0.6  # share of the left hand's chords that repeat the one before
_LEADING = 5.6  # a line must be this much like a tune to lead where the upper hand does not


def drummed_bars(texture: Texture, lines: list[Line]) -> BoolArray:
    """Return by bar and line whether it only accompanies, however it is timed, shape (bars, lines).

    So it does where (nearly) every note repeats the one before, or the last but one; and where all its notes are of a
    row of one note. Judged in the bar alone: the window of a line that rests from its tune to repeat a note still holds
    the tune.

    Parameters
    ----------
    texture : Texture
    lines : list of Line
    """
    of_row = rows_of_one_note(texture, lines)
    found = np.zeros((texture.bars, len(lines)), dtype=bool)
    for column, line in enumerate(lines):
        bar = texture.bar[line.rows]
        attacks, inside = (
            np.bincount(bar, weights=weight, minlength=texture.bars + 1)[1:] for weight in (None, of_row[line.rows])
        )
        found[:, column] = (attacks >= _LEAST_OF_ROW) & (inside == attacks)
        for lag, least in ((1, _DRUM_ATTACKS), (2, _ROCK_ATTACKS)):
            found[:, column] |= _comes_again(texture, line.rows, lag, least)
    return found


def _comes_again(texture: Texture, rows: IntArray, lag: int, least: int) -> BoolArray:
    """By bar, whether it has *least* attacks or more and (nearly) every note is the one so many before it."""
    bar, pitch = texture.bar[rows], texture.pitch[rows]
    attacks = np.bincount(bar, minlength=texture.bars + 1)
    inside = bar[lag:] == bar[:-lag]
    same = np.bincount(bar[lag:], weights=inside & (pitch[lag:] == pitch[:-lag]), minlength=texture.bars + 1)
    return np.asarray((attacks >= least) & (same >= _DRUM_SHARE * (attacks - lag)))[1:]


def nobody_leads(texture: Texture, lines: list[Line], drummed: BoolArray) -> FloatArray:
    """Return the score of "no line is a tune here": fixed where every upper staff rests or strikes one note, else none.

    So an introduction, a close or a breath of the tune, in which a bass and chords only go on, has no melody. A tune
    below a note that is drummed is more like a tune than this.

    Parameters
    ----------
    texture : Texture
    lines : list of Line
    drummed : ndarray of bool, shape (bars, lines)
        From :func:`drummed_bars`.

    Returns
    -------
    ndarray of float64, shape (bars,)
        Minus infinity where an upper staff moves.
    """
    still, silent = np.full((2, texture.bars), texture.staves > 1)
    for column, line in enumerate(lines):
        if line.staff != texture.low:
            heard = _heard(texture, line.staff)
            still &= ~heard | drummed[:, column]
            silent &= ~heard
    lone = np.diff(still, prepend=False) & np.diff(still[::-1], prepend=False)[::-1]  # one such bar is part of a tune
    idle = (silent | (still & ~lone)) & _strikes_on(texture)
    return np.where(idle, _LEADING, -np.inf)


def _heard(texture: Texture, staff: int) -> BoolArray:
    """By bar, whether a note of a staff sounds in it."""
    rows = np.flatnonzero(texture.staff == staff)
    heard = np.zeros(texture.bars, dtype=bool)
    heard[sounding_pairs(texture.onset[rows], texture.end[rows], texture.bar_onset)[1]] = True
    heard[texture.bar[rows] - 1] = True
    return heard


def _strikes_on(texture: Texture) -> BoolArray:
    """By bar, whether the lowest staff strikes one chord over and over, at a third of its attacks or more.

    Octaves are one line; chords that move on at the top are a tune in chords.
    """
    rows = np.flatnonzero(texture.staff == texture.low)
    moments, at = np.unique(texture.onset[rows], return_inverse=True)
    kinds = np.unique(np.stack([at, texture.pitch[rows] % 12], axis=1), axis=0)
    chord = np.bincount(kinds[:, 0], minlength=len(moments)) > 1
    top = np.full(len(moments), -1)
    np.maximum.at(top, at, texture.pitch[rows])
    bar = np.searchsorted(texture.bar_onset, moments, side="right") - 1
    of, top = bar[chord], top[chord]
    again = (np.diff(of) == 0) & (np.diff(top) == 0)
    attacks, chords = np.bincount(bar, minlength=texture.bars), np.bincount(of, minlength=texture.bars)
    repeated = np.bincount(of[1:], weights=again, minlength=texture.bars)
    return np.asarray((chords > 0) & (3 * chords >= attacks) & (repeated >= _ONE_CHORD * (chords - 1)))
