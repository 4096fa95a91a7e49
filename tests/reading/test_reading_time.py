"""Bars by name, seconds by tempo, repeats played out."""

from __future__ import annotations

import numpy as np
import pytest

from base.errors import InputError
from reading.barwords import bars_named
from reading.playing import unfolded
from reading.timeline import TEMPO_WORDS, Timeline, tempo_of_words
from reading.unfolding import bar_order, unfold

Q = 10_080


def backward(times=2, ending=""):
    """A right bar line with a repeat sign, and perhaps the end of a bracket."""
    return f'<barline location="right">{ending}<repeat direction="backward" times="{times}"/></barline>'


def bracket(number, kind="start"):
    """A left bar line that opens a bracket."""
    return f'<barline location="left"><ending number="{number}" type="{kind}"/></barline>'


@pytest.fixture
def endings(xml, reads):
    """Pickup, one bar, two endings, one bar after: printed 0 1 2 2 3."""
    whole = xml.note("C4", 16)
    bars = [
        xml.attributes(staves=1) + xml.note("G4", 4),
        '<barline location="left"><repeat direction="forward"/></barline>' + whole,
        bracket(1) + whole + backward(ending='<ending number="1" type="stop"/>'),
        bracket(2) + xml.note("E4", 16) + '<barline location="right"><ending number="2" type="stop"/></barline>',
        whole,
    ]
    return reads(xml.document(*bars, numbers=["0", "1", "2", "2", "3"]))


def test_bars_named(endings):
    """Printed numbers, ranges, lists and counted bars; a number printed twice spans both."""
    assert bars_named(endings, "3") == ((5, 5),)
    assert bars_named(endings, "0-1, 3") == ((1, 2), (5, 5))
    assert bars_named(endings, "#4") == ((4, 4),)
    assert bars_named(endings, "2") == ((3, 4),)
    assert bars_named(endings, "1-2") == ((2, 4),)
    assert bars_named(endings, "#2–#3") == ((2, 3),)
    assert bars_named(endings, 3) == ((5, 5),)


@pytest.mark.parametrize("words", ["9", "#9", "#0", "3-1", "", "x", "1--2", "1-", "bar 1", "#x"])
def test_bars_that_are_not_there(words, endings):
    """A wrong bar is refused, and the message says what is legal."""
    with pytest.raises(InputError) as caught:
        bars_named(endings, words)
    assert caught.value.hint


def test_unfolding_names_second_times(endings):
    """Repeats are played out; bars played again say so; notes know the note they come from."""
    assert bar_order(endings) == (1, 2, 3, 2, 4, 5)
    result = unfold(endings)
    assert result.score.bar_numbers == ("0", "1", "2", "1 (2nd time)", "2", "3")
    assert result.score.end == 21 * Q
    for note, source in zip(result.score.notes, result.source, strict=True):
        assert int(note["pitch"]) == int(endings.notes["pitch"][source])
        assert result.order[int(note["bar"]) - 1] == int(endings.notes["bar"][source])
    assert bars_named(result.score, "1 (2nd time)") == ((4, 4),)


def test_three_times_and_da_capo(xml, reads):
    """A passage marked for three times is played three times; after da capo repeats are not taken, Fine ends."""
    whole = xml.note("C4", 16)
    fine = xml.direction("<words>Fine</words>", sound='<sound fine="yes"/>')
    back = xml.direction("<words>D.C. al Fine</words>", sound='<sound dacapo="yes"/>')
    bars = [xml.attributes(staves=1) + whole + backward(3), whole + fine, whole, whole + backward() + back]
    assert bar_order(reads(xml.document(*bars))) == (1, 1, 1, 2, 3, 4, 3, 4, 1, 2)


def test_dal_segno_al_coda(xml, reads):
    """Dal segno goes to the sign, from the coda sign on to the coda."""
    whole = xml.note("C4", 16)
    bars = [
        xml.attributes(staves=1) + whole,
        xml.direction("<segno/>") + whole,
        whole + xml.direction("<words>To Coda</words>", sound='<sound tocoda="coda"/>'),
        whole + xml.direction("<words>D.S. al Coda</words>", sound='<sound dalsegno="segno"/>'),
        xml.direction("<coda/>") + whole,
    ]
    assert bar_order(reads(xml.document(*bars))) == (1, 2, 3, 4, 2, 3, 5)


