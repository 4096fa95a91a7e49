"""Every kind of mark: from a MusicXML file into the Score, into the written full score, and found there again.

Read back by our own reader and, where its names allow, by music21. The small files are written here.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import mapping
import reading
from mapping.fullscore import score_xml
from reading.score import Flag

Q = 10_080


def note(pitch: str, quarters: float, *signs: str, staff: int = 1, before: str = "", tail: str = "") -> str:
    """One <note> of a file with 24 divisions; *before* stands in front of the pitch, *signs* in <notations>."""
    alter = {"#": 1, "b": -1}.get(pitch[1], 0)
    length = "" if "<grace" in before else f"<duration>{round(24 * quarters)}</duration>"
    notations = f"<notations>{''.join(signs)}</notations>" if signs else ""
    return (
        f"<note>{before}<pitch><step>{pitch[0]}</step><alter>{alter}</alter><octave>{pitch[-1]}</octave></pitch>"
        f"{length}<voice>{1 if staff == 1 else 5}</voice>{tail}<staff>{staff}</staff>{notations}</note>"
    )


def rest(quarters: float, *signs: str, staff: int = 1) -> str:
    """One rest."""
    notations = f"<notations>{''.join(signs)}</notations>" if signs else ""
    duration = f"<duration>{round(24 * quarters)}</duration>"
    voice = 1 if staff == 1 else 5
    return f"<note><rest/>{duration}<voice>{voice}</voice><type>quarter</type><staff>{staff}</staff>{notations}</note>"


def sign(xml: str, *, staff: int = 1, placement: str = "below", sound: str = "") -> str:
    """One <direction>."""
    kind = f"<direction-type>{xml}</direction-type>"
    return f'<direction placement="{placement}">{kind}<staff>{staff}</staff>{sound}</direction>'


def back(quarters: float) -> str:
    """Go back to write the other staff."""
    return f"<backup><duration>{round(24 * quarters)}</duration></backup>"


def document(*bars: str, fifths: int = 0, beats: int = 4, numbers: tuple[str, ...] = ()) -> str:
    """A piano score of such bars."""
    start = (
        f"<attributes><divisions>24</divisions><key><fifths>{fifths}</fifths></key><time><beats>{beats}</beats>"
        "<beat-type>4</beat-type></time><staves>2</staves></attributes>"
    )
    names = numbers or tuple(str(row) for row in range(1, len(bars) + 1))
    body = "".join(
        f'<measure number="{name}">{start if row == 0 else ""}{bar}</measure>'
        for row, (name, bar) in enumerate(zip(names, bars, strict=True))
    )
    listed = '<part-list><score-part id="P1"><part-name>Piano</part-name></score-part></part-list>'
    return f'<score-partwise version="4.0">{listed}<part id="P1">{body}</part></score-partwise>'


@pytest.fixture
def both(tmp_path: Path) -> Any:
    """Read a document; write it as the piano's own arrangement; read that: (before, after, the written text)."""

    def made(text: str) -> tuple[reading.Score, reading.Score, str]:
        first, second = tmp_path / "first.musicxml", tmp_path / "second.musicxml"
        first.write_text(text)
        score = reading.read(first)
        written = score_xml(mapping.piano(score))
        second.write_text(written)
        return score, reading.read(second), written

    return made


def told(score: reading.Score, *kinds: str) -> list[tuple[Any, ...]]:
    """The marks of some kinds as (kind, onset, end, staff, value, its notes by onset and pitch)."""
    return sorted(
        (
            mark.kind,
            mark.onset,
            mark.end if mark.kind != "tempo" else mark.onset,
            mark.staff,
            mark.value,
            tuple((int(score.notes["onset"][one]), int(score.notes["pitch"][one])) for one in mark.notes),
        )
        for mark in score.marks_of(*kinds)
    )


