"""Findings about loudness and resonance: one for each moment, each row and each kind of pedal, with true evidence."""

from dataclasses import replace

import numpy as np
import pytest

from reading.score import Flag, Mark, ticks
from reading.survey import survey

TUNE = ["C5/1 D5/1 E5/1 F5/1", "G5/1 A5/1 F5/1 D5/1", "E5/2 C5/2", "D5/1 B4/1 C5/2"]


@pytest.fixture
def piece(form_builder):
    """A maker of pieces: how many bars, with marks (kind, quarter, value, end quarter)."""

    def make(bars, *marks, low=("C3/4",), upper=TUNE):
        score = form_builder.build((list(upper) * bars)[:bars], (list(low) * bars)[:bars])
        made = [Mark(kind, ticks(at), ticks(end[0] if end else at), value=value) for kind, at, value, *end in marks]
        return replace(score, marks=tuple(sorted(made, key=lambda mark: mark.onset)))

    return make


def kinds(score, *names):
    """The findings of some kinds as (kind, bars), in the order of the piece."""
    found = sorted(survey(score).findings, key=lambda one: (one.first_bar_index, one.kind))
    return [(one.kind, one.bars) for one in found if one.kind in names]


def evidence(score, name):
    """The evidence of one finding."""
    return next(one.evidence for one in survey(score).findings if one.name == name)


LOUDNESS = ("accent", "dynamic contrast", "crescendo", "diminuendo")


def levels(*marks):
    """Levels at bars (from 1), on the first beat."""
    return [("dynamic", 4 * (bar - 1), mark) for bar, mark in marks]


def rolled(score, bar):
    """The score with an arpeggio sign on what is struck first in a bar."""
    notes = score.notes.copy()
    notes["flags"][notes["onset"] == ticks(4 * (bar - 1))] |= int(Flag.ARPEGGIO)
    return replace(score, notes=notes)


def test_one_turn_back_is_told_as_what_is_printed(piece):
    """Loud, soft and loud again is a pair of sudden changes; no hairpin is spoken of where none stands."""
    score = piece(24, *levels((1, "p"), (9, "f"), (11, "p"), (20, "mp")))
    assert evidence(score, "dynamic contrast 9-12") == ("after p (bar 1): f p in 4 bars, 2 sudden changes",)


@pytest.mark.parametrize(
    ("before", "marks", "bars", "said"),
    [
        (("pp", 1), "f p f p", "9-12", "after pp (bar 1): f p f p in 4 bars, 4 sudden changes"),
        (("ff", 6), "pp ff p", "9-11", "after ff (bar 6): pp ff p in 3 bars, 3 sudden changes"),
        (("p", 1), "ff p f", "9-11", "after p (bar 1): ff p f in 3 bars, 3 sudden changes"),
    ],
)
def test_alternation_keeps_its_first_bar(piece, before, marks, bars, said):
    """Loud and soft alternate whatever the shade: p answers f after pp as well, and the first outbreak is in it."""
    turns = [(9 + row, mark) for row, mark in enumerate(marks.split())]
    score = piece(24, *levels(before[::-1], *turns, (20, "mf")))
    assert evidence(score, f"dynamic contrast {bars}") == (said,)


def test_alternation_ends_with_its_usual_turn(piece):
    """A last turn that comes late does not stretch the end; the level of a new passage is no turn of it."""
    score = piece(32, *levels((1, "pp"), (9, "f"), (10, "p"), (11, "f"), (12, "p"), (13, "f"), (17, "p"), (24, "mf")))
    assert kinds(score, "dynamic contrast")[0] == ("dynamic contrast", "9-17")
    mezzo = piece(24, *levels((1, "mf"), (9, "f"), (10, "p"), (11, "f"), (12, "p"), (13, "mf")))
    assert [bars for _, bars in kinds(mezzo, "dynamic contrast")] == ["10-12", "13"]


def test_level_printed_again_is_no_turn(piece):
    """Loud, loud again and soft are two turns, and the level before is told where it was printed last."""
    score = piece(24, *levels((1, "p"), (8, "p"), (9, "f"), (10, "f"), (11, "p"), (13, "f"), (20, "mp")))
    assert evidence(score, "dynamic contrast 9-14") == ("after p (bar 8): f p f in 6 bars, 3 sudden changes",)


def test_alternation_ends_before_a_swell(piece):
    """Where the last turn begins to grow the alternation is over."""
    marks = [*levels((1, "p"), (9, "f"), (13, "p"), (20, "f")), ("hairpin", 56, "cresc", 76)]
    assert kinds(piece(24, *marks), "dynamic contrast") == [("dynamic contrast", "9-14")]


