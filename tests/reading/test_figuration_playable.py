"""Figuration: where it changes, what is measured of it, and whether an instrument could play it as written."""

import pytest

from reading import figuration
from reading.figuration import InstrumentFacts

# Ranges: Berlioz/Strauss, Treatise on Instrumentation (flute c'-c''''; bassoon from B flat below the bass stave), from
# memory. Speeds are round figures for the test, not facts.
FLUTE = InstrumentFacts("flute", 60, 96, notes_per_second=10, leap=19)
BASSOON = InstrumentFacts("bassoon", 34, 74, notes_per_second=8, leap=12, repeats_per_second=7)
CELLO = InstrumentFacts("cello", 36, 76, notes_per_second=9, leap=12, at_once=2)


@pytest.fixture
def figure(form_builder):
    """Return the figure of a bar of the left hand given as text."""

    def make(bar, **how):
        return figuration.describe(form_builder.build(["C5/1"], [bar], **how)).at(1, 2)

    return make


def test_figure_is_measured(figure):
    """Rhythm, compass, notes per beat, leap and thickness of a figure are those of the notes."""
    alberti = figure("C3 G3 E3 G3 C3 G3 E3 G3")
    assert (alberti.rhythm, alberti.low, alberti.high) == ("8th", 48, 55)
    assert (alberti.per_beat, alberti.leap, alberti.at_once) == (2.0, 7, 1)
    assert figure("C3 G3 E3 C3 G3 E3", metre=(2, 4), unit=1 / 3).rhythm == "triplet 8th"
    assert figure("C3/1.5 G3/0.5 A3/1 E3/1").rhythm in ("uneven", "quarter")
    assert figure("C2/4 & - G3 E3 G3 E3 G3 E3 G3").held == "bass"
    assert figure("G4/4 & - G3 E3 G3 E3 G3 E3 G3").held == "top"


def test_playable_where_nothing_stands_in_the_way(figure):
    """A moderate Alberti bass in range is playable by a bassoon, and a rest by anyone."""
    assert figuration.playable(figure("C3 G3 E3 G3 C3 G3 E3 G3"), BASSOON, beat_s=0.6) == (True, ())
    assert figuration.playable(figure("-/4"), FLUTE, beat_s=0.1) == (True, ())


@pytest.mark.parametrize(
    ("bar", "facts", "beat_s", "word"),
    [
        ("C3 G3 E3 G3 C3 G3 E3 G3", FLUTE, 0.6, "below the range"),
        ("C6 G6 E6 G6", CELLO, 0.6, "above the range"),
        ("C3+E3 C3+E3 C3+E3 C3+E3", BASSOON, 0.6, "notes at once"),
        ("C3 G3 E3 G3 C3 G3 E3 G3", BASSOON, 0.2, "notes a second"),
        ("C3 C3 C3 C3 C3 C3 C3 C3", BASSOON, 0.27, "notes a second"),
        ("C2 G3 C2 G3 C2 G3 C2 G3", CELLO, 0.3, "leaps of 19"),
    ],
)
def test_unplayable_says_why(figure, bar, facts, beat_s, word):
    """A figure out of range, too fast, too thick or too wide is refused with the reason, and only for it."""
    possible, reasons = figuration.playable(figure(bar), facts, beat_s=beat_s)
    assert not possible
    assert word in " ".join(reasons)
    assert len(reasons) == 1


def test_double_stops_are_the_string_players(figure):
    """Two notes at once stop a bassoon, not a cello."""
    thirds = figure("C3+E3 C3+E3 C3+E3 C3+E3")
    assert figuration.playable(thirds, CELLO, beat_s=0.6)[0]
    assert not figuration.playable(thirds, BASSOON, beat_s=0.6)[0]


def test_changes_are_where_a_new_figure_lasts(form_builder):
    """Alberti, then repeated chords, then a waltz-like oom-pah: two changes, and one odd bar is none."""
    alberti, chords, oom = "C3 G3 E3 G3 C3 G3 E3 G3", "C3+E3 " * 8, "C3/1 E3+G3/1 G2/1 E3+G3/1"
    left = [alberti, alberti, "C3/4", alberti, chords, chords, chords, oom, oom, oom]
    found = figuration.describe(form_builder.build(["C5/4"] * 10, left))
    assert found.changes[2] == (5, 8)
    assert found.changes[1] == ()


def test_one_odd_bar_takes_the_family_around_it(form_builder):
    """A lone bar between two of one family is given that family but keeps its finer name; a rest stays a rest."""
    alberti = "C3 G3 E3 G3 C3 G3 E3 G3"
    found = figuration.describe(
        form_builder.build(["C5/4"] * 5, [alberti, "C3 D3 E3 F3 G3 F3 E3 D3", alberti, "-/4", alberti])
    )
    assert [found.at(bar, 2).family for bar in range(1, 6)] == ["broken", "broken", "broken", "rest", "broken"]
    assert found.at(2, 2).figure != "Alberti"


def test_scaling_and_voices_change_no_name(form_builder):
    """Twice the note values, or other voice numbers, give the same figures but for the note value named."""
    left = ["C3 G3 E3 G3 C3 G3 E3 G3", "C3+E3 " * 8, "C3/1 E3+G3/1 G2/1 E3+G3/1", "C2 G2 C3 E3 G3 C4 G3 E3"]
    score = form_builder.build(["C5/1"] * 4, left)
    plain = figuration.describe(score)
    for other in (form_builder.stretched(score, 2), form_builder.renamed_voices(score)):
        rows = figuration.describe(other).rows
        assert [(r.family, r.figure, r.per_beat, r.leap) for r in rows] == [
            (r.family, r.figure, r.per_beat, r.leap) for r in plain.rows
        ]
    assert figuration.describe(form_builder.stretched(score, 2)).at(1, 2).rhythm == "quarter"
