"""A player's notes as voices bar by bar: chords, divisi where lengths differ, ties over bar lines, silence filled."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.fullscore_rhythm import Event
from reading.score import Flag

if TYPE_CHECKING:
    from mapping.draft import Rows
    from reading.score import Score

__all__ = ["Chord", "Grace", "Runs", "bars_of", "voiced"]


@dataclass
class Chord:
    """Notes that start and end together, or the part of them that lies in one bar; ticks from the start of the bar."""

    start: int
    end: int
    rows: list[int] = field(default_factory=list)
    top: int = 0
    voice: int = 0  # the piano's own, where it is kept


@dataclass
class Grace:
    """Grace notes struck together; *place* in ticks from the start of the bar."""

    place: int
    rows: list[int]
    after: bool = False


Runs = dict[int, tuple[int, int]]
"""Place in its run of grace notes and printed value, by row."""


def bars_of(
    notes: Rows, score: Score, rows: list[int] | None = None, runs: Runs | None = None, own: Any = None
) -> list[tuple[list[Chord], list[Grace]]]:
    """Return for every bar its chords and its grace notes in the order they are struck.

    Parameters
    ----------
    notes : ndarray, dtype PART_DTYPE
        Of one player.
    score : Score
    rows : list of int, optional
        Only these (one staff of the player).
    runs : dict of int to (int, int), optional
        Place in its run, and printed value, of grace notes.
    own : ndarray of int, shape (notes,), optional
        Voice of each note where the piano's voices stay apart (on two staves), 0 for none; without it, notes that go
        together are one chord.
    """
    rows = list(range(len(notes))) if rows is None else rows
    starts = score.bars["onset"].tolist()
    ends = (score.bars["onset"] + score.bars["duration"]).tolist()
    found: list[tuple[list[Chord], list[Grace]]] = [([], []) for _ in starts]
    grace = (notes["flags"] & int(Flag.GRACE)) != 0
    for onset, group, after in _graces(notes, [row for row in rows if grace[row]], runs or {}):
        bar = min(max(1, int(notes["bar"][group[0]])), len(starts)) - 1
        found[bar][1].append(Grace(min(onset, ends[bar]) - starts[bar], group, after))
    voices = np.zeros(len(notes), dtype=np.int64) if own is None else own
    for onset, end, group in _together(notes, [row for row in rows if not grace[row]], voices):
        bar = max(0, int(np.searchsorted(score.bars["onset"], onset, side="right")) - 1)
        while bar < len(starts) and starts[bar] < end:
            chord = Chord(max(onset, starts[bar]) - starts[bar], min(end, ends[bar]) - starts[bar], group)
            chord.voice = int(voices[group[0]])
            chord.top = max(int(notes["pitch"][row]) for row in group)
            if chord.end > chord.start:
                found[bar][0].append(chord)
            bar += 1
    return found


def _together(notes: Rows, rows: list[int], voices: Any) -> list[tuple[int, int, list[int]]]:
    """Groups of rows with one onset and one end; cues apart; a pitch that sounds twice at once gets its own group."""
    groups: dict[tuple[int, int, int, int], list[int]] = {}
    pitches, cues = notes["pitch"].tolist(), (notes["flags"] & int(Flag.CUE) != 0).tolist()
    for row in rows:
        onset, kind, copy = int(notes["onset"][row]), 2 * int(voices[row]) + cues[row], 0
        end = onset + int(notes["duration"][row])
        while any(pitches[other] == pitches[row] for other in groups.get((onset, end, kind, copy), [])):
            copy += 1
        groups.setdefault((onset, end, kind, copy), []).append(row)
    return [(onset, end, group) for (onset, end, _, _), group in groups.items()]


def _graces(notes: Rows, rows: list[int], runs: Runs) -> list[tuple[int, list[int], bool]]:
    """Grace notes in the order of their runs; those without a place of their own one after the other."""
    groups: dict[tuple[int, bool, int, int, int], list[int]] = {}
    for count, row in enumerate(rows):
        after = bool(int(notes["flags"][row]) & Flag.GRACE_AFTER)
        place = runs[row][0] if row in runs else 1000 + count
        key = (int(notes["onset"][row]), after, int(notes["staff"][row]), int(notes["voice"][row]), place)
        groups.setdefault(key, []).append(row)
    return [(key[0], groups[key], key[1]) for key in sorted(groups)]


def voiced(chords: list[Chord], graces: list[Grace], length: int, notes: Rows | None = None) -> list[list[Event]]:
    """Return the voices of one bar, each filled from its start to its end; the first has the upper line.

    Parameters
    ----------
    chords : list of Chord
    graces : list of Grace
    length : int
        Of the bar, ticks.
    notes : ndarray, dtype PART_DTYPE, optional
        Grace notes go to a note of their own voice where it is known.
    """
    voices: list[list[Chord]] = [[] for _ in {chord.voice for chord in chords if chord.voice}]
    place = {voice: number for number, voice in enumerate(sorted({chord.voice for chord in chords if chord.voice}))}
    for chord in sorted(chords, key=lambda one: (one.start, -one.top, one.end)):
        wished = voices[place[chord.voice]] if chord.voice else None
        if wished is None or (wished and wished[-1].end > chord.start):
            wished = next((one for one in voices[len(place) :] if one[-1].end <= chord.start), None)
        if wished is None:
            voices.append([chord])
        else:
            wished.append(chord)
    voices = [voice for voice in voices if voice]
    events = [_filled(voice, length) for voice in voices] or [_filled([], length)]
    for grace in graces:
        event = _host(events, grace, notes)
        late = grace.after and event.start + event.length == grace.place
        (event.after if late else event.grace).append(tuple(grace.rows))
    return events


def _filled(voice: list[Chord], length: int) -> list[Event]:
    """Events of a voice with its silences."""
    found, now = [], 0
    for chord in voice:
        if chord.start > now:
            found.append(Event(now, chord.start - now))
        found.append(Event(chord.start, chord.end - chord.start, tuple(chord.rows)))
        now = chord.end
    if now < length or not found:
        found.append(Event(now, length - now))
    return found


def _host(voices: list[list[Event]], grace: Grace, notes: Rows | None) -> Event:
    """The event a grace note stands before (or after): one that starts (ends) there, with notes if there is one."""
    every = [event for voice in voices for event in voice]
    here = [event for event in every if event.start == grace.place]
    if grace.after:
        here = [event for event in every if event.start + event.length == grace.place] or here

    def distance(event: Event) -> tuple[bool, int]:
        """Whether it is another voice, and how far its notes are."""
        rows, row = list(event.rows), grace.rows[0]
        if notes is None:
            return False, min(abs(one - row) for one in rows)
        other = all(notes["voice"][one] != notes["voice"][row] for one in rows)
        return other, min(abs(int(notes["pitch"][one]) - int(notes["pitch"][row])) for one in rows)

    sounding = [event for event in here if event.rows]
    if sounding:
        return min(sounding, key=distance)
    return here[0] if here else voices[0][-1]
