"""Form: where passages begin, how strongly, and why. Written-out ternary and rondo forms with known seams."""

import numpy as np
import pytest

from reading import form
from reading.features import first_endings

THEME = ["E4 G4 C5/1 B4/1 G4/1", "D4 F4 A4/1 G4/1 F4/1", "E4 G4 E5/1 D5/1 C5/1", "B4/1 A4/1 G4/2"]
THEME_END = ["E4 G4 C5/1 B4/1 G4/1", "D4 F4 A4/1 G4/1 F4/1", "G4/1 F4/1 E4/1 D4/1", "C4/4"]
ALBERTI = ["C3 G3 E3 G3 " * 2, "B2 G3 D3 G3 " * 2, "C3 G3 E3 G3 " * 2, "G2 F3 B2 F3 " * 2]
OTHER = ["Ab5/2 G5/2", "F5/1.5 Eb5/0.5 Db5/2", "C5/2 Db5/2", "Bb4/3 C5/1"]
CHORDS = ["F3+Ab3+C4/0.5 " * 8, "Db3+F3+Bb3/0.5 " * 8, "E3+G3+C4/0.5 " * 8, "Db3+F3+Bb3/0.5 " * 8]
THIRD = ["C6/.25 B5/.25 A5/.25 G5/.25 " * 4, "F5/.25 G5/.25 A5/.25 B5/.25 " * 4] * 2
STRIDE = ["A2/1 C4+E4/1 E2/1 C4+E4/1", "D2/1 A3+D4/1 A2/1 A3+D4/1"] * 2

A = (THEME + THEME_END, ALBERTI * 2)
B = (OTHER * 2, CHORDS * 2)
C = (THIRD * 2, STRIDE * 2)


def piece(form_builder, *passages, **extra):
    """Return the passages one after another as a Score."""
    upper = [bar for passage in passages for bar in passage[0]]
    lower = [bar for passage in passages for bar in passage[1]]
    return form_builder.build(upper, lower, **extra)


def rows(found):
    """Return all rows without their bar numbers in words."""
    return [(row.bar_index, round(row.strength, 3), row.reasons) for row in found.rows + found.more]


def test_ternary(form_builder):
    """A B A: the two seams outrank everything, B is new and the second A returns."""
    found = form.sections(piece(form_builder, A, B, A))
    assert found.rows[0] == form.Section(1, 1.0, ("opening",))
    strongest = {row.bar_index: row.reasons for row in found.rows[1:3]}
    assert set(strongest) == {9, 17}
    assert "new theme" in strongest[9]
    assert strongest[17][0].startswith("theme returns: bar 1")


def test_rondo(form_builder):
    """A B A C A: the four seams are the four strongest starts after the opening."""
    found = form.sections(piece(form_builder, A, B, A, C, A))
    assert {row.bar_index for row in found.rows[1:5]} == {9, 17, 25, 33}


def test_main_section_outranks_phrase(form_builder):
    """The middle of a passage, where only the phrase starts again, is weaker than any seam."""
    found = form.sections(piece(form_builder, A, B, A))
    curve = dict(zip(found.bars.tolist(), found.curve.tolist(), strict=True))
    assert max(curve[5], curve[13], curve[21]) < min(curve[9], curve[17])


def test_curve_is_the_sum_of_its_parts(form_builder):
    """The curve is the sum of the named parts over its largest start, between 0 and 1, one value per bar."""
    found = form.sections(piece(form_builder, A, B, A))
    total = np.sum(list(found.parts.values()), axis=0)
    assert found.curve.shape == found.bars.shape == (24,)
    assert ((found.curve >= 0) & (found.curve <= 1)).all()
    top = max(row.strength for row in found.rows[1:])
    assert top == 1.0
    strongest = total[found.rows[1].bar_index - 1]
    np.testing.assert_allclose(found.curve, np.clip(total / strongest, 0, 1))


def test_ranked_list_is_cut(form_builder):
    """Rows come strongest first; the main list ends at six tenths of the five strongest or at one start in six bars."""
    found = form.sections(piece(form_builder, A, B, A, C, A))
    strengths = [row.strength for row in found.rows[1:]] + [row.strength for row in found.more]
    assert strengths == sorted(strengths, reverse=True)
    cut = 0.6 * np.mean(strengths[:5])
    assert all(row.strength >= cut - 0.001 for row in found.rows)
    assert len(found.rows) - 1 == 7 or all(row.strength <= cut + 0.001 for row in found.more)


def test_main_list_keeps_pace_with_the_piece():
    """The main list is cut by strength, but holds at least one start in twelve bars and at most one in six."""
    steep, flat, even = np.array([3.0, 1.0] + [0.5] * 30), np.full(40, 2.0), np.array([2.0] * 8 + [1.0] * 20)
    assert [form.main_list(some, 96) for some in (steep, flat, even)] == [8, 16, 8]
    assert form.main_list(np.array([2.0] * 10 + [1.0] * 20), 96) == 10
    assert form.main_list(np.zeros(0), 96) == 0


def test_a_phrase_closes_with_a_thinner_bar(form_builder):
    """Of one even texture the bar after a cadence on a long note starts a phrase, by the curve of that name."""
    busy, rest = THEME[:3] * 3, "C4/4"
    upper = [*busy[:7], rest, *busy[:7], rest, *busy[:7], rest]
    parts = form.sections(form_builder.build(upper, ["C3/4"] * 24)).parts
    assert np.flatnonzero(parts["closing"] == parts["closing"].max()).tolist() == [8, 16]
    assert parts["closing"].max() == 0.5


