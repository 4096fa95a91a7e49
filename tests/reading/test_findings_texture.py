"""Findings about texture: note names as written, notes of the left hand only, one figure one finding, dialogues."""

from dataclasses import replace

import numpy as np
import pytest
from music21 import corpus

from klangprobe.survey_page import survey_html
from reading.figuration import describe
from reading.figuration_stretches import figure_words, stretches
from reading.layers import Role, find_layers
from reading.reader import read
from reading.register import compass_words, dialogues, note_name
from reading.score import TICKS_PER_QUARTER as QUARTER
from reading.survey import survey

ALBERTI = "C3 G3 E3 G3 C3 G3 E3 G3"
TUNE = "C5/1.5 D5/0.5 E5/1 D5/1"


def lower(score):
    """Figures of the left hand by bar."""
    return [row for row in describe(score).rows if row.staff == 2]


def passages(score):
    """Kind, first and last bar of every passage of one figure in the left hand."""
    return [(one.kind, one.first, one.last) for one in stretches(lower(score))]


def findings(score, kind):
    """Findings of one kind, by bar."""
    return sorted(
        (one for one in survey(score).findings if one.kind == kind),
        key=lambda one: one.first_bar_index,
    )


@pytest.fixture(scope="module")
def rag():
    """S. Joplin, Maple Leaf Rag, from the corpus of music21."""
    return read(next(path for path in map(str, corpus.getPaths()) if path.endswith("maple_leaf_rag.mxl")))


def test_names_are_the_scores_own(form_builder):
    """D sharp is not called E flat, F flat not E; B sharp and C flat keep the octave they are written in."""
    score = form_builder.build(["D#4/2 Fb3/2", "Eb4/2 B#3/1 Cb4/1"], [])
    assert note_name(score, 63, 1, 1) == "D#4"
    assert note_name(score, 63, 2, 2) == "Eb4"
    assert [note_name(score, pitch, 1, 2) for pitch in (52, 60, 59)] == ["Fb3", "B#3", "Cb4"]
    assert compass_words(score, (52, 63), 1, 1) == "Fb3 to D#4"
    assert compass_words(score, (63,), 1, 1) == "D#4"


def test_names_of_notes_that_are_not_written_follow_the_key(form_builder):
    """A pitch nobody wrote (the upper note of a trill, say) is spelled by the key signature."""
    score = form_builder.build(["C4/4"], [])
    for fifths, name in ((4, "D#4"), (-3, "Eb4")):
        bars = score.bars.copy()
        bars["fifths"] = fifths
        assert note_name(replace(score, bars=bars), 63, 1, 1) == name


def test_page_names_notes_as_written(form_builder):
    """The compass of the layers on the page is spelled as the bars are."""
    score = form_builder.build(["D#5/1 E5/1 F#5/1 G#5/1"] * 2, ["E3/2 D#3/2"] * 2)
    page = survey_html(score, replace(survey(score), findings=()))
    assert "D#3 (bar 1)" in page
    assert "Eb" not in page.split("Compass of the layers")[1].split("</table>")[0]


def test_evidence_names_notes_as_written(rag):
    """Maple Leaf Rag, A flat major: bars 5-6 of the left hand have F flat and E flat, bars 9-15 reach D flat."""
    said = {one.bars: one.evidence[1] for one in findings(rag, "figuration")}
    assert said["5-6"] == "compass Eb2 to Fb3"
    assert said["9-15"] == "compass D3 to Db5"


def sung(score, *where):
    """Layers in which the tune is what *where* says (bar, staff, from which beat), and all else is middle."""
    notes = score.notes
    beat = (notes["onset"] - score.bars["onset"][notes["bar"] - 1]) / QUARTER + 1
    tune = np.zeros(len(notes), dtype=bool)
    for bar, staff, first in where:
        tune |= (notes["bar"] == bar) & (notes["staff"] == staff) & (beat >= first)
    return replace(find_layers(score), roles=np.where(tune, int(Role.MELODY), int(Role.MIDDLE)))


