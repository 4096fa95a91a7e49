"""What mapping hands on: players with their notes as sounding, each note linked to what caused it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.score import NOTE_DTYPE

if TYPE_CHECKING:
    from mapping.instruments import Instrument
    from reading.score import Mark, Score

__all__ = ["PART_DTYPE", "TECHNIQUES", "Arrangement", "Part", "Player", "Rows", "StepWords"]

TECHNIQUES = ("plain", "pizzicato", "tremolo", "muted", "harmonic", "col legno", "stopped", "roll", "secco")
"""Ways of playing, by their number in the ``technique`` field ("plain" is arco for strings)."""

PART_DTYPE = np.dtype(
    [
        *NOTE_DTYPE.descr,  # onset, duration, pitch, spelling, bar, flags … as in the score; part = row of the player
        ("source", "<i4"),  # id of the piano note it comes from, -1 where a step added it
        ("cause", "<i2"),  # row in Arrangement.steps that wrote it, -1 for what a singer has from the score
        ("technique", "<i1"),  # row in TECHNIQUES
        ("dynamic", "<i1"),  # row in reading.score.DYNAMICS where the step sets its own level, else -1
    ]
)

Rows = np.ndarray[Any, np.dtype[np.void]]
"""A table of notes: of the score's (NOTE_DTYPE) or of the players' (PART_DTYPE)."""


@dataclass(frozen=True)
class Player:
    """A line of the score: one wind player, or one string section.

    Attributes
    ----------
    name : str
        As the spec says it: ``horn 1``, ``violins 2``.
    instrument : Instrument
        Ranges, transposition, General MIDI programs, clef.
    count : int
        How many play from it (a section's desks times two; 1 for a wind player).
    family : str
        ``woodwind``, ``brass``, ``percussion``, ``keyboard``, ``plucked``, ``voice``, ``strings``.
    """

    name: str
    instrument: Instrument
    count: int
    family: str


@dataclass(frozen=True, eq=False)
class Part:
    """What one player has: notes (dtype PART_DTYPE, sorted by onset then pitch, read-only) and marks in ticks."""

    player: Player
    notes: np.ndarray[Any, np.dtype[np.void]]
    marks: tuple[Mark, ...] = ()

    def __post_init__(self) -> None:
        self.notes.setflags(write=False)


@dataclass(frozen=True)
class StepWords:
    """One step of the variant: its verb, the sentence the page shows, and its place in the spec file (from 1)."""

    verb: str
    words: str
    line: int = 0


@dataclass(frozen=True, eq=False)
class Arrangement:
    """One variant of the whole piece, in written time.

    Attributes
    ----------
    variant, says : str
        Name and one-line description from the spec.
    score : Score
        The piano score it comes from (bars, tempo and metre are taken from there).
    parts : tuple of Part
        In score order; players with nothing to play are kept (empty notes).
    steps : tuple of StepWords
    """

    variant: str
    says: str
    score: Score
    parts: tuple[Part, ...]
    steps: tuple[StepWords, ...] = ()
