"""Written and played: graces, ornaments, tremolos and arpeggios become notes that know where they come from."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from reading.playing import performed_notes
from reading.score import NOTE_DTYPE, Flag

Q = 10_080


def played(score, **options):
    """Onset, duration and pitch of what sounds."""
    notes = performed_notes(score, **options)
    return [(int(note["onset"]), int(note["duration"]), int(note["pitch"])) for note in notes]


def one(xml, reads, notations, *, pitch="C5", duration=16, fifths=0, before=""):
    """A score of one note with a sign, at 100 quarters per minute."""
    bar = xml.attributes(staves=1, fifths=fifths) + before + xml.note(pitch, duration, notations=notations)
    return reads(xml.document(bar + (xml.rest(16 - duration) if duration < 16 else "")))


def test_plain_notes_are_untouched(xml, reads):
    """Notes without signs are played as written, each from its own note."""
    score = one(xml, reads, "<articulations><staccato/></articulations>")
    notes = performed_notes(score)
    assert notes["written"].tolist() == score.notes["id"].tolist()
    assert played(score) == [(0, 4 * Q, 72)]


@pytest.mark.parametrize(
    ("sign", "pitches"),
    [
        ("<mordent/>", [72, 71, 72]),
        ("<inverted-mordent/>", [72, 74, 72]),
        ("<turn/>", [74, 72, 71, 72]),
        ("<inverted-turn/>", [71, 72, 74, 72]),
        ("<delayed-turn/>", [72, 74, 72, 71, 72]),
        ("<turn/><accidental-mark>flat</accidental-mark>", [73, 72, 71, 72]),
    ],
)
def test_ornaments(sign, pitches, xml, reads):
    """Mordents and turns use the neighbours of the key, or those the accidental asks for; no time is lost."""
    score = one(xml, reads, f"<ornaments>{sign}</ornaments>")
    notes = played(score)
    assert [pitch for _, _, pitch in notes] == pitches
    assert sum(duration for _, duration, _ in notes) == 4 * Q
    assert all(before[0] + before[1] == after[0] for before, after in pairwise(notes))
    assert set(performed_notes(score)["written"].tolist()) == {0}


def test_neighbours_follow_key_and_bar(xml, reads):
    """The upper neighbour of B in one flat is C; an accidental earlier in the bar holds."""
    trill = "<ornaments><trill-mark/></ornaments>"
    assert {pitch for _, _, pitch in played(one(xml, reads, trill, pitch="A4", fifths=-1))} == {69, 70}
    earlier = xml.note("B4", 4) + xml.note("A4", 12, notations=trill)
    score = reads(xml.document(xml.attributes(staves=1, fifths=-1) + earlier))
    assert {pitch for _, _, pitch in played(score)} == {69, 71}


def test_trill_fills_its_note(xml, reads):
    """A trill begins and ends on its note, in strokes of about a twelfth of a second, and fills the note exactly."""
    notes = played(one(xml, reads, "<ornaments><trill-mark/></ornaments>", duration=8))
    pitches = [pitch for _, _, pitch in notes]
    assert pitches[::2] == [72] * (len(pitches) // 2 + 1)
    assert pitches[1::2] == [74] * (len(pitches) // 2)
    assert sum(duration for _, duration, _ in notes) == 2 * Q
    stroke_s = notes[0][1] / Q * 0.6
    assert 0.05 < stroke_s < 0.12


def test_tremolos(xml, reads):
    """Beams say how quick: three on a half note are 32nds; two on an eighth are 32nds, too; between notes in turn."""
    single = '<ornaments><tremolo type="single">{}</tremolo></ornaments>'
    assert played(one(xml, reads, single.format(3), duration=8)) == [
        (place * Q // 8, Q // 8, 72) for place in range(16)
    ]
    assert played(one(xml, reads, single.format(2), duration=2)) == [(place * Q // 8, Q // 8, 72) for place in range(4)]
    pair = xml.note("C4", 4, notations='<ornaments><tremolo type="start">2</tremolo></ornaments>')
    pair += xml.note("G4", 4, notations='<ornaments><tremolo type="stop">2</tremolo></ornaments>')
    notes = played(reads(xml.document(xml.attributes(staves=1) + pair + xml.rest(8))))
    assert [pitch for _, _, pitch in notes] == [60, 67] * 4
    assert [onset for onset, _, _ in notes] == [place * Q // 4 for place in range(8)]


def test_arpeggio_enters_note_by_note(xml, reads):
    """An arpeggio starts on the beat with its first note, enters upward or downward, and ends together."""
    for way, order in (("", [60, 64, 67]), (' direction="down"', [67, 64, 60])):
        sign = f"<arpeggiate{way}/>"
        chord = xml.note("C4", 16, notations=sign)
        chord += xml.note("E4", 16, chord=True, notations=sign) + xml.note("G4", 16, chord=True, notations=sign)
        notes = played(reads(xml.document(xml.attributes(staves=1) + chord)))
        assert [pitch for _, _, pitch in notes] == order
        assert notes[0][0] == 0
        assert {onset + duration for onset, duration, _ in notes} == {4 * Q}
        assert 0.02 < (notes[1][0] - notes[0][0]) / Q * 0.6 < 0.05


def test_graces(xml, reads):
    """A slashed grace comes before the beat, an unslashed one takes half, after-beats come last, in written order."""
    lead = xml.note("G4", 8)
    slashed = xml.note("D5", kind="eighth", before='<grace slash="yes"/>')
    score = reads(xml.document(xml.attributes(staves=1) + lead + slashed + xml.note("C5", 8)))
    grace, main = [note for note in played(score) if note[2] in (72, 74)]
    assert grace[0] + grace[1] == 2 * Q == main[0]
    assert grace[2] == 74
    long = xml.note("D5", kind="quarter", before="<grace/>")
    score = reads(xml.document(xml.attributes(staves=1) + lead + long + xml.note("C5", 8)))
    assert played(score)[1:] == [(2 * Q, Q, 74), (3 * Q, Q, 72)]
    after = xml.note("B4", kind="16th", before="<grace/>") + xml.note("C5", kind="16th", before="<grace/>")
    score = reads(xml.document(xml.attributes(staves=1) + xml.note("D5", 16) + after))
    notes = played(score)
    assert [pitch for _, _, pitch in notes] == [74, 71, 72]
    assert notes[-1][0] + notes[-1][1] == 4 * Q


def test_grace_at_the_very_beginning(xml, reads):
    """A grace before the first note starts with the piece, never before it."""
    slashed = xml.note("D5", kind="eighth", before='<grace slash="yes"/>')
    notes = played(reads(xml.document(xml.attributes(staves=1) + slashed + xml.note("C5", 16))))
    assert notes[0][0] == 0
    assert notes[0][0] + notes[0][1] == notes[1][0]
    assert notes[1][0] + notes[1][1] == 4 * Q


def test_grace_tied_to_its_note(xml, reads):
    """A grace tied to its note is struck once and held."""
    tied = xml.note("C5", kind="eighth", before='<grace slash="yes"/>', ties="start")
    score = reads(xml.document(xml.attributes(staves=1) + xml.rest(8) + tied + xml.note("C5", 8, ties="stop")))
    ((onset, duration, _),) = played(score)
    assert onset < 2 * Q
    assert onset + duration == 4 * Q


def test_cue_notes_are_silent(xml, reads):
    """Cue notes are not played."""
    score = reads(xml.document(xml.attributes(staves=1) + xml.note("C4", 8, before="<cue/>") + xml.note("D4", 8)))
    assert [pitch for _, _, pitch in played(score)] == [62]


def test_hidden_play_back_of_a_printed_trill_does_not_sound_twice(xml, reads):
    """A trill sign and, hidden in another voice, the same trill written out: the sign is played, the rest is silent."""
    sign = xml.note("D5", 8, notations="<ornaments><trill-mark/></ornaments>") + xml.note("C5", 8)
    out = "".join(xml.note(pitch, 2, voice=2) for pitch in ("E5", "D5", "E5", "D5"))
    hidden = out.replace("<note>", '<note print-object="no">')
    plain = reads(xml.document(xml.attributes(staves=1) + sign))
    doubled = reads(xml.document(xml.attributes(staves=1) + sign + "<backup><duration>16</duration></backup>" + hidden))
    assert played(doubled) == played(plain)
    assert len(doubled.notes) == len(plain.notes) + 4
    assert [remark.kind for remark in doubled.repaired].count("written-out ornament") == 1


def test_hidden_notes_that_stand_for_no_sign_sound(xml, reads):
    """A hidden note is music like any other where no printed sign says the same."""
    bar = xml.note("D5", 16) + "<backup><duration>16</duration></backup>"
    hidden = xml.note("A4", 8, voice=2).replace("<note>", '<note print-object="no">') + xml.rest(8, voice=2)
    score = reads(xml.document(xml.attributes(staves=1) + bar + hidden))
    assert [pitch for _, _, pitch in played(score)] == [69, 74]


def test_cue_notes_are_left_out_of_the_layers(xml, reads):
    """A cue above the tune does not take the melody from it; the cue goes with the note it stands by."""
    from reading.layers import find_layers

    cue = xml.note("A6", 8, voice=2, before="<cue/>")
    bar = xml.note("C5", 8) + xml.note("D5", 8) + "<backup><duration>16</duration></backup>" + cue
    plain, cued = (reads(xml.document(xml.attributes(staves=1) + text)) for text in (bar.replace(cue, ""), bar))
    real = cued.notes["pitch"] != 93
    assert find_layers(cued).roles[real].tolist() == find_layers(plain).roles.tolist()


def test_any_table_with_more_fields(xml, reads):
    """A table with further fields keeps them; its ``source`` leads to the details of the sign."""
    score = one(xml, reads, "<ornaments><turn/><accidental-mark>flat</accidental-mark></ornaments>")
    wide = np.zeros(1, np.dtype([*NOTE_DTYPE.descr, ("source", "<i4"), ("technique", "<i1")]))
    for name in NOTE_DTYPE.names:
        wide[name] = score.notes[name]
    wide["id"], wide["source"], wide["technique"], wide["part"] = 7, 0, 2, 5
    notes = performed_notes(score, wide)
    assert notes["pitch"].tolist() == [73, 72, 71, 72]
    assert set(notes["written"].tolist()) == {7}
    assert set(notes["source"].tolist()) == {0}
    assert set(notes["technique"].tolist()) == {2}
    assert notes["flags"][0] & Flag.TURN


def test_same_twice(xml, reads):
    """Playing is deterministic and leaves the written table as it was."""
    score = one(xml, reads, "<ornaments><trill-mark/></ornaments>")
    before = score.notes.copy()
    assert played(score) == played(score)
    assert (score.notes == before).all()
