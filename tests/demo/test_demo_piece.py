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


def pitches(part) -> list[tuple[int, object]]:
    """Return bar number and pitch of every note head."""
    return [(note.measureNumber, pitch) for note in part.recurse().notes for pitch in note.pitches]


def printed(part) -> list[bool]:
    """Return for every note head whether an accidental stands before it."""
    return [bool(pitch.accidental is not None and pitch.accidental.displayStatus) for _, pitch in pitches(part)]


def test_no_accidental_is_missing(piece):
    """All stand that music21 asks for by key, bar and staff, reminders after a changed bar included."""
    for part in piece.parts:
        asked = deepcopy(part)
        asked.makeAccidentals(
            inPlace=True, overrideStatus=True, cautionaryPitchClass=False, cautionaryNotImmediateRepeat=False
        )
        assert sum(printed(part)) > 5
        assert all(ours >= theirs for ours, theirs in zip(printed(part), printed(asked), strict=True))


def test_no_accidental_stands_without_reason(piece):
    """Whatever is printed departs from the key, or its step sounds altered otherwise in this bar or the one before."""
    for part in piece.parts:
        heads = pitches(part)
        keys = {bar.number: bar.keySignature for bar in part.getElementsByClass("Measure")}
        for (number, pitch), shown in zip(heads, printed(part), strict=True):
            key = next(keys[bar] for bar in range(number, 0, -1) if keys[bar])
            usual = key.accidentalByStep(pitch.step)
            near = {other.alter for bar, other in heads if other.step == pitch.step and number - 1 <= bar <= number}
            assert not shown or len(near) > 1 or pitch.alter != (usual.alter if usual else 0)


def test_beams_agree_with_music21_where_they_are_whole(piece):
    """Beams begin and end: in every voice each beam that begins ends within the bar."""
    for bar in piece.recurse().getElementsByClass("Measure"):
        for voice in list(bar.voices) or [bar]:
            kinds = [note.beams.getTypes()[0] for note in voice.notes if note.beams.getTypes()]
            assert kinds.count("start") == kinds.count("stop")