def test_half_a_bar_of_upbeat_carries_through(form_builder):
    """A piece that begins in mid-bar has its seams named by the bars its upbeats lead to, rests first or not."""
    cells = [bar.split() for passage in (A, B, A) for bar in passage[0]]
    lows = [bar.split() for passage in (A, B, A) for bar in passage[1]]

    def halves(bars):
        """Return the bars moved half a bar later: each string is cut after two quarters."""
        sides = []
        for tokens in bars:
            place, cut = 0.0, [[], []]
            for token in tokens:
                cut[place >= 2].append(token)
                place += float(token.partition("/")[2] or 0.5)
            sides += cut
        return [" ".join(sides[0])] + [" ".join(a + b) for a, b in zip(sides[1::2], [*sides[2::2], []], strict=True)]

    short = form_builder.build(halves(cells), halves(lows), pickup_quarters=2)
    assert {row.bar_index for row in form.sections(short).rows[1:3]} == {10, 18}
    upper, lower = halves(cells), halves(lows)
    upper[0], lower[0] = f"-/2 {upper[0]}", f"-/2 {lower[0]}"
    full = form_builder.build(upper, lower)
    assert {row.bar_index for row in form.sections(full).rows[1:3]} == {10, 18}


def test_starts_keep_their_distance(form_builder):
    """No two starts are next to each other."""
    found = form.sections(piece(form_builder, A, B, A, C, A))
    bars = sorted(row.bar_index for row in found.rows[1:] + found.more)
    assert min(np.diff(bars)) >= 2


@pytest.mark.parametrize("semitones", [-7, 2, 5])
def test_transposition(form_builder, semitones):
    """The piece in another key has the same starts, strengths and reasons."""
    score = piece(form_builder, A, B, A)
    assert rows(form.sections(form_builder.transposed(score, semitones))) == rows(form.sections(score))


@pytest.mark.parametrize("factor", [(2, 1), (1, 2)])
def test_scaled_note_values(form_builder, factor):
    """Twice or half the note values change nothing."""
    score = piece(form_builder, A, B, A)
    assert rows(form.sections(form_builder.stretched(score, *factor))) == rows(form.sections(score))


def test_names_of_voices_and_parts(form_builder):
    """Other voice numbers change nothing, nor do two parts of one staff in place of one part of two."""
    score = piece(form_builder, A, B, A)
    assert rows(form.sections(form_builder.renamed_voices(score))) == rows(form.sections(score))
    assert rows(form.sections(piece(form_builder, A, B, A, staves=False))) == rows(form.sections(score))


def test_first_endings_are_left_out(form_builder):
    """A first ending that restarts the theme is no start: it is not even in the curve."""
    ending = ([THEME[0]], [ALBERTI[0]])
    second = (["C4/4"], ["C3/4"])
    score = piece(form_builder, A, ending, second, B, A, voltas={9: 1, 10: 2})
    assert np.flatnonzero(first_endings(score)).tolist() == [8]
    found = form.sections(score)
    assert 9 not in found.bars
    assert {row.bar_index for row in found.rows[1:3]} == {11, 19}


def test_ending_without_a_second_label(form_builder):
    """An ending marked 1 is a first ending even where the second is not marked; one that closes the piece is not."""
    score = piece(form_builder, A, B, voltas={8: 1, 16: 1})
    assert np.flatnonzero(first_endings(score)).tolist() == [7]


def test_bar_line_raises_the_rank(form_builder):
    """A double bar makes the start behind it stronger, and says so."""
    plain = form.sections(piece(form_builder, A, B, A, C))
    marked = form.sections(piece(form_builder, A, B, A, C, double_bars=(24,)))
    strength = {
        name: dict(zip(f.bars.tolist(), f.curve.tolist(), strict=True))
        for name, f in (("plain", plain), ("marked", marked))
    }
    assert strength["marked"][25] == 1.0
    assert strength["marked"][25] / strength["marked"][9] > strength["plain"][25] / strength["plain"][9]
    reasons = {row.bar_index: row.reasons for row in marked.rows}
    assert "double bar or repeat sign" in reasons[25]


def test_pickup_does_not_shift_the_return(form_builder):
    """With an upbeat the return is found at the full bar of the theme."""
    upbeat = (["G4"], ["-"])
    score = piece(form_builder, upbeat, A, B, A, pickup_quarters=0.5)
    found = form.sections(score)
    assert {row.bar_index for row in found.rows[1:3]} == {10, 18}


@pytest.mark.parametrize("n_bars", [1, 2, 3, 5])
def test_short_and_silent_pieces(form_builder, n_bars):
    """A piece of few bars, or of one note and silence, has an opening and no error."""
    for upper in (THEME_END[:n_bars], ["C4/4"] + ["-"] * (n_bars - 1)):
        found = form.sections(form_builder.build(upper, ["-"] * n_bars))
        assert found.rows[0].bar_index == 1
        assert len(found.curve) == n_bars


def test_unchanging_piece_has_no_start(form_builder):
    """One bar repeated twenty times has no seam."""
    score = form_builder.build([THEME[0]] * 20, [ALBERTI[0]] * 20)
    assert form.sections(score).parts["change"].max() == 0.0


def test_novelty_of_a_block_matrix():
    """Foote's kernel peaks exactly where one block of like bars gives way to another, and is zero inside."""
    alike = np.kron(np.eye(2), np.ones((10, 10)))
    curve = form.novelty(alike, 4)
    assert curve.argmax() == 10
    assert curve[2:5].max() < 1e-9
    assert (np.diff(curve[6:11]) > 0).all()
    assert (np.diff(curve[10:15]) < 0).all()