ORNAMENT = "<ornaments>{}</ornaments>"
ONE_NOTE = {
    "bracket": '<non-arpeggiate type="bottom"/>',
    "trill with a flat": ORNAMENT.format("<trill-mark/><accidental-mark>flat</accidental-mark>"),
    "mordent with a sharp": ORNAMENT.format('<mordent/><accidental-mark placement="below">sharp</accidental-mark>'),
    "inverted mordent": ORNAMENT.format("<inverted-mordent/><accidental-mark>natural</accidental-mark>"),
    "turn with both": ORNAMENT.format(
        '<turn/><accidental-mark placement="above">flat</accidental-mark>'
        '<accidental-mark placement="below">sharp</accidental-mark>'
    ),
    "delayed turn": ORNAMENT.format("<delayed-turn/>"),
    "delayed inverted turn": ORNAMENT.format("<delayed-inverted-turn/>"),
    "trill with its line": ORNAMENT.format('<trill-mark/><wavy-line type="start"/><wavy-line type="stop"/>'),
    "tremolo of one stroke": ORNAMENT.format('<tremolo type="single">1</tremolo>'),
    "tremolo of two strokes": ORNAMENT.format('<tremolo type="single">2</tremolo>'),
    "tremolo of four strokes": ORNAMENT.format('<tremolo type="single">4</tremolo>'),
    "angled fermata": "<fermata>angled</fermata>",
    "square fermata": "<fermata>square</fermata>",
    "breath": "<articulations><breath-mark/></articulations>",
    "caesura": "<articulations><caesura/></articulations>",
    "portato": "<articulations><tenuto/><staccato/></articulations>",
    "arpeggio down": '<arpeggiate direction="down"/>',
}


@pytest.mark.parametrize("name", ONE_NOTE)
def test_sign_at_a_note_keeps_its_value(name: str, both: Any) -> None:
    """A sign at a note is at that note of the written score, with accidentals, strokes and shape."""
    kinds = ("ornament", "tremolo", "fermata", "arpeggio", "text", "glissando")
    for value in (2, 0.5):
        score, again, _ = both(document(note("C4", 2) + note("D5", value, ONE_NOTE[name]) + rest(2 - value)))
        assert again.notes["flags"].tolist() == score.notes["flags"].tolist()
        assert told(again, *kinds) == told(score, *kinds)
        assert int(score.notes["flags"][1]) or told(score, *kinds)


@pytest.mark.parametrize(
    "word", ["sf", "sfz", "sffz", "rfz", "rf", "fz", "sff", "ffz", "fp", "sfp", "sfpp", "sfzp", "pf"]
)
def test_accents_are_written_as_printed(word: str, both: Any) -> None:
    """A sfz stays a sfz, a rfz a rfz; the chord under it has the accent, the other hand has not."""
    element = f"<dynamics><{word}/></dynamics>"
    upper = sign(element, placement="above") + note("C5", 2) + note("E5", 2, before="<chord/>") + note("G5", 2)
    score, again, _ = both(document(upper + back(4) + note("C3", 4, staff=2)))
    assert [(mark.value, mark.onset) for mark in again.marks_of("accent")] == [(word, 0)]
    assert again.notes["flags"].tolist() == score.notes["flags"].tolist()


def test_a_bracket_spans_its_chord(both: Any) -> None:
    """The bracket of a chord that must not be broken runs from its lowest to its highest note."""
    chord = note("C4", 4, '<non-arpeggiate type="bottom"/>') + note("E4", 4, before="<chord/>")
    _, again, written = both(document(chord + note("G4", 4, '<non-arpeggiate type="top"/>', before="<chord/>")))
    assert written.count("<non-arpeggiate") == 2
    flagged = again.notes["flags"] & int(Flag.NON_ARPEGGIO)
    assert again.notes["pitch"][flagged != 0].tolist() == [60, 67]


def test_arpeggios_of_both_hands_stay_one_or_two(both: Any) -> None:
    """One wavy line through both staves stays one, two lines stay two."""
    for number in ("1", "2"):
        left = note("C3", 4, f'<arpeggiate number="{number}"/>', staff=2)
        score, again, _ = both(document(note("C5", 4, '<arpeggiate number="1"/>') + back(4) + left))
        assert told(again, "arpeggio") == told(score, "arpeggio")
        assert len(told(score, "arpeggio")) == int(number)


def test_glissando_joins_its_notes(both: Any) -> None:
    """A glissando runs from its first note to its last."""
    first = note("C5", 2, '<glissando type="start" number="1"/>')
    score, again, _ = both(document(first + note("C6", 2, '<glissando type="stop" number="1"/>')))
    assert told(again, "glissando") == told(score, "glissando")
    assert told(score, "glissando")[0][-1] == ((0, 72), (2 * Q, 84))


