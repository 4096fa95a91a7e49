"""The MIDI file against the Standard MIDI File specification, byte by byte, and against General MIDI's table.

Sources: Standard MIDI Files 1.0 (MIDI Manufacturers Association), as given in MIDI::Filespec (metacpan.org): header,
delta times as variable-length quantities (7F → 7F, 80 → 81 00, 2000 → C0 00, 3FFF → FF 7F, 1FFFFF → FF FF 7F),
tempo 120 → FF 51 03 07 A1 20, metre 4/4 → FF 58 04 04 02 18 08 and 6/8 → FF 58 04 06 03 24 08, end of track FF 2F 00.
General MIDI Level 1 program names: pretty_midi's table (programs counted from 0).
"""

from __future__ import annotations

from pathlib import Path

import pretty_midi
import pytest

from mapping import arrange, first_spec, load_spec
from mapping.midi import midi_bytes
from reading import find_layers, read

HERE = Path(__file__).parents[2] / "demo/weathercock.musicxml"
WORKED = {
    0x00: "00",
    0x7F: "7f",
    0x80: "8100",
    0x2000: "c000",
    0x3FFF: "ff7f",
    0x1FFFFF: "ffff7f",
    0xFFFFFFF: "ffffff7f",
}

STUDY = """<?xml version="1.0"?>
<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Piano</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>2</divisions><key><fifths>0</fifths></key>
<time><beats>{beats}</beats><beat-type>{beat_type}</beat-type></time><clef><sign>G</sign><line>2</line></clef></attributes>
<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>120</per-minute></metronome>
</direction-type><sound tempo="120"/></direction>{notes}</measure></part></score-partwise>
"""
PITCH = "<pitch><step>C</step><octave>5</octave></pitch>"
NOTE = f"<note>{PITCH}<duration>1</duration><voice>1</voice><type>eighth</type></note>"


def variable_length(data: bytes, at: int) -> tuple[int, int]:
    """A delta time as the specification reads it: seven bits a byte, the last without the high bit."""
    value = 0
    while True:
        byte = data[at]
        at += 1
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at


def tracks_of(data: bytes) -> list[list[tuple[int, bytes]]]:
    """Events of every track as (tick, bytes), by our own reading of the specification."""
    assert data[:8] == b"MThd\x00\x00\x00\x06"
    at, found = 14, []
    while at < len(data):
        assert data[at : at + 4] == b"MTrk"
        end = at + 8 + int.from_bytes(data[at + 4 : at + 8], "big")
        at += 8
        events, now, status = [], 0, 0
        while at < end:
            delta, at = variable_length(data, at)
            now += delta
            if data[at] == 0xFF:
                length, after = variable_length(data, at + 2)
                events.append((now, data[at : after + length]))
                at = after + length
                continue
            if data[at] >= 0x80:
                status = data[at]
                at += 1
            size = 1 if status >> 4 in (0xC, 0xD) else 2
            events.append((now, bytes([status]) + data[at : at + size]))
            at += size
        assert at == end
        found.append(events)
    return found


