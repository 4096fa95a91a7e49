"""Sung text: carried with its syllables, hyphens, elisions and verses; told where it is not."""

from __future__ import annotations

import re

import numpy as np
import pytest

from base.store import Store
from reading.cached import load, save
from reading.draft import MAX_VERSES
from reading.playing import unfolded
from reading.score import TICKS_PER_QUARTER
from reading.sung import (
    ELISION,
    accompaniment,
    cleaned,
    find_song_layers,
    lead_part,
    sung_notes,
    sung_parts,
    survey_song,
    syllables,
    voice_type,
)
from reading.survey_json import survey_json

KERN = """**kern\t**kern\t**kern\t**text\t**text
*part2\t*part2\t*part1\t*part1\t*part1
*staff3\t*staff2\t*staff1\t*staff1\t*staff1
*clefF4\t*clefG2\t*clefG2\t*\t*
*M4/4\t*M4/4\t*M4/4\t*\t*
=1\t=1\t=1\t=1\t=1
1C\t1e\t4c\tA-\tTwo
.\t.\t4d\t-men,\ttwo
.\t.\t(4e\tah_\tla|lo
.\t.\t4f)\t.\t_
=2\t=2\t=2\t=2\t=2
1C\t1e\t2c\tso.\tend
.\t.\t2r\tlost\t.
==\t==\t==\t==\t==
*-\t*-\t*-\t*-\t*-
"""


def lyric(text, kind="single", verse="1", more=""):
    """One <lyric>."""
    return f'<lyric number="{verse}"><syllabic>{kind}</syllabic><text>{text}</text>{more}</lyric>'


@pytest.fixture
def song(xml, reads):
    """Make a song of one bar: four quarters with the texts given, over a keyboard."""

    def made(*tails, name="Voice", ties=("", "", "", ""), keyboard="", head=""):
        texts = [*tails, "", "", "", ""][:4]
        pitches = ("C5", "D5", "E5", "F5") if not any(ties) else ("C5", "D5", "D5", "F5")
        notes = "".join(
            xml.note(pitch, 4, kind="quarter", tail=tail, ties=tie)
            for pitch, tail, tie in zip(pitches, texts, ties, strict=True)
        )
        right = xml.note("E4", 16, tail=keyboard)
        piano = xml.piano(right, xml.note("C3", 16, voice=5, staff=2), start=xml.attributes())
        text = xml.document(parts=[[xml.attributes(staves=1) + head + notes], [piano]])
        return reads(text.replace("<part-name>Part 1<", f"<part-name>{name}<"))

    return made


def told(score):
    """What of the text is said not to be carried."""
    return [remark.message for remark in score.not_carried if remark.kind == "lyric"]


def test_syllables_keep_their_hyphens_lines_and_verses(song):
    """Syllabic, extend and verse of every syllable are what the file says (MusicXML 4.0, element lyric)."""
    score = song(
        lyric("Lin", "begin") + lyric("Nun", verse="2"),
        lyric("den", "middle"),
        lyric("baum", "end", more="<extend/>"),
        lyric("la", verse="chorus"),
    )
    found = [(one.verse, one.text, one.syllabic, one.extend) for one in syllables(score)]
    assert sorted(found) == sorted(
        [
            ("1", "Lin", ("begin",), False),
            ("2", "Nun", ("single",), False),
            ("1", "den", ("middle",), False),
            ("1", "baum", ("end",), True),
            ("chorus", "la", ("single",), False),
        ]
    )
    assert [score.notes["pitch"][one.note] for one in syllables(score)] == [72, 72, 74, 76, 77]
    assert score.counts["syllables"] == 5
    assert score.counts["verses"] == 3
    assert not told(score)


def test_elisions_are_several_syllables_on_one_note(song):
    """Texts with an elision between them stay two syllables; texts without one are one syllable in two fonts."""
    second = "<elision> </elision><syllabic>begin</syllabic><text>a</text>"
    two = f"<lyric><syllabic>end</syllabic><text>te</text>{second}</lyric>"
    fonts = '<lyric><syllabic>single</syllabic><text>A</text><text font-size="3">\ue551</text><text>b</text></lyric>'
    found = syllables(song(two, fonts))
    assert (found[0].text, found[0].syllabic) == (f"te{ELISION}a", ("end", "begin"))
    assert (found[1].text, found[1].syllabic) == (f"A{ELISION}b", ("single",))


def test_a_syllable_under_a_tied_note_keeps_its_place(song):
    """A verse may begin a syllable where another verse holds the note on: it keeps its time, and the note's id."""
    score = song("", lyric("long"), lyric("new", verse="2"), ties=("", "start", "stop", ""))
    long, new = syllables(score)
    assert long.note == new.note
    assert new.onset - long.onset == TICKS_PER_QUARTER