@pytest.mark.parametrize(("length", "beams"), [(2, 2), (1, 3), (0.5, 3)])
def test_tremolo_between_chords(length: float, beams: int, both: Any) -> None:
    """A tremolo between two chords keeps both, its beams, and is written with the length of both."""
    from music21 import converter, expressions

    marks = [f'<ornaments><tremolo type="{way}">{beams}</tremolo></ornaments>' for way in ("start", "stop")]
    pair = note("C4", length, marks[0]) + note("E4", length, before="<chord/>") + note("G4", length, marks[1])
    score, again, written = both(document(pair + rest(4 - 2 * length) if length < 2 else pair))
    assert told(again, "tremolo") == told(score, "tremolo")
    assert again.notes.tolist() == score.notes.tolist()
    assert written.count("<actual-notes>2</actual-notes><normal-notes>1</normal-notes>") == 3
    kind = {2: "whole", 1: "half", 0.5: "quarter"}[length]
    assert written.count(f"<type>{kind}</type>") >= 3
    parsed = converter.parseData(written, format="musicxml")
    (spanner,) = parsed.recurse().getElementsByClass(expressions.TremoloSpanner)
    assert spanner.numberOfMarks == beams
    assert [round(float(element.quarterLength), 3) for element in spanner.getSpannedElements()] == [length, length]


def test_octave_line_of_the_piano(both: Any) -> None:
    """An octave line stays over its notes, on its staff, and the notes keep their sounding pitch."""
    upper = sign('<octave-shift type="down" size="8"/>', placement="above") + note("E7", 2)
    upper += sign('<octave-shift type="stop" size="8"/>', placement="above") + note("E5", 2)
    lower = sign('<octave-shift type="up" size="8"/>', staff=2) + note("A0", 2, staff=2) + note("B0", 2, staff=2)
    lower += sign('<octave-shift type="stop" size="8"/>', staff=2)
    score, again, _ = both(document(upper + back(4) + lower, rest(4)))
    assert told(again, "ottava") == told(score, "ottava")
    assert [(item[4], item[3]) for item in told(score, "ottava")] == [("8va", 1), ("8vb", 2)]
    assert again.notes["pitch"].tolist() == score.notes["pitch"].tolist()


def test_fermata_on_rest_and_bar_line(both: Any) -> None:
    """A fermata over a rest and one over a bar line stay where they are."""
    line = '<barline location="right"><fermata>normal</fermata></barline>'
    score, again, _ = both(document(note("C4", 2) + rest(2, "<fermata>square</fermata>") + line, note("D4", 4)))
    places = [(mark.onset, mark.value) for mark in score.marks_of("fermata")]
    assert places == [(2 * Q, "square"), (4 * Q, "normal")]
    assert [(mark.onset, mark.value) for mark in again.marks_of("fermata")] == places
    assert not (again.notes["flags"] & int(Flag.FERMATA)).any()


def test_cue_notes_stay_cues(both: Any) -> None:
    """Cue notes are small notes again, apart from the notes that are played."""
    score, again, written = both(document(note("C5", 2, before="<cue/>") + note("D5", 2)))
    assert again.notes["flags"].tolist() == score.notes["flags"].tolist() == [int(Flag.CUE), 0]
    assert "<note><cue/><pitch>" in written
    assert written.count('size="cue"') == 1


def test_grace_notes_keep_value_slash_order_and_side(both: Any) -> None:
    """Runs of grace notes keep their order (not that of pitch), printed values, slashes, and their side of the note."""
    run = note("E5", 0, before="<grace/>", tail="<type>16th</type>")
    run += note("D5", 0, before="<grace/>", tail="<type>32nd</type>")
    run += note("F5", 0, before="<grace/><chord/>", tail="<type>32nd</type>")
    slashed = note("B4", 0, before='<grace slash="yes"/>', tail="<type>eighth</type>")
    quarter = note("A4", 0, before="<grace/>", tail="<type>quarter</type>")
    after = note("G4", 0, before='<grace steal-time-previous="20"/>', tail="<type>16th</type>")
    end = note("A5", 0, before="<grace/>", tail="<type>16th</type>") + note("G5", 0, before="<grace/>")
    bar = run + note("C5", 1) + slashed + note("C5", 1) + quarter + note("G4", 1) + after + note("C5", 1) + end
    score, again, written = both(document(bar))
    assert told(again, "graces") == told(score, "graces")
    assert again.notes[["onset", "duration", "pitch", "flags"]].tolist() == (
        score.notes[["onset", "duration", "pitch", "flags"]].tolist()
    )
    assert {item[4] for item in told(score, "graces")} >= {"1/32 0/16 1/32", "0/8", "0/4", "0/16"}
    assert written.index("<step>G</step><octave>4</octave></pitch><voice>1</voice><type>16th") > written.index(
        "<type>quarter</type>"
    )


