"""Names for added notes: the score's own spelling first, then the chord's, then the key's."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from mapping.arrangement import Rows
    from mapping.harmony import Span

__all__ = ["as_spelt", "respelt", "spell"]

_FIFTHS = "FCGDAEB"
_DEGREES = {"root": (0,), "third": (4, -3), "fifth": (1, -6, 8), "seventh": (-2, 5, -9)}


def spell(midi: int, fifths: int, span: Span | None = None) -> tuple[int, int, int]:
    """Return ``(step, alter, octave)`` for an added note.

    The score's own spelling in the span comes first, then the chord's (thirds as thirds above the root), then the
    nearest name to the key on the line of fifths.

    Parameters
    ----------
    midi : int
        Sounding MIDI pitch.
    fifths : int
        Key signature, sharps positive.
    span : Span, optional
        The harmony around it.

    References
    ----------
    Line of fifths: D. Temperley, The Cognition of Basic Musical Structures (2001), chapter 5.
    """
    pc = midi % 12
    name = span.spelling[pc] if span else None
    if name is None:
        centre = fifths + 2  # the middle of the seven notes of the key, C major: D
        if span and span.role(pc) != "other":
            root = _nearest(span.root, centre)
            places = (root + degree for degree in _DEGREES[span.role(pc)])
            name = next((_named(place) for place in places if place * 7 % 12 == pc), None)
        name = name or _named(_nearest(pc, centre))
    step, alter = name
    natural = midi - alter
    return step, alter, natural // 12 - 1


def respelt(
    notes: np.ndarray[Any, np.dtype[np.void]],
    fifths: np.ndarray[Any, Any],
    harmony: Sequence[Span] = (),
) -> np.ndarray[Any, np.dtype[np.void]]:
    """Set step, alter and octave of added notes from their pitch, in place, and return the notes.

    Parameters
    ----------
    notes : ndarray, dtype NOTE_DTYPE or PART_DTYPE
    fifths : ndarray of int, shape (notes,)
        Key signature at each note, sharps positive.
    harmony : sequence of Span, optional
        Spans of the piece; where given, the score's own spelling there comes before the key's.
    """
    if not len(notes):
        return notes
    pitch = notes["pitch"].astype(np.int64)
    table = _key_table()[np.clip(np.asarray(fifths, dtype=np.int64), -7, 7) + 7, pitch % 12]
    notes["step"], notes["alter"] = table[:, 0], table[:, 1]
    notes["octave"] = (pitch - table[:, 1]) // 12 - 1
    if len(harmony):
        rows = np.searchsorted(np.array([span.end_ticks for span in harmony]), notes["onset"], side="right")
        for note, row, key in zip(notes, np.minimum(rows, len(harmony) - 1), np.asarray(fifths), strict=True):
            note["step"], note["alter"], note["octave"] = spell(int(note["pitch"]), int(key), harmony[row])
    return notes


def as_spelt(notes: Rows, piano: Rows) -> Rows:
    """Spell notes, in place, as the piano spells the same pitch class at that moment, where it does.

    Parameters
    ----------
    notes : ndarray, dtype PART_DTYPE
    piano : ndarray, dtype NOTE_DTYPE
        All notes of the score.
    """
    for note in notes:
        at = (piano["onset"] <= note["onset"]) & (piano["onset"] + piano["duration"] > note["onset"])
        same: Any = piano[at & (piano["pitch"] % 12 == int(note["pitch"]) % 12)]
        if len(same):
            note["step"], note["alter"] = same[0]["step"], same[0]["alter"]
            note["octave"] = (int(note["pitch"]) - int(same[0]["alter"])) // 12 - 1
    return notes


@cache
def _key_table() -> np.ndarray[Any, np.dtype[np.int64]]:
    """Return ``(step, alter)`` by key signature (−7 … 7) and pitch class, shape (15, 12, 2)."""
    return np.array([[_named(_nearest(pc, key + 2)) for pc in range(12)] for key in range(-7, 8)], dtype=np.int64)


def _nearest(pc: int, centre: int) -> int:
    """Return the place on the line of fifths (C = 0, G = 1) with pitch class *pc* nearest to *centre*."""
    return min(
        (place for place in range(-13, 20) if place * 7 % 12 == pc), key=lambda place: (abs(place - centre), place)
    )


def _named(place: int) -> tuple[int, int]:
    """Return ``(step, alter)`` of a place on the line of fifths."""
    letter = _FIFTHS[(place + 1) % 7]
    return "CDEFGAB".index(letter), (place + 1) // 7
