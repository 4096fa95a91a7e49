"""Trills, mordents and turns as the notes they are played as. Rules: common practice, from memory."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.score import Flag

if TYPE_CHECKING:
    from reading.score import Score

__all__ = ["Neighbours", "shaken"]

SEMITONES = (0, 2, 4, 5, 7, 9, 11)
_SHARPS = (3, 0, 4, 1, 5, 2, 6)  # F C G D A E B as steps
_ALTERS = {"sharp": 1, "flat": -1, "natural": 0, "double-sharp": 2, "flat-flat": -2}

Piece = tuple[int, ...]


class Neighbours:
    """The note a step above or below: by key signature, and by accidentals earlier in its bar."""

    def __init__(self, score: Score) -> None:
        self.score = score

    def beside(self, note: Any, steps: int, alter: int | None) -> Piece:
        """Return pitch, step, alter and octave of the note *steps* away; *alter* is what the sign prescribes."""
        degree = int(note["step"]) + 7 * int(note["octave"]) + steps
        step, octave = degree % 7, degree // 7
        if alter is None:
            alter = self._in_bar(note, step, octave)
        if alter is None:
            alter = self._in_key(int(note["bar"]), step)
        pitch = SEMITONES[step] + alter + 12 * (octave + 1)
        distance = (pitch - int(note["pitch"])) * (1 if steps > 0 else -1)
        if not 1 <= distance <= 2:  # an augmented second or a unison is no neighbour: take the nearest that is
            wanted = int(note["pitch"]) + (1 if steps > 0 else -1) * min(2, max(1, distance))
            alter += wanted - pitch
            pitch = wanted
        return pitch, step, alter, octave

    def _in_bar(self, note: Any, step: int, octave: int) -> int | None:
        """Accidental of the last such note before this one in the bar."""
        notes = self.score.notes
        low, high = np.searchsorted(notes["onset"], [note["onset"] - 8 * 10_080, note["onset"] + 1])
        near = notes[low:high]
        near = near[(near["bar"] == note["bar"]) & (near["step"] == step) & (near["octave"] == octave)]
        return int(near["alter"][-1]) if len(near) else None

    def _in_key(self, bar: int, step: int) -> int:
        """Accidental the key signature gives to a step."""
        fifths = int(self.score.bars["fifths"][min(bar, len(self.score.bars)) - 1])
        if fifths >= 0:
            return (_SHARPS.index(step) < fifths) + (_SHARPS.index(step) < fifths - 7)
        place = 6 - _SHARPS.index(step)
        return -((place < -fifths) + (place < -fifths - 7))


def shaken(note: Any, value: str, stroke: int, neighbours: Neighbours) -> list[Piece]:
    """Return ``(onset, duration, pitch, step, alter, octave)`` of what one ornamented note is played as.

    Parameters
    ----------
    note : record of NOTE_DTYPE
    value : str
        The ornament mark's value, for its accidentals (``trill:above sharp``) and for ``delayed-turn``.
    stroke : int
        Length of one quick note in ticks.
    neighbours : Neighbours

    Notes
    -----
    A trill begins on its main note and ends on it, in an odd number of strokes. A mordent is two strokes and the rest;
    a turn is four strokes, at once or (delayed) at the end of the note. Nothing takes more than the note's length.
    """
    said = {side: _ALTERS.get(name) for side, name in re.findall(r":(above|below) ([a-z-]+)", value)}
    main: Piece = (int(note["pitch"]), int(note["step"]), int(note["alter"]), int(note["octave"]))
    flags, onset, length = int(note["flags"]), int(note["onset"]), int(note["duration"])
    if flags & (Flag.TRILL | Flag.INVERTED_MORDENT):
        said.setdefault("above", None)
    above = neighbours.beside(note, 1, said.get("above"))
    below = neighbours.beside(note, -1, said.get("below"))
    if flags & Flag.TRILL:
        return _trill(onset, length, stroke, main, above)
    if flags & (Flag.MORDENT | Flag.INVERTED_MORDENT):
        beside = below if flags & Flag.MORDENT else above
        return _quick(onset, length, stroke, [main, beside, main])
    turn: list[Piece] = [above, main, below, main] if flags & Flag.TURN else [below, main, above, main]
    if "delayed" in value:
        each = min(stroke, length // 8)
        start = length - 4 * each
        late = [(onset + start + place * each, each, *item) for place, item in enumerate(turn)]
        return [(onset, start, *main), *late]
    return _quick(onset, length, stroke, turn)


def _trill(onset: int, length: int, stroke: int, main: Piece, above: Piece) -> list[Piece]:
    """Return main note and upper neighbour in turn, an odd number of strokes that fill the note exactly."""
    count = max(3, 2 * (length // (2 * max(1, stroke))) + 1)
    edges = [onset + length * place // count for place in range(count + 1)]
    return [(edges[place], edges[place + 1] - edges[place], *(above if place % 2 else main)) for place in range(count)]


def _quick(onset: int, length: int, stroke: int, notes: list[Piece]) -> list[Piece]:
    """Quick notes at the start; the last one keeps the rest of the time."""
    each = max(1, min(stroke, length // (len(notes) + 1)))
    made = [(onset + place * each, each, *item) for place, item in enumerate(notes)]
    used = (len(notes) - 1) * each
    made[-1] = (onset + used, length - used, *notes[-1])
    return made
