"""What two editions of one piece print otherwise: the survey reads the same music from both."""

from dataclasses import replace

import numpy as np
import pytest

from reading import figuration, repeats
from reading.accents import accents
from reading.features_noted import plainly_noted, shakes_folded
from reading.score import Flag, Mark, ticks
from reading.survey import survey
from reading.survey_dynamics import contrasts, dynamics, swells

THEME = ["C5/1 E5/1 G5/2", "A5/1 F5/1 D5/2", "B4/1 D5/1 G5/2"]
CLOSE = "E5/1 D5/1 C5/2"


def marked(score, *marks):
    """The score with marks (kind, quarter, value, end quarter)."""
    made = tuple(Mark(kind, ticks(at), ticks(end[0] if end else at), value=value) for kind, at, value, *end in marks)
    return replace(score, marks=made)


def levels(found):
    """Swells by bars, kind and levels."""
    return [(one.kind, one.first_bar, one.last_bar, one.before, one.after) for one in found]


def test_crescendo_in_words_is_the_hairpin_of_another_edition(form_builder):
    """A word leads to the next level as a hairpin does, and what it leads to is no sudden contrast."""
    score = form_builder.build(["C5/4"] * 8, ["C3/4"] * 8)
    ends = (("dynamic", 0, "p"), ("dynamic", 16, "f"))
    wedge = marked(score, ends[0], ("hairpin", 8, "cresc", 16), ends[1])
    words = marked(score, ends[0], ("text", 8, "cresc."), ends[1])
    both = marked(score, ends[0], ("hairpin", 8, "cresc", 10), ("text", 8, "poco a poco cresc."), ends[1])
    for other in (wedge, words, both):
        rows = dynamics(other)
        assert levels(swells(other, rows)) == [("cresc", 3, 4, 3, 6)]
        assert contrasts(other, rows) == ()


def test_swells_end_where_loudness_goes_the_other_way(form_builder):
    """A hairpin without an end stops at a softer level; a word without a goal lasts four bars."""
    score = form_builder.build(["C5/4"] * 16, ["C3/4"] * 16)
    open_end = marked(score, ("dynamic", 0, "mf"), ("hairpin", 4, "cresc", 64), ("dynamic", 12, "p"))
    assert levels(swells(open_end, dynamics(open_end))) == [("cresc", 2, 3, 5, -1)]
    alone = marked(score, ("text", 4, "dim."))
    assert levels(swells(alone, dynamics(alone))) == [("dim", 2, 5, -1, -1)]


def test_editors_accents_do_not_widen_a_row_of_sforzandos(form_builder):
    """Accents before and after a row of sforzandos are findings of their own; the row keeps its bars."""
    score = form_builder.build(["C5/1 D5/1 E5/1 F5/1"] * 12, ["C3/4"] * 12)
    row = tuple(("accent", 4 * bar, "sf") for bar in (5, 6))
    plain = survey(marked(score, *row))
    notes = score.notes.copy()
    first = np.isin(notes["onset"], [ticks(4 * bar) for bar in (3, 4, 7)])
    notes["flags"][first] |= np.uint32(Flag.ACCENT)
    edited = survey(marked(replace(score, notes=notes), *row))
    spans = [[f.bars for f in found.findings if f.kind == "accent" and f.strength > 0.65] for found in (plain, edited)]
    assert spans == [["6-7"], ["6-7"]]


@pytest.mark.parametrize("word", ["sf", "sfz", "rinf.", "Sforzando"])
def test_accent_in_words_is_an_accent(form_builder, word):
    """A sforzando that a file gives as words counts as one."""
    score = marked(form_builder.build(["C5/1 D5/1 E5/1 F5/1"] * 2, ["C3/4"] * 2), ("text", 4, word))
    assert [(one.bar_index, one.beat, one.marked) for one in accents(score)] == [(2, 1.0, True)]


def test_written_out_shake_is_its_main_note(form_builder):
    """Five small notes around one note are compared as that note; five of a scale, or as slow as the rest, are not."""
    shake = "C5/0.2 D5/0.2 C5/0.2 B4/0.2 C5/0.2"
    plain = form_builder.build(["E5/1 C5/1 G5/2", *THEME], ["C3/1 G3/1 C3/1 G3/1"] * 4)
    written = form_builder.build([f"E5/1 {shake} G5/2", *THEME], ["C3/1 G3/1 C3/1 G3/1"] * 4)
    folded = shakes_folded(written)
    kept = folded.notes[folded.notes["flags"] & Flag.CUE == 0]
    for name in ("onset", "duration", "pitch"):
        np.testing.assert_allclose(kept[name], plain.notes[name], atol=1)
    scale = form_builder.build(["E5/1 C5/0.2 D5/0.2 E5/0.2 F5/0.2 G5/0.2 G5/2", *THEME], ["C3/4"] * 4)
    slow = form_builder.build(["C5/0.5 D5/0.5 C5/0.5 B4/0.5 C5/0.5 B4/0.5 C5/1"] * 4, ["C3/4"] * 4)
    assert shakes_folded(scale) is scale
    assert shakes_folded(slow) is slow


def test_repeat_with_its_trill_written_out_is_literal(form_builder):
    """A return is found whole and literal whether its trill is written out or not."""
    other = ["Ab5/2 G5/2", "F5/1.5 Eb5/0.5 Db5/2", "C5/2 Db5/2", "Bb4/3 C5/1"]
    shake = "D5/0.2 E5/0.2 D5/0.2 C5/0.2 D5/0.2"
    low = ["C3/1 G3/1 C3/1 G3/1"] * 4 + ["F3/2 Ab3/2"] * 4 + ["C3/1 G3/1 C3/1 G3/1"] * 4
    end = CLOSE.replace("D5/1", shake)
    found = repeats.find(form_builder.build([*THEME, CLOSE, *other, *THEME, end], low))
    assert [(one.first, one.later, one.kind) for one in found] == [((1, 4), (9, 12), "literal")]


def test_strokes_are_the_figure_they_abbreviate(form_builder):
    """A half note with one stroke is repeated eighths; an orchestra's tremolo stays a held note."""
    score = form_builder.build(["C5/4"] * 2, ["C3+E3+G3/2 C3+E3+G3/2"] * 2)
    notes = score.notes.copy()
    low = np.flatnonzero(notes["staff"] == 2)
    notes["flags"][low] |= np.uint32(Flag.TREMOLO)
    marks = tuple(Mark("tremolo", int(notes["onset"][row]), 0, staff=2, value="1", notes=(int(row),)) for row in low)
    stroked = replace(score, notes=notes, marks=marks)
    written = form_builder.build(["C5/4"] * 2, ["C3+E3+G3/0.5 " * 8] * 2)
    np.testing.assert_array_equal(plainly_noted(stroked).notes["onset"], written.notes["onset"])
    assert figuration.describe(stroked).rows == figuration.describe(written).rows
    parts = tuple(replace(score.parts[0], staves=1) for _ in range(3))
    assert plainly_noted(replace(stroked, parts=parts)).notes is stroked.notes
