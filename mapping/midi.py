"""Multitrack MIDI: one track per player, exact to the tick of the score.

Written with mido rather than through pretty_midi, which keeps time in seconds, gives each track one program for all its
notes, and shares channels by counting, so that the sixteenth player's program would reach the first one.

Rules: time is written time, repeats as printed. The resolution is the smallest of :data:`RESOLUTIONS` in which every
onset and end is a whole tick, so nothing is rounded. Grace notes stand a 32nd apart before their note (on it where the
piece begins); every other note starts at its tick and ends at its written end. Percussion without pitch plays on
channel 10 by the keys of the General MIDI percussion map; its rolls are written out in 32nds, because a key struck once
does not roll.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np

from base.writing import write_bytes
from mapping.arrangement import TECHNIQUES
from mapping.unpitched import beaten, pitched
from reading.score import DYNAMICS, TICKS_PER_QUARTER, Flag

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from mapping.arrangement import Arrangement, Part
    from mapping.draft import Rows
    from reading.score import Score

__all__ = ["RESOLUTIONS", "VELOCITIES", "midi_bytes", "note_times", "velocities", "write_midi"]

RESOLUTIONS = (480, 1680, 3360, TICKS_PER_QUARTER)
"""Ticks per quarter that divide the score's own; the finest fits the 15 bits of a MIDI file's header."""

VELOCITIES = (12, 19, 32, 44, 57, 70, 89, 108, 114, 120)
"""Velocity per dynamic, pppp to ffff: music21's volume scalars (``dynamics.py``) times 127, its ends carried on."""

_GRACE = TICKS_PER_QUARTER // 8
_ACCENT, _MARCATO, _SFORZANDO = 12, 18, 19  # added velocity; one dynamic step is 13 to 19 from p to ff
_DRUMS = 9  # from 0: MIDI's channel 10
_MELODIC = [channel for channel in range(16) if channel != _DRUMS]


def write_midi(arrangement: Arrangement, path: Path) -> None:
    """Write an arrangement as a Standard MIDI File of format 1.

    Parameters
    ----------
    arrangement : Arrangement
    path : Path

    Raises
    ------
    OutputError
        Where the file cannot be written.
    """
    write_bytes(path, midi_bytes(arrangement))


def midi_bytes(arrangement: Arrangement) -> bytes:
    """Return the bytes of the MIDI file.

    References
    ----------
    Standard MIDI Files 1.0 (MIDI Manufacturers Association): format 1, first track holds tempo and metre; the port
    event (FF 21) keeps players apart where more than fifteen need a channel; lyric events (FF 05), one a syllable.
    General MIDI System Level 1 (MIDI Association): percussion on channel 10, percussion key map.
    """
    import mido

    parts = [beaten(part) for part in arrangement.parts]
    times = [note_times(part.notes) for part in parts]
    resolution = _resolution(arrangement, times)
    file = mido.MidiFile(type=1, ticks_per_beat=resolution, charset="utf-8")
    file.tracks.append(_track(_conductor(arrangement.score, resolution, arrangement)))
    melodic = 0
    for part, placed in zip(parts, times, strict=True):
        file.tracks.append(_track(_player(part, placed, melodic, resolution, arrangement)))
        melodic += part.player.instrument.unpitched is None
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def note_times(notes: Rows) -> np.ndarray[Any, np.dtype[np.int64]]:
    """Return start and end of every note in score ticks, shape (notes, 2); grace notes given their place.

    Parameters
    ----------
    notes : ndarray, dtype PART_DTYPE
    """
    start, end = notes["onset"].copy(), notes["onset"] + notes["duration"]
    grace = (notes["flags"] & int(Flag.GRACE)) != 0
    grace |= notes["duration"] <= 0
    for onset in np.unique(notes["onset"][grace]).tolist():
        rows = np.flatnonzero(grace & (notes["onset"] == onset))
        order = rows[np.argsort(notes["id"][rows], kind="stable")]
        for place, row in enumerate(order.tolist()):
            before = (len(order) - place) * _GRACE
            start[row] = max(0, onset - before)
            end[row] = start[row] + _GRACE
    return np.stack([start, end], axis=1)