def test_pedal_jumps_letters_and_words(both: Any) -> None:
    """Pedal, sign, coda, D.S. al Coda, Fine, letters, tempo words and character words are found at their places."""
    first = sign("<segno/>") + sign("<rehearsal>A</rehearsal>") + sign("<words>dolce</words>", placement="above")
    first += sign('<pedal type="start"/>', staff=2) + note("C4", 2) + sign("<words>rit.</words>", placement="above")
    first += sign('<pedal type="change"/>', staff=2) + note("D4", 2) + sign('<pedal type="stop"/>', staff=2)
    second = note("E4", 4) + sign("<words>To Coda</words>", sound='<sound tocoda="coda"/>')
    third = sign('<pedal type="sostenuto"/>', staff=2) + note("E4", 2) + sign('<pedal type="stop"/>', staff=2)
    third += note("F4", 2) + sign("<words>D.S. al Coda</words>", sound='<sound dalsegno="segno"/>')
    fourth = sign("<coda/>") + sign("<words>morendo</words>") + rest(4)
    score, again, written = both(document(first, second, third, fourth))
    for kinds in (("jump",), ("rehearsal",), ("pedal",)):
        assert told(again, *kinds) == told(score, *kinds)
    assert {item[4] for item in told(score, "jump")} == {"segno", "to coda", "dal segno al coda", "coda"}
    wanted = {(mark.onset, mark.value) for mark in score.marks_of("text")}
    assert wanted == {(mark.onset, mark.value) for mark in again.marks_of("text")}
    assert written.count("D.S. al Coda</words>") == 1


def test_da_capo_and_fine(both: Any) -> None:
    """D.C. al Fine and Fine stand once, at the ends of their bars."""
    first = note("C4", 4) + sign("<words>Fine</words>", sound='<sound fine="yes"/>')
    second = note("D4", 4) + sign("<words>D.C. al Fine</words>", sound='<sound dacapo="yes"/>')
    score, again, _ = both(document(first, second))
    assert told(again, "jump") == told(score, "jump")
    assert [item[4] for item in told(score, "jump")] == ["fine", "da capo al fine"]


def test_repeats_endings_keys_metres_and_pickup(both: Any) -> None:
    """Repeats with first and second ending, changes of key and metre, a pickup and printed bar numbers survive."""
    forward = '<barline location="left"><repeat direction="forward"/></barline>'
    one = '<barline location="left"><ending number="1" type="start"/></barline>' + note("E4", 3)
    one += '<barline location="right"><bar-style>light-heavy</bar-style><ending number="1" type="stop"/>'
    one += '<repeat direction="backward"/></barline>'
    two = '<barline location="left"><ending number="2" type="start"/></barline>' + note("F4", 3)
    two += '<barline location="right"><bar-style>light-light</bar-style><ending number="2" type="stop"/></barline>'
    change = "<attributes><key><fifths>3</fifths><mode>minor</mode></key>"
    change += "<time><beats>6</beats><beat-type>8</beat-type></time></attributes>" + note("C#5", 3)
    change += '<barline location="right"><bar-style>light-heavy</bar-style></barline>'
    bars = (note("G4", 1), forward + note("C4", 3), one, two, change)
    score, again, _ = both(document(*bars, beats=3, fifths=-2, numbers=("0", "1", "2", "3", "4")))
    assert again.bars.tolist() == score.bars.tolist()
    assert again.bar_numbers == score.bar_numbers
    assert score.bars["volta"].tolist() == [0, 0, 1, 2, 0]
    assert bool(score.bars["pickup"][0])


