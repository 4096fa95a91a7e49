"""Formats and the front door: compressed files, MIDI, ABC, MEI, the cache, the account."""

from __future__ import annotations

import io
import subprocess
import sys
import zipfile
from fractions import Fraction

import mido
import numpy as np
import pytest

import reading
from base.errors import ScoreError
from base.store import Store, StoreWarning
from reading.accounting import account, tables
from reading.midi_grid import quantise
from reading.midi_hands import spelled
from reading.score import Flag

Q = 10_080

MEI = """<?xml version="1.0" encoding="UTF-8"?>
<mei xmlns="http://www.music-encoding.org/ns/mei" meiversion="5.0"><meiHead><fileDesc><titleStmt>
<title>Small Piece</title><composer>Nobody</composer></titleStmt></fileDesc></meiHead><music><body><mdiv><score>
<scoreDef meter.count="3" meter.unit="4" key.sig="2s"><staffGrp symbol="brace"><staffDef n="1" lines="5"/>
<staffDef n="2" lines="5"/></staffGrp></scoreDef><section>
<measure n="1" left="rptstart"><staff n="1"><layer n="1">
<note xml:id="a" dur="4" oct="5" pname="f" accid.ges="s" artic="stacc"/>
<tuplet num="3" numbase="2"><note xml:id="b" dur="8" oct="5" pname="e"/>
<note dur="8" oct="5" pname="d"/><note dur="8" oct="5" pname="c" accid.ges="s"/></tuplet>
<note xml:id="c" dur="4" oct="5" pname="d"/></layer></staff>
<staff n="2"><layer n="1"><chord xml:id="k" dur="2" dots="1"><note oct="3" pname="d"/><note oct="3" pname="a"/></chord>
</layer></staff>
<slur startid="#a" endid="#c"/><dynam staff="1" tstamp="1" place="below">pp</dynam>
<dynam staff="1" tstamp="2">sfz</dynam>
<hairpin form="dim" staff="1" tstamp="2" tstamp2="1m+1"/><pedal dir="down" staff="2" tstamp="1"/>
<pedal dir="up" staff="2" tstamp="3"/><trill startid="#c" accidupper="n"/><arpeg plist="#k"/><fermata startid="#c"/>
<tempo tstamp="1" staff="1" mm="54" mm.unit="4" mm.dots="1">Adagio</tempo>
<octave startid="#a" endid="#b" dis="8" dis.place="above"/></measure>
<measure n="2" right="rptend"><staff n="1"><layer n="1"><note grace="unacc" dur="8" oct="5" pname="e"/>
<bTrem unitdur="32"><note dur="2" oct="5" pname="d"/></bTrem><rest dur="4"/></layer></staff>
<staff n="2"><layer n="1"><mRest/></layer></staff></measure>
</section></score></mdiv></body></music></mei>"""

ABC = """X:1
T:Small Tune
C:Nobody
M:3/4
L:1/8
Q:1/4=90
K:G
G2 A2 B2|(3BAG d4|{c}B6:|
"""


def midi_bytes(notes, *, per_quarter=480, extra=(), name="Piano"):
    """A one-track file of (start, end, pitch) in ticks."""
    file, track = mido.MidiFile(ticks_per_beat=per_quarter), mido.MidiTrack()
    file.tracks.append(track)
    events = [(0, mido.MetaMessage("track_name", name=name)), *extra]
    for start, end, pitch in notes:
        events.append((start, mido.Message("note_on", note=pitch, velocity=70)))
        events.append((end, mido.Message("note_off", note=pitch)))
    now = 0
    for at, message in sorted(events, key=lambda item: (item[0], item[1].type == "note_on")):
        track.append(message.copy(time=at - now))
        now = at
    stream = io.BytesIO()
    file.save(file=stream)
    return stream.getvalue()


def test_compressed_musicxml_is_the_plain_one(xml, reads):
    """An .mxl gives the same tables as the document inside it, whatever its file is called."""
    text = xml.document(xml.attributes(staves=1) + xml.note("C4", 16))
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as made:
        made.writestr(
            "META-INF/container.xml", '<container><rootfiles><rootfile full-path="a/b.xml"/></rootfiles></container>'
        )
        made.writestr("a/b.xml", text)
    plain, packed = reads(text), reads(stream.getvalue(), "score.xml")
    assert plain.notes.tolist() == packed.notes.tolist()