def test_text_that_is_none_changes_nothing(song):
    """A lyric that only goes on a melisma is no syllable; text that is not printed, and humming, are told."""
    score = song(
        '<lyric><extend type="stop"/></lyric>',
        '<lyric print-object="no"><text>x</text></lyric>',
        "<lyric><humming/></lyric>",
        lyric("   "),
    )
    assert not syllables(score)
    assert len(told(score)) == 2


def test_the_notes_are_the_same_without_the_text(song):
    """Metamorphic: text moves no note and no other mark, and costs no field of the note table."""
    texts = [lyric("a"), lyric("b"), lyric("c"), lyric("d")]
    sung, dumb = song(*texts, name="Tenor"), song(name="Tenor")
    assert np.array_equal(sung.notes, dumb.notes)
    assert tuple(mark for mark in sung.marks if mark.kind != "lyric") == dumb.marks


def test_text_survives_the_cache_and_the_repeats(song, xml, reads, tmp_path):
    """The cache gives the same syllables; in a passage played twice the text is sung twice."""
    score = song(lyric("one"), lyric("two"))
    store = Store(tmp_path / "cache")
    save(store, score)
    kept = load(store, score.sha256, score.source)
    assert kept is not None
    assert syllables(kept) == syllables(score)
    end = '<barline location="right"><repeat direction="backward"/></barline>'
    twice = reads(xml.document(xml.attributes(staves=1) + xml.note("C5", 16, tail=lyric("again")) + end))
    assert [one.text for one in syllables(unfolded(twice))] == ["again", "again"]


def test_kern_text_spines_are_carried(reads):
    """Words, hyphens, lines, verses and elisions of ``**text`` spines; what stands under a rest is counted as lost."""
    score = reads(KERN, "song.krn")
    first = [(one.text, one.syllabic, one.extend) for one in syllables(score) if one.verse == "1"]
    second = [(one.text, one.syllabic) for one in syllables(score) if one.verse == "2"]
    assert first == [
        ("A", ("begin",), False), ("men,", ("end",), False), ("ah", ("single",), True), ("so.", ("single",), False),
    ]  # fmt: skip
    assert second == [
        ("Two", ("single",)), ("two", ("single",)), (f"la{ELISION}lo", ("single", "single")), ("end", ("single",)),
    ]  # fmt: skip
    assert told(score) == ["1 of 9 syllables stand under no note"]


def test_mei_verses_are_carried(reads):
    """``verse`` and ``syl`` of MEI: place in the word, elision, extender, the text of a chord at its highest note."""
    notes = (
        '<note pname="c" oct="5" dur="4"><verse n="1"><syl wordpos="i" con="d">Lin</syl></verse></note>'
        '<note pname="d" oct="5" dur="4"><verse n="1"><syl wordpos="t">den</syl></verse></note>'
        '<note pname="e" oct="5" dur="4"><verse n="1"><syl con="b">da</syl><syl con="u">un</syl></verse></note>'
        '<chord dur="4"><note pname="c" oct="5"/><note pname="g" oct="5"/><verse n="1"><syl>la</syl></verse></chord>'
    )
    score = reads(
        '<mei xmlns="http://www.music-encoding.org/ns/mei"><music><body><mdiv><score><scoreDef meter.count="4" '
        'meter.unit="4"><staffGrp><staffDef n="1" lines="5"/></staffGrp></scoreDef><section><measure n="1">'
        f'<staff n="1"><layer n="1">{notes}</layer></staff></measure></section></score></mdiv></body></music></mei>',
        "song.mei",
    )
    found = [(one.text, one.syllabic, one.extend, int(score.notes["pitch"][one.note])) for one in syllables(score)]
    assert found == [
        ("Lin", ("begin",), False, 72),
        ("den", ("end",), False, 74),
        (f"da{ELISION}un", ("single", "single"), True, 76),
        ("la", ("single",), False, 79),
    ]


def test_words_below_a_tune_in_abc_are_carried(reads):
    """``w:`` lines of ABC (standard 2.1, section 5): hyphens within words, none after a line."""
    score = reads(
        "X:1\nT:Song\nM:4/4\nL:1/4\nK:C\nCDEF|G2G2|\nw: Al-le mei-ne Ent-chen\nA2G2|\nw: schwim-men\n", "song.abc"
    )
    assert [(one.text, one.syllabic[0]) for one in syllables(score)] == [
        ("Al", "begin"), ("le", "end"), ("mei", "begin"), ("ne", "end"), ("Ent", "begin"), ("chen", "end"),
        ("schwim", "begin"), ("men", "end"),
    ]  # fmt: skip


def test_lyric_events_of_midi_are_told(reads):
    """MIDI files carry text beside the notes (meta event 05), in many manners; it is counted, not guessed at."""
    import io

    import mido

    file, buffer = mido.MidiFile(tracks=[mido.MidiTrack()]), io.BytesIO()
    file.tracks[0] += [
        mido.MetaMessage("lyrics", text="la"),
        mido.Message("note_on", note=60, velocity=60),
        mido.Message("note_off", note=60, time=480),
    ]
    file.save(file=buffer)
    assert told(reads(buffer.getvalue(), "song.mid")) == ["sung text (1 lyric events)"]


