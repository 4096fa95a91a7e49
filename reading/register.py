"""Register: compass of each layer, extremes, and dialogues between octaves."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from reading.layers import Role
from reading.layers_texture import texture_of

if TYPE_CHECKING:
    from reading.layers import Layers
    from reading.layers_texture import IntArray, Texture
    from reading.score import Score

__all__ = ["Compass", "Dialogue", "compasses", "dialogues", "pitch_name"]

_LONGEST = 4
_APART = 9
"""Semitones between the middles of two phrases from which they count as different registers."""
_STEPS = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")


@dataclass(frozen=True)
class Compass:
    """Lowest, middle and highest pitch (MIDI) of a layer, with the bar index of each extreme."""

    layer: str
    low: int
    low_bar: int
    middle: int
    high: int
    high_bar: int


@dataclass(frozen=True)
class Dialogue:
    """Phrases that answer each other in different registers.

    ``turns``: (first bar index, last bar index, middle pitch) of each phrase in order.
    """

    first_bar: int
    last_bar: int
    turns: tuple[tuple[int, int, int], ...]
    apart: int


def pitch_name(midi: int) -> str:
    """Return a MIDI pitch in letters, C4 for 60 (black keys by their usual name)."""
    return f"{_STEPS[midi % 12]}{midi // 12 - 1}"


def compasses(score: Score, layers: Layers) -> tuple[Compass, ...]:
    """Return the compass of every layer that has notes.

    Parameters
    ----------
    score : Score
    layers : Layers

    Returns
    -------
    tuple of Compass
    """
    result = []
    for role in Role:
        rows = np.flatnonzero(layers.roles == int(role))
        if not len(rows):
            continue
        pitch, bar = score.notes["pitch"][rows], score.notes["bar"][rows]
        low, high = int(pitch.argmin()), int(pitch.argmax())
        name = {Role.COUNTER: "counter-melody"}.get(role, role.name.lower().replace("_", " "))
        result.append(
            Compass(name, int(pitch[low]), int(bar[low]), int(np.median(pitch)), int(pitch[high]), int(bar[high]))
        )
    return tuple(result)


def dialogues(score: Score, layers: Layers) -> tuple[Dialogue, ...]:
    """Return passages in which phrases of the melody alternate between registers, three turns or more.

    Parameters
    ----------
    score : Score
    layers : Layers

    Returns
    -------
    tuple of Dialogue
        A turn lasts half a bar to four bars; neighbours lie at least nine semitones apart and there is a way back.
    """
    texture = texture_of(score)
    if not texture.bars:
        return ()
    tune = np.flatnonzero(layers.roles[texture.ids] == int(Role.MELODY))
    turns = _turns(texture, tune)
    found: list[Dialogue] = []
    start = 0
    while start < len(turns):
        stop = start + 1
        while stop < len(turns) and _answers(turns, start, stop):
            stop += 1
        usual = turns[start][1] - turns[start][0] + 1
        run = turns[start:stop] + (_trimmed(turns, stop, usual) if stop - start >= 2 else [])
        if len(run) >= 3:
            found.append(_dialogue(run))
            start = stop
        else:
            start += 1
    return tuple(found)


def _turns(texture: Texture, tune: IntArray) -> list[tuple[int, int, int]]:
    """Bars of the tune joined while they stay in one register: (first bar, last bar, middle pitch)."""
    turns: list[tuple[int, int, int]] = []
    bar, pitch = texture.bar[tune], texture.pitch[tune]
    for one in np.unique(bar).tolist():
        middle = int(np.median(pitch[bar == one]))
        if turns and turns[-1][1] == one - 1 and abs(turns[-1][2] - middle) < _APART:
            first, last, old = turns[-1]
            turns[-1] = (first, one, round((old * (last - first + 1) + middle) / (last - first + 2)))
        else:
            turns.append((one, one, middle))
    return turns


def _answers(turns: list[tuple[int, int, int]], start: int, row: int) -> bool:
    """Whether a turn goes on with the dialogue: next to the last, far from it, back near the one before that."""
    before, now = turns[row - 1], turns[row]
    far = abs(now[2] - before[2]) >= _APART
    back = row - start < 2 or abs(now[2] - turns[row - 2][2]) < _APART
    usual = turns[start][1] - turns[start][0] + 1
    length = now[1] - now[0] + 1
    alike = usual <= _LONGEST and length <= 2 * usual <= 4 * length
    return far and back and alike and now[0] == before[1] + 1


def _trimmed(turns: list[tuple[int, int, int]], row: int, usual: int) -> list[tuple[int, int, int]]:
    """The turn after the last, cut to the usual length: the answer from which the music goes on in its register."""
    if row >= len(turns):
        return []
    first, last, middle = turns[row]
    before, model = turns[row - 1], turns[row - 2]
    fits = first == before[1] + 1 and abs(middle - model[2]) < _APART <= abs(middle - before[2])
    return [(first, min(last, first + usual - 1), middle)] if fits else []


def _dialogue(turns: list[tuple[int, int, int]]) -> Dialogue:
    """Describe a run of turns."""
    apart = min(abs(after[2] - before[2]) for before, after in pairwise(turns))
    return Dialogue(turns[0][0], turns[-1][1], tuple(turns), apart)
