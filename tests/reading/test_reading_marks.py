"""One small score for every kind of mark: each must be found in the Score, at its place."""

from __future__ import annotations

import pytest

from reading.score import Flag

Q = 10_080


def flags(score, row=0):
    """Flags of one note."""
    return Flag(int(score.notes["flags"][row]))


NOTE_FLAGS = {
    "accent": ("<articulations><accent/></articulations>", Flag.ACCENT),
    "marcato": ("<articulations><strong-accent/></articulations>", Flag.MARCATO),
    "staccato": ("<articulations><staccato/></articulations>", Flag.STACCATO),
    "staccatissimo": ("<articulations><staccatissimo/></articulations>", Flag.STACCATISSIMO),
    "tenuto": ("<articulations><tenuto/></articulations>", Flag.TENUTO),
    "portato": ("<articulations><detached-legato/></articulations>", Flag.TENUTO | Flag.STACCATO),
    "sfz at the note": ("<dynamics><sfz/></dynamics>", Flag.SFORZANDO),
    "fermata": ("<fermata/>", Flag.FERMATA),
    "arpeggio up": ("<arpeggiate/>", Flag.ARPEGGIO),
    "arpeggio down": ('<arpeggiate direction="down"/>', Flag.ARPEGGIO_DOWN),
    "bracket": ('<non-arpeggiate type="bottom"/>', Flag.NON_ARPEGGIO),
    "trill": ("<ornaments><trill-mark/></ornaments>", Flag.TRILL),
    "mordent": ("<ornaments><mordent/></ornaments>", Flag.MORDENT),
    "inverted mordent": ("<ornaments><inverted-mordent/></ornaments>", Flag.INVERTED_MORDENT),
    "turn": ("<ornaments><turn/></ornaments>", Flag.TURN),
    "inverted turn": ("<ornaments><inverted-turn/></ornaments>", Flag.INVERTED_TURN),
    "tremolo": ('<ornaments><tremolo type="single">3</tremolo></ornaments>', Flag.TREMOLO),
    "glissando": ('<glissando type="start" number="1"/>', Flag.GLISSANDO),
}


@pytest.mark.parametrize("name", NOTE_FLAGS)
def test_sign_at_note(name, xml, reads):
    """A sign written at a note is a flag of that note and of no other."""
    sign, flag = NOTE_FLAGS[name]
    score = reads(xml.document(xml.attributes() + xml.note("C4", 8, notations=sign) + xml.note("D4", 8)))
    assert flags(score, 0) == flag
    assert flags(score, 1) == Flag(0)


ACCENTS = {
    "sf": Flag.SFORZANDO,
    "sfz": Flag.SFORZANDO,
    "fz": Flag.SFORZANDO,
    "rfz": Flag.SFORZANDO,
    "fp": Flag.FP,
    "sfp": Flag.FP,
}


@pytest.mark.parametrize("word", ACCENTS)
def test_accent_is_no_dynamic(word, xml, reads):
    """A sf, fz, rfz, fp is an accent of the chord it stands under, and leaves the dynamic as it was."""
    chord = xml.note("C4", 8) + xml.note("E4", 8, chord=True)
    bar = xml.attributes(staves=1) + xml.direction(f"<dynamics><{word}/></dynamics>") + chord + xml.note("G4", 8)
    score = reads(xml.document(bar))
    assert [flags(score, row) for row in range(3)] == [ACCENTS[word], ACCENTS[word], Flag(0)]
    assert [(mark.value, mark.notes) for mark in score.marks_of("accent")] == [(word, (0, 1))]
    assert not list(score.marks_of("dynamic"))


@pytest.mark.parametrize("level", ["ppp", "pp", "p", "mp", "mf", "f", "ff", "fff"])
def test_dynamic(level, xml, reads):
    """A dynamic stands at its moment, whether written beside the notes or at one."""
    beside = xml.note("C4", 8) + xml.direction(f"<dynamics><{level}/></dynamics>") + xml.note("D4", 8)
    at_note = xml.note("C4", 8) + xml.note("D4", 8, notations=f"<dynamics><{level}/></dynamics>")
    for bar in (beside, at_note):
        score = reads(xml.document(xml.attributes(staves=1) + bar))
        assert [(mark.value, mark.onset) for mark in score.marks_of("dynamic")] == [(level, 2 * Q)]