def test_hostile_text_is_cut_and_told(song):
    """A text without end, signs that are no letters, thousands of verses: read quickly, cut, and said so."""
    endless = song(lyric("la" * 200_000))
    assert [len(one.text) for one in syllables(endless)] == [200]
    assert len(told(endless)) == 1
    bent = song(lyric("a\u202eb\u0085\n\tc"), lyric("\u2066\u2069"))
    assert [one.text for one in syllables(bent)] == ["a b c"]
    many = song("".join(lyric("x", verse=str(verse)) for verse in range(5000)))
    assert len(syllables(many)) == MAX_VERSES
    assert told(many) == ["sung text beyond what a score can hold: 4960 times, in bar 1 and later"]


def test_verse_names_cannot_break_out(song):
    """The name of a verse is short and without spaces, whatever the file says."""
    (one,) = syllables(song(lyric("x", verse="1 | end&#10;" + "z" * 500)))
    assert len(one.verse) <= 16
    assert not re.search(r"\s", one.verse)
    assert one.text == "x"


def test_letters_of_all_scripts_are_letters():
    """Joiners that tell letters apart stay (Unicode 15, section 23.2); control and direction signs go."""
    assert cleaned("می\u200cخواهم") == "می\u200cخواهم"
    assert cleaned("cœur\u00ad") == "cœur"
    assert cleaned("\x07a\u200fb") == "a b"


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("Soprano", "soprano"), ("Sopran 2", "soprano"), ("Mezzo-Soprano", "mezzo-soprano"), ("Alt", "alto"),
        ("Ténor", "tenor"), ("TENORE", "tenor"), ("Bariton", "baritone"), ("Basso", "bass voice"),
        ("Singstimme", "voice"), ("Chant Voice", "voice"), ("Gesang", "voice"), ("", "voice"), ("Part 1", "voice"),
    ],
)  # fmt: skip
def test_voices_are_known_by_their_parts(name, kind):
    """Names of voices in the usual languages (common practice, no source); ``voice`` where a name says nothing."""
    assert voice_type(name) == kind


def test_a_part_is_sung_where_text_stands_under_it(song, xml, reads):
    """One staff with text above something else; not a keyboard's own text, not a word over a violin, not all parts."""
    assert sung_parts(song(lyric("a"), lyric("b"))) == (0,)
    assert sung_parts(song(keyboard=lyric("Amen"), name="Violin")) == ()
    alone = reads(xml.document(xml.attributes(staves=1) + xml.note("C5", 16, tail=lyric("a"))))
    assert sung_parts(alone) == ()
    bar = xml.attributes(staves=1) + "".join(
        xml.note("C5", 1, tail=lyric("solo") if not row else "") for row in range(16)
    )
    violin = reads(xml.document(parts=[[bar], [xml.attributes(staves=1) + xml.note("C3", 16)]]))
    assert sung_parts(violin) == ()


def test_a_part_named_after_a_voice_is_sung_without_text(song):
    """A vocalise, or a file without its text: a name that can be nothing but a voice is enough; Alto may be a viola."""
    for name, sung in (("Singstimme", (0,)), ("Soprano", (0,)), ("Alto", ()), ("Tenor Horn", ()), ("Bass", ())):
        assert sung_parts(song(name=name)) == sung


def test_the_accompaniment_is_the_song_without_its_voice(song, xml):
    """Bar for bar, with the tempo printed above the voice; the voice's own marks go with it."""
    head = xml.direction("<words>Mäßig</words>", placement="above", sound='<sound tempo="60"/>')
    score = song(lyric("a"), lyric("b"), head=head + xml.direction("<dynamics><p/></dynamics>"))
    piano = accompaniment(score)
    assert np.array_equal(piano.bars, score.bars)
    assert sorted(piano.notes["pitch"].tolist()) == [48, 64]
    assert piano.notes["id"].tolist() == [0, 1]
    assert [part.staves for part in piano.parts] == [2]
    assert {mark.kind for mark in piano.marks} >= {"tempo"}
    assert not {mark.kind for mark in piano.marks} & {"lyric", "dynamic"}
    assert accompaniment(piano) is piano
    assert (lead_part(score), lead_part(piano)) == (1, 0)


def test_layers_and_survey_of_a_song_are_the_accompaniments(song):
    """The voice has the tune; the piano's roles are those it has alone; the survey's tables know every note."""
    from reading import find_layers
    from reading.layers import Role

    score = song(lyric("a"), lyric("b"))
    layers, sung = find_song_layers(score), sung_notes(score)
    assert set(layers.roles[sung].tolist()) == {int(Role.MELODY)}
    assert np.array_equal(layers.roles[~sung], find_layers(accompaniment(score)).roles)
    found = survey_song(score)
    assert len(survey_json(found)["notes"]) == len(score.notes)
    assert found.findings == survey_song(accompaniment(score)).findings