def test_melody_in_the_left_hand_counts_the_left_hand(form_builder):
    """Notes of the tune that the right hand takes over in the last bar do not count and do not widen the compass."""
    score = form_builder.build(["-/4", "-/4", "-/3 E6/0.5 D6/0.5"], ["A3/1 B3/1 C#4/1 B3/1"] * 3)
    layers = sung(score, (1, 2, 1), (2, 2, 1), (3, 2, 1), (3, 1, 4))
    found = next(one for one in survey(score, layers).findings if one.kind == "melody in the left hand")
    assert (found.bars, found.evidence[0]) == ("1-3", "12 melody notes in the left hand, A3 to C#4")


def test_octave_bass_and_chords_by_turns_are_one_figure(form_builder):
    """A bar of bass and chord, a bar of octaves, and so on: one family through the stretch, one passage, one name."""
    pah, octaves = "C2+C3/1 E3+G3+C4/1 G1+G2/1 E3+G3+C4/1", "C2+C3/1 D2+D3/1 E2+E3/1 F2+F3/1"
    score = form_builder.build([TUNE] * 8, [pah, octaves] * 4)
    assert {row.family for row in lower(score)} == {"oom-pah"}
    assert passages(score) == [("oom-pah", 1, 8)]
    assert passages(form_builder.build([TUNE] * 4, [pah] * 3 + [octaves])) == [("oom-pah", 1, 4)]
    assert passages(form_builder.build([TUNE] * 5, [pah] * 3 + [octaves] * 2)) == [("oom-pah", 1, 3), ("octaves", 4, 5)]
    assert figure_words(stretches(lower(score))[0]) == "bass and chords in quarter notes"


def test_rag_has_one_bass_and_chords(rag):
    """Bars 1-4, 18-29 and the trio of the rag are bass and chords throughout, though many a bar runs in octaves."""
    found = [one.bars for one in findings(rag, "figuration") if one.evidence[0].startswith("bass and chords")]
    assert {"1-4", "18-29", "51-79"} <= set(found)


def test_a_change_of_figure_is_no_alternation(form_builder):
    """Two bars of one figure, a bar each to and fro, then the other: still two passages."""
    chords = "C3+E3+G3 " * 8
    score = form_builder.build([TUNE] * 8, [ALBERTI, ALBERTI, ALBERTI, chords, ALBERTI, chords, chords, chords])
    assert [kind for kind, _, _ in passages(score)] == ["broken", "repeated"]


def test_a_few_bars_of_something_else_do_not_cut_a_figure(form_builder):
    """Alberti bass, a cadence of one or two bars, Alberti bass: one passage; four bars of chords part it."""
    held = "C3+E3+G3/4"
    one = form_builder.build([TUNE] * 10, [ALBERTI] * 4 + [held] * 2 + [ALBERTI] * 4)
    assert passages(one) == [("broken", 1, 10)]
    assert "8 of 10 bars" in findings(one, "figuration")[0].evidence[0]
    two = form_builder.build([TUNE] * 12, [ALBERTI] * 4 + [held] * 4 + [ALBERTI] * 4)
    assert passages(two) == [("broken", 1, 4), ("broken", 9, 12)]


def test_broken_octaves_for_a_phrase_belong_to_the_broken_chords(form_builder):
    """Three bars of broken octaves that run on as broken chords are one figure; eight bars of them are their own."""
    octaves = "C3 C4 C3 C4 C3 C4 C3 C4"
    assert passages(form_builder.build([TUNE] * 9, [octaves] * 3 + [ALBERTI] * 6)) == [("broken", 1, 9)]
    own = form_builder.build([TUNE] * 16, [octaves] * 8 + [ALBERTI] * 8)
    assert passages(own) == [("octaves", 1, 8), ("broken", 9, 16)]


def test_one_motion_is_one_figure(form_builder):
    """A bar that moves much more slowly begins no figure yet, and octaves half as quick as what follows stay apart."""
    slow = "C3/1 G3/1 E3/1 G3/1"
    assert passages(form_builder.build([TUNE] * 5, [slow] + [ALBERTI] * 4)) == [("broken", 2, 5)]
    octaves, quick = "C3/1 C4/1 C3/1 C4/1", "C3/.25 G3/.25 E3/.25 G3/.25 " * 4
    assert len(passages(form_builder.build([TUNE] * 7, [octaves] * 3 + [quick] * 4))) == 2


