"""Register: names of notes as the score spells them, compass of each layer, dialogues between registers or hands."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from reading.layers import Role
from reading.layers_texture import texture_of
from reading.midi_hands import spelled
from reading.register_turns import answering_turns

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reading.layers import Layers
    from reading.register_turns import Turn
    from reading.score import Score

__all__ = ["Compass", "Dialogue", "compass_words", "compasses", "dialogues", "note_name", "pitch_name", "written_name"]

_STEPS = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
_LETTERS, _NATURAL = "CDEFGAB", (0, 2, 4, 5, 7, 9, 11)


@dataclass(frozen=True)
class Compass:
    """Lowest, middle and highest pitch (MIDI) of a layer, with the bar index of each extreme.

    The middle one is the upper of two where the number of notes is even, so that it is a note that occurs.
    """

    layer: str
    low: int
    low_bar: int
    middle: int
    high: int
    high_bar: int


@dataclass(frozen=True)
class Dialogue:
    """Phrases or motifs that answer each other in two registers or hands.

    Attributes
    ----------
    first_bar, last_bar : int
        Bar indices.
    turns : tuple of (int, int, int)
        First bar index, last bar index and middle pitch (MIDI) of each turn in order.
    apart : int
        Semitones between the middles of the two turns that lie nearest.
    names : tuple of str
        The middle pitches as the score spells them.
    """

    first_bar: int
    last_bar: int
    turns: tuple[tuple[int, int, int], ...]
    apart: int
    names: tuple[str, ...] = ()


def pitch_name(midi: int) -> str:
    """Return a MIDI pitch that stands in no score in letters, C4 for 60 (black keys by their usual name)."""
    return f"{_STEPS[midi % 12]}{midi // 12 - 1}"


def written_name(note: np.void) -> str:
    """Return a note in letters as it is spelled; its octave is that of its sounding pitch.

    Parameters
    ----------
    note : void of NOTE_DTYPE or with its fields ``pitch``, ``step``, ``alter``
    """
    step, alter, pitch = int(note["step"]), int(note["alter"]), int(note["pitch"])
    octave, left = divmod(pitch - alter - _NATURAL[step % 7], 12)
    return f"{_LETTERS[step]}{'#' * alter}{'b' * -alter}{octave - 1}" if left == 0 else pitch_name(pitch)


@lru_cache(maxsize=512)
def note_name(score: Score, pitch: int, first_bar: int, last_bar: int) -> str:
    """Return a pitch in letters as the score spells it: ``D#4`` in E major, ``Fb3`` where an F flat is written.

    Parameters
    ----------
    score : Score
    pitch : int
        MIDI.
    first_bar, last_bar : int
        Bar indices in which it is looked for first; the commonest spelling there counts, then that of the whole piece,
        then what the key signature of the first bar suggests.
    """
    notes = score.notes
    same = notes["pitch"] == pitch
    inside = same & (notes["bar"] >= first_bar) & (notes["bar"] <= last_bar)
    rows = np.flatnonzero(inside if inside.any() else same)
    spellings = np.stack([notes[name][rows].astype(np.int64) for name in ("step", "alter", "octave")], axis=1)
    natural = 12 * (spellings[:, 2] + 1) + np.asarray(_NATURAL)[spellings[:, 0] % 7]
    kinds, count = np.unique(spellings[natural + spellings[:, 1] == pitch], axis=0, return_counts=True)
    if len(kinds):
        step, alter, octave = kinds[int(count.argmax())].tolist()
    else:
        step, alter, octave = spelled(pitch, int(score.bars["fifths"][first_bar - 1]))
    return f"{_LETTERS[step]}{'#' * alter}{'b' * -alter}{octave}"


def compass_words(score: Score, pitches: Iterable[int], first_bar: int, last_bar: int) -> str:
    """Return ``G2 to D#4``, the lowest and highest of some pitches (MIDI) as these bars spell them."""
    low, high = min(values := list(pitches)), max(values)
    names = dict.fromkeys(note_name(score, pitch, first_bar, last_bar) for pitch in (low, high))
    return " to ".join(names)


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
        middle = int(np.sort(pitch)[len(pitch) // 2])
        result.append(Compass(name, int(pitch[low]), int(bar[low]), middle, int(pitch[high]), int(bar[high])))
    return tuple(result)


def dialogues(score: Score, layers: Layers) -> tuple[Dialogue, ...]:
    """Return passages in which phrases or motifs of two registers, or of the two hands, answer each other.

    Parameters
    ----------
    score : Score
    layers : Layers

    Returns
    -------
    tuple of Dialogue
        Three turns or more (statement, answer, statement); see :func:`reading.register_turns.answering_turns`.
    """
    texture = texture_of(score)
    if not texture.bars:
        return ()
    tune = layers.roles[texture.ids] == int(Role.MELODY)
    return tuple(_dialogue(score, run) for run in answering_turns(texture, tune))


def _dialogue(score: Score, run: list[Turn]) -> Dialogue:
    """Describe a run of turns."""
    apart = min(abs(after.middle - before.middle) for before, after in pairwise(run))
    turns = tuple((turn.first_bar, turn.last_bar, turn.middle) for turn in run)
    names = tuple(note_name(score, turn.middle, turn.first_bar, turn.last_bar) for turn in run)
    return Dialogue(turns[0][0], max(turn[1] for turn in turns), turns, apart, names)
