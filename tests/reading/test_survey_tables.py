"""The plain tables behind the findings, on bars small enough to count by hand."""

from dataclasses import replace

import numpy as np
import pytest

from reading.accents import accents
from reading.gaps import gap_regions, gaps
from reading.layers import find_layers
from reading.register import compasses, dialogues, pitch_name
from reading.score import Flag, Mark, ticks
from reading.survey_dynamics import contrasts, dynamics, swells


def marked(score, *marks):
    """The score with marks given as (kind, quarter, value) or (kind, quarter, value, end)."""
    made = [Mark(m[0], ticks(m[1]), ticks(m[3] if len(m) > 3 else m[1]), value=m[2]) for m in marks]
    return replace(score, marks=tuple(sorted(made, key=lambda mark: mark.onset)))


def flagged(score, flag, **where):
    """The score with a flag on the notes of a bar (and onset in quarters)."""
    notes = score.notes.copy()
    mask = notes["bar"] == where["bar"]
    if "quarter" in where:
        mask &= notes["onset"] == ticks(where["quarter"])
    notes["flags"][mask] |= int(flag)
    return replace(score, notes=notes)


def test_gap_is_counted_at_every_onset_where_both_hands_sound(form_builder):
    """Largest, median (the upper of two middle values) and number of onsets; held notes count while they sound."""
    score = form_builder.build(["C5/2 E5/1 -/1", "C4/4"], ["C3/1 G3/1 C4/1 G3/1", "E4/2 -/2"])
    first, second = gaps(score).bars
    # bar 1: C5-C3 24, C5-G3 17, E5-C4 16; on beat 4 only the left hand sounds. bar 2: the hands cross, C4-E4 = -4.
    assert (first.semitones, first.median, first.onsets) == (24, 17, 3)
    assert (second.semitones, second.median, second.onsets) == (-4, -4, 1)


def test_gap_inside_the_texture_is_between_neighbours(form_builder):
    """A gap inside one hand counts as well as one between the hands."""
    score = form_builder.build(["C5+C6/4"], ["C3+G4/4"])
    assert gaps(score).bars[0].inside == 19
    assert gaps(score).bars[0].semitones == 5


def test_gap_regions_are_wide_for_the_piece_itself(form_builder):
    """A piece that lies two octaves apart throughout gives no alarm; one that opens wider gives that passage."""
    usual = form_builder.build(["C6/1 D6/1 E6/1 D6/1"] * 12, ["C4/4"] * 12)
    assert gap_regions(usual, gaps(usual)) == ()
    lower = ["C5/4"] * 8 + ["C3/4"] * 2 + ["C5/4"] * 4
    opened = form_builder.build(["C6/1 D6/1 E6/1 D6/1"] * 14, lower)
    assert [(region.first_bar, region.last_bar) for region in gap_regions(opened, gaps(opened))] == [(9, 10)]


@pytest.mark.parametrize(
    ("flag", "words"),
    [
        (Flag.SFORZANDO, "sforzando"),
        (Flag.ACCENT, "accent"),
        (Flag.MARCATO, "strong accent"),
        (Flag.ARPEGGIO, "arpeggio sign over 4 notes"),
        (Flag.FP, "forte-piano"),
    ],
)
def test_written_accents(form_builder, flag, words):
    """A sign on a chord is one accent with its name, at its bar and beat."""
    score = flagged(form_builder.build(["C5+E5+G5+C6/1 C5/1 C5/1 C5/1"] * 2, ["C3/4"] * 2), flag, bar=2, quarter=4)
    found = [accent for accent in accents(score) if accent.marked]
    chord = "arpeggio sign over 5 notes" if "arpeggio" in words else words
    assert [(accent.bar_index, accent.beat, accent.reasons[0]) for accent in found] == [(2, 1.0, chord)]


def test_accents_that_are_not_written(form_builder):
    """A chord suddenly thick, a sudden drop of the bass and a syncope are accents; the plain bars around have none."""
    upper = ["C5/1 D5/1 E5/1 D5/1"] * 7
    upper[2] = "C5/1 C4+E4+G4+C5+E5/1 E5/1 D5/1"
    upper[5] = "C5/0.5 D5/1 E5/0.5 D5/2"
    lower = ["C3/2 G3/2"] * 7
    lower[4] = "C3/2 C1/2"
    lower[5] = "-/4"
    found = {(accent.bar_index, accent.beat): accent.reasons[0] for accent in accents(form_builder.build(upper, lower))}
    assert set(found) == {(3, 2.0), (5, 3.0), (6, 1.5)}
    assert "notes at once" in found[3, 2.0]
    assert "drops 24 semitones" in found[5, 3.0]
    assert "off the beat" in found[6, 1.5]


