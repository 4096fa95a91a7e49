"""Natural horns and trumpets for period scoring: a crook for the key, and the open notes it gives."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from base.errors import InputError
from mapping.spelling import as_spelt, respelt
from reading.score import Mark

if TYPE_CHECKING:
    from mapping.draft import Context, Rows
    from mapping.instruments import Instrument

__all__ = ["KIND", "confined", "crook_for", "marks_for", "only_open", "open_notes"]


KIND = "natural"
"""Kind of the mark that says where a player is confined to the open notes of a crook (its value)."""

_TONICS = ("C", "G", "D", "A", "E", "B", "F-sharp", "C-sharp", "A-flat", "E-flat", "B-flat", "F")
"""By place in the circle of fifths, from C upward; G-flat major goes by F-sharp, D-flat major by C-sharp."""


def crook_for(instrument: Instrument, fifths: int) -> str:
    """Return the crook for a key signature: that of its major tonic, else the nearest in the circle of fifths.

    A minor key goes by its relative major, whose tonic triad and dominant seventh give the horn most to play; of two
    crooks in one key the higher is taken. Common practice, no source.

    Parameters
    ----------
    instrument : Instrument
    fifths : int
        Key signature, sharps positive.

    Raises
    ------
    InputError
        Where the instrument has no crooks.
    """
    if not instrument.crooks:
        raise InputError(f"the {instrument.name} has no natural form.", hint="Horns and trumpets in B-flat have.")

    def away(crook: str) -> tuple[int, bool]:
        """Steps in the circle of fifths; a fifth below comes before a fifth above, since it has the tonic open."""
        apart = (_TONICS.index(crook.split()[0]) - fifths) % 12
        return min(apart, 12 - apart), apart <= 6

    return min(instrument.crooks, key=lambda crook: (away(crook), -instrument.crooks[crook], crook))


def confined(context: Context, names: tuple[str, ...]) -> list[int]:
    """Return the rows of those players named who have a natural form.

    Raises
    ------
    InputError
        Where none of them has.
    """
    rows = [target.row for target in context.targets(names)]
    found = [row for row in rows if context.players[row].instrument.crooks]
    if not found:
        message = f"none of {', '.join(names)} has a natural form."
        raise InputError(message, hint="Horns and trumpets in B-flat have.")
    return found


def open_notes(
    context: Context, names: tuple[str, ...], bar: int, crook: str | None
) -> tuple[frozenset[int] | None, ...]:
    """Return the sounding pitches each player named is confined to; None for those who have no natural form.

    Parameters
    ----------
    context : Context
    names : tuple of str
    bar : int
        Index of the bar whose key chooses the crook, where none is named.
    crook : str or None
        As the spec names it: ``E-flat``.
    """
    rows = confined(context, names)
    return tuple(
        frozenset(_pitches(context, target.row, bar, crook)) if target.row in rows else None
        for target in context.targets(names)
    )


def _pitches(context: Context, row: int, bar: int, crook: str | None) -> tuple[int, ...]:
    """The open notes of one player."""
    item = context.players[row].instrument
    return item.natural_pitches(crook or crook_for(item, int(context.score.bars["fifths"][bar - 1])))


def marks_for(context: Context, names: tuple[str, ...], bars: str | None, crook: str | None) -> list[Mark]:
    """Return a mark for every player confined, and every stretch of bars."""
    found = []
    for first, last in context.piece.ranges(bars):
        start, end = context.score.span(first, last)
        for row in confined(context, names):
            item = context.players[row].instrument
            chosen = crook or crook_for(item, int(context.score.bars["fifths"][first - 1]))
            found.append(Mark(KIND, start, end, part=row, value=chosen))
    return found


def only_open(notes: Rows, context: Context, bars: str | None, crook: str | None, *, same_class: bool = False) -> Rows:
    """Return added notes of one player confined to open notes: the nearest one the chord has, or a rest.

    Parameters
    ----------
    notes : ndarray, dtype PART_DTYPE
    context : Context
    bars, crook : str or None
        Of the step: the key of each stretch's first bar chooses the crook, where none is named.
    same_class : bool
        Change the octave only.
    """
    if not len(notes) or not context.players[int(notes["part"][0])].instrument.crooks:
        return notes
    found = notes.copy()
    kept = np.ones(len(found), dtype=bool)
    first = {bar: begin for begin, end in context.piece.ranges(bars) for bar in range(begin, end + 1)}
    for row, note in enumerate(found):
        bar = first.get(int(note["bar"]), int(note["bar"]))
        pitches = _pitches(context, int(note["part"]), bar, crook)
        classes = {int(note["pitch"]) % 12} if same_class else _chord(context, int(note["onset"]))
        there = [pitch for pitch in pitches if pitch % 12 in classes]
        if int(note["pitch"]) not in pitches:
            kept[row] = bool(there) and int(note["duration"]) > 0
            note["pitch"] = min(there, key=lambda pitch: abs(pitch - int(note["pitch"])), default=0)
    respelt(found, context.score.bars["fifths"][found["bar"] - 1])
    return as_spelt(found[kept], context.score.notes)


def _chord(context: Context, onset: int) -> set[int]:
    """Pitch classes the piano sounds at a moment."""
    notes = context.score.notes
    sounding = (notes["onset"] <= onset) & (notes["onset"] + notes["duration"] > onset)
    return {int(pitch) % 12 for pitch in notes["pitch"][sounding]}