def test_state_is_told_again_after_a_jump(xml, reads):
    """Tempo and dynamic in force at the target of a jump are stated there again."""
    start = xml.direction("<dynamics><p/></dynamics>") + '<sound tempo="60"/>'
    loud = xml.direction("<dynamics><ff/></dynamics>") + '<sound tempo="120"/>'
    bars = [
        xml.attributes(staves=1) + start + xml.note("C4", 16),
        '<barline location="left"><repeat direction="forward"/></barline>' + xml.note("D4", 16),
        loud + xml.note("E4", 16) + backward(),
    ]
    score = unfolded(reads(xml.document(*bars)))
    second = [mark.value for mark in score.marks if mark.onset == 12 * Q and mark.kind in ("tempo", "dynamic")]
    assert sorted(second) == ["60", "p"]
    assert Timeline(score).seconds(20 * Q) == pytest.approx(4 + 4 + 2 + 4 + 2)


def test_seconds_of_figures(xml, reads):
    """A minute holds as many quarters as the metronome says; the map and its inverse agree."""
    bars = [
        xml.attributes(staves=1) + '<sound tempo="60"/>' + xml.note("C4", 16),
        '<sound tempo="120"/>' + xml.note("C4", 16),
    ]
    timeline = Timeline(reads(xml.document(*bars)))
    places = np.array([0, 4 * Q, 8 * Q, -Q, 10 * Q])
    assert timeline.seconds(places).tolist() == pytest.approx([0, 4, 6, -1, 7])
    assert timeline.ticks(timeline.seconds(places)).tolist() == pytest.approx(places.tolist())
    assert timeline.source == "metronome"


def test_nothing_said_is_a_hundred(xml, reads):
    """Without any word about tempo a quarter lasts 0.6 s."""
    timeline = Timeline(reads(xml.document(xml.attributes(staves=1) + xml.note("C4", 16))))
    assert (timeline.seconds(4 * Q), timeline.source) == (pytest.approx(2.4), "default")


def test_words_for_tempo(xml, reads):
    """A tempo word counts where no figure does; the more special word wins; other words say nothing."""
    bar = xml.attributes(staves=1) + xml.direction("<words>Allegro assai</words>") + xml.note("C4", 16)
    assert Timeline(reads(xml.document(bar))).qpm[0] == dict(TEMPO_WORDS)["allegro assai"]
    assert tempo_of_words("dolce e cantabile") is None
    assert tempo_of_words("Presto") > tempo_of_words("Allegro") > tempo_of_words("Andante") > tempo_of_words("Largo")


def test_ritardando_and_back(xml, reads):
    """A ritardando slows to a tempo; accelerando speeds up; after "a tempo" all is as before."""
    bars = [
        xml.attributes(staves=1) + '<sound tempo="60"/>' + xml.note("C4", 16),
        xml.direction("<words>rit.</words>") + xml.note("C4", 16),
        xml.direction("<words>a tempo</words>") + xml.note("C4", 16),
        xml.direction("<words>accel.</words>") + xml.note("C4", 16),
    ]
    timeline = Timeline(reads(xml.document(*bars)))
    lengths = np.diff(timeline.seconds(np.arange(5) * 4 * Q))
    assert lengths[0] == pytest.approx(4)
    assert 4.3 < lengths[1] < 5
    assert lengths[2] == pytest.approx(4)
    assert 3.3 < lengths[3] < 3.8
    assert (np.diff(timeline.seconds(np.arange(0, 16 * Q, 100))) > 0).all()


def test_fermata_stretches_its_note_only(xml, reads):
    """A fermata holds its note longer and leaves the rest alone."""
    bar = (
        xml.attributes(staves=1) + '<sound tempo="60"/>' + xml.note("C4", 8) + xml.note("D4", 4, notations="<fermata/>")
    )
    score = reads(xml.document(bar + xml.note("E4", 4)))
    held, plain = Timeline(score), Timeline(score, fermatas=False)
    assert plain.seconds(4 * Q) == pytest.approx(4)
    assert np.diff(held.seconds(np.array([0, 2, 3, 4]) * Q)).tolist() == pytest.approx([2, 2, 1])