def test_swell_inside_another_says_the_same(piece):
    """A word over four bars and a hairpin over its last two are one crescendo."""
    marks = [*levels((1, "p"), (13, "f")), ("text", 32, "cresc."), ("hairpin", 40, "cresc", 48)]
    assert kinds(piece(16, *marks), *LOUDNESS) == [("crescendo", "9-12")]


def test_loud_bars_of_an_alternation_are_offered_from_the_first(piece):
    """The options play every loud bar, the outbreak included."""
    score = piece(24, *levels((1, "pp"), (9, "f"), (10, "p"), (11, "f"), (12, "p"), (20, "mf")))
    found = next(one for one in survey(score).findings if one.kind == "dynamic contrast")
    loud = [step["bars"] for option in found.options if "loud" in option.says for step in option.steps]
    assert loud
    assert set(loud) == {"9, 11"}


def test_one_moment_is_one_finding(piece):
    """A rolled chord, the sudden fortissimo on it and the hairpin in its bar are asked once, the rest as evidence."""
    marks = [*levels((1, "p"), (9, "ff"), (10, "p")), ("hairpin", 34, "dim", 36)]
    score = rolled(piece(16, *marks, upper=["C5/1 D5/1 E5/1 F5/1"] * 8 + ["E4+G4+C5/2 E5/2"]), 9)
    assert kinds(score, *LOUDNESS) == [("accent", "9")]
    said = "; ".join(evidence(score, "accent 9"))
    assert all(words in said for words in ("arpeggio sign", "p (bar 1) to ff at once", "diminuendo over 1 bar"))
    alone = next(one for one in survey(rolled(piece(16), 9)).findings if one.kind == "accent")
    both = next(one for one in survey(score).findings if one.kind == "accent")
    assert alone.strength < both.strength


def test_what_stands_elsewhere_in_the_bar_is_no_part_of_the_moment(piece):
    """A sudden piano on the third beat is not the sforzando on the first."""
    score = piece(16, ("dynamic", 0, "ff"), ("accent", 32, "sf"), ("dynamic", 34, "p"))
    assert kinds(score, *LOUDNESS) == [("accent", "9"), ("dynamic contrast", "9")]


def test_long_hairpin_stays_a_finding(piece):
    """A crescendo over four bars is its own question, though an accent stands in it."""
    score = piece(16, *levels((1, "p"), (13, "f")), ("hairpin", 32, "cresc", 48), ("accent", 36, "sf"))
    assert kinds(score, *LOUDNESS) == [("crescendo", "9-12"), ("accent", "10")]


def test_short_hairpin_asks_for_no_one_after_another(piece):
    """In one bar nobody falls silent first, and it never is the most urgent."""
    score = piece(16, *levels((1, "ff"), (10, "ppp")), ("hairpin", 32, "dim", 36))
    found = next(one for one in survey(score).findings if one.kind == "diminuendo")
    assert (found.rank > 1, found.question) == (True, "Does each play softer, or does somebody stop?")


def test_rolled_chord_is_rare_whatever_else_stands_there(piece):
    """That a chord is also thick does not hide its arpeggio sign: two reasons weigh more than one."""
    thick = ["C5/1 D5/1 E5/1 F5/1"] * 8 + ["C4+E4+G4+C5+E5+G5/4"] + TUNE
    plain = ["C5/1 D5/1 E5/1 F5/1"] * 8 + ["E4+G4+C5/4"] + TUNE
    found = [
        next(one.strength for one in survey(rolled(piece(16, upper=upper), 9)).findings if one.kind == "accent")
        for upper in (thick, plain)
    ]
    assert found[0] > found[1]


def test_like_accents_a_bar_apart_are_one_row(piece):
    """Sforzandos on the first beat of every other bar are one finding; on another beat, or far off, they are not."""
    first = [("accent", 4 * bar, "sf") for bar in (4, 6, 8)]
    assert kinds(piece(24, *first), "accent") == [("accent", "5-9")]
    assert kinds(piece(24, *first, ("accent", 42, "sf")), "accent") == [("accent", "5-9"), ("accent", "11")]
    assert kinds(piece(24, *first, ("accent", 56, "sf")), "accent") == [("accent", "5-9"), ("accent", "15")]


def test_accents_off_the_beat_are_said_so(piece):
    """A row of sforzandos between the beats stands off the beat; one on them names the beat."""
    off = [("accent", 4 * bar + 1.5, "sf") for bar in (4, 6, 8)]
    on = [("accent", 4 * bar + 1, "sf") for bar in (4, 6, 8)]
    upper = ["C5/1 D5 E5 F5/1 G5/1"]
    assert evidence(piece(16, *off, upper=upper), "accent 5-9")[0] == "3 accents in 5 bars, mostly off the beat"
    assert evidence(piece(16, *on, upper=upper), "accent 5-9")[0] == "3 accents in 5 bars, mostly on beat 2"