def test_dynamics_by_staff(xml, reads):
    """Between the staves of a keyboard a dynamic is for both hands (0); above the upper or below the lower, for one."""
    signs = (
        xml.direction("<dynamics><p/></dynamics>", staff=1, placement="below")
        + xml.direction("<dynamics><f/></dynamics>", staff=1, placement="above")
        + xml.direction("<dynamics><mf/></dynamics>", staff=2, placement="below")
    )
    score = reads(xml.document(xml.piano(signs + xml.note("C5", 16), start=xml.attributes())))
    assert {mark.value: mark.staff for mark in score.marks_of("dynamic")} == {"p": 0, "f": 1, "mf": 2}


def test_hairpins(xml, reads):
    """Hairpins have a beginning, an end and a direction, over bar lines too."""
    opening = xml.direction('<wedge type="crescendo" number="1"/>') + xml.note("C4", 16)
    closing = xml.note("D4", 8) + xml.direction('<wedge type="stop" number="1"/>')
    second = xml.direction('<wedge type="diminuendo"/>') + xml.note("E4", 8) + xml.direction('<wedge type="stop"/>')
    score = reads(xml.document(xml.attributes(staves=1) + opening, closing + second))
    found = [(mark.value, mark.onset, mark.end) for mark in score.marks_of("hairpin")]
    assert found == [("cresc", 0, 6 * Q), ("dim", 6 * Q, 8 * Q)]


