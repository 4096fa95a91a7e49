"""The demo piece as a score anyone can open: complete bars, right accidentals, the same file from the same script."""

from __future__ import annotations

import subprocess
import sys
from copy import deepcopy
from pathlib import Path

import pytest

DEMO = Path(__file__).parents[2] / "demo"


@pytest.fixture(scope="module")
def piece():
    """Return the piece as music21 reads it."""
    import music21

    return music21.converter.parse(DEMO / "weathercock.musicxml")


def test_script_writes_the_file_that_is_kept(tmp_path):
    """The committed MusicXML is what the script writes today."""
    out = tmp_path / "again.musicxml"
    subprocess.run([sys.executable, DEMO / "piece.py", out], check=True, capture_output=True)
    assert out.read_bytes() == (DEMO / "weathercock.musicxml").read_bytes()


def test_every_bar_of_every_voice_is_full(piece):
    """56 bars of four quarters in both staves, by music21."""
    for part in piece.parts:
        bars = list(part.getElementsByClass("Measure"))
        assert [bar.number for bar in bars] == list(range(1, 57))
        for bar in bars:
            voices = list(bar.voices) or [bar]
            assert {float(sum(item.quarterLength for item in voice.notesAndRests)) for voice in voices} == {4.0}


def accidentals(part, *, every_octave: bool) -> list[bool]:
    """Return for every pitch whether music21 would print its accidental; the cautious rule repeats it per octave."""
    copy = deepcopy(part)
    copy.makeAccidentals(
        inPlace=True, overrideStatus=True, cautionaryPitchClass=every_octave, cautionaryNotImmediateRepeat=False
    )
    return printed(copy)


def printed(part) -> list[bool]:
    """Return for every pitch whether an accidental stands before it."""
    pitches = [pitch for note in part.recurse().notes for pitch in note.pitches]
    return [bool(pitch.accidental is not None and pitch.accidental.displayStatus) for pitch in pitches]


def test_accidentals_stand_where_a_reader_needs_them(piece):
    """None is missing that music21 asks for, reminders after a changed bar included; none stands without reason."""
    for part in piece.parts:
        needed, allowed = (accidentals(part, every_octave=value) for value in (False, True))
        ours = printed(part)
        assert sum(ours) > 5
        assert all(shown >= must for shown, must in zip(ours, needed, strict=True))
        assert all(shown <= may for shown, may in zip(ours, allowed, strict=True))


def test_beams_agree_with_music21_where_they_are_whole(piece):
    """Beams begin and end: in every voice each beam that begins ends within the bar."""
    for bar in piece.recurse().getElementsByClass("Measure"):
        for voice in list(bar.voices) or [bar]:
            kinds = [note.beams.getTypes()[0] for note in voice.notes if note.beams.getTypes()]
            assert kinds.count("start") == kinds.count("stop")