def test_dynamics_and_hairpins_of_each_hand(both: Any) -> None:
    """Dynamics between, above and below the staves, under a held note and before a rest, and hairpins of each hand."""
    upper = sign("<dynamics><p/></dynamics>") + sign('<wedge type="crescendo" number="1"/>', placement="above")
    upper += note("C5", 2) + sign('<wedge type="stop" number="1"/>', placement="above")
    upper += sign("<dynamics><f/></dynamics>", placement="above") + note("D5", 2)
    lower = note("C3", 3, staff=2) + sign('<wedge type="diminuendo" number="2"/>', staff=2) + note("D3", 1, staff=2)
    lower = sign("<dynamics><mf/></dynamics>", staff=2) + lower + sign('<wedge type="stop" number="2"/>', staff=2)
    second = note("E5", 2) + sign("<dynamics><pp/></dynamics>") + note("E5", 2) + back(4) + note("C3", 4, staff=2)
    third = sign("<dynamics><ppp/></dynamics>") + rest(2) + note("C5", 2)
    score, again, _ = both(document(upper + back(4) + lower, second, third))
    assert told(again, "dynamic") == told(score, "dynamic")
    assert told(again, "hairpin") == told(score, "hairpin")
    assert {item[3] for item in told(score, "dynamic")} == {0, 1, 2}


def test_cross_staff_notes(both: Any) -> None:
    """A note of the left hand's voice drawn on the upper staff stays so."""
    lower = note("C3", 1, staff=2) + note("G3", 1, staff=2) + note("E4", 1, staff=2).replace("staff>2", "staff>1")
    score, again, _ = both(document(note("C6", 4) + back(4) + lower + note("G3", 1, staff=2)))
    assert again.notes["flags"].tolist() == score.notes["flags"].tolist()
    assert again.notes["staff"].tolist() == score.notes["staff"].tolist()
    assert int(Flag.CROSS_STAFF) in score.notes["flags"].tolist()


def test_slurs_articulations_and_spelling(both: Any) -> None:
    """Slurs, every articulation, ties over the bar line and enharmonic spelling are as they were."""
    tie = ("<tied type='start'/>", "<tied type='stop'/>")
    first = note("Cb5", 1, '<slur type="start" number="1"/>', "<articulations><staccato/></articulations>")
    first += note("B#4", 1, '<slur type="stop" number="1"/>', "<articulations><accent/><tenuto/></articulations>")
    first += note("Fb4", 2, tie[0]).replace("<voice>", "<tie type='start'/><voice>")
    second = note("Fb4", 2, tie[1]).replace("<voice>", "<tie type='stop'/><voice>")
    second += note("E#4", 2, "<articulations><strong-accent/></articulations>")
    score, again, _ = both(document(first, second))
    assert again.notes.tolist() == score.notes.tolist()
    assert told(again, "slur") == told(score, "slur")
    assert len(told(score, "slur")) == 1


def everything() -> str:
    """One score with most kinds of mark, a bar for each few."""
    strokes = [f'<ornaments><tremolo type="{way}">3</tremolo></ornaments>' for way in ("start", "stop")]
    run = note("E5", 0, before="<grace/>", tail="<type>16th</type>")
    run += note("D5", 0, before='<grace slash="yes"/>', tail="<type>eighth</type>")
    broken = note("C5", 4, ONE_NOTE["arpeggio down"]) + note("G5", 4, ONE_NOTE["arpeggio down"], before="<chord/>")
    above = '<octave-shift type="{}" size="8"/>'
    return document(
        note("C5", 2, ONE_NOTE["trill with a flat"]) + note("D5", 2, ONE_NOTE["turn with both"]),
        note("C5", 2, ONE_NOTE["mordent with a sharp"]) + note("D5", 2, ONE_NOTE["inverted mordent"]),
        note("C5", 2, ONE_NOTE["tremolo of two strokes"]) + note("D5", 2, ONE_NOTE["angled fermata"]),
        note("C5", 2, ONE_NOTE["breath"]) + note("D5", 2, ONE_NOTE["caesura"]),
        note("C4", 2, strokes[0]) + note("G4", 2, strokes[1]),
        note("C5", 2, '<glissando type="start" number="1"/>') + note("C6", 2, '<glissando type="stop" number="1"/>'),
        sign(above.format("down"), placement="above") + note("E7", 4) + sign(above.format("stop"), placement="above"),
        sign("<segno/>") + sign("<rehearsal>B</rehearsal>") + run + broken,
        sign("<dynamics><sffz/></dynamics>") + sign('<wedge type="crescendo"/>') + note("C5", 4),
        sign('<wedge type="stop"/>') + sign("<dynamics><ff/></dynamics>") + note("C5", 2, before="<cue/>") + rest(2),
        sign('<pedal type="start"/>', staff=2) + note("C5", 4) + sign('<pedal type="stop"/>', staff=2),
        note("C5", 4) + sign("<words>D.S. al Fine</words>", sound='<sound dalsegno="segno"/>'),
    )


