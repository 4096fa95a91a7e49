"""Bars as they are said: printed numbers where these name the bars, counted ones where they do not."""

import pytest

from reading.barwords import bars_named, bars_said, counts_bars
from reading.features_whole import whole_bars
from reading.findings import Draft, ranked


@pytest.fixture
def divided(form_builder):
    """Sixteen bars, the eighth divided by a bar line before its upbeat to the ninth; both parts are printed 8."""
    score = form_builder.divided(form_builder.build(["C5/4"] * 16, ["C3/1 G3/1 E3/1 G3/1"] * 16), (8,))
    assert score.bar_numbers[7:10] == ("8", "8", "9")
    return score


def test_two_parts_of_one_bar_are_that_bar(divided):
    """A range never runs from a number to itself."""
    assert bars_said(divided, 8, 9) == "8"
    assert bars_named(divided, "8") == ((8, 9),)


def test_what_an_upbeat_leads_to_is_named_by_its_own_bars(divided):
    """A theme from the upbeat to bar 9 is called 9-16, though its indices count the upbeat in."""
    draft = Draft("new theme", 9, 16, 0.9, ("x",), "?", (), upbeat=True)
    (found,) = ranked(whole_bars(divided), [draft])
    assert (found.first_bar_index, found.last_bar_index) == (9, 17)
    assert found.name == "new theme 9-16"


def test_counted_bars_are_told_from_sharps():
    """The sign is explained where it counts bars, not where it raises a note."""
    assert counts_bars("gap #33")
    assert counts_bars("bars #30-#33")
    assert not counts_bars("compass C#2 to F#4")
    assert not counts_bars("9-16")


def test_the_listening_page_names_both_parts_of_a_bar_as_one(divided):
    """Bars of a passage in words: never from a number to itself."""
    from types import SimpleNamespace

    from klangprobe.page.adapt import _where

    piece = SimpleNamespace(score=divided)
    assert _where(piece, ((8, 9),)) == "bar 8"
    assert _where(piece, ((8, 10),)) == "bars 8–9"
    assert _where(piece, ((1, 1), (3, 4))) == "bars 1, 3–4"