def test_pedal_signs(xml, reads):
    """Every pedal sign survives: down, changed, changed again, up."""
    moves = ["start", "change", "change", "stop"]
    bar = "".join(xml.direction(f'<pedal type="{way}" line="yes"/>', staff=2) + xml.note("C4", 4) for way in moves)
    score = reads(xml.document(xml.attributes() + bar))
    assert [(mark.onset // Q, mark.end // Q) for mark in score.marks_of("pedal")] == [(0, 1), (1, 2), (2, 3)]


def test_tempo_marks_and_words(xml, reads):
    """Metronome figures are quarters per minute, dotted beats too; words stay words."""
    figure = "<metronome><beat-unit>quarter</beat-unit><beat-unit-dot/><per-minute>60</per-minute></metronome>"
    bar = (
        xml.direction("<words>Andante</words>", placement="above")
        + xml.direction(figure)
        + xml.note("C4", 8)
        + xml.direction("<words>rit.</words>")
        + xml.note("D4", 4)
        + xml.direction("<words>a tempo</words>", sound='<sound tempo="72"/>')
        + xml.note("E4", 4)
    )
    score = reads(xml.document(xml.attributes(staves=1) + bar))
    assert [(mark.value, mark.onset // Q) for mark in score.marks_of("tempo")] == [("90", 0), ("72", 3)]
    assert [(mark.value, mark.onset // Q) for mark in score.marks_of("text")] == [
        ("Andante", 0),
        ("rit.", 2),
        ("a tempo", 3),
    ]


def test_slurs(xml, reads):
    """A slur flags its first, inner and last notes and knows its length; slurs may overlap."""
    bar = (
        xml.note("C4", 4, notations='<slur type="start" number="1"/>')
        + xml.note("D4", 4)
        + xml.note("E4", 4, notations='<slur type="stop" number="1"/><slur type="start" number="2"/>')
        + xml.note("F4", 4, notations='<slur type="stop" number="2"/>')
    )
    score = reads(xml.document(xml.attributes(staves=1) + bar))
    expected = [Flag.SLUR_START, Flag.SLUR_INSIDE, Flag.SLUR_END | Flag.SLUR_START, Flag.SLUR_END]
    assert [flags(score, row) for row in range(4)] == expected
    assert [(mark.onset // Q, mark.end // Q, mark.notes) for mark in score.marks_of("slur")] == [
        (0, 3, (0, 2)),
        (2, 4, (2, 3)),
    ]


def test_slur_whose_end_comes_first(xml, reads):
    """A slur from the lower voice up into the upper one is found, though the file names its end first."""
    upper = xml.rest(8) + xml.note("C5", 8, notations='<slur type="stop" number="1"/>')
    lower = xml.note("C3", 8, voice=5, staff=2, notations='<slur type="start" number="1"/>') + xml.rest(
        8, voice=5, staff=2
    )
    score = reads(xml.document(xml.piano(upper, lower, start=xml.attributes())))
    assert [mark.notes for mark in score.marks_of("slur")] == [(0, 1)]
    assert not score.repaired


def test_one_slur_number_in_two_voices(xml, reads):
    """Slurs of the two hands that carry one number are told apart by their voice, over the bar line too."""
    begin, end = '<slur type="start" number="1"/>', '<slur type="stop" number="1"/>'
    left = xml.note("C3", 8, voice=5, staff=2, notations=begin) + xml.note("D3", 8, voice=5, staff=2, notations=end)
    first = xml.piano(xml.note("C5", 16, notations=begin), left, start=xml.attributes())
    score = reads(xml.document(first, xml.piano(xml.note("D5", 16, notations=end))))
    by_id = score.notes["pitch"].tolist()
    assert [[by_id[row] for row in mark.notes] for mark in score.marks_of("slur")] == [[72, 74], [48, 50]]
    assert not score.repaired


def test_ties_merge(xml, reads):
    """Tied notes are one note, over bar lines and across staves; the flag says so."""
    first = xml.piano(xml.note("C4", 16, ties="start"), start=xml.attributes())
    second = xml.piano(xml.rest(16), xml.note("C4", 8, voice=5, staff=2, ties="stop") + xml.rest(8, voice=5, staff=2))
    score = reads(xml.document(first, second))
    assert [(int(note["onset"]), int(note["duration"])) for note in score.notes] == [(0, 6 * Q)]
    assert flags(score) == Flag.TIED


def test_tie_to_nowhere_is_told(xml, reads):
    """A tie that leads nowhere changes no note and is in the account with bar and staff."""
    score = reads(xml.document(xml.attributes(staves=1) + xml.note("C4", 8, ties="start") + xml.note("D4", 8)))
    assert int(score.notes["duration"][0]) == 2 * Q
    assert [(remark.kind, remark.bar, remark.staff) for remark in score.repaired] == [("tie to nowhere", 1, 1)]


def test_broken_chord_collected_by_ties(xml, reads):
    """Notes of a broken chord tied over a gap into the full chord sound through (each once)."""
    broken = xml.note("C4", 4, ties="start") + xml.note("E4", 4, ties="start") + xml.note("G4", 4)
    chord = xml.note("C4", 4, ties="stop") + xml.note("E4", 4, chord=True, ties="stop")
    score = reads(xml.document(xml.attributes(staves=1) + broken + chord))
    assert [(int(note["pitch"]), int(note["duration"]) // Q) for note in score.notes] == [(60, 4), (64, 3), (67, 1)]
    assert [remark.kind for remark in score.repaired] == ["tie over a gap"] * 2


def test_grace_notes(xml, reads):
    """Graces: slashed or not, in their order though not by pitch, before or after their note."""
    graces = xml.note("E5", kind="16th", before='<grace slash="yes"/>') + xml.note("D5", kind="16th", before="<grace/>")
    bar = graces + xml.note("C5", 16, kind="whole") + xml.note("B4", kind="16th", before="<grace/>")
    score = reads(xml.document(xml.attributes(staves=1) + bar))
    by_pitch = {int(note["pitch"]): note for note in score.notes}
    assert Flag(int(by_pitch[76]["flags"])) == Flag.GRACE | Flag.GRACE_SLASH
    assert Flag(int(by_pitch[74]["flags"])) == Flag.GRACE
    assert Flag(int(by_pitch[71]["flags"])) == Flag.GRACE | Flag.GRACE_AFTER
    assert [int(by_pitch[pitch]["onset"]) for pitch in (76, 74, 72, 71)] == [0, 0, 0, 4 * Q]
    runs = {mark.notes: mark.value for mark in score.marks_of("graces")}
    assert runs[int(by_pitch[74]["id"]), int(by_pitch[76]["id"])] == "1/16 0/16"


def test_ornament_accidentals(xml, reads):
    """The accidental of a trill and of a turn is kept with its side."""
    trill = "<ornaments><trill-mark/><accidental-mark>natural</accidental-mark></ornaments>"
    turn = '<ornaments><turn/><accidental-mark placement="below">sharp</accidental-mark></ornaments>'
    bar = xml.note("C5", 8, notations=trill) + xml.note("G4", 8, notations=turn)
    score = reads(xml.document(xml.attributes(staves=1) + bar))
    assert [mark.value for mark in score.marks_of("ornament")] == ["trill:above natural", "turn:below sharp"]


def test_tremolo_between_notes(xml, reads):
    """A tremolo between two notes names both and its beams."""
    first = xml.note("C4", 8, notations='<ornaments><tremolo type="start">2</tremolo></ornaments>')
    second = xml.note("G4", 8, notations='<ornaments><tremolo type="stop">2</tremolo></ornaments>')
    score = reads(xml.document(xml.attributes(staves=1) + first + second))
    assert [(mark.value, mark.notes) for mark in score.marks_of("tremolo")] == [("between:2", (0, 1))]
    assert flags(score, 0) == flags(score, 1) == Flag.TREMOLO_BETWEEN


def test_tremolo_of_a_chord_strikes_all_of_it(xml, reads):
    """Strokes written at the first note of a chord are those of every note in it, also between two chords."""
    sign = "<ornaments><tremolo{}>1</tremolo></ornaments>"
    single = xml.note("C4", 8, notations=sign.format("")) + xml.note("E4", 8, chord=True)
    first = xml.note("C4", 4, notations=sign.format(' type="start"')) + xml.note("E4", 4, chord=True)
    second = xml.note("G4", 4, notations=sign.format(' type="stop"')) + xml.note("B4", 4, chord=True)
    score = reads(xml.document(xml.attributes(staves=1) + single + first + second))
    assert [(mark.value, mark.notes) for mark in score.marks_of("tremolo")] == [
        ("1", (0, 1)),
        ("between:1", (2, 3, 4, 5)),
    ]


def test_arpeggio_over_both_staves(xml, reads):
    """One wavy line through both staves is one mark; two lines are two."""
    sign = '<arpeggiate number="1"/>'
    right, left = xml.note("C5", 16, notations=sign), xml.note("C3", 16, voice=5, staff=2, notations=sign)
    score = reads(xml.document(xml.piano(right, left, start=xml.attributes())))
    assert [(mark.staff, mark.notes) for mark in score.marks_of("arpeggio")] == [(0, (0, 1))]
    other = left.replace('number="1"', 'number="2"')
    score = reads(xml.document(xml.piano(right, other, start=xml.attributes())))
    assert [(mark.staff, mark.notes) for mark in score.marks_of("arpeggio")] == [(1, (1,)), (2, (0,))]


def test_articulation_holds_for_the_chord(xml, reads):
    """A dot at the first note of a chord is for all of it; an ornament is for its note only."""
    dot, trill = "<articulations><staccato/></articulations>", "<ornaments><trill-mark/></ornaments>"
    bar = xml.note("C4", 8, notations=dot) + xml.note("E4", 8, chord=True, notations=trill) + xml.note("C4", 8)
    score = reads(xml.document(xml.attributes(staves=1) + bar))
    assert [flags(score, row) for row in range(2)] == [Flag.STACCATO, Flag.STACCATO | Flag.TRILL]


def test_octave_lines(xml, reads):
    """Notes under an octave line are at sounding pitch; the line is a mark."""
    bar = (
        xml.direction('<octave-shift type="down" size="8"/>')
        + xml.note("C6", 8)
        + xml.direction('<octave-shift type="stop" size="8"/>')
    )
    score = reads(xml.document(xml.attributes(staves=1) + bar + xml.note("C5", 8)))
    assert score.notes["pitch"].tolist() == [84, 72]
    assert [(mark.value, mark.onset, mark.end) for mark in score.marks_of("ottava")] == [("8va", 0, 2 * Q)]


def test_octave_clef(xml, reads):
    """A clef with an octave figure changes no sounding pitch (MusicXML pitches are sounding)."""
    clef = "<clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>"
    score = reads(xml.document(xml.attributes(staves=1, extra=clef) + xml.note("C4", 16)))
    assert score.notes["pitch"].tolist() == [60]


def test_spelling(xml, reads):
    """Spelling is kept: C flat is no B, and its octave is that of the C."""
    score = reads(xml.document(xml.attributes(staves=1) + xml.note("Cb5", 8) + xml.note("B#3", 8)))
    spelled = [tuple(map(int, (note["step"], note["alter"], note["octave"], note["pitch"]))) for note in score.notes]
    assert spelled == [(0, -1, 5, 71), (6, 1, 3, 60)]


def test_transposing_part(xml, reads):
    """A part in B flat is read at sounding pitch and spelling, and says how it transposes."""
    transpose = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    written = xml.attributes(staves=1, fifths=2, extra=transpose) + xml.note("F#4", 16)
    score = reads(xml.document(parts=[[written]]))
    note = score.notes[0]
    assert tuple(map(int, (note["pitch"], note["step"], note["alter"], note["octave"]))) == (64, 2, 0, 4)
    assert score.parts[0].transpose == -2
    assert int(score.bars["fifths"][0]) == 0


def test_voices_and_staves(xml, reads):
    """Voices count from 1 on each staff; a note drawn on the other staff keeps its voice and is flagged."""
    right = xml.note("E5", 16, voice=1) + "<backup><duration>16</duration></backup>" + xml.note("C5", 16, voice=2)
    left = (
        xml.note("C3", 8, voice=5, staff=2) + xml.note("C4", 4, voice=5, staff=1) + xml.note("E3", 4, voice=5, staff=2)
    )
    score = reads(xml.document(xml.piano(right, left, start=xml.attributes())))
    found = {int(note["pitch"]): (int(note["staff"]), int(note["voice"])) for note in score.notes}
    assert found == {76: (1, 1), 72: (1, 2), 48: (2, 1), 60: (1, 3), 52: (2, 1)}
    crossing = [int(note["pitch"]) for note in score.notes if note["flags"] & Flag.CROSS_STAFF]
    assert crossing == [60]


def test_repeats_endings_and_jumps(xml, reads):
    """Repeats, endings, double bars, da capo and fine stand in the bar table and the marks."""
    forward = '<barline location="left"><repeat direction="forward"/></barline>'
    first = '<barline location="left"><ending number="1" type="start"/></barline>'
    style = '<barline location="right"><bar-style>light-heavy</bar-style>'
    first_end = style + '<ending number="1" type="stop"/><repeat direction="backward"/></barline>'
    second = '<barline location="left"><ending number="2" type="start"/></barline>'
    second_end = '<barline location="right"><ending number="2" type="discontinue"/></barline>'
    whole = xml.note("C4", 16)
    fine = xml.direction("<words>Fine</words>", sound='<sound fine="yes"/>')
    back = xml.direction("<words>D.C. al Fine</words>", sound='<sound dacapo="yes"/>')
    bars = [
        xml.attributes(staves=1) + forward + whole,
        first + whole + first_end,
        second + whole + fine + second_end,
        whole + back,
    ]
    score = reads(xml.document(*bars))
    assert score.bars["repeat_start"].tolist() == [True, False, False, False]
    assert score.bars["repeat_end"].tolist() == [0, 2, 0, 0]
    assert score.bars["volta"].tolist() == [0, 1, 2, 0]
    assert score.bars["double_bar"].tolist() == [False, True, False, False]
    assert [(mark.value, score.bar_at(mark.onset)) for mark in score.marks_of("jump")] == [
        ("fine", 3),
        ("da capo al fine", 4),
    ]


def test_pickup_key_and_metre_changes(xml, reads):
    """A pickup bar is short and says so; key and metre change where they are written."""
    pickup = xml.attributes(staves=1, fifths=-3, beats=3) + xml.note("G4", 4)
    time = "<time><beats>6</beats><beat-type>8</beat-type></time>"
    change = f"<attributes><key><fifths>0</fifths><mode>major</mode></key>{time}</attributes>"
    score = reads(xml.document(pickup, xml.note("C5", 12), change + xml.note("C5", 12), numbers=["0", "1", "2"]))
    assert score.bar_numbers == ("0", "1", "2")
    assert score.bars["pickup"].tolist() == [True, False, False]
    assert score.bars["onset"].tolist() == [0, Q, 4 * Q]
    assert [tuple(map(int, (bar["fifths"], bar["beats"], bar["beat_type"]))) for bar in score.bars] == [
        (-3, 3, 4),
        (-3, 3, 4),
        (0, 6, 8),
    ]


def test_fermata_on_rest_and_bar_line(xml, reads):
    """A fermata over a rest or a bar line is a mark at its moment."""
    silent = "<note><rest/><duration>8</duration><voice>1</voice><notations><fermata/></notations></note>"
    line = '<barline location="right"><fermata/></barline>'
    score = reads(xml.document(xml.attributes(staves=1) + xml.note("C4", 8) + silent + line))
    assert [mark.onset // Q for mark in score.marks_of("fermata")] == [2, 4]


def test_cue_and_rehearsal(xml, reads):
    """Cue notes are flagged; rehearsal letters are marks."""
    bar = xml.direction("<rehearsal>B</rehearsal>") + xml.note("C4", 8, before="<cue/>") + xml.note("D4", 8)
    score = reads(xml.document(xml.attributes(staves=1) + bar))
    assert [flags(score, row) for row in range(2)] == [Flag.CUE, Flag(0)]
    assert [mark.value for mark in score.marks_of("rehearsal")] == ["B"]


def test_what_is_not_carried_is_told(xml, reads):
    """Humming, chord names and fingerings are counted in the account, with their bars."""
    lyric = "<lyric><humming/></lyric>"
    finger = "<technical><fingering>3</fingering></technical>"
    chords = "<harmony><root><root-step>C</root-step></root><kind>major</kind></harmony>"
    score = reads(xml.document(xml.attributes(staves=1) + chords + xml.note("C4", 16, notations=finger, tail=lyric)))
    assert {remark.kind for remark in score.not_carried} == {"lyric", "fingering", "harmony"}
    assert all(remark.bar == 1 for remark in score.not_carried)


def test_uneven_bars_are_told(xml, reads):
    """A bar fuller or emptier than its metre is kept as it is and named with its bar."""
    bars = [xml.attributes(staves=1) + xml.note("C4", 16), xml.note("C4", 20), xml.note("C4", 12), xml.note("C4", 16)]
    score = reads(xml.document(*bars))
    assert [(remark.kind, remark.bar) for remark in score.repaired] == [("long bar", 2), ("short bar", 3)]
    assert score.bars["duration"].tolist() == [4 * Q, 5 * Q, 3 * Q, 4 * Q]


def test_metres_that_differ_between_parts(xml, reads):
    """Where parts are written in different metres, the bar has the one that fits its length."""
    voice = xml.attributes(staves=1, beats=2, divisions=4) + xml.note("C5", 12)
    piano = xml.attributes(staves=1, beats=6, beat_type=8) + xml.note("C3", 12)
    score = reads(xml.document(parts=[[voice], [piano]]))
    assert (int(score.bars["beats"][0]), int(score.bars["beat_type"][0])) == (6, 8)


def test_timewise_reads_like_partwise(xml, reads):
    """A timewise score gives the same tables as the partwise one it came from."""
    one = xml.document(xml.attributes(staves=1) + xml.note("C4", 16), xml.note("D4", 16))
    bars = [part.split("</measure>")[0] for part in one.split("<measure ")[1:]]
    inner = "".join(
        f'<measure {bar.partition(">")[0]}><part id="P1">{bar.partition(">")[2]}</part></measure>' for bar in bars
    )
    head = one.partition("<part id=")[0].replace("score-partwise", "score-timewise")
    first, second = reads(one), reads(f"{head}{inner}</score-timewise>")
    assert first.notes.tolist() == second.notes.tolist()
    assert first.bars.tolist() == second.bars.tolist()


def test_tuplets_are_exact(xml, reads):
    """Triplets, quintuplets and septuplets fall on exact ticks; an eleven in one beat adds up."""
    for count in (3, 5, 7, 11):
        bar = xml.attributes(staves=1, divisions=count, beats=1) + "".join(xml.note("C4", 1) for _ in range(count))
        score = reads(xml.document(bar))
        ends = score.notes["onset"] + score.notes["duration"]
        assert score.notes["onset"].tolist() == [round(Q * place / count) for place in range(count)]
        assert int(ends[-1]) == Q
