"""Form, repeats and figuration against forms everyone can look up, in scores of the music21 corpus.

Sources of the forms: stated beside each piece. Bar numbers are indices (from 1), counted in the corpus files.
"""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from reading import figuration, form, repeats
from reading.reader import read


def corpus(name):
    """Return a score of the music21 corpus."""
    import music21

    return read(Path(music21.__file__).parent / "corpus" / name)


def without_bar_lines(score):
    """Return the score with double bars, repeat signs and headings taken away: only the notes can tell the form."""
    bars = score.bars.copy()
    for name in ("double_bar", "repeat_start", "repeat_end"):
        bars[name] = 0
    marks = tuple(mark for mark in score.marks if mark.kind not in ("tempo", "text", "rehearsal"))
    return dataclasses.replace(score, bars=bars, marks=marks)


# Strains and parts, as bar indices of their first bars (the opening left out).
FORMS = {
    # Rag of four strains, A A B B A C C D D, each of 16 bars: E. A. Berlin, Ragtime: A Musical and Cultural History,
    # Berkeley 1980, on the form of "Maple Leaf Rag" (from memory). The file has an upbeat bar and endings.
    "joplin/maple_leaf_rag.mxl": (19, 36, 52, 69),
    # Minuet and trio, each a rounded binary form with double bars, as the repeat signs of the score show.
    "mozart/k80/movement3.mxl": (9, 21, 29, 37, 45),
    "mozart/k156/movement3.mxl": (15, 25, 37, 47),
    # Polonaise with trio, both ternary: the repeats and double bars of Clara Wieck's op. 1 no. 1.
    "schumann_clara/polonaise_op1n1.mxl": (9, 13, 21, 29, 33),
    # Mazurka op. 6 no. 2: introduction (drone), A with repeats, new part in another key area, introduction again, A:
    # read off the repeat and double bars and the literal return of the introduction.
    "chopin/mazurka06-2.krn": (9, 18, 35, 52),
}


@pytest.fixture(scope="module")
def scores():
    """Return every score named above, read once."""
    return {name: corpus(name) for name in FORMS}


@pytest.mark.parametrize("name", FORMS)
def test_every_part_is_in_the_main_list(scores, name):
    """With its bar lines each part of the form is a listed start, on the bar, and the list is short."""
    found = form.sections(scores[name])
    listed = [row.bar_index for row in found.rows]
    assert set(FORMS[name]) <= set(listed)
    assert len(listed) <= 3 * (len(FORMS[name]) + 1)


def test_most_parts_without_bar_lines(scores):
    """From the notes alone three quarters of all parts are, within a bar, among the 2n strongest starts."""
    hit = total = chance = 0
    for name, wanted in FORMS.items():
        found = form.sections(without_bar_lines(scores[name]))
        ranked = [row.bar_index for row in found.rows[1:] + found.more][: 2 * len(wanted)]
        hit += sum(any(abs(bar - other) <= 1 for other in ranked) for bar in wanted)
        total += len(wanted)
        rng = np.random.default_rng(0)
        for _ in range(50):
            guess = rng.choice(np.arange(2, len(scores[name].bars)), 2 * len(wanted), replace=False)
            chance += sum(any(abs(bar - other) <= 1 for other in guess) for bar in wanted) / 50
    assert hit / total >= 0.75
    assert hit / total >= 1.25 * chance / total


def test_reprise_of_minuet_and_trio(scores):
    """In the minuet of K. 80 both reprises are literal: bars 21-28 are 1-8, 45-51 are 29-35."""
    found = {(r.first, r.later, r.kind) for r in repeats.find(scores["mozart/k80/movement3.mxl"])}
    assert {((1, 8), (21, 28), "literal"), ((29, 35), (45, 51), "literal")} <= found


def test_return_of_the_first_strain(scores):
    """The first strain of the rag comes back whole after the second, literally."""
    found = repeats.find(scores["joplin/maple_leaf_rag.mxl"])
    first = next(r for r in found if r.later[1] - r.later[0] >= 14)
    assert abs(first.first[0] - 2) <= 1
    assert abs(first.later[0] - 36) <= 1
    assert (first.kind, first.semitones) == ("literal", 0)


def test_rag_left_hand_is_stride(scores):
    """The left hand of the trio strain is bass and chord, the trade's plain example of it (common practice)."""
    found = figuration.describe(scores["joplin/maple_leaf_rag.mxl"])
    families = [found.at(bar, 2).family for bar in range(52, 67)]
    assert families.count("oom-pah") >= 8


def test_prelude_in_c():
    """BWV 846: broken chords in every bar but the last three, bars 5-11 return in 13-19 a fourth higher or fifth lower.

    That bars 12-19 restate 4-11 at the fifth below is a commonplace of analysis (for instance H. Schenker, Five
    Graphic Music Analyses, 1933; from memory).
    """
    score = corpus("bach/bwv846.mxl")
    longest = max(repeats.find(score), key=lambda r: r.later[1] - r.later[0])
    assert (longest.first, longest.later, longest.semitones) == ((5, 11), (13, 19), 5)
    found = figuration.describe(score)
    assert {found.at(bar, 1).family for bar in range(1, 32)} == {"broken"}


@pytest.mark.parametrize("name", ["mozart/k80/movement3.mxl", "schumann_clara/polonaise_op1n1.mxl"])
def test_control_with_shuffled_bars(scores, form_shuffle, name):
    """With bars in random order these pieces, half of them repetition, hold a repeat in one order of twenty at most."""
    assert repeats.find(scores[name])
    assert sum(len(repeats.find(form_shuffle(scores[name], seed))) for seed in range(20)) <= 1


def test_second_encoding_of_one_piece():
    """The scherzo of op. 18 no. 1 has the same starts and repeats in Humdrum and in MusicXML."""
    one = corpus("beethoven/opus18no1/movement3.krn")
    two = corpus("beethoven/opus18no1/movement3.mxl")
    assert len(one.bars) == len(two.bars)
    first, second = (form.sections(without_bar_lines(score)) for score in (one, two))
    starts = [[row.bar_index for row in found.rows[1:11]] for found in (first, second)]
    near = sum(any(abs(bar - other) <= 1 for other in starts[1]) for bar in starts[0])
    assert near >= 9
    assert {(r.first, r.later) for r in repeats.find(one)} == {(r.first, r.later) for r in repeats.find(two)}


def test_a_stanza_over_another_accompaniment_is_no_new_theme():
    """F. Schubert, Der Lindenbaum: the stanzas in minor (bar 29) and over triplets (59) sing the tune of the first.

    That the song is strophic, varied in its accompaniment and mode, is common knowledge of it, no source.
    """
    from reading.sung import survey_song

    found = survey_song(corpus("schubert/Lindenbaum.xml")).findings
    assert [one.name for one in found if one.kind == "new theme" and one.first_bar_index > 24] == []
    returns = [one.first_bar_index for one in found if one.kind in ("repeat", "return") and one.rank <= 2]
    assert all(any(abs(bar - stanza) <= 2 for bar in returns) for stanza in (29, 59))


@pytest.fixture
def form_shuffle():
    """Return the bar shuffler of the tests of reading."""
    import importlib.util

    path = Path(__file__).parents[1] / "reading" / "form_builder.py"
    spec = importlib.util.spec_from_file_location("form_builder_outside", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.shuffled_bars
