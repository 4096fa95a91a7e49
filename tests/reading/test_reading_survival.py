"""From the file into the Score, from there into the written full score, and back: the marks a player needs survive."""

from __future__ import annotations

import pytest

import mapping
import reading
from reading.score import Flag

AT_NOTES = {
    "accent": "<articulations><accent/></articulations>",
    "marcato": "<articulations><strong-accent/></articulations>",
    "staccato": "<articulations><staccato/></articulations>",
    "staccatissimo": "<articulations><staccatissimo/></articulations>",
    "tenuto": "<articulations><tenuto/></articulations>",
    "fermata": "<fermata/>",
    "arpeggio up": "<arpeggiate/>",
    "arpeggio down": '<arpeggiate direction="down"/>',
    "trill": "<ornaments><trill-mark/></ornaments>",
    "mordent": "<ornaments><mordent/></ornaments>",
    "inverted mordent": "<ornaments><inverted-mordent/></ornaments>",
    "turn": "<ornaments><turn/></ornaments>",
    "inverted turn": "<ornaments><inverted-turn/></ornaments>",
    "tremolo": '<ornaments><tremolo type="single">3</tremolo></ornaments>',
    "sfz": "<dynamics><sfz/></dynamics>",
}


def written_again(score, tmp_path):
    """The score as the piano's own arrangement, written as MusicXML and read back."""
    path = tmp_path / "written.musicxml"
    mapping.write_score(mapping.piano(score), path)
    return reading.read(path)


@pytest.mark.parametrize("name", AT_NOTES)
def test_sign_at_note_survives(name, xml, reads, tmp_path):
    """A sign at a note is at the same note of the written score."""
    score = reads(xml.document(xml.attributes() + xml.note("C4", 8, notations=AT_NOTES[name]) + xml.note("D4", 8)))
    again = written_again(score, tmp_path)
    assert score.notes["flags"][0] != 0
    assert again.notes["flags"].tolist() == score.notes["flags"].tolist()
    assert again.notes["pitch"].tolist() == score.notes["pitch"].tolist()


def test_signs_beside_notes_survive(xml, reads, tmp_path):
    """Dynamics, hairpins, words, tempo, slurs, letters, repeats and a Fine are written where they were read."""
    figure = "<metronome><beat-unit>quarter</beat-unit><per-minute>72</per-minute></metronome>"
    first = (
        '<barline location="left"><repeat direction="forward"/></barline>'
        + xml.direction(figure)
        + xml.direction("<rehearsal>B</rehearsal>")
        + xml.direction("<dynamics><p/></dynamics>")
        + xml.direction("<words>dolce</words>")
        + xml.note("C4", 8, notations='<slur type="start"/>')
        + xml.direction('<wedge type="crescendo"/>')
        + xml.note("D4", 8, notations='<slur type="stop"/>')
    )
    second = xml.direction('<wedge type="stop"/>') + xml.direction("<dynamics><f/></dynamics>") + xml.note("E4", 16)
    end = xml.direction("<words>Fine</words>", sound='<sound fine="yes"/>')
    end += '<barline location="right"><repeat direction="backward"/></barline>'
    score = reads(xml.document(xml.attributes() + first, second + end))
    again = written_again(score, tmp_path)
    kinds = ("dynamic", "hairpin", "tempo", "slur", "rehearsal", "jump")
    assert {mark.kind for mark in score.marks_of(*kinds)} == set(kinds)
    for mark in score.marks_of(*kinds):
        assert (mark.kind, mark.value, mark.onset) in {(new.kind, new.value, new.onset) for new in again.marks}
    assert "dolce" in {mark.value for mark in again.marks_of("text")}
    for name in ("repeat_start", "repeat_end", "onset", "duration"):
        assert again.bars[name].tolist() == score.bars[name].tolist()


def test_ties_graces_and_voices_survive(xml, reads, tmp_path):
    """Ties stay ties, graces stay graces, and no voice swallows another."""
    right = xml.note("E5", kind="16th", before='<grace slash="yes"/>') + xml.note("C5", 16, voice=1, ties="start")
    right += "<backup><duration>16</duration></backup>" + xml.note("G4", 8, voice=2) + xml.note("A4", 8, voice=2)
    first = xml.piano(right, xml.note("C3", 16, voice=5, staff=2), start=xml.attributes())
    second = xml.piano(xml.note("C5", 16, voice=1, ties="stop"), xml.note("D3", 16, voice=5, staff=2))
    score = reads(xml.document(first, second))
    again = written_again(score, tmp_path)
    assert [(int(note["onset"]), int(note["duration"]), int(note["pitch"])) for note in again.notes] == [
        (int(note["onset"]), int(note["duration"]), int(note["pitch"])) for note in score.notes
    ]
    wanted = int(Flag.GRACE | Flag.GRACE_SLASH | Flag.TIED)
    assert (again.notes["flags"] & wanted).tolist() == (score.notes["flags"] & wanted).tolist()