def velocities(part: Part, arrangement: Arrangement) -> np.ndarray[Any, np.dtype[np.int64]]:
    """Return the MIDI velocity of every note of a part, shape (notes,), from dynamics, hairpins and accents."""
    from mapping.levels import levels, levels_at

    notes, score = part.notes, arrangement.score
    level = levels_at(score, notes["onset"]).astype(np.float64)
    piano = notes["source"] >= 0
    if piano.any():
        level[piano] = levels(score)[notes["source"][piano]]
    own = notes["dynamic"] >= 0
    level[own] = notes["dynamic"][own]
    loud = np.asarray(np.interp(level, np.arange(len(DYNAMICS)), VELOCITIES))
    for flag, more in ((Flag.ACCENT, _ACCENT), (Flag.MARCATO, _MARCATO), (Flag.SFORZANDO | Flag.FP, _SFORZANDO)):
        loud = np.where((notes["flags"] & int(flag)) != 0, loud + more, loud)
    return np.asarray(np.clip(np.rint(loud), 1, 127), dtype=np.int64)


def _resolution(arrangement: Arrangement, times: list[np.ndarray[Any, Any]]) -> int:
    """Smallest resolution in which everything is a whole tick."""
    score = arrangement.score
    places = np.concatenate([score.bars["onset"], [score.end], *(array.ravel() for array in times)])
    return next(one for one in RESOLUTIONS if not np.any(places % (TICKS_PER_QUARTER // one)))


def _conductor(score: Score, resolution: int, arrangement: Arrangement) -> list[tuple[int, int, Any]]:
    """Title, tempo, metre and key events as (tick, rank, message)."""
    import mido

    step = TICKS_PER_QUARTER // resolution
    title = " – ".join(text for text in (score.title or score.source, arrangement.variant) if text)
    events: list[tuple[int, int, Any]] = [(0, 0, mido.MetaMessage("track_name", name=title))]
    for tick, tempo in _tempos(score):
        events.append((tick // step, 1, mido.MetaMessage("set_tempo", tempo=tempo)))
    metre: tuple[int, int] | None = None
    key: tuple[int, int] | None = None
    for bar in score.bars:
        tick = int(bar["onset"]) // step
        if (int(bar["beats"]), int(bar["beat_type"])) != metre:
            metre = int(bar["beats"]), int(bar["beat_type"])
            clocks = 36 if metre[0] % 3 == 0 and metre[0] > 3 and metre[1] == 8 else 96 // max(1, metre[1])
            signature = mido.MetaMessage(
                "time_signature", numerator=metre[0], denominator=metre[1], clocks_per_click=max(1, clocks)
            )
            events.append((tick, 2, signature))
        if (int(bar["fifths"]), int(bar["minor"])) != key:
            key = int(bar["fifths"]), int(bar["minor"])
            events.append((tick, 3, mido.MetaMessage("key_signature", key=_key_name(*key))))
    events.append((-(-score.end // step), 9, None))
    return events


def _key_name(fifths: int, minor: int) -> str:
    """Key as mido names it."""
    names = ("Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#")
    minors = ("Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#", "G#", "D#", "A#")
    row = max(-7, min(7, fifths)) + 7
    return f"{minors[row]}m" if minor == 1 else names[row]


def _tempos(score: Score) -> list[tuple[int, int]]:
    """(score tick, microseconds per quarter) at every beat where the tempo changes."""
    from reading import Timeline

    beats: list[int] = []
    for bar in score.bars:
        beat = 4 * TICKS_PER_QUARTER // max(1, int(bar["beat_type"]))
        beats += range(int(bar["onset"]), int(bar["onset"] + bar["duration"]), beat)
    marks = [mark.onset for mark in score.marks_of("tempo", "fermata")]
    places = np.unique(np.array([0, *beats, *marks, score.end], dtype=np.int64))
    seconds = np.asarray(Timeline(score).seconds(places), dtype=np.float64)
    found: list[tuple[int, int]] = []
    for row in range(len(places) - 1):
        length = (places[row + 1] - places[row]) / TICKS_PER_QUARTER
        tempo = min(0xFFFFFF, max(1, round((seconds[row + 1] - seconds[row]) / length * 1e6)))
        if not found or abs(found[-1][1] - tempo) > 1:
            found.append((int(places[row]), tempo))
    return found or [(0, 500_000)]


def _player(
    part: Part, times: np.ndarray[Any, Any], row: int, resolution: int, arrangement: Arrangement
) -> list[tuple[int, int, Any]]:
    """Events of one player: name, port, programs, text, notes; *row* counts the players with pitch before."""
    import mido

    noisy = part.player.instrument.unpitched is not None
    port, channel = divmod(row, len(_MELODIC))
    port, channel = (0, _DRUMS) if noisy else (port, _MELODIC[channel])
    step = TICKS_PER_QUARTER // resolution
    player = part.player
    events: list[tuple[int, int, Any]] = [(0, 0, mido.MetaMessage("track_name", name=player.name))]
    if len(pitched(arrangement.parts)) > len(_MELODIC):
        events.append((0, 1, mido.MetaMessage("midi_port", port=port)))
    events += [] if noisy else _programs(part, times, channel, step)  # General MIDI has one kit
    events += _text(part, arrangement, step)
    loud = velocities(part, arrangement)
    for row, pitch in enumerate(part.notes["pitch"].tolist()):
        start, end = int(times[row, 0]) // step, int(times[row, 1]) // step
        events.append((start, 4, mido.Message("note_on", channel=channel, note=pitch, velocity=int(loud[row]))))
        events.append((end, 3, mido.Message("note_off", channel=channel, note=pitch, velocity=0)))
    events.append((-(-arrangement.score.end // step), 9, None))
    return events


def _text(part: Part, arrangement: Arrangement, step: int) -> list[tuple[int, int, Any]]:
    """What a singer sings in the first verse, a lyric event for each syllable; hyphens where a word goes on."""
    import mido

    from mapping.fullscore_lyrics import lyrics_of

    found = [one for sung in lyrics_of(part, arrangement).by_row.values() for one in sung]
    first = min(((len(one.verse), one.verse) for one in found), default=(0, ""))[1]
    words = [(one.onset, one.text, one.syllabic[-1] in ("begin", "middle")) for one in found if one.verse == first]
    return [
        (onset // step, 3, mido.MetaMessage("lyrics", text=f"{text}-" if goes_on else text))
        for onset, text, goes_on in sorted(words)
    ]


def _programs(part: Part, times: np.ndarray[Any, Any], channel: int, step: int) -> list[tuple[int, int, Any]]:
    """Program changes: one at the start, and one wherever the way of playing changes the sound."""
    import mido

    instrument, count = part.player.instrument, part.player.count
    order = np.argsort(times[:, 0], kind="stable").tolist()
    techniques = [TECHNIQUES[int(part.notes["technique"][row])] for row in order] or ["plain"]
    found, current = [], -1
    for place, technique in enumerate(techniques):
        program = instrument.program(technique, count=count)
        if program != current:
            current = program
            tick = int(times[order[place], 0]) // step if place else 0
            found.append((tick, 2, mido.Message("program_change", channel=channel, program=program)))
    return found


def _track(events: Iterable[tuple[int, int, Any]]) -> Any:
    """Events as a track: sorted, in delta times, closed. An event of None only marks how far the track must reach."""
    import mido

    track = mido.MidiTrack()
    now = 0
    ordered = sorted(events, key=lambda event: event[:2])
    for tick, _, message in ordered:
        if message is not None:
            track.append(message.copy(time=tick - now))
            now = tick
    track.append(mido.MetaMessage("end_of_track", time=max(0, ordered[-1][0] - now)))
    return track
