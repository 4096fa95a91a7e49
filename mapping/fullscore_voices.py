"""A player's notes as voices bar by bar: chords, divisi where lengths differ, ties over bar lines, silence filled."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from mapping.fullscore_rhythm import Event
from reading.score import Flag

if TYPE_CHECKING:
    from mapping.draft import Rows
    from reading.score import Score

__all__ = ["Chord", "bars_of", "voiced"]


@dataclass
class Chord:
    """Notes that start and end together, or the part of them that lies in one bar; ticks from the start of the bar."""

    start: int
    end: int
    rows: list[int] = field(default_factory=list)
    top: int = 0


def bars_of(notes: Rows, score: Score) -> list[tuple[list[Chord], list[tuple[int, list[int]]]]]:
    """Return for every bar its chords, and its grace notes as (place in the bar, rows).

    Parameters
    ----------
    notes : ndarray, dtype PART_DTYPE
        Of one player (or one staff of it).
    score : Score
    """
    starts = score.bars["onset"].tolist()
    ends = (score.bars["onset"] + score.bars["duration"]).tolist()
    found: list[tuple[list[Chord], list[tuple[int, list[int]]]]] = [([], []) for _ in starts]
    for onset, end, rows in _together(notes):
        bar = max(0, int(np.searchsorted(score.bars["onset"], onset, side="right")) - 1)
        if end <= onset:
            found[bar][1].append((min(onset, ends[bar]) - starts[bar], rows))
            continue
        while bar < len(starts) and starts[bar] < end:
            chord = Chord(max(onset, starts[bar]) - starts[bar], min(end, ends[bar]) - starts[bar], rows)
            chord.top = max(int(notes["pitch"][row]) for row in rows)
            if chord.end > chord.start:
                found[bar][0].append(chord)
            bar += 1
    return found


def _together(notes: Rows) -> list[tuple[int, int, list[int]]]:
    """Groups of rows with one onset and one end; a pitch that sounds twice at once gets a group of its own."""
    groups: dict[tuple[int, int, int], list[int]] = {}
    grace = (notes["flags"] & int(Flag.GRACE)) != 0
    onsets, lengths = notes["onset"].tolist(), notes["duration"].tolist()
    for row, (onset, length) in enumerate(zip(onsets, lengths, strict=True)):
        copy = 0
        end = onset if grace[row] else onset + length
        if grace[row]:
            copy = -int(notes["voice"][row]) * 1000 - len([1 for key in groups if key[:2] == (onset, end)])
        else:
            while any(notes["pitch"][other] == notes["pitch"][row] for other in groups.get((onset, end, copy), [])):
                copy += 1
        groups.setdefault((onset, end, copy), []).append(row)
    return [(onset, end, rows) for (onset, end, _), rows in groups.items()]


def voiced(chords: list[Chord], graces: list[tuple[int, list[int]]], length: int) -> list[list[Event]]:
    """Return the voices of one bar, each filled from its start to its end; the first has the upper line.

    Parameters
    ----------
    chords : list of Chord
    graces : list of (int, list of int)
        Place in the bar, and rows.
    length : int
        Of the bar, ticks.
    """
    voices: list[list[Chord]] = []
    for chord in sorted(chords, key=lambda one: (one.start, -one.top, one.end)):
        free = next((voice for voice in voices if voice[-1].end <= chord.start), None)
        if free is None:
            voices.append([chord])
        else:
            free.append(chord)
    events = [_filled(voice, length) for voice in voices] or [_filled([], length)]
    for place, rows in graces:
        event = _host(events, place, rows)
        event.grace.append(tuple(rows))
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


def _host(voices: list[list[Event]], place: int, rows: list[int]) -> Event:
    """The event a grace note stands before: one that starts there, with notes if there is one."""
    candidates = [event for voice in voices for event in voice if event.start == place]
    sounding = [event for event in candidates if event.rows]
    if sounding:
        return min(sounding, key=lambda event: min(abs(one - rows[0]) for one in event.rows))
    if candidates:
        return candidates[0]
    return voices[0][-1]
