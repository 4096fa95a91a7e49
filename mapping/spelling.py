"""Names for added notes: the score's own spelling first, then the chord's, then the key's."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from mapping.harmony import Span

__all__ = ["spell"]

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


def _nearest(pc: int, centre: int) -> int:
    """Return the place on the line of fifths (C = 0, G = 1) with pitch class *pc* nearest to *centre*."""
    return min(
        (place for place in range(-13, 20) if place * 7 % 12 == pc), key=lambda place: (abs(place - centre), place)
    )


def _named(place: int) -> tuple[int, int]:
    """Return ``(step, alter)`` of a place on the line of fifths."""
    letter = _FIFTHS[(place + 1) % 7]
    return "CDEFGAB".index(letter), (place + 1) // 7
