"""Pedal: printed and implied, what goes on sounding and for how long."""

import pytest

from reading import pedal

NOCTURNE = "C2 G3 E4 C2 G3 E4 G3 E4"
ALBERTI = "C3 G3 E3 G3 " * 2
WALK = "C3/1 D3/1 E3/1 F3/1"


def left(form_builder, *bars, **extra):
    """Return a score with a held note above the bars of the left hand given."""
    return form_builder.build(["C6/4"] * len(bars), list(bars), **extra)


@pytest.mark.parametrize(
    ("bar", "wanted"),
    [
        ("C2 G2 E3 C4 G4 C4 E3 G2", "reaches"),  # arpeggio over more than two octaves
        ("C2/1 E3+G3+C4/1 G1/1 E3+G3+C4/1", "reaches"),  # stride
        ("C2/1 & -/1 G3/1 C4/2", "reaches"),
        ("C2+G2+E3+C4/1 C2+G2+E3+C4/3", "wider than a hand"),
        ("C2/4 & -/1 G3/3", ""),  # wide, but everything is written out to the bar line: nothing goes on sounding
        (ALBERTI, ""),
        ("C3+E3+G3 " * 8, ""),
        ("C2/1 D2/1 E3/1 F3/1", ""),  # a line, though it leaps once
        (WALK, ""),
        ("C2+C3/4", ""),
        ("C2+C3/1 A2+A3/1 F2+F3/1 C3+C4/1", ""),  # a line in octaves, not a chord
        ("-/4", ""),
    ],
)
def test_implied_where_the_hand_cannot_hold(form_builder, bar, wanted):
    """Pedal is implied where the left hand reaches beyond its span, and nowhere else; the reason is given."""
    rows = pedal.find(left(form_builder, bar)).rows
    assert bool(rows) == bool(wanted)
    assert all(row.source == "implied" and wanted in row.reason for row in rows)


def test_what_goes_on_sounding(form_builder):
    """The bass of a wide arpeggio would sound to the end of the bar, each later note less long, the held one not."""
    score = left(form_builder, "C2 G2 E3 C4/2.5")
    (row,) = pedal.find(score).rows
    pitch = {int(note["id"]): int(note["pitch"]) for note in score.notes}
    beyond = {pitch[note]: length / form_builder.QUARTER for note, length in zip(row.notes, row.beyond, strict=True)}
    assert beyond == {36: 3.5, 43: 3.0, 52: 2.5}


def test_printed_pedal(form_builder):
    """A printed pedal has its printed length, and only what ends before its release is sustained."""
    score = left(form_builder, ALBERTI, ALBERTI, marks=(form_builder.pedal_mark(2, 1, 3),))
    (row,) = [row for row in pedal.find(score).rows if row.source == "marked"]
    assert (row.bar_index, row.onset, row.end) == (2, 5 * form_builder.QUARTER, 7 * form_builder.QUARTER)
    struck = score.notes[list(row.notes)]
    assert ((struck["onset"] >= row.onset) & (struck["onset"] + struck["duration"] < row.end)).all()
    assert len(row.notes) == 3
    assert [length / form_builder.QUARTER for length in row.beyond] == [1.5, 1.0, 0.5]


def test_printed_pedal_silences_the_guess(form_builder):
    """Where a pedal is printed none is implied, and hiding the marks brings the guess back."""
    wide = "C2 G2 E3 C4 G4 C4 E3 G2"
    score = left(form_builder, wide, wide, marks=(form_builder.pedal_mark(1, 0, 4),))
    assert [(row.bar_index, row.source) for row in pedal.find(score).rows] == [(1, "marked"), (2, "implied")]
    assert {row.source for row in pedal.find(score, use_marks=False).rows} == {"implied"}


def test_simile(form_builder):
    """After a printed bar the same pattern counts as pedalled although the hand could hold it; another does not."""
    other = "D3 A3 F3 A3 " * 2
    score = left(form_builder, ALBERTI, other, WALK, other, marks=(form_builder.pedal_mark(1, 0, 4),))
    found = pedal.find(score)
    assert found.bars == (1, 2, 4)
    assert all(row.reason.startswith("simile") for row in found.rows if row.source == "implied")
    assert pedal.find(left(form_builder, ALBERTI, other)).rows == ()