@pytest.mark.parametrize(("count", "said"), [(1, "1 degree"), (2, "2 degrees")])
def test_degrees_are_counted_in_words(piece, count, said):
    """One degree is no ``1 degrees``."""
    score = piece(
        16, *levels((1, "mf"), (13, "mf" if count == 0 else ("mp", "p")[count - 1])), ("hairpin", 32, "dim", 48)
    )
    assert evidence(score, "diminuendo 9-12")[0].endswith(f", {said}")


WIDE = "C2 G2 E3 C4 G4 C4 E3 G2"
OTHER = "D2 A2 F3 D4 A4 D4 F3 A2"


def test_pedal_counts_pitches_that_sound_at_once(piece):
    """A pitch struck again is one pitch, and a bar with two pedals counts the fuller one."""
    score = piece(1, ("pedal", 0, "", 4), low=["C3 G3 C3 G3 " * 2], upper=["C6/4"])
    assert "it keeps 2 pitches sounding" in evidence(score, "pedal 1")
    twice = piece(1, ("pedal", 0, "", 2), ("pedal", 2, "", 4), low=["C3 G3 C3 G3 E3 C3 E3 C3"], upper=["C6/4"])
    assert "it keeps 2 pitches sounding" in evidence(twice, "pedal 1")
    single = piece(1, ("pedal", 0, "", 4), low=["C3/1 -/3"], upper=["C6/4"])
    assert "it keeps 1 pitch sounding" in evidence(single, "pedal 1")


def test_one_kind_of_pedal_is_asked_once(piece):
    """The same figure under a new theme, or after three bars without, is one finding that names its stretches."""
    new = ["G5/0.5 F5 E5 D5 E5 F5 G5 A5"]
    score = piece(16, low=[WIDE, OTHER], upper=[*TUNE, *TUNE, *(new * 8)])
    assert kinds(score, "pedal") == [("pedal", "1-16")]
    low = [WIDE, OTHER] * 3 + ["C3/4"] * 3 + [WIDE, OTHER] * 2 + ["C3/4"] * 3
    apart = piece(16, low=low)
    assert kinds(apart, "pedal") == [("pedal", "1-13")]
    assert evidence(apart, "pedal 1-13")[0] == "pedal implied in 10 of 13 bars: 1-6, 10-13"
    played = {
        step["bars"] for one in survey(apart).findings if one.kind == "pedal" for o in one.options for step in o.steps
    }
    assert played == {"1-6, 10-13"}


def test_pedal_far_off_or_under_another_figure_is_asked_again(piece):
    """After six bars without, and where the left hand's figure is another, the question is new."""
    far = piece(24, low=[WIDE, OTHER] * 3 + ["C3/4"] * 6 + [WIDE, OTHER] * 3 + ["C3/4"] * 6)
    assert [bars for _, bars in kinds(far, "pedal")] == ["1-6", "13-18"]
    stride = "C2/1 E3+G3+C4/1 G1/1 E3+G3+C4/1"
    other = piece(12, low=[WIDE, OTHER] * 3 + [stride] * 6)
    assert [bars for _, bars in kinds(other, "pedal")] == ["1-6", "7-12"]


def test_pedal_goes_on_through_a_figure_of_its_own(piece):
    """Two bars of chords, pedalled as well, inside a pedalled passage of broken chords are no question apart."""
    chords = "C2+G2+E3+C4/1 C2+G2+E3+C4/3"
    score = piece(14, low=[WIDE, OTHER] * 3 + [chords] * 2 + [WIDE, OTHER] * 3)
    assert kinds(score, "pedal") == [("pedal", "1-14")]


def test_simile_names_the_printed_bar(piece):
    """The bar whose pedal goes on is called as it is printed."""
    low = "C3 G3 E3 G3 " * 2
    score = replace(piece(6, ("pedal", 0, "", 4), low=[low]), bar_numbers=("0", "1", "2", "3", "4", "5"))
    assert any("as in bar 0," in words for words in evidence(score, "pedal 1-5"))


def test_findings_of_loudness_keep_with_other_note_values(piece, form_builder):
    """Another key or doubled values change none of them."""
    marks = [*levels((1, "pp"), (9, "f"), (10, "p"), (14, "ff")), ("accent", 52, "sf"), ("accent", 32, "sf")]
    score = piece(16, *marks, low=[WIDE, OTHER])
    names = [(one.name, one.rank) for one in survey(score).findings]
    for other in (form_builder.transposed(score, 3), form_builder.stretched(score, 2)):
        assert [(one.name, one.rank) for one in survey(other).findings] == names
    assert np.isfinite([one.strength for one in survey(score).findings]).all()
