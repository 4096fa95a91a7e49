"""Percussion without pitch: what a step gives it are strokes, one for each attack, and rolls.

A note of such a player holds the key of the General MIDI percussion map where other notes have their pitch. Whatever
asks for pitches (harmony, compass, faithfulness, reduction) leaves these players out by :func:`pitched`.

References
----------
General MIDI System Level 1 (MIDI Association), percussion key map. N. Rimsky-Korsakov, *Principles of Orchestration*
(1922), ch. I, "Percussion instruments producing indefinite sounds"; ch. IV, "Use of percussion instruments for rhythm
and colour": they go with a rhythmic figure of the orchestra, their strokes with strong beats, accents and sforzandi.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from mapping.arrangement import TECHNIQUES
from mapping.fullscore_rhythm import beat_ticks
from reading.score import TICKS_PER_QUARTER, Flag

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from mapping.arrangement import Part, Player
    from mapping.draft import Context, Rows, Target
    from mapping.steps import StepOptions

__all__ = ["RINGS_S", "apart", "beaten", "one_at_a_time", "pitched", "problem", "rhythm", "rings_on", "roll", "stroke"]

_ROLL = TECHNIQUES.index("roll")
_SHORTEST, _BEAT = TICKS_PER_QUARTER // 4, TICKS_PER_QUARTER // 8
_KEPT = int(
    Flag.STACCATO | Flag.STACCATISSIMO | Flag.ACCENT | Flag.TENUTO | Flag.MARCATO | Flag.SFORZANDO | Flag.FERMATA
)
"""Signs of the piano's notes that mean something to a stroke; slurs, ornaments and pedal do not."""

RINGS_S = 1.0
"""What rings longer than this is left ringing unless it is to be secco."""

_DRY = Flag.STACCATO | Flag.STACCATISSIMO
_VERBS = {"play", "double", "stress", "build", "rest", "thin", "mark"}
_WAYS = ("roll", "secco")


def pitched(parts: Iterable[Part]) -> tuple[Part, ...]:
    """Return the parts of players whose notes have a pitch."""
    return tuple(part for part in parts if part.player.instrument.unpitched is None)


def apart(targets: Sequence[Target], context: Context) -> tuple[list[Target], list[Target]]:
    """Return the targets with pitch, and those without."""
    noisy = [target for target in targets if context.players[target.row].instrument.unpitched is not None]
    return [target for target in targets if target not in noisy], noisy


def problem(verb: str, how: str | None, octave: int, player: Player) -> tuple[str, str]:
    """Return what a step cannot ask of a player without pitch, and what to write instead; both empty where it can.

    Parameters
    ----------
    verb : str
    how : str or None
        Way of playing the step asks for.
    octave : int
        Octave the player's name carried, in semitones.
    player : Player
        Any player; those with a pitch have no problem here.
    """
    item = player.instrument
    if item.unpitched is None:
        return "", ""
    if verb not in _VERBS:
        return f"'{verb}' asks for pitches; there are none on the {item.name}.", "Use play, double, stress or build."
    if octave:
        return f"there is no octave on the {item.name}, for there is no pitch.", "Leave the octave out."
    if how is not None and how not in _WAYS:
        return f"there is no '{how}' on the {item.name}.", "Write roll, secco, or nothing."
    if (how == "roll" or verb == "build") and not item.unpitched.rolls:
        return f"the {item.name} cannot be rolled.", "Name the suspended cymbal."
    if verb == "build" and how == "secco":
        return f"the {item.name} rolls through a 'build', which cannot be secco.", "Leave 'how' out."
    return "", ""


def rhythm(piano: Rows, row: int, options: StepOptions, context: Context) -> Rows:
    """Return a layer's rhythm as strokes of a player: one for each attack, as long as its shortest note.

    Grace notes are left out; accents and staccato of the piano stay.

    Parameters
    ----------
    piano : ndarray, dtype NOTE_DTYPE
    row : int
        Row of the player.
    """
    main = piano[(piano["duration"] > 0) & ((piano["flags"] & int(Flag.GRACE | Flag.CUE)) == 0)]
    order = np.lexsort((main["duration"], main["onset"]))
    main = main[order]
    first = np.diff(main["onset"], prepend=-1) > 0
    notes = context.written(main[first], row, options)
    heads = np.flatnonzero(first)
    if len(heads):
        notes["flags"] = np.bitwise_or.reduceat(main["flags"], heads) & np.uint32(_KEPT)
        until = np.diff(notes["onset"])
        notes["duration"][:-1] = np.minimum(notes["duration"][:-1], until)
    return _untied(_on_key(notes, context.players[row]), context)


def stroke(onset: int, length: int, flags: int, row: int, options: StepOptions, context: Context) -> Rows:
    """Return one stroke of a player at *onset*, written *length* ticks long."""
    notes = context.made([(onset, length, 0)], row, options)
    notes["flags"] = flags
    return _untied(_on_key(notes, context.players[row]), context)


