"""Signs of a part: dynamics, hairpins, words, lines, slurs and details of notes, by where they are written."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from mapping.arrangement import TECHNIQUES
from mapping.fullscore_details import Details, details_of
from mapping.fullscore_directions import Direction, Placed, words
from mapping.fullscore_dynamics import dynamics, hairpins, side
from mapping.fullscore_global import attacks, players_words
from mapping.fullscore_lines import octave_lines, pedals
from mapping.fullscore_slurs import Slurs, slurs
from mapping.singing import is_singer, marked_for
from mapping.unpitched import rings_on

if TYPE_CHECKING:
    from mapping.arrangement import Arrangement, Part
    from mapping.draft import Rows
    from reading.score import Score

__all__ = ["Signs", "signs_of"]

_WORDS = {"pizzicato": "pizz.", "muted": "con sord.", "col legno": "col legno", "secco": "secco"}
_BACK = {"pizzicato": "arco", "muted": "senza sord.", "col legno": "arco", "secco": "ord."}


@dataclass
class Signs:
    """What is written into one part.

    Attributes
    ----------
    placed : Placed
        What stands beside the notes.
    slurs : dict of int to list of (str, int, int)
        Row of a note to starts and stops with their numbers and ticks.
    details : Details
        What the piano's marks say of the notes beyond their flags.
    """

    placed: Placed = field(default_factory=Placed)
    slurs: Slurs = field(default_factory=dict)
    details: Details = field(default_factory=Details)


def signs_of(part: Part, arrangement: Arrangement, pitches: list[tuple[int, int, int]]) -> Signs:
    """Return the signs of one part, found from the piano's marks and the steps' own.

    Parameters
    ----------
    pitches : list of (int, int, int)
        Written (step, alter, octave) of every note.
    """
    signs = Signs()
    if not len(part.notes):
        return signs
    score, placed = marked_for(part, arrangement.score), signs.placed
    signs.details = details_of(part.notes, score)
    octave_lines(part, score, pitches, placed)
    dynamics(part, score, signs.details, placed)
    _techniques(part.notes, signs)
    for onset in rings_on(part):
        signs.placed.opening[onset].append(Direction("above", words("l.v.", "")))
    _divisi(part, arrangement, signs)
    hairpins(part, score, placed)
    _texts(part, score, signs)
    pedals(part, score, placed)
    if part.player.instrument.unpitched is None:  # strokes are not bound
        signs.slurs = slurs(part, score, signs.details.graces)
    if is_singer(part.player):
        _above(placed)
    return signs


def _above(placed: Placed) -> None:
    """Put all signs above the staff: below it stands the text."""
    for signs in (*placed.opening.values(), *placed.closing.values()):
        signs[:] = [sign._replace(placement="above") for sign in signs]


def _techniques(notes: Rows, signs: Signs) -> None:
    """Words where the way of playing changes."""
    before = 0
    for row in np.argsort(notes["onset"], kind="stable").tolist():
        technique = int(notes["technique"][row])
        if technique == before:
            continue
        onset, old, new = int(notes["onset"][row]), TECHNIQUES[before], TECHNIQUES[technique]
        word = _WORDS.get(new) or _BACK.get(old, "")
        if new not in _WORDS and new != "plain" and old not in _BACK:
            word = ""
        if word:
            signs.placed.opening[onset].append(Direction("above", words(word, "")))
        before = technique


def _divisi(part: Part, arrangement: Arrangement, signs: Signs) -> None:
    """``div.`` where a section begins to have several notes at once, ``unis.`` at the first whole bar without.

    Chords that an accent asks for in multiple stops are not divided.
    """
    if part.player.count < 2:
        return
    struck = [row for row, step in enumerate(arrangement.steps) if step.verb == "stress"]
    notes = part.notes[~np.isin(part.notes["cause"], struck) & (part.notes["duration"] > 0)]
    busy = np.maximum.accumulate(notes["onset"] + notes["duration"]) if len(notes) else notes["onset"]
    several = np.zeros(len(notes), dtype=bool)
    several[1:] = busy[:-1] > notes["onset"][1:]
    divided = False
    for bar in np.unique(notes["bar"]).tolist():
        here = notes["bar"] == bar
        now = bool(several[here].any())
        if now != divided:
            rows = here & several if now else here
            onset = int(notes["onset"][rows].min())
            signs.placed.opening[onset].append(Direction("above", words("div." if now else "unis.", "")))
            divided = now


def _texts(part: Part, score: Score, signs: Signs) -> None:
    """Words of the piano at notes the part has from it, and words of steps."""
    own, staves = attacks(part.notes, score), part.player.instrument.staves
    said: set[tuple[int, str]] = set()
    for mark in players_words(score):
        if (mark.onset, mark.part, mark.staff) in own and (staves > 1 or (mark.onset, mark.value) not in said):
            said.add((mark.onset, mark.value))
            placement, staff = side(mark.staff, staves) if staves > 1 else ("above", 1)
            signs.placed.opening[mark.onset].append(Direction(placement, words(mark.value), staff))
    for mark in part.marks:
        if mark.kind == "text":
            signs.placed.opening[mark.onset].append(Direction("above", words(mark.value)))
