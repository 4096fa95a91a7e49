"""MIDI files of type 0 and 1, quantised to a notation; how far notes were moved is stated in the account.

A MIDI file holds no spelling, slurs, signs or staves: spelling is chosen by the key, hands by track, channel or pitch.

References
----------
Standard MIDI Files 1.0 (RP-001), MIDI Manufacturers Association, 1996.
"""

from __future__ import annotations

import io
from bisect import bisect_right
from contextlib import suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from base.errors import ScoreError
from reading.draft import Draft, RawBar, RawNote
from reading.midi_grid import quantise
from reading.midi_hands import into_staves, into_voices, key_of, spelled
from reading.midi_notes import MidiNote, Stream
from reading.score import TICKS_PER_QUARTER, PartInfo

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["read_midi"]

_MAX_BYTES = 700_000
_MAX_QUARTERS = 40_000
_DRUMS = 9
_PEDALS = {64: "damper", 66: "sostenuto", 67: "soft"}


@dataclass
class _File:
    """What the file's events say, in file ticks."""

    per_quarter: int
    streams: dict[tuple[int, int], Stream] = field(default_factory=dict)
    metres: dict[int, tuple[int, int]] = field(default_factory=dict)
    keys: dict[int, tuple[int, int]] = field(default_factory=dict)
    tempos: dict[int, float] = field(default_factory=dict)
    pedals: list[tuple[int, int, str]] = field(default_factory=list)
    markers: list[tuple[int, str]] = field(default_factory=list)
    sung: int = 0  # lyric events
    end: int = 0
    drums: int = 0
    hanging: int = 0
    title: str = ""


def read_midi(data: bytes, path: Path) -> Draft:
    """Return a notation of what a MIDI file holds.

    Raises
    ------
    ScoreError
        Where the file is broken, of type 2, timed in frames, too long, or holds no notes.
    """
    if len(data) > _MAX_BYTES:
        raise ScoreError(f"{len(data)} bytes are more than a MIDI score may have ({_MAX_BYTES})", path=path)
    file = _events(data, path)
    streams = [stream for stream in file.streams.values() if stream.notes]
    if not streams:
        raise ScoreError("the MIDI file holds no notes", path=path)
    draft = Draft(title=file.title)
    error = quantise(streams, file.per_quarter)
    if error.moved:
        speed = min(file.tempos.values(), default=120.0)
        text = (
            f"{error.moved} of {error.total} onsets moved to a notation, by {error.mean_q:.4f} quarters on average, "
            f"{error.worst_q:.4f} at most ({error.worst_q * 60_000 / speed:.0f} ms)"
        )
        draft.repair("quantised", text)
    _bars(draft, file, max(note.end for stream in streams for note in stream.notes))
    _parts(draft, streams)
    _signs(draft, file)
    if file.drums:
        draft.lose("drums", f"{file.drums} notes of the percussion channel")
    if file.hanging:
        draft.repair("hanging note", f"{file.hanging} keys never released; released at the end of the track")
    draft.place()
    return draft


def _events(data: bytes, path: Path) -> _File:
    """Read the events; any fault of the file becomes one clear error."""
    import mido

    try:
        midi = mido.MidiFile(file=io.BytesIO(data), clip=True)
        if midi.type == 2:
            raise ScoreError("a MIDI file of type 2 (loose patterns) is not a score", path=path)
        if not 0 < midi.ticks_per_beat < 0x8000:
            raise ScoreError("a MIDI file timed in film frames is not a score", path=path)
        file = _File(midi.ticks_per_beat)
        for row, track in enumerate(midi.tracks):
            _track(file, row, track, path)
    except ScoreError:
        raise
    except Exception as error:  # mido raises anything from EOFError to KeyError on broken files
        raise ScoreError(f"the MIDI file is broken ({error})", path=path, hint="Export it again.") from error
    return file


def _track(file: _File, row: int, track: Any, path: Path) -> None:
    """Read the events of one track."""
    now, name = 0, ""
    held: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for message in track:
        now += message.time
        if now > _MAX_QUARTERS * file.per_quarter:
            raise ScoreError(f"the piece lasts more than {_MAX_QUARTERS} quarters", path=path, place=f"track {row + 1}")
        if message.type in ("note_on", "note_off"):
            _key(file, row, message, now, held)
        elif message.type == "track_name":
            name = _words(message.name)
        else:
            _other(file, row, message, now)
    file.end = max(file.end, now)
    _release(file, row, now, held)
    if row == 0:
        file.title = name  # in the first track it names the sequence (Standard MIDI Files 1.0, meta event 03)
    for (track_row, _), stream in file.streams.items():
        if track_row == row:
            stream.name = name


def _words(text: str) -> str:
    """Text as its writer meant it: the standard names no encoding, most write UTF-8, older files Latin-1."""
    with suppress(UnicodeError):  # then it is Latin-1
        text = text.encode("latin-1").decode("utf-8")
    return text.strip()[:80]


def _release(file: _File, row: int, now: int, held: dict[tuple[int, int], list[tuple[int, int]]]) -> None:
    """Let go of the keys that the track never releases."""
    for (channel, pitch), keys in held.items():
        for start, velocity in keys:
            file.hanging += 1
            _stream(file, row, channel).notes.append(MidiNote(start, max(now, start + 1), pitch, velocity))


def _stream(file: _File, row: int, channel: int) -> Stream:
    """Return the stream of a track and channel."""
    return file.streams.setdefault((row, channel), Stream("", channel))