def _untied(notes: Rows, context: Context) -> Rows:
    """Shorten single strokes, in place, to what is read at a glance and needs no tie.

    At the start of a bar whole beats, elsewhere at most a beat, off the beat to the next one; what is dry a quarter.
    """
    item = context.players[int(notes["part"][0])].instrument.unpitched if len(notes) else None
    rings = item is not None and item.ring_s > RINGS_S
    for row in np.flatnonzero(notes["technique"] != _ROLL).tolist():
        note = notes[row]
        bar = context.score.bars[int(note["bar"]) - 1]
        beat, into = beat_ticks(int(bar["beats"]), int(bar["beat_type"])), int(note["onset"] - bar["onset"])
        if bar["pickup"]:
            into += 4 * TICKS_PER_QUARTER * int(bar["beats"]) // int(bar["beat_type"]) - int(bar["duration"])
        left = int(bar["onset"] + bar["duration"] - note["onset"])
        most = min(left, int(note["duration"])) if rings else min(left, int(note["duration"]), TICKS_PER_QUARTER)
        whole = most // beat * beat if into == 0 and most > beat else min(most, beat - into % beat)
        note["duration"] = min(whole, 4 * beat)
    return notes


def roll(start: int, end: int, row: int, options: StepOptions, context: Context) -> Rows:
    """Return a roll of a player from *start* to *end*, in ticks."""
    notes = context.made([(start, end - start, 0)], row, options)
    notes["technique"] = _ROLL
    return _on_key(notes, context.players[row])


def beaten(part: Part) -> Part:
    """Return a part whose rolls, where it has no pitch, are written out in 32nds: three strokes through a stem."""
    rolled = part.notes["technique"] == _ROLL
    if part.player.instrument.unpitched is None or not rolled.any():
        return part
    pieces = [part.notes[~rolled]]
    for one in part.notes[rolled]:
        count = max(1, -(-int(one["duration"]) // _BEAT))
        rows = np.repeat(one[None], count)
        rows["onset"] += np.arange(count) * _BEAT
        rows["duration"] = np.minimum(_BEAT, int(one["onset"] + one["duration"]) - rows["onset"])
        rows["flags"][1:] = 0
        pieces.append(rows)
    found = np.concatenate(pieces)
    return replace(part, notes=found[np.argsort(found["onset"], kind="stable")])


def rings_on(part: Part) -> list[int]:
    """Return the onsets of strokes that ring into silence: of what rings long, the last before a half note of rest."""
    item, notes = part.player.instrument.unpitched, part.notes
    if item is None or item.ring_s <= RINGS_S or not len(notes):
        return []
    end = notes["onset"] + notes["duration"]
    alone = np.append(notes["onset"][1:], np.iinfo(np.int64).max) >= end + 2 * TICKS_PER_QUARTER
    other = np.isin(notes["technique"], (_ROLL, TECHNIQUES.index("secco"))) | ((notes["flags"] & int(_DRY)) != 0)
    return [int(onset) for onset in notes["onset"][alone & ~other]]


def _on_key(notes: Rows, player: Player) -> Rows:
    """Put notes on the player's key, in place; the spelling is where the note stands on its line."""
    if player.instrument.unpitched is not None:
        notes["pitch"], notes["staff"], notes["voice"] = player.instrument.unpitched.key, 1, 1
        notes["step"], notes["alter"], notes["octave"] = 2, 0, 4
    return notes


def one_at_a_time(notes: Rows) -> Rows:
    """Return a player's strokes with one at a time: those at one moment are one, and a roll waits for single strokes.

    Parameters
    ----------
    notes : ndarray, dtype PART_DTYPE
        Of one player without pitch.
    """
    rolled = notes["technique"] == _ROLL
    strokes = _merged(notes[~rolled])
    rolls = _merged(notes[rolled])
    pieces = [strokes]
    busy_to = strokes["onset"] + strokes["duration"]
    for row in range(len(rolls)):
        start, end = int(rolls["onset"][row]), int(rolls["onset"][row] + rolls["duration"][row])
        inside = (strokes["onset"] < end) & (busy_to > start)
        pieces.append(_pieces(rolls[row : row + 1], start, end, strokes["onset"][inside], busy_to[inside]))
    found = np.concatenate(pieces)
    return found[np.argsort(found["onset"], kind="stable")]


def _merged(notes: Rows) -> Rows:
    """Strokes (or rolls) with those at one moment in one, each ending where the next begins at the latest."""
    notes = notes[np.lexsort((notes["cause"], notes["onset"]))]
    if not len(notes):
        return notes
    heads = np.flatnonzero(np.diff(notes["onset"], prepend=-1))
    lasts = np.append(heads[1:], len(notes)) - 1  # the latest step decides
    found: Rows = notes[lasts].copy()
    found["flags"] = np.bitwise_or.reduceat(notes["flags"], heads)
    found["duration"][:-1] = np.minimum(found["duration"][:-1], np.diff(found["onset"]))
    return found


def _pieces(one: Rows, start: int, end: int, busy_from: Rows, busy_to: Rows) -> Rows:
    """A roll's stretches between single strokes, none shorter than a sixteenth."""
    free = []
    for first, last in zip(busy_from.tolist(), busy_to.tolist(), strict=True):
        if first - start >= _SHORTEST:
            free.append((start, first))
        start = max(start, last)
    if end - start >= _SHORTEST:
        free.append((start, end))
    found = np.repeat(one, len(free))
    for place, (first, last) in enumerate(free):
        found["onset"][place], found["duration"][place] = first, last - first
    return found