@pytest.fixture(scope="module")
def demo_bytes(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The demo's plain variant as a file."""
    score = read(HERE)
    path = tmp_path_factory.mktemp("smf") / "spec.yaml"
    path.write_text(first_spec(score))
    return midi_bytes(arrange(score, find_layers(score), load_spec(path), "plain"))


def small(tmp_path: Path, beats: int, beat_type: int) -> bytes:
    """One bar of quavers at 120, arranged and written."""
    tune = tmp_path / "study.musicxml"
    tune.write_text(STUDY.format(beats=beats, beat_type=beat_type, notes=NOTE * (8 * beats // beat_type)))
    score = read(tune)
    path = tmp_path / "spec.yaml"
    step = "{play: all, on: flute 1}"
    path.write_text(f"piece: {{score: x}}\norchestra: [flute 1]\nvariants: {{a: {{steps: [{step}]}}}}\n")
    return midi_bytes(arrange(score, find_layers(score), load_spec(path), "a"))


def test_our_reading_of_delta_times_gives_the_worked_values() -> None:
    """The specification's seven worked variable-length quantities come out as it says."""
    for value, text in WORKED.items():
        assert variable_length(bytes.fromhex(text), 0) == (value, len(text) // 2)


def test_header_and_ends(demo_bytes: bytes) -> None:
    """Format 1, as many tracks as the header says, ticks per quarter positive, every track closed by FF 2F 00."""
    tracks = tracks_of(demo_bytes)
    assert demo_bytes[8:10] == b"\x00\x01"
    assert int.from_bytes(demo_bytes[10:12], "big") == len(tracks) == 19
    assert 0 < int.from_bytes(demo_bytes[12:14], "big") < 0x8000
    for events in tracks:
        assert events[-1][1] == b"\xff\x2f\x00"
        assert all(event[1][:2] != b"\xff\x2f" for event in events[:-1])


@pytest.mark.parametrize(("beats", "beat_type", "expected"), [(4, 4, "ff580404021808"), (6, 8, "ff580406032408")])
def test_metre_and_tempo_bytes_are_the_worked_ones(tmp_path: Path, beats: int, beat_type: int, expected: str) -> None:
    """4/4 and 6/8 at 120 quarters a minute give the specification's own bytes, in the first track only."""
    first, *others = tracks_of(small(tmp_path, beats, beat_type))
    data = [event for _, event in first]
    assert bytes.fromhex(expected) in data
    assert bytes.fromhex("ff510307a120") in data
    for events in others:
        assert not [event for _, event in events if event[:2] in (b"\xff\x51", b"\xff\x58")]


def test_notes_of_a_channel_open_and_close(demo_bytes: bytes) -> None:
    """Every note that is struck is released, and drums' channel 10 is not used for pitched players."""
    for events in tracks_of(demo_bytes)[1:]:
        open_notes: dict[int, int] = {}
        for _, event in events:
            kind, channel = event[0] >> 4, event[0] & 15
            if kind == 9 and event[2]:
                assert channel != 9
                open_notes[event[1]] = open_notes.get(event[1], 0) + 1
            elif kind == 8 or (kind == 9 and not event[2]):
                open_notes[event[1]] -= 1
        assert set(open_notes.values()) <= {0}


@pytest.mark.parametrize(
    ("player", "program"),
    [
        ("flute 1", "Flute"), ("oboe 1", "Oboe"), ("clarinet 1", "Clarinet"), ("bassoon 1", "Bassoon"),
        ("horn 1", "French Horn"), ("trumpet 1", "Trumpet"), ("timpani", "Timpani"), ("violins 1", "String Ensemble 1"),
    ],
)  # fmt: skip
def test_programs_are_those_of_general_midi(demo_bytes: bytes, player: str, program: str) -> None:
    """The program change of a player's track names its instrument in General MIDI's table."""
    for events in tracks_of(demo_bytes)[1:]:
        name = next(event[3:].decode() for _, event in events if event[:2] == b"\xff\x03")
        if name == player:
            change = next(event for _, event in events if event[0] >> 4 == 0xC)
            assert pretty_midi.program_to_instrument_name(change[1]) == program
            return
    pytest.fail(f"no track for {player}")


def test_pretty_midi_hears_the_same_notes(demo_bytes: bytes, tmp_path: Path) -> None:
    """A second library reads as many notes as the piano has, none of no length, and the same players."""
    path = tmp_path / "demo.mid"
    path.write_bytes(demo_bytes)
    heard = pretty_midi.PrettyMIDI(str(path))
    notes = [note for one in heard.instruments for note in one.notes]
    assert len(notes) == len(read(HERE).notes)
    assert min(note.end - note.start for note in notes) > 0
    assert {one.name for one in heard.instruments} == {"violins 1", "violins 2", "violas", "cellos", "basses"}
