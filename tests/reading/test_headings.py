"""Headings of tempo beside words of expression."""

from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

import mapping
from mapping.fullscore import score_xml
from reading.form_signs import signs
from reading.headings import headings, is_heading, names_tempo
from reading.reader import read
from reading.score import Mark

DEMO = Path(__file__).parents[2] / "demo" / "weathercock.musicxml"


@pytest.mark.parametrize(
    ("text", "heading"),
    [
        ("Poco più tranquillo", True),
        ("Etwas bewegter", True),
        ("Allegro con brio", True),
        ("Tempo I", True),
        ("dolce", False),
        ("Dolce", False),
        ("poco più tranquillo", False),
        ("più f", False),
        ("Più forte", False),
    ],
)
def test_a_heading_has_a_capital_and_a_word_of_pace(text, heading):
    """Words of pace count wherever they stand in a heading; words of expression and loudness never do."""
    assert is_heading(text) is heading


def test_a_change_of_pace_is_a_heading_but_begins_no_passage():
    """``Rit.`` is printed like a heading, and nothing new begins there."""
    assert is_heading("Rit.")
    assert not names_tempo("Rit.")


@pytest.mark.parametrize(
    ("texts", "carrier"),
    [
        (("dolce", "Poco più tranquillo"), "Poco più tranquillo"),
        (("Poco più tranquillo", "dolce"), "Poco più tranquillo"),
        (("espressivo", "Wie im Traum"), "Wie im Traum"),
        (("wie im Traum", "dolce"), "wie im Traum"),
        (("dolce",), None),
        (("a tempo", "dolce"), "a tempo"),
    ],
)
def test_the_metronome_figure_belongs_to_the_words_of_pace(with_words, texts, carrier):
    """Of several words at one moment those printed like a heading carry the figure, in whatever order they stand."""
    score = with_words(texts)
    assert {words for _, words in headings(score)} == ({carrier} if carrier else set())


@pytest.fixture
def with_words(form_builder):
    """A function that makes two bars with a figure and words on the second bar line."""

    def made(texts):
        score = form_builder.build(["C5/1 D5/1 E5/1 F5/1"] * 2, ["C3/4"] * 2)
        onset = int(score.bars["onset"][1])
        marks = [Mark("text", onset, onset, 0, 1, text) for text in texts]
        return replace(score, marks=(*score.marks, *marks, Mark("tempo", onset, onset, 0, 0, "60")))

    return made


def test_the_written_score_prints_the_heading_with_its_figure_and_dolce_as_expression():
    """Demo, bar 9: ``Poco più tranquillo`` in bold beside the figure, ``dolce`` in italics and without one."""
    root = ElementTree.fromstring(score_xml(mapping.piano(read(DEMO))).encode())
    words = {
        found.text.strip(): (found.get("font-weight"), direction.find(".//metronome") is not None)
        for direction in root.iterfind(".//measure[@number='9']/direction")
        for found in direction.iterfind(".//words")
    }
    assert words["Poco più tranquillo"] == ("bold", True)
    assert words["dolce"] == (None, False)


def test_a_heading_of_pace_marks_a_new_tempo_where_no_figure_says_how_far(with_words):
    """``Poco più tranquillo`` alone is a new tempo, beside a figure it is what the figure says; ``dolce`` is none."""
    for text, figure, new in (
        ("Poco più tranquillo", False, True),
        ("Poco più tranquillo", True, False),
        ("Andante", True, True),
        ("dolce", False, False),
    ):
        score = with_words((text,))
        kept = tuple(mark for mark in score.marks if figure or mark.kind != "tempo")
        assert ("new tempo" in signs(replace(score, marks=kept)).words[1]) is new
