"""What a literal repeat brings again is asked once."""

import re
from itertools import pairwise

from reading.features_whole import whole_bars
from reading.findings import Draft
from reading.findings_again import asked_once
from reading.repeats import Repeat
from reading.survey import survey

TUNE = ["G4/1.5 A4 B4/1 D5/1", "C5/1.5 B4 A4/2", "B4/1.5 C5 D5/1 G5/1", "F#5/1.5 E5 D5/2"]
OTHER = ["E5 D5 C5 B4 C5/2", "F5 E5 D5 C5 D5/2", "G5 F5 E5 D5 E5/2", "D5/4"]
CHORDS = ["C3 E3+G3 " * 4] * 4
HELD = ["C3+E3+G3/4", "D3+F3+A3/4", "E3+G3+B3/4", "G3+B3+D4/4"]


def test_a_repeat_asks_its_own_question_only(form_builder):
    """In A B A the figure of A is asked about at its first place, which names the second; the second is a detail."""
    found = survey(form_builder.build([*TUNE, *OTHER, *TUNE], [*CHORDS, *HELD, *CHORDS])).findings
    figures = [one for one in found if one.kind == "figuration"]
    assert [(one.bars, one.rank < 3) for one in sorted(figures, key=lambda one: one.first_bar_index)] == [
        ("1-4", True),
        ("9-12", False),
    ]
    assert any("again in bars 9-12" in line for line in figures[0].evidence)


def test_only_literal_repeats_fold_and_never_the_repeat_itself():
    """A varied repeat keeps its questions; the finding that asks about the repeat keeps its strength."""
    model, copy = Draft("gap", 1, 2, 0.7, (), "?", ()), Draft("gap", 9, 10, 0.7, (), "?", ())
    own = Draft("return", 9, 12, 0.8, (), "?", ())

    def strengths(kind):
        repeat = Repeat((1, 4), (9, 12), kind, 0, 0.97)
        return [one.strength for one in asked_once([model, copy, own], [repeat], lambda a, b: f"{a}-{b}")]

    assert strengths("varied") == [0.7, 0.7, 0.8]
    assert strengths("literal")[0] == 0.7
    assert strengths("literal")[1] < 0.4
    assert strengths("literal")[2] == 0.8


def test_layers_of_divided_bars_are_those_of_whole_ones(form_builder):
    """Dividing a bar at a repeat sign changes no role and says every sentence in bars of the page."""
    from dataclasses import replace

    import numpy as np

    from reading.layers import find_layers

    score = form_builder.build(TUNE * 2, CHORDS * 2)
    bars = np.insert(score.bars, 4, score.bars[3])
    bars["duration"][3], bars["duration"][4] = 3 * 10080, 10080
    bars["onset"][4] = bars["onset"][3] + 3 * 10080
    bars["index"] = np.arange(1, 10)
    notes = score.notes.copy()
    notes["bar"] = np.searchsorted(bars["onset"], notes["onset"], side="right")
    divided = replace(score, bars=bars, notes=notes, bar_numbers=("1", "2", "3", "4", "4", "5", "6", "7", "8"))
    assert whole_bars(divided).divided
    assert (find_layers(divided).roles == find_layers(score).roles).all()
    assert find_layers(divided).evidence[-1].last_bar == 9


def test_bars_without_a_tune_are_offered_no_tune(form_builder):
    """Where an introduction of bass and chords comes back, the options colour these, not a melody."""
    vamp = ["C3 E3+G3 G2 E3+G3 C3 E3+G3 G2 E3+G3", "F3 A3+C4 C3 A3+C4 F3 A3+C4 C3 A3+C4"] * 2
    upper = [*["-/4"] * 4, *TUNE, *["-/4"] * 4]
    found = survey(form_builder.build(upper, [*vamp, *CHORDS, *vamp])).findings
    (back,) = [one for one in found if one.kind in ("repeat", "return") and one.bars == "9-12"]
    assert len(back.options) >= 2
    assert not any("melody" in step.values() for one in back.options for step in one.steps)


def an_octave_lower(bars):
    """Return bars of text an octave lower."""
    return [re.sub(r"([A-G][#b]?)(\d)", lambda m: f"{m[1]}{int(m[2]) - 1}", bar) for bar in bars]


def test_a_return_says_how_it_returns(form_builder):
    """An opening that comes back an octave lower is told once, as that, and is no new theme, contrast or return."""
    upper = [*TUNE, *OTHER, *an_octave_lower(TUNE)]
    found = survey(form_builder.build(upper, [*CHORDS, *HELD, *an_octave_lower(CHORDS)])).findings
    (back,) = [one for one in found if one.kind == "repeat" and one.first_bar_index == 9]
    assert back.evidence[0].startswith("the opening returns: bars 1-4 come back, 1 octave down")
    assert not [one for one in found if one.kind in ("new theme", "contrast", "return") and one.first_bar_index >= 8]


def test_one_start_to_a_phrase(form_builder):
    """No two starts within a phrase, whatever their names; the two closing bars are none."""
    upper = [*TUNE, *OTHER, *TUNE[::-1], *OTHER[::-1], "C6+E6+G6/4", "C4/4"]
    found = survey(form_builder.build(upper, [*CHORDS, *HELD, *HELD, *CHORDS, "C2/4", "C2/4"])).findings
    spans = sorted(
        (one.first_bar_index, one.last_bar_index) for one in found if one.kind in ("new theme", "contrast", "return")
    )
    assert spans
    assert all(first + 4 <= after for (first, _), (after, _) in pairwise(spans))
    assert spans[-1][0] <= 16
