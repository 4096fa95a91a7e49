"""Hands, voices and spelling for notes that come without them. Rules: common practice, no source."""

from __future__ import annotations

import re
from collections import defaultdict
from itertools import groupby
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from reading.midi_notes import MidiNote, Stream

__all__ = ["into_staves", "into_voices", "key_of", "spelled"]

_REACH = 14  # semitones a hand spans without effort
_SPREAD_COST = 3.0
_DRIFT = 0.3
_STEPS = (0, 4, 1, 5, 2, 6, 3)  # C G D A E B F


def into_staves(streams: list[Stream]) -> int:
    """Set the staff of every note of a keyboard; return the number of staves, 2.

    Tracks named for a hand go there; two or more tracks or channels are told apart by their mean pitch; one stream is
    split chord by chord.
    """
    if len(streams) == 1:
        _split(streams[0].notes)
        return 2
    means = {id(stream): _mean_pitch(stream) for stream in streams}
    order = sorted(streams, key=lambda stream: -means[id(stream)])
    for place, stream in enumerate(order):
        word = stream.name.lower()
        staff = 1 if place == 0 or (place < len(order) - 1 and means[id(stream)] >= 60) else 2
        if re.search(r"\b(right|rh|r\.h\.|treble|upper)\b", word):
            staff = 1
        elif re.search(r"\b(left|lh|l\.h\.|bass|lower)\b", word):
            staff = 2
        for note in stream.notes:
            note.staff = staff
    return 2


def _mean_pitch(stream: Stream) -> float:
    """Return the mean pitch of a stream."""
    return sum(note.pitch for note in stream.notes) / len(stream.notes)


def _split(notes: list[MidiNote]) -> None:
    """Give each chord's notes to the hands so that both stay near where they were and span no more than they can."""
    right, left = 67.0, 48.0
    notes.sort(key=lambda note: (note.start, note.pitch))
    for _, group in groupby(notes, key=lambda note: note.start):
        chord = list(group)
        cut = min(range(len(chord) + 1), key=lambda place: _strain(chord, place, left, right))
        for place, note in enumerate(chord):
            note.staff = 2 if place < cut else 1
        if chord[:cut]:
            left += _DRIFT * (sum(note.pitch for note in chord[:cut]) / cut - left)
        if chord[cut:]:
            right += _DRIFT * (sum(note.pitch for note in chord[cut:]) / (len(chord) - cut) - right)
        left, right = min(left, right - 5), max(right, left + 5)


def _strain(chord: list[MidiNote], cut: int, left: float, right: float) -> float:
    """Return how far a division of a chord is from the hands' places and reach."""
    low, high = chord[:cut], chord[cut:]
    cost = sum(abs(note.pitch - left) for note in low) + sum(abs(note.pitch - right) for note in high)
    for hand in (low, high):
        if hand:
            cost += _SPREAD_COST * max(0, hand[-1].pitch - hand[0].pitch - _REACH)
    return cost


def into_voices(streams: list[Stream]) -> None:
    """Number voices on each staff: notes struck and released together share one, overlapping ones do not."""
    staves: dict[int, list[MidiNote]] = defaultdict(list)
    for stream in streams:
        for note in stream.notes:
            staves[note.staff].append(note)
    for notes in staves.values():
        free: list[int] = []
        notes.sort(key=lambda note: (note.start, -note.pitch))
        for (start, end), group in groupby(notes, key=lambda note: (note.start, note.end)):
            place = next((voice for voice, until in enumerate(free) if until <= start), None)
            if place is None:
                place = min(len(free), 7)
                if place == len(free):
                    free.append(0)
            free[place] = end
            for note in group:
                note.voice = str(place + 1)


def key_of(pitches: list[int]) -> tuple[int, int]:
    """Return the key signature (fifths, mode unknown) whose scale holds most of the notes."""
    counts = [0] * 12
    for pitch in pitches:
        counts[pitch % 12] += 1

    def inside(fifths: int) -> int:
        return sum(counts[(7 * (fifths + place)) % 12] for place in range(-1, 6))

    return max(range(-6, 7), key=lambda fifths: (inside(fifths), -abs(fifths))), -1


def spelled(pitch: int, fifths: int) -> tuple[int, int, int]:
    """Return step, alter and octave: the spelling nearest to the key on the line of fifths.

    Parameters
    ----------
    pitch : int
        MIDI pitch.
    fifths : int
        Key signature. The window reaches from four fifths below the tonic of the major key to seven above.
    """
    place = next(place for place in range(fifths - 4, fifths + 8) if (7 * place) % 12 == pitch % 12)
    step = _STEPS[place % 7]
    alter = (place + 1) // 7
    octave = (pitch - alter) // 12 - 1
    return step, alter, octave