def test_music21_finds_every_mark(both: Any) -> None:
    """music21, a reader of its own, finds the marks of the written score in their bars, with values and accidentals."""
    from music21 import articulations, converter, dynamics, expressions, repeat, spanner

    _, _, written = both(everything())
    score = converter.parseData(written, format="musicxml")
    found: dict[int, list[str]] = {}
    for element in score.recurse().notesAndRests:
        bar = element.getContextByClass("Measure").number
        for expression in (*element.expressions, *element.articulations):
            found.setdefault(bar, []).append(type(expression).__name__)
    assert found[1] == ["Trill", "Turn"]
    assert found[2] == ["Mordent", "InvertedMordent"]
    assert found[3] == ["Tremolo", "Fermata"]
    assert found[4] == ["BreathMark", "Caesura"]
    (wave,) = score.recurse().getElementsByClass(expressions.ArpeggioMarkSpanner)
    assert (wave.type, [one.isChord for one in wave.getSpannedElements()]) == ("down", [True])
    notes = {note.getContextByClass("Measure").number: note for note in score.recurse().notes if note.isNote}
    bars = {bar.number: bar for bar in score.parts[0].getElementsByClass("Measure")}
    turn = bars[1].flatten().notes[1].expressions[0]
    assert (turn.upperAccidental.name, turn.lowerAccidental.name) == ("flat", "sharp")
    assert bars[1].flatten().notes[0].expressions[0].accidental.name == "flat"
    tremolo = bars[3].flatten().notes[0].expressions[0]
    assert isinstance(tremolo, expressions.Tremolo)
    assert tremolo.numberOfMarks == 2
    assert bars[3].flatten().notes[1].expressions[0].shape == "angled"
    assert isinstance(bars[4].flatten().notes[0].articulations[0], articulations.BreathMark)
    (glide,) = score.recurse().getElementsByClass(spanner.Glissando)
    assert [one.nameWithOctave for one in glide.getSpannedElements()] == ["C5", "C6"]
    (line,) = score.recurse().getElementsByClass(spanner.Ottava)
    assert [one.pitch.midi for one in line.getSpannedElements()] == [100]
    graces = [note for note in bars[8].flatten().notes if note.duration.isGrace]
    assert [(one.duration.type, one.duration.slash) for one in graces] == [("16th", False), ("eighth", True)]
    loud = [
        (one.getContextByClass("Measure").number, one.value) for one in score.recurse().getElementsByClass("Dynamic")
    ]
    assert loud == [(9, "sffz"), (10, "ff")]
    assert len(list(score.recurse().getElementsByClass(dynamics.Crescendo))) == 1
    assert notes[10].style.noteSize == "cue"
    assert [one.content for one in score.recurse().getElementsByClass(expressions.RehearsalMark)] == ["B"]
    jumps = [type(one).__name__ for one in score.recurse().getElementsByClass(repeat.RepeatExpression)]
    assert jumps == ["Segno", "DalSegnoAlFine"]


def test_verovio_draws_every_mark_without_a_warning(both: Any, capfd: pytest.CaptureFixture[str]) -> None:
    """verovio loads the score with all marks, says nothing, and draws each of them."""
    import verovio

    _, _, written = both(everything())
    kit = verovio.toolkit()
    assert kit.loadData(written)
    drawn = "".join(kit.renderToSVG(page) for page in range(1, kit.getPageCount() + 1))
    noise = capfd.readouterr()
    assert noise.err + noise.out == ""
    kinds = "trill turn mordent bTrem fTrem fermata breath caesura gliss octave arpeg hairpin pedal reh repeatMark"
    for kind in kinds.split():
        assert f'class="{kind}' in drawn, kind