def _key(file: _File, row: int, message: Any, now: int, held: dict[tuple[int, int], list[tuple[int, int]]]) -> None:
    """Press or release a key; of two strokes on one key the first is released first."""
    if message.channel == _DRUMS:
        file.drums += message.type == "note_on" and message.velocity > 0
        return
    keys = held.setdefault((message.channel, message.note), [])
    if message.type == "note_on" and message.velocity > 0:
        keys.append((now, message.velocity))
    elif keys:
        start, velocity = keys.pop(0)
        _stream(file, row, message.channel).notes.append(MidiNote(start, max(now, start + 1), message.note, velocity))


def _other(file: _File, row: int, message: Any, now: int) -> None:
    """Carry what is no key: programs, pedals, and what the file says about itself."""
    if message.type == "program_change":
        _stream(file, row, message.channel).program = message.program
    elif message.type == "control_change" and message.control in _PEDALS:
        file.pedals.append((now, message.value, _PEDALS[message.control]))
    elif message.is_meta:
        _meta(file, message, now)


def _meta(file: _File, message: Any, now: int) -> None:
    """Carry metre, key, tempo and markers."""
    if message.type == "time_signature":
        file.metres[now] = (message.numerator, message.denominator)
    elif message.type == "key_signature":
        file.keys[now] = _fifths(message.key)
    elif message.type == "set_tempo" and message.tempo > 0:
        file.tempos[now] = min(2000.0, max(1.0, 60_000_000 / message.tempo))
    elif message.type in ("marker", "cue_marker"):
        file.markers.append((now, _words(message.text)))
    elif message.type == "lyrics":
        file.sung += 1


def _fifths(name: str) -> tuple[int, int]:
    """Return fifths and mode of a key name such as ``Ebm``."""
    minor = name.endswith("m")
    tonic = name.removesuffix("m")
    place = "FCGDAEB".index(tonic[0]) - 1 + 7 * (tonic.count("#") - tonic.count("b"))
    return place - (3 if minor else 0), int(minor)


def _at(file: _File, tick: int) -> int:
    """Return file ticks as score ticks."""
    return round(tick * TICKS_PER_QUARTER / file.per_quarter)


def _bars(draft: Draft, file: _File, end: int) -> None:
    """Lay out bars by the metres; a metre that comes within a bar cuts it short."""
    metres = {_at(file, tick): metre for tick, metre in file.metres.items() if metre[0] > 0 and metre[1] <= 64}
    keys = {_at(file, tick): key for tick, key in file.keys.items()}
    if not keys:
        keys = {0: key_of([note.pitch for stream in file.streams.values() for note in stream.notes])}
        draft.repair("key", f"the file names no key; notes are spelled for {keys[0][0]:+d} fifths")
    now, metre, key = 0, metres.get(0, (4, 4)), keys.get(0, (0, -1))
    while now < end or not draft.bars:
        metre, key = metres.get(now, metre), keys.get(now, key)
        bar = RawBar(len(draft.bars) + 1, now, str(len(draft.bars) + 1), *metre, *key)
        cut = min((tick for tick in metres if now < tick < now + bar.nominal), default=now + bar.nominal)
        bar.filled = cut - now
        draft.bars.append(bar)
        now = cut


def _parts(draft: Draft, streams: list[Stream]) -> None:
    """Make parts: one piano of two staves where all is keyboard, else one part for each track."""
    keyboard = all(stream.program < 8 for stream in streams)
    groups = [streams] if keyboard else [[stream] for stream in streams]
    starts = [bar.onset for bar in draft.bars]
    for row, group in enumerate(groups):
        staves = into_staves(group) if keyboard or group[0].program < 8 else 1
        into_voices(group)
        draft.parts.append(PartInfo(group[0].name or ("Piano" if keyboard else f"part {row + 1}"), staves))
        for stream in group:
            for note in stream.notes:
                bar = draft.bars[bisect_right(starts, note.start) - 1]
                step, alter, octave = spelled(note.pitch, bar.fifths)
                draft.notes.append(
                    RawNote(
                        note.start - bar.onset,
                        note.end - note.start,
                        note.pitch,
                        step,
                        alter,
                        octave,
                        row,
                        note.staff,
                        note.voice,
                        bar.index,
                        velocity=note.velocity,
                        home=note.staff,
                    )
                )


def _signs(draft: Draft, file: _File) -> None:
    """Carry tempo, pedal and markers as marks."""
    starts = [bar.onset for bar in draft.bars]

    def placed(tick: int) -> tuple[int, int]:
        at = _at(file, tick)
        row = max(0, bisect_right(starts, at) - 1)
        return row + 1, at - starts[row]

    for tick, speed in sorted(file.tempos.items()):
        draft.mark("tempo", *placed(tick), value=f"{speed:g}")
    if file.sung:
        draft.lose("lyric", f"sung text ({file.sung} lyric events)")
    for tick, text in file.markers:
        draft.mark("rehearsal", *placed(tick), value=text)
    open_pedal: dict[str, Any] = {}
    for tick, value, kind in sorted(file.pedals):
        held = open_pedal.get(kind)
        if held is None and value >= 64:
            open_pedal[kind] = draft.mark("pedal", *placed(tick), value=kind)
        elif held is not None and value < 64:
            held.end_bar, held.end = placed(tick)
            del open_pedal[kind]
    for made in open_pedal.values():
        made.end_bar, made.end = placed(file.end)