def test_a_figure_that_comes_back_after_every_odd_bar_goes_on(form_builder):
    """Alberti bass with a held chord in every other bar keeps its family throughout."""
    score = form_builder.build([TUNE] * 5, [ALBERTI, "C3+E3+G3/4"] * 2 + [ALBERTI])
    assert {row.family for row in lower(score)} == {"broken"}


def test_first_accompaniment_is_asked_first():
    """W. A. Mozart, K. 545/i: the Alberti bass of bars 1-4 stands in the first rank (its textbook example)."""
    path = next(path for path in map(str, corpus.getPaths()) if path.endswith("k545/movement1_exposition.mxl"))
    first = findings(read(path), "figuration")[0]
    assert (first.bars, first.rank) == ("1-4", 1)
    assert first.evidence[0] == "Alberti in 8th notes, 4 bars"


def test_figures_are_said_in_note_values(form_builder):
    """No decimals to the beat and no fractions of a quarter: note values, tied ones as tied, mixed ones as mixed."""
    uneven = "C3/0.75 G3/0.25 E3/0.5 G3/1.5 C3/0.25 E3/0.75"
    score = form_builder.build([TUNE] * 4, [uneven] * 4)
    assert all("mixed values" in one.evidence[0] for one in findings(score, "figuration"))
    held = form_builder.build(["-/5"] * 2, ["C3/5", "C3/3.5 -/1.5"], metre=(5, 4))
    assert [row.rhythm for row in lower(held)] == ["whole tied to quarter", "double-dotted half"]


def found_in(score):
    """Bars and number of turns of every dialogue."""
    return [(one.first_bar, one.last_bar, len(one.turns)) for one in dialogues(score, find_layers(score))]


def test_hands_that_answer_within_the_bar(form_builder):
    """A motif that goes from hand to hand, each resting meanwhile, is a dialogue and no counterpoint."""
    motif = "{0}5/0.25 {1}5/0.25 {2}5/0.25 {1}5/0.25 {0}5/0.5 -/0.5 -/2"
    high = [motif.format("G", "A", "B"), motif.format("E", "F", "G")]
    low = [f"-/2 {bar[: -len(' -/2')]}".replace("5/", "3/") for bar in high]
    score = form_builder.build(["C5/2 B4/1 -/1", *high, "C5/4"], ["C3+E3/2 G3/1 -/1", *low, "C3+E3/4"])
    assert found_in(score) == [(2, 3, 4)]
    assert findings(score, "counterpoint") == []
    assert "dialogue" in {one.kind for one in survey(score).findings}


def test_one_hand_answers_itself_in_another_register(form_builder):
    """One motif low and high by turns over repeated chords, a rest before each, is a dialogue of as many turns."""
    low, high = "-/1.5 A4/0.25 G4/0.25 F4/1 -/1", "-/1.5 E6/0.25 D6/0.25 C6/1 -/1"
    score = form_builder.build([low, high] * 3, ["C4+E4/1 C4+E4/1 C4+E4/1 C4+E4/1"] * 6)
    assert found_in(score) == [(1, 6, 6)]


def test_what_is_no_dialogue(form_builder):
    """A scale that falls through the registers, phrases of unlike length, and a phrase that leaps and returns."""
    chords = "C3+E3+G3/2 C3+E3+G3/2"
    scale = ["A6 G6 F6 E6 D6 C6 B5 A5", "G5 F5 E5 D5 C5 B4 A4 G4", "F4 E4 D4 C4 B3 A3 G3 F3", "E4/1 F4/1 G4/2"]
    assert found_in(form_builder.build(scale, [chords] * 4)) == []
    low, high = "C5/1 D5/1 E5/1 -/1", "C6/0.5 E6/0.5 D6/1 C6/1 -/1"
    unlike = form_builder.build([low] * 4 + [high] * 4 + ["A4/1 G4/1 F4/1 -/1"], [chords] * 9)
    assert found_in(unlike) == []
    leaping = form_builder.build(["C5/0.5 E5 G5 C6 E6 C6 G5 E5", "D5 F5 A5 D6 F6 D6 A5 F5"] * 3, [chords] * 6)
    assert found_in(leaping) == []


