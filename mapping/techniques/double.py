"""``double``: the layer once more, at the unison, in octaves or in thirds."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np

from mapping.draft import Context, Draft, Rows
from mapping.sharing import reaches
from mapping.spelling import spell
from mapping.steps import OCTAVES, Compass, Layer, OnOptions
from mapping.unpitched import apart, rhythm
from reading.score import Flag

__all__ = ["Double"]


class Double:
    """Add a doubling to a layer.

    Octave doubling gains more power in the winds than unison doubling, because parts in octaves strengthen each
    other's overtones. Notes the player cannot reach (or outside ``compass``) are left to the layer itself. ``thirds``
    adds a third below, or a sixth where that is the note of the harmony; where neither is, the note is not doubled.
    A player who sounds one note at a time doubles one line, of a chord the highest note; of a bass everybody doubles
    the lowest. A section that is divided already keeps what it has. Percussion without pitch doubles the rhythm.

    References
    ----------
    C. V. Stanford, *Musical Composition* (1911), p. 107; N. Rimsky-Korsakov, *Principles of Orchestration* (1922),
    ch. II (doubling of melody in octaves), ch. III (parts in octaves).
    """

    name = "double"

    class Options(OnOptions):
        """``double: LAYER``, ``on``, ``at``, ``compass``."""

        double: Layer
        at: Literal["unison", "8va", "8vb", "15ma", "15mb", "thirds"] = "unison"
        compass: Compass | None = None

    def apply(self, draft: Draft, options: Options, context: Context) -> Draft:
        """Return the draft with the doubling added."""
        piano = context.piano(options.double, options)
        targets, noisy = apart(context.targets(options.on), context)
        found = [rhythm(_within(piano, options.compass), target.row, options, context) for target in noisy]
        if options.at == "thirds":
            return draft.adding(
                *found,
                *[
                    _thirds(_line(piano, target.row, options, context), target.row, target.octave, options, context)
                    for target in targets
                ],
            )
        for target in targets:
            shift = target.octave + OCTAVES.get(options.at, 0)
            line = _line(piano, target.row, options, context)
            notes = context.written(line, target.row, options, octave=shift)
            keep = reaches(context.players[target.row], notes["pitch"]) & _undivided(draft, target.row, notes, context)
            if options.compass is not None:
                keep &= (notes["pitch"] >= options.compass[0]) & (notes["pitch"] <= options.compass[1])
            found.append(notes[keep])
        return draft.adding(*found)

    def describe(self, options: Options) -> str:
        """Return the step in words."""
        where = "in unison" if options.at == "unison" else "in thirds" if options.at == "thirds" else options.at
        return f"{options.double} doubled {where} by {' and '.join(options.on)}"


def _within(piano: Rows, compass: tuple[int, int] | None) -> Rows:
    """Notes within a compass; all where there is none."""
    low, high = compass or (0, 127)
    return np.asarray(piano[(piano["pitch"] >= low) & (piano["pitch"] <= high)])


def _line(piano: Rows, row: int, options: Double.Options, context: Context) -> Rows:
    """What a player can double: all of it, but one line of the bass, and of anything where one note sounds at a time.

    Of a chord the outer note stays, and a note that sounds on ends where the next one of the line begins.
    """
    player = context.players[row]
    bass = options.double == "bass"
    if len(piano) < 2 or not (bass or (player.count == 1 and player.instrument.notes_at_once == 1)):
        return piano
    grace = piano["flags"] & int(Flag.GRACE) != 0
    main = np.flatnonzero(~grace)
    outer = piano["pitch"][main].astype(int) * (1 if bass else -1)
    main = main[np.lexsort((outer, piano["onset"][main]))]
    main = main[np.diff(piano["onset"][main], prepend=-1) > 0]
    line: Rows = piano.copy()
    until = np.diff(line["onset"][main])
    line["duration"][main[:-1]] = np.minimum(line["duration"][main[:-1]], until)
    rows = np.sort(np.concatenate([main, np.flatnonzero(grace)]))
    return np.asarray(line[rows])


def _undivided(draft: Draft, row: int, notes: Rows, context: Context) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """True where the player can take a note more: a section that is divided already keeps what it has."""
    own = draft.notes[draft.notes["part"] == row]
    if context.players[row].count == 1 or not len(own):
        return np.ones(len(notes), dtype=bool)
    begun = np.searchsorted(np.sort(own["onset"]), notes["onset"], side="right")
    ended = np.searchsorted(np.sort(own["onset"] + own["duration"]), notes["onset"], side="right")
    return np.asarray(begun - ended < 2)


def _thirds(piano: Rows, row: int, octave: int, options: Double.Options, context: Context) -> Rows:
    """A third below each note where the harmony has it, else a sixth, else nothing."""
    from mapping.harmony import span_at

    notes = context.written(piano, row, options, octave=octave)
    keep = np.zeros(len(notes), dtype=bool)
    instrument = context.players[row].instrument
    low, high = options.compass or (instrument.low, instrument.high)
    low, high = max(low, instrument.low), min(high, instrument.high)
    fifths = context.score.bars["fifths"][np.maximum(0, notes["bar"] - 1)]
    for place, note in enumerate(notes):
        span = span_at(context.piece.spans, int(note["onset"]))
        if span is None:
            continue
        for interval in (3, 4, 8, 9):
            pitch = int(note["pitch"]) - interval
            if pitch % 12 in span.pcs and low <= pitch <= high:
                note["pitch"] = pitch
                note["step"], note["alter"], note["octave"] = spell(pitch, int(fifths[place]), span)
                note["source"], keep[place] = -1, True
                break
    return notes[keep]