def test_mei(reads):
    """MEI: notes, tuplets, both hands as one part, and every kind of sign the reader knows."""
    score = reads(MEI, "score.mei")
    assert (score.title, score.composer, [part.staves for part in score.parts]) == ("Small Piece", "Nobody", [2])
    upper = score.notes[(score.notes["staff"] == 1) & (score.notes["bar"] == 1)]
    assert upper["onset"].tolist() == [0, Q, Q + Q // 3, Q + 2 * Q // 3, 2 * Q]
    assert upper["pitch"].tolist() == [78, 76, 74, 73, 74]
    assert Flag(int(upper["flags"][0])) == Flag.STACCATO | Flag.SLUR_START
    assert upper["flags"][1] & Flag.SFORZANDO
    assert upper["flags"][4] & Flag.TRILL
    assert upper["flags"][4] & Flag.FERMATA
    low = score.notes[score.notes["staff"] == 2]
    assert all(note["flags"] & Flag.ARPEGGIO for note in low)
    values = {(mark.kind, mark.value, mark.onset, mark.end) for mark in score.marks}
    assert {
        ("dynamic", "pp", 0, 0),
        ("hairpin", "dim", Q, 3 * Q),
        ("pedal", "damper", 0, 2 * Q),
        ("ornament", "trill:above natural", 2 * Q, 2 * Q),
        ("tempo", "81", 0, 0),
        ("text", "Adagio", 0, 0),
        ("tremolo", "3", 3 * Q, 3 * Q),
        ("ottava", "8va", 0, Q + Q // 3),
    } <= values
    assert score.bars["repeat_end"].tolist() == [0, 2]
    grace = score.notes[(score.notes["flags"] & Flag.GRACE) != 0]
    assert [(int(note["onset"]), int(note["pitch"]), bool(note["flags"] & Flag.GRACE_SLASH)) for note in grace] == [
        (3 * Q, 76, True)
    ]


def test_mei_brace_as_a_sign_of_its_own(reads):
    """A brace is an attribute of its group or an element in it (music-encoding.org, grpSym): both join two staves."""
    sign = '<staffGrp><staffDef n="9" lines="5"/><staffGrp><grpSym symbol="brace"/><label>Piano</label>'
    other = MEI.replace('<staffGrp symbol="brace">', sign).replace("</staffGrp>", "</staffGrp></staffGrp>")
    score = reads(other, "other.mei")
    assert [(part.name, part.staves) for part in score.parts] == [("part 1", 1), ("Piano", 2)]
    assert set(score.notes["staff"].tolist()) == {1, 2}


def test_mei_brace_around_the_group_of_a_part(reads):
    """The brace may stand around the named group that holds both staves: they are still one part."""
    sign = '<staffGrp><grpSym symbol="brace"/><staffGrp><label>Piano</label>'
    other = MEI.replace('<staffGrp symbol="brace">', sign).replace("</staffGrp>", "</staffGrp></staffGrp>")
    third = other.replace("<staffGrp><grpSym", '<staffGrp><staffDef n="9" lines="5"/><staffGrp><grpSym')
    score = reads(third.replace("</staffGrp></staffGrp>", "</staffGrp></staffGrp></staffGrp>"), "other.mei")
    assert [(part.name, part.staves) for part in score.parts] == [("part 1", 1), ("Piano", 2)]


def test_mei_whole_rest_alone_rests_its_bar(reads):
    """A whole rest alone in a bar of three quarters is the rest of the bar (common practice), not four quarters."""
    score = reads(MEI.replace("<mRest/>", '<rest dur="1"/>'), "rest.mei")
    assert score.bars["duration"].tolist() == [3 * Q, 3 * Q]


def test_mei_strokes_on_the_stem(reads):
    """Strokes of a tremolo may be given at the stem (music-encoding.org, att.stems, stem.mod) instead of a value."""
    other = MEI.replace('<bTrem unitdur="32"><note', '<bTrem><note stem.mod="1slash"')
    assert [mark.value for mark in reads(other, "strokes.mei").marks_of("tremolo")] == ["1"]


def test_abc(reads):
    """ABC: title, key, metre, triplets, graces and repeats."""
    score = reads(ABC, "tune.abc")
    assert "Small Tune" in score.title
    assert (int(score.bars["fifths"][0]), int(score.bars["beats"][0])) == (1, 3)
    plain = score.notes[(score.notes["flags"] & Flag.GRACE) == 0]
    assert plain["pitch"].tolist() == [67, 69, 71, 71, 69, 67, 74, 71]
    assert plain["onset"].tolist() == [0, Q, 2 * Q, 3 * Q, 3 * Q + Q // 3, 3 * Q + 2 * Q // 3, 4 * Q, 6 * Q]
    assert len(score.notes) == 9
    assert [mark.value for mark in score.marks_of("tempo")] == ["90"]


def test_abc_accidentals_hold_for_the_bar(reads):
    """An accidental holds to the bar line in its octave, and over it for a tied note."""
    score = reads("X:1\nM:4/4\nL:1/4\nK:D\nF ^G G g|=F f F F-|F F ^G2-|G4|\n", "accidentals.abc")
    struck = [66, 68, 68, 79, 65, 78, 65, 65, 66, 68]
    by_time = score.notes[np.lexsort([score.notes["pitch"], score.notes["onset"]])]
    assert by_time["pitch"].tolist() == struck


def test_abc_that_loses_notes_is_refused(reads):
    """Where the converter finds fewer notes than the tune has, the reading is refused with both numbers."""
    two_voices = "X:1\nM:4/4\nL:1/4\nK:C\nV:1\nCDEF|\nV:2\nGABc|\n"
    try:
        score = reads(two_voices, "voices.abc")
    except ScoreError as error:
        message = str(error)
    else:
        message = f"the tune has 8 notes, {len(score.notes)}"
    assert "8 notes" in message


def test_midi_exact(reads):
    """Notes on a notation's grid are not moved; metre, key, tempo and pedal are carried; hands are told apart."""
    extra = [
        (0, mido.MetaMessage("time_signature", numerator=3, denominator=4)),
        (0, mido.MetaMessage("key_signature", key="Ab")),
        (0, mido.MetaMessage("set_tempo", tempo=1_000_000)),
        (0, mido.Message("control_change", control=64, value=127)),
        (960, mido.Message("control_change", control=64, value=0)),
    ]
    notes = [(0, 1440, 44), (0, 480, 72), (480, 640, 73), (640, 800, 75), (800, 960, 73), (960, 1440, 68)]
    score = reads(midi_bytes(notes, extra=extra), "a.mid")
    assert score.notes["onset"].tolist() == [0, 0, Q, Q + Q // 3, Q + 2 * Q // 3, 2 * Q]
    assert not [remark for remark in score.repaired if remark.kind == "quantised"]
    assert (int(score.bars["beats"][0]), int(score.bars["fifths"][0])) == (3, -4)
    spelling = {(int(note["step"]), int(note["alter"])) for note in score.notes}
    assert spelling == {(5, -1), (0, 0), (1, -1), (2, -1)}
    assert {int(note["pitch"]): int(note["staff"]) for note in score.notes}[44] == 2
    assert {int(note["pitch"]): int(note["staff"]) for note in score.notes}[72] == 1
    assert [(mark.onset, mark.end) for mark in score.marks_of("pedal")] == [(0, 2 * Q)]
    assert [mark.value for mark in score.marks_of("tempo")] == ["60"]
    assert set(score.notes["velocity"].tolist()) == {70}


@pytest.mark.parametrize("charset", ["utf-8", "latin-1"])
def test_midi_title_is_the_name_of_the_first_track_only(reads, charset):
    """A title in either encoding is read; a player's name in a later track is no title (SMF 1.0, meta event 03)."""
    for names, title in ((("Präludium", "Flöte"), "Präludium"), (("", "Flöte"), "")):
        file = mido.MidiFile(type=1, ticks_per_beat=480, charset=charset)
        for name in names:
            notes = [mido.Message("note_on", note=60, velocity=64), mido.Message("note_off", note=60, time=480)]
            head = [mido.MetaMessage("track_name", name=name)] if name else []
            file.tracks.append(mido.MidiTrack(head + (notes if name == "Flöte" else [])))
        stream = io.BytesIO()
        file.save(file=stream)
        assert reads(stream.getvalue(), "t.mid").title == title


def test_midi_played_is_quantised_with_its_error(reads):
    """Uneven playing is moved to the nearest simple rhythm, and the account states how far."""
    chance = np.random.default_rng(1)
    notes = []
    for place in range(32):
        start = int(place * 240 + chance.normal(0, 10)) + 20
        notes.append((start, start + 200, 60 + place % 5))
    score = reads(midi_bytes(notes), "played.mid")
    assert score.notes["onset"].tolist() == [place * Q // 2 for place in range(32)]
    (remark,) = [remark for remark in score.repaired if remark.kind == "quantised"]
    assert "ms" in remark.message


def test_midi_two_tracks_are_two_hands(reads):
    """Two piano tracks are two staves, by name or by pitch; other instruments are parts of their own."""
    file = mido.MidiFile(type=1)
    for name, pitch, program in (("left", 48, 0), ("right", 76, 0)):
        track = mido.MidiTrack(
            [mido.MetaMessage("track_name", name=name), mido.Message("program_change", program=program)]
        )
        track += [mido.Message("note_on", note=pitch, velocity=64), mido.Message("note_off", note=pitch, time=480)]
        file.tracks.append(track)
    stream = io.BytesIO()
    file.save(file=stream)
    score = reads(stream.getvalue(), "two.mid")
    assert [(int(note["pitch"]), int(note["staff"])) for note in score.notes] == [(48, 2), (76, 1)]
    file.tracks[0].insert(1, mido.Message("program_change", program=42))
    file.tracks[0].pop(2)
    stream = io.BytesIO()
    file.save(file=stream)
    assert [part.staves for part in reads(stream.getvalue(), "parts.mid").parts] == [1, 2]


def test_spelling_covers_every_key():
    """Every pitch in every key has a spelling of at most one accidental too many, that sounds right."""
    for fifths in range(-7, 8):
        for pitch in range(128):
            step, alter, octave = spelled(pitch, fifths)
            assert (0, 2, 4, 5, 7, 9, 11)[step] + alter + 12 * (octave + 1) == pitch
            assert abs(alter) <= 2
    assert [spelled(61, 0)[:2], spelled(61, -4)[:2], spelled(63, 0)[:2], spelled(66, -1)[:2]] == [
        (0, 1),
        (1, -1),
        (2, -1),
        (3, 1),
    ]


def test_quantising_keeps_exact_times():
    """Times on a grid come out exact, whatever the file's resolution."""
    from reading.midi_notes import MidiNote, Stream

    for per_quarter in (24, 96, 480, 960, 10_080):
        places = [Fraction(place, 6) for place in range(12)]
        notes = [MidiNote(round(at * per_quarter), round((at + Fraction(1, 6)) * per_quarter), 60, 64) for at in places]
        error = quantise([Stream("", 0, 0, notes)], per_quarter)
        assert [note.start for note in notes] == [round(at * Q) for at in places]
        assert error.moved == 0


def test_second_reading_comes_from_the_cache(xml, reads, tmp_path):
    """The cache gives back the same score, under the new file's name; another version of the file is another score."""
    store = Store(tmp_path / "cache")
    text = xml.document(
        xml.attributes() + xml.direction("<dynamics><p/></dynamics>") + xml.note("C4", 16, notations="<fermata/>")
    )
    first, second = reads(text, "one.xml", store), reads(text, "two.xml", store)
    assert len(store.entries()) == 1
    assert second.source == "two.xml"
    for name in ("title", "parts", "bar_numbers", "marks", "not_carried", "repaired", "counts", "sha256"):
        assert getattr(first, name) == getattr(second, name)
    assert (first.notes == second.notes).all()
    assert first.notes.dtype == second.notes.dtype
    assert (first.bars == second.bars).all()
    reads(text.replace("<octave>4", "<octave>5"), "one.xml", store)
    assert len(store.entries()) == 2


def test_damaged_cache_is_made_again(xml, reads, tmp_path):
    """A damaged entry is noticed and the file read anew."""
    store = Store(tmp_path / "cache")
    text = xml.document(xml.attributes(staves=1) + xml.note("C4", 16))
    reads(text, "one.xml", store)
    ((_, _, entry),) = store.entries()
    entry.write_bytes(b"broken")
    with pytest.warns(StoreWarning):
        score = reads(text, "one.xml", store)
    assert len(score.notes) == 1


def test_account_and_tables(xml, reads):
    """The account and the tables are plain data with places; times are exact fractions in strings."""
    bars = [xml.attributes(staves=1) + xml.note("C4", 2) + xml.note("D4", 14), xml.note("E4", 16, ties="start")]
    score = reads(xml.document(*bars, numbers=["1", "1a"]))
    found = account(score)
    assert found["counts"]["notes"] == 3
    assert found["repaired"] == [
        {
            "kind": "tie to nowhere",
            "message": "no note to tie to; held as written",
            "bar_index": 2,
            "bar": "1a",
            "part": "Part 1",
            "staff": 1,
        }
    ]
    made = tables(score)
    assert made["bars"] == [{"index": 1, "number": "1", "start_q": "0"}, {"index": 2, "number": "1a", "start_q": "4"}]
    assert [(row["onset_q"], row["duration_q"], row["midi"], row["bar_index"]) for row in made["notes"]] == [
        ("0", "1/2", 60, 1),
        ("1/2", "7/2", 62, 1),
        ("4", "4", 64, 2),
    ]


def test_import_is_light():
    """Importing the package imports no parser; every public name can be had."""
    code = (
        "import sys, reading; print([m for m in ('music21', 'verovio', 'lxml', 'mido', 'scipy') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
    assert all(getattr(reading, name) is not None for name in reading.__all__)
    assert reading.__all__ == sorted(reading.__all__, key=lambda name: (not name.isupper(), name.lower() == name, name))


def test_wrong_kind_of_file_lists_the_formats(reads):
    """A file that is no score is told so, with the formats there are."""
    with pytest.raises(ScoreError, match=r"not a score this program knows.*\.musicxml"):
        reads("dear reader", "letter.txt")