def test_each_turn_is_heard_alone_and_in_time(form_builder):
    """No dialogue where the third turn comes off the beat, or over a line of the other hand, or in another rhythm."""
    motif = "{0}/0.25 A{1}/0.25 B{1}/0.25 A{1}/0.25 G{1}/0.5"
    high, low = motif.format("G5", 5), motif.format("G3", 3)
    upper, lower_hand = [f"{high} -/2.5", f"{high} -/2.5", "-/4"], [f"-/2 {low} -/0.5", "-/4", "-/4"]
    assert found_in(form_builder.build(upper, lower_hand)) == [(1, 2, 3)]
    late = [upper[0], f"-/0.5 {high} -/2", "-/4"]
    assert found_in(form_builder.build(late, lower_hand)) == []
    under = [lower_hand[0], "-/0.5 C3/0.25 D3/0.25 E3/0.5 -/2.5", "-/4"]
    assert found_in(form_builder.build(upper, under)) == []
    other = [upper[0], "G5/0.75 A5/0.125 B5/0.125 G5/0.25 -/2.75", "-/4"]
    assert found_in(form_builder.build(other, lower_hand)) == []


def test_registers_of_one_hand_must_share_a_rhythm(form_builder):
    """Low and high phrases of like length but of another rhythm each are a tune with a wide compass."""
    low, high = "C4/1 D4/1 E4/1 -/1", "E6/0.25 F6/0.25 G6/0.25 E6/1.25 C6/0.5 -/1.5"
    assert found_in(form_builder.build([low, high] * 3, ["C3+E3+G3/4"] * 6)) == []


def test_a_wide_broken_chord_is_no_dialogue(form_builder):
    """Even notes through four octaves, over and over, have no turns: their leaps are those of the figure."""
    wide = "C3 A3 F4 G5 C6 A6 " * 2
    score = form_builder.build([wide] * 4, [], unit=1 / 3)
    assert dialogues(score, sung(score, *((bar, 1, 1) for bar in range(1, 5)))) == ()


def test_a_hand_that_takes_the_tune_begins_a_turn(form_builder):
    """Broken chords of the left hand run straight into its tune: the turn begins with the tune."""
    tune = "C{0}/2 E{0}/2"
    upper = [TUNE, "-/4", "-/4", tune.format(6), "D6/2 B5/2", "-/4", "-/4", tune.format(6), "D6/2 B5/2"]
    left = [ALBERTI, tune.format(3), "D3/2 B2/2", "-/4", "-/4", tune.format(3), "D3/2 B2/2", "-/4", "-/4"]
    score = form_builder.build(upper, left)
    layers = sung(score, *((bar, 2, 1) for bar in (2, 3, 6, 7)), *((bar, 1, 1) for bar in (1, 4, 5, 8, 9)))
    assert [(one.first_bar, one.last_bar, len(one.turns)) for one in dialogues(score, layers)] == [(2, 9, 4)]


def test_dialogues_move_with_the_music(form_builder):
    """Transposed, in doubled values or with other voice numbers the same dialogue is found."""
    low, high = "G3/1 A3/0.5 B3/0.5 A3/1 G3/1", "G5/1 A5/0.5 B5/0.5 A5/1 G5/1"
    score = form_builder.build(["-/4", high] * 3, [low, "-/4"] * 3)
    others = (
        form_builder.transposed(score, 3),
        form_builder.stretched(score, 2),
        form_builder.stretched(score, 1, 2),
        form_builder.renamed_voices(score),
    )
    assert found_in(score) == [(1, 6, 6)]
    assert all(found_in(other) == [(1, 6, 6)] for other in others)


def test_dialogue_of_a_quartet_movement():
    """L. van Beethoven, op. 18 no. 1/i, bars 119-122: the turn of bar 1 low and high by turns (read from the score)."""
    path = next(path for path in map(str, corpus.getPaths()) if path.endswith("opus18no1/movement1.mxl"))
    score = read(path)
    assert (119, 122) in [(one.first_bar, one.last_bar) for one in dialogues(score, find_layers(score))]