def test_stronger_reasons_stand_above_weaker_ones(form_builder):
    """A written sforzando is stronger than a written accent, and that than an arpeggio sign."""
    score = form_builder.build(["C5+E5+G5/1 C5/1 C5/1 C5/1"] * 3, ["C3/4"] * 3)
    for bar, flag in ((1, Flag.SFORZANDO), (2, Flag.ACCENT), (3, Flag.ARPEGGIO)):
        score = flagged(score, flag, bar=bar, quarter=4 * (bar - 1))
    strengths = [accent.strength for accent in accents(score)]
    assert strengths == sorted(strengths, reverse=True)


def test_every_dynamic_is_in_the_table(form_builder):
    """Marks, accents written as dynamics, hairpins and words about loudness are kept; other words are not."""
    score = marked(
        form_builder.build(["C5/4"] * 4, ["C3/4"] * 4),
        ("dynamic", 0, "p"), ("hairpin", 2, "cresc", 6), ("accent", 6, "sf"), ("text", 8, "cresc."),
        ("text", 8, "dolce"), ("text", 12, "più f"),
    )  # fmt: skip
    assert [(row.bar_index, row.mark) for row in dynamics(score)] == [
        (1, "p"), (1, "cresc"), (2, "sf"), (3, "cresc."), (4, "più f"),
    ]  # fmt: skip


def test_sudden_contrasts_and_alternations(form_builder):
    """Changes of two degrees or more at once are contrasts; those that swing back belong together; a hairpin leads."""
    score = form_builder.build(["C5/4"] * 20, ["C3/4"] * 20)
    swing = marked(score, *(("dynamic", 4 * bar, mark) for bar, mark in ((0, "p"), (4, "f"), (5, "p"), (6, "f"))))
    found = contrasts(swing, dynamics(swing))
    assert [(one.first_bar, one.marks, one.degrees) for one in found] == [(5, ("p", "f", "p", "f"), 3)]
    led = marked(score, ("dynamic", 0, "p"), ("hairpin", 8, "cresc", 16), ("dynamic", 16, "f"))
    assert contrasts(led, dynamics(led)) == ()
    swell = swells(led, dynamics(led))[0]
    assert (swell.first_bar, swell.last_bar, swell.before, swell.after) == (3, 4, 3, 6)


def test_dialogue_between_registers(form_builder):
    """Phrases that answer two octaves apart are a dialogue; a tune that wanders by step is none."""
    low, high = "G3/1 A3/0.5 B3/0.5 A3/1 G3/1", "G5/1 A5/0.5 B5/0.5 A5/1 G5/1"
    score = form_builder.build(["-/4", high] * 3, [low, "-/4"] * 3)
    found = dialogues(score, find_layers(score))
    assert [(one.first_bar, one.last_bar, len(one.turns)) for one in found] == [(1, 6, 6)]
    plain = form_builder.build([high] * 6, ["C3+E3+G3/2 C3+E3+G3/2"] * 6)
    assert dialogues(plain, find_layers(plain)) == ()


def test_compass_of_each_layer(form_builder):
    """Lowest and highest note of a layer with their bars."""
    score = form_builder.build(["G4/1.5 A4 B4/1 D5/1", "C5/1.5 B4 A4/2"], ["B2+D3+G3 " * 8, "C3+E3+A3 " * 8])
    found = {row.layer: row for row in compasses(score, find_layers(score))}
    assert (pitch_name(found["melody"].low), found["melody"].low_bar) == ("G4", 1)
    assert (pitch_name(found["bass"].low), pitch_name(found["bass"].high)) == ("B2", "C3")


def test_tables_move_with_the_music(form_builder):
    """Transposing changes no gap and no accent; doubling all note values changes neither of them nor their bars."""
    upper = ["C5/1 D5/1 E5/1 D5/1"] * 6
    upper[2] = "C5/1 C4+E4+G4+C5+E5/1 E5/1 D5/1"
    score = form_builder.build(upper, ["C3/2 G3/2"] * 6)
    for other in (form_builder.transposed(score, 3), form_builder.stretched(score, 2)):
        assert gaps(other).bars == gaps(score).bars
        strengths = [(a.bar_index, a.strength) for a in accents(other)]
        assert strengths == [(a.bar_index, a.strength) for a in accents(score)]
    assert np.array_equal(gaps(form_builder.renamed_voices(score)).hands, gaps(score).hands)