def test_new_bass_new_pedal(form_builder):
    """Two basses in a bar are two pedals, changed at the second bass."""
    rows = pedal.find(left(form_builder, "C2/1 E3+G3+C4/1 G1/1 E3+G3+C4/1")).rows
    assert [(row.onset // form_builder.QUARTER, row.end // form_builder.QUARTER) for row in rows] == [(0, 2), (2, 4)]


def test_metamorphic(form_builder):
    """Another key, other voice numbers, doubled values: the same bars, notes and reasons."""
    score = left(form_builder, NOCTURNE, ALBERTI, "C2 G2 E3 C4 G4 C4 E3 G2", marks=(form_builder.pedal_mark(2, 0, 4),))
    plain = [(row.bar_index, row.source, row.notes, row.reason) for row in pedal.find(score).rows]
    for other in (
        form_builder.transposed(score, 4),
        form_builder.renamed_voices(score),
        form_builder.stretched(score, 2),
    ):
        assert [(row.bar_index, row.source, row.notes, row.reason) for row in pedal.find(other).rows] == plain
    doubled = pedal.find(form_builder.stretched(score, 2)).rows[0]
    assert [2 * length for length in pedal.find(score).rows[0].beyond] == list(doubled.beyond)


def test_voice_part_is_not_the_pianos(form_builder):
    """Without a left hand nothing is implied."""
    assert pedal.find(form_builder.build(["C4/1 C6/1 C4/1 C6/1"], ["-/4"])).rows == ()


def test_no_keyboard_no_pedal(form_builder):
    """The same leaps in a quartet of single staves imply nothing."""
    import dataclasses

    from reading.score import PartInfo

    score = left(form_builder, NOCTURNE, staves=False)
    assert pedal.find(score).rows
    assert pedal.find(dataclasses.replace(score, parts=(*score.parts, PartInfo("Viola"), PartInfo("Cello")))).rows == ()


def test_broken_chord_left_in_the_air(form_builder):
    """Short notes thrown up before a rest are kept by the pedal, through bars that only touch the chord again."""
    thrown, other = "C3/.25 G3/.25 C4/.25 -/3.25", "D3/.25 A3/.25 D4/.25 -/3.25"
    score = left(form_builder, thrown, thrown, thrown, other, ALBERTI)
    rows = pedal.find(score).rows
    spans = [(row.bar_index, row.onset // form_builder.QUARTER, row.end // form_builder.QUARTER) for row in rows]
    assert spans == [(1, 0, 12), (4, 12, 16)]
    assert all("left in the air" in row.reason for row in rows)
    assert (score.notes["staff"][list(rows[0].notes)] == 2).sum() == 9


@pytest.mark.parametrize(
    "bar", ["C3/.25 D3/.25 E3/.25 -/3.25", "C3/1 G3/1 C4/1 -/1", "C4/.25 G3/.25 C3/.25 -/3.25", "C3/.25 G3/.25 -/3.5"]
)
def test_not_left_in_the_air(form_builder, bar):
    """A scale, a slow chord, a falling one and two notes are no such chord."""
    assert pedal.find(left(form_builder, bar)).rows == ()


def test_implied_pedal_gives_way(form_builder):
    """A kept chord is released where the next bar needs its own pedal."""
    thrown = "C3/.25 G3/.25 C4/.25 -/3.25"
    rows = pedal.find(left(form_builder, thrown, "C3/.25 G3/.25 C4/.25 -/1.25 G3 C4 C3 G3")).rows
    assert (rows[0].onset, rows[0].end) == (0, 8 * form_builder.QUARTER)
    rows = pedal.find(left(form_builder, thrown, "C2 G2 E3 C4 G4 C4 E3 G2")).rows
    assert [row.end // form_builder.QUARTER for row in rows] == [4, 8]


def test_staccato_wants_no_pedal(form_builder):
    """The same stride is dry where its notes are marked staccato."""
    import dataclasses

    from reading.score import Flag

    score = left(form_builder, "C2/1 E3+G3+C4/1 G1/1 E3+G3+C4/1")
    notes = score.notes.copy()
    notes["flags"] = Flag.STACCATO
    assert pedal.find(score).rows
    assert pedal.find(dataclasses.replace(score, notes=notes)).rows == ()
