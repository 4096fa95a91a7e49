"""The score as read: one immutable note table in exact ticks, bars, and every mark with its place.

Written time only. Ornaments, grace notes, arpeggios, tremolos, pedal and repeats are *marks* here; how they sound is
decided later (:mod:`reading.playing`), so that nothing written is lost.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntFlag
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = [
    "BAR_DTYPE",
    "DYNAMICS",
    "NOTE_DTYPE",
    "TICKS_PER_QUARTER",
    "Flag",
    "Mark",
    "PartInfo",
    "Remark",
    "Score",
    "quarters",
    "ticks",
]

TICKS_PER_QUARTER = 10_080
"""Exact for every tuplet built from 2, 3, 5 and 7 down to the 128th note."""

DYNAMICS = ("pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff")
"""Dynamic marks in rising order; the index is the level used in tables (p = 3, mf = 5, f = 6)."""


class Flag(IntFlag):
    """What is written at a note, as bits of the ``flags`` field. Details (accidentals, ends) are in the marks table."""

    GRACE = 1 << 0  # no written time of its own; duration is 0
    GRACE_SLASH = 1 << 1  # short grace (acciaccatura)
    GRACE_AFTER = 1 << 2  # played at the end of the note before it (after-beat)
    TIED = 1 << 3  # merged from two or more written notes
    ACCENT = 1 << 4
    MARCATO = 1 << 5  # strong accent
    STACCATO = 1 << 6
    STACCATISSIMO = 1 << 7
    TENUTO = 1 << 8
    SFORZANDO = 1 << 9  # sf, sfz, fz, rfz, sffz: an accent, not a dynamic
    FP = 1 << 10  # fp, sfp: loud, then soft at once
    FERMATA = 1 << 11
    ARPEGGIO = 1 << 12  # broken upward
    ARPEGGIO_DOWN = 1 << 13
    NON_ARPEGGIO = 1 << 14  # bracket: all together
    TRILL = 1 << 15
    MORDENT = 1 << 16  # lower neighbour
    INVERTED_MORDENT = 1 << 17  # upper neighbour
    TURN = 1 << 18
    INVERTED_TURN = 1 << 19
    TREMOLO = 1 << 20  # repeated on itself; the mark gives the number of beams
    TREMOLO_BETWEEN = 1 << 21  # alternating with the note the mark names
    SLUR_START = 1 << 22
    SLUR_INSIDE = 1 << 23  # under a slur, neither first nor last
    SLUR_END = 1 << 24
    GLISSANDO = 1 << 25
    CROSS_STAFF = 1 << 26  # drawn on another staff than its voice's own
    CUE = 1 << 27  # small notes, not to be played


NOTE_DTYPE = np.dtype(
    [
        ("id", "<i4"),  # row number; notes are sorted by onset, pitch, part, staff, voice
        ("onset", "<i8"),  # ticks from the start of the piece as printed
        ("duration", "<i8"),  # ticks, ties merged; 0 for grace notes
        ("pitch", "<i2"),  # sounding MIDI pitch, 0-127
        ("step", "<i1"),  # sounding spelling: 0 = C … 6 = B
        ("alter", "<i1"),  # sounding spelling: semitones of the accidental, -2 … 2
        ("octave", "<i1"),  # sounding spelling: 4 holds middle C
        ("part", "<i2"),  # row in Score.parts
        ("staff", "<i1"),  # 1 = upper staff of its part
        ("voice", "<i2"),  # 1, 2 … within staff and bar
        ("bar", "<i4"),  # bar index, from 1
        ("velocity", "<i2"),  # 0-127 where the source has it (MIDI files), else -1
        ("flags", "<u4"),  # bits of Flag
    ]
)

BAR_DTYPE = np.dtype(
    [
        ("index", "<i4"),  # 1, 2, 3 … for every bar and volta
        ("onset", "<i8"),  # ticks
        ("duration", "<i8"),  # ticks really filled
        ("beats", "<i2"),  # metre, upper figure
        ("beat_type", "<i2"),  # metre, lower figure
        ("fifths", "<i1"),  # key signature, sharps positive
        ("minor", "<i1"),  # 1 minor, 0 major, -1 not said
        ("pickup", "?"),  # shorter than its metre, at the start
        ("repeat_start", "?"),
        ("repeat_end", "<i2"),  # 0 none, else how often the passage is played in all
        ("volta", "<u4"),  # bits: 1 << (n - 1) for ending n; 0 outside endings
        ("double_bar", "?"),  # double or final bar line at its end
    ]
)


@dataclass(frozen=True)
class Mark:
    """One sign at one place.

    Attributes
    ----------
    kind : str
        ``dynamic``, ``accent`` (sf, fp …), ``hairpin`` (value ``cresc`` or ``dim``), ``pedal``, ``slur``, ``tempo``
        (value: quarters per minute), ``text``, ``fermata``, ``ottava``, ``arpeggio``, ``ornament``, ``tremolo``,
        ``glissando``, ``jump`` (``da capo``, ``dal segno``, each with ``al fine`` or ``al coda`` where said, ``segno``,
        ``coda``, ``to coda``, ``fine``; covers its bar), ``rehearsal``, ``stroke`` (percussion without
        pitch; value: place on its staff and signs, ``E4 roll accent``), ``lyric`` (a syllable of one verse; value:
        ``1 begin|Bäch``, see :mod:`reading.sung`), ``head`` (in sung parts: a further head of a
        note tied within its bar), ``graces`` (a run of grace notes; value: for each of its notes place in the run and
        printed value, ``0/8 1/16``).
    onset, end : int
        Ticks; equal where the mark has no length.
    part, staff : int
        Row of the part; staff from 1, or 0 for the whole part.
    value : str
        As printed or normalised (``mf``, ``cresc``, ``dolce``, ``96``, ``trill:above sharp``, tremolo ``3`` or
        ``between:3`` for its beams, ottava ``8va`` ``8vb`` ``15ma``, pedal ``damper`` ``sostenuto``).
    notes : tuple of int
        Ids of the notes it belongs to, where it belongs to notes.
    """

    kind: str
    onset: int
    end: int
    part: int = 0
    staff: int = 0
    value: str = ""
    notes: tuple[int, ...] = ()


@dataclass(frozen=True)
class Remark:
    """Something that was not carried, or was repaired, with its place (bar index 0: the whole piece; staff 0: all)."""

    kind: str
    message: str
    bar: int = 0
    part: int = 0
    staff: int = 0


@dataclass(frozen=True)
class PartInfo:
    """A part of the source: name as printed, number of staves, transposition in semitones (sounding − written)."""

    name: str
    staves: int = 1
    transpose: int = 0


@dataclass(frozen=True, eq=False)
class Score:
    """A piece as written.

    Attributes
    ----------
    title, composer : str
        As printed; may be empty.
    source : str
        File name without folder.
    sha256 : str
        Of the file's bytes: two scores of one hash are one score.
    parts : tuple of PartInfo
    notes : ndarray, dtype NOTE_DTYPE, read-only
    bars : ndarray, dtype BAR_DTYPE, read-only
    bar_numbers : tuple of str
        Bar numbers as printed, by row of ``bars``.
    marks : tuple of Mark
        Sorted by onset.
    not_carried, repaired : tuple of Remark
        What the file held that is not here; what did not add up and was put right.
    """

    title: str
    composer: str
    source: str
    sha256: str
    parts: tuple[PartInfo, ...]
    notes: np.ndarray[Any, np.dtype[np.void]]
    bars: np.ndarray[Any, np.dtype[np.void]]
    bar_numbers: tuple[str, ...]
    marks: tuple[Mark, ...] = ()
    not_carried: tuple[Remark, ...] = ()
    repaired: tuple[Remark, ...] = ()
    counts: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.notes.setflags(write=False)
        self.bars.setflags(write=False)

    @property
    def end(self) -> int:
        """End of the last bar, in ticks."""
        return int(self.bars["onset"][-1] + self.bars["duration"][-1]) if len(self.bars) else 0

    def marks_of(self, *kinds: str) -> Iterator[Mark]:
        """Yield the marks of the given kinds in order."""
        return (mark for mark in self.marks if mark.kind in kinds)

    def bar_at(self, onset: int) -> int:
        """Return the index (from 1) of the bar that holds *onset* ticks."""
        row = int(np.searchsorted(self.bars["onset"], onset, side="right"))
        return max(1, row)

    def span(self, first_bar: int, last_bar: int) -> tuple[int, int]:
        """Return ``(start, end)`` in ticks of the bars *first_bar* to *last_bar* (indices from 1, both included)."""
        start, last = self.bars[first_bar - 1], self.bars[last_bar - 1]
        return int(start["onset"]), int(last["onset"] + last["duration"])


def ticks(length: Fraction | float | int) -> int:
    """Return a length in quarters as ticks.

    Parameters
    ----------
    length : Fraction, float or int
        Quarters; floats are taken to the nearest tick.
    """
    return round(Fraction(length) * TICKS_PER_QUARTER)


def quarters(length: int) -> Fraction:
    """Return a length in ticks as exact quarters."""
    return Fraction(int(length), TICKS_PER_QUARTER)
