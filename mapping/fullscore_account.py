"""What the written full score does not carry of the piano's signs, and why: an account for the arranger."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from mapping.fullscore_directions import Placed
from mapping.fullscore_lines import PEDALLED, octave_lines, pedals
from mapping.fullscore_pitch import Transposition
from reading.score import Flag, Remark

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from mapping.arrangement import Arrangement, Part
    from reading.score import Mark, Score

__all__ = ["not_written"]

_SHOWN = 6  # bars named before "and later"


def not_written(arrangement: Arrangement) -> tuple[Remark, ...]:
    """Return which signs of the piano stand in no part of the written full score, each kind once with its bars.

    Pedal signs are left out where no player has a pedal: what they hold is for a ``hold`` step to give. Octave lines
    are written as real octaves where a player reads those better. Neither is a loss of music; both are told.

    Parameters
    ----------
    arrangement : Arrangement
    """
    score, parts = arrangement.score, [part for part in arrangement.parts if len(part.notes)]
    found = []
    for kind, test, words in _TESTS:
        marks = [mark for mark in score.marks_of(kind) if test(mark, score, parts)]
        if marks:
            found.append(Remark(kind, f"{words} ({_where(marks, score)})", bar=score.bar_at(marks[0].onset)))
    return tuple(found)


def _where(marks: Iterable[Mark], score: Score) -> str:
    """Count and bars of marks, by printed bar numbers."""
    marks = list(marks)
    bars = list(dict.fromkeys(score.bar_at(mark.onset) for mark in marks))
    names = ", ".join(score.bar_numbers[bar - 1] or f"#{bar}" for bar in bars[:_SHOWN])
    return f"{len(marks)} in bar{'s' if len(bars) > 1 else ''} {names}{' and later' if len(bars) > _SHOWN else ''}"


def _no_pedal(mark: Mark, score: Score, parts: list[Part]) -> bool:
    """Whether nobody with a pedal plays while the piano's pedal is down."""
    return not any(_has(mark, part, pedals, score) for part in parts if part.player.instrument.name in PEDALLED)


def _has(mark: Mark, part: Part, write: Callable[[Part, Score, Placed], None], score: Score) -> bool:
    """Whether a part gets a mark when it is written."""
    placed = Placed()
    write(part, score, placed)
    return mark.onset in placed.opening


def _no_octave_line(mark: Mark, score: Score, parts: list[Part]) -> bool:
    """Whether the notes under an octave line stand at their real octave everywhere."""

    def write(part: Part, score: Score, placed: Placed) -> None:
        """Octave lines of a part, by its written pitches."""
        keys = [Transposition.of(part.player.instrument, int(fifths)) for fifths in score.bars["fifths"]]
        columns = (part.notes[name].tolist() for name in ("pitch", "step", "octave", "bar"))
        pitches = [
            keys[bar - 1].written(pitch, step, octave) for pitch, step, octave, bar in zip(*columns, strict=True)
        ]
        octave_lines(part, score, pitches, placed)

    return not any(_has(mark, part, write, score) for part in parts)


def _no_chord(mark: Mark, _: Score, parts: list[Part]) -> bool:
    """Whether an arpeggio is spread over players who have one note of it each."""
    for part in parts:
        mine = np.isin(part.notes["source"], mark.notes)
        mine &= (part.notes["flags"] & int(Flag.ARPEGGIO | Flag.ARPEGGIO_DOWN)) != 0
        single = part.player.instrument.family not in ("keyboard", "plucked")
        if int(mine.sum()) > int(single):
            return False
    return True


def _split_pair(mark: Mark, score: Score, parts: list[Part]) -> bool:
    """Whether no player has both ends of a glissando, or both chords of a tremolo between them."""
    if mark.kind == "tremolo" and not mark.value.startswith("between"):
        return False
    onsets = {int(score.notes["onset"][one]) for one in mark.notes}
    for part in parts:
        mine = part.notes["onset"][np.isin(part.notes["source"], mark.notes)]
        if onsets <= set(mine.tolist()):
            return False
    return True


def _nobody_sings(mark: Mark, _: Score, parts: list[Part]) -> bool:
    """Whether no singer has the note a syllable belongs to."""
    return not any(one.player.family == "voice" and np.isin(mark.notes, one.notes["source"]).any() for one in parts)


_TESTS = (
    ("lyric", _nobody_sings, "sung text is not written: no singer has its notes"),
    (
        "pedal",
        _no_pedal,
        "pedal signs are not written: no player who sounds there has a pedal; hold steps ring instead",
    ),
    ("ottava", _no_octave_line, "octave lines are written as real octaves"),
    ("arpeggio", _no_chord, "arpeggio signs are not written at players with one note of the chord"),
    ("glissando", _split_pair, "glissandi are not written: no player has both ends"),
    ("tremolo", _split_pair, "tremolos between two chords are not written: no player has both"),
)
