"""A bar divided at a repeat sign is one bar: form, figures and findings do not depend on where a bar line is drawn."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from reading import figuration, form, repeats
from reading.features import nominal_ticks
from reading.features_whole import whole_bars
from reading.reader import read
from reading.score import Mark
from reading.survey import survey

DEMO = Path(__file__).parents[2] / "demo" / "weathercock.musicxml"
A = ["E4 G4 C5/1 B4/1 G4/1", "D4 F4 A4/1 G4/1 F4/1", "E4 G4 E5/1 D5/1 C5/1", "B4/1 A4/1 G4/1 -/1"] * 2
B = ["Ab5/2 G5/2", "F5/1.5 Eb5/0.5 Db5/2", "C5/2 Db5/2", "Bb4/3 C5/1"] * 2
LOW = ["C3 G3 E3 G3 " * 2, "B2 G3 D3 G3 " * 2] * 4
CHORDS = ["F3+Ab3+C4/0.5 " * 8, "Db3+F3+Bb3/0.5 " * 8] * 4


@pytest.fixture
def ternary(form_builder):
    """A B A, eight bars each."""
    return form_builder.build(A + B + A, LOW + CHORDS + LOW)


def test_parts_of_a_divided_bar_are_joined(form_builder, ternary):
    """The joined score has the bars and notes of the undivided one, and knows the way back to the page."""
    page = whole_bars(form_builder.divided(ternary, (8, 16)))
    np.testing.assert_array_equal(page.score.bars["onset"], ternary.bars["onset"])
    np.testing.assert_array_equal(page.score.notes, ternary.notes)
    assert page.on_page(8, 9) == (8, 10)
    assert page.on_page(9, 9, upbeat=True) == (9, 10)
    assert page.row.tolist()[7:11] == [8, 8, 9, 10]


def test_what_is_no_divided_bar_is_left_alone(form_builder, ternary):
    """An undivided score comes back as it is; an upbeat and two endings that together fill a bar are not joined."""
    assert whole_bars(ternary).score is ternary
    upbeat = form_builder.build(["C5/1", "D5/3", "C5/4"], [], pickup_quarters=1)
    assert not whole_bars(upbeat).divided
    divided = form_builder.divided(ternary, (8,))
    bars = divided.bars.copy()
    bars["volta"][7], bars["volta"][8] = 1, 2
    assert not whole_bars(replace(divided, bars=bars)).divided


def test_starts_and_repeats_do_not_depend_on_a_divided_bar(form_builder, ternary):
    """Starts (from their upbeat on), their strength, and repeats are those of the undivided score."""
    other = form_builder.divided(ternary, (4, 20))
    plain, found = form.sections(ternary), form.sections(other)
    assert [row.strength for row in found.rows] == [row.strength for row in plain.rows]
    numbers = [other.bar_numbers[row.bar_index - 1] for row in found.rows]
    assert [int(number) + (number in ("4", "20")) for number in numbers] == [row.bar_index for row in plain.rows]
    spans = [
        tuple(int(other.bar_numbers[bar - 1]) for bar in (*repeat.first, *repeat.later))
        for repeat in repeats.find(other)
    ]
    assert spans == [(*repeat.first, *repeat.later) for repeat in repeats.find(ternary)]


def test_both_parts_have_the_figure_of_the_bar(form_builder, ternary):
    """The figure of a divided bar is that of the whole bar, in both of its parts."""
    found = figuration.describe(form_builder.divided(ternary, (2,)))
    plain = figuration.describe(ternary)
    assert [found.at(bar, 2).figure for bar in (2, 3)] == [plain.at(2, 2).figure] * 2
    assert len(found.rows) == len(plain.rows) + 2


def test_sign_inside_a_bar_belongs_to_the_bar_its_upbeat_leads_to(form_builder, ternary):
    """A repeat sign before an upbeat, and a heading over it, raise the start that follows."""
    signed = form_builder.divided(ternary, (8,), repeat=True)
    heading = replace(signed, marks=(Mark("text", int(signed.bars["onset"][8]), 0, value="Trio"),))
    row = next(row for row in form.sections(heading).rows if row.bar_index == 9)  # from the upbeat on
    assert {"double bar or repeat sign", "new tempo"} <= set(row.reasons)


def test_a_sign_lowers_no_other_start(form_builder, ternary):
    """With a double bar at one start the others keep their strength."""
    plain = {row.bar_index: row.strength for row in form.sections(ternary).rows}
    bars = ternary.bars.copy()
    bars["double_bar"][7] = True
    signed = {row.bar_index: row.strength for row in form.sections(replace(ternary, bars=bars)).rows}
    assert signed[9] >= plain[9]
    assert {bar: value for bar, value in signed.items() if bar != 9} == {
        bar: value for bar, value in plain.items() if bar != 9
    }


def test_findings_of_the_demo_with_divided_bars(form_builder):
    """Every finding of the first rank is there, same kind and place, when every seventh bar is divided in two."""
    score = read(DEMO)
    other = form_builder.divided(score, range(7, len(score.bars), 7))
    one, two = survey(score), survey(other)
    places = {(f.kind, *_bars(other, f)) for f in two.findings}
    for finding in (finding for finding in one.findings if finding.rank == 1):
        first, last = finding.first_bar_index, finding.last_bar_index
        near = {(finding.kind, a, b) for a in range(first - 1, first + 2) for b in range(last - 1, last + 2)}
        assert near & places, finding.name


def _bars(score, finding):
    """The printed bars of a finding."""
    return tuple(int(score.bar_numbers[bar - 1]) for bar in (finding.first_bar_index, finding.last_bar_index))


def test_a_rest_too_many_does_not_lengthen_a_bar(form_builder):
    """Where nothing begins beyond the metre a bar counts by its metre; where notes do, as it is filled."""
    score = form_builder.build(["C5/1 D5/1 E5/2"] * 3, ["C3/4"] * 3)
    bars, notes = score.bars.copy(), score.notes.copy()
    full = int(bars["duration"][1])
    bars["duration"][1] *= 2
    bars["onset"][2] += full
    notes["onset"][notes["bar"] == 3] += full
    longer = replace(score, bars=bars, notes=notes)
    assert nominal_ticks(longer).tolist() == [full] * 3
    late = notes.copy()
    late["onset"][np.flatnonzero(late["bar"] == 2)[-1]] += full
    assert nominal_ticks(replace(longer, notes=late)).tolist() == [full, 2 * full, full]
