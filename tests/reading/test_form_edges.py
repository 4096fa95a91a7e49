"""Form, repeats, figuration and pedal on odd input: nothing, one hand, graces only, very long scores, random scores."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reading import figuration, form, form_stretches, pedal, repeats
from reading.features import LOWER, OTHER, UPPER, attacks, hands, played
from reading.score import Flag, PartInfo


def all_of(score):
    """Return what the four analyses say."""
    return form.sections(score), repeats.find(score), figuration.describe(score), pedal.find(score)


def test_score_without_bars(form_builder):
    """A score with no bars and no notes has no starts, repeats, figures or pedals."""
    score = form_builder.build(["C4/4"], ["-"])
    empty = dataclasses.replace(score, notes=score.notes[:0].copy(), bars=score.bars[:0].copy(), bar_numbers=())
    sections, found, figures, pedals = all_of(empty)
    assert (sections.rows, sections.more, len(sections.curve)) == ((), (), 0)
    assert (found, figures.rows, pedals.rows) == ((), (), ())


def test_silent_and_one_handed_scores(form_builder):
    """Rests alone, or one hand alone, are analysed without error, and rests are called rests."""
    silent = form_builder.build(["C4/4", "-", "-"], ["-"] * 3)
    silent = dataclasses.replace(silent, notes=silent.notes[:0].copy())
    assert {row.family for row in all_of(silent)[2].rows} == {"rest"}
    for upper, lower in ((["C5 D5 E5 F5 G5 A5 B5 C6"] * 6, ["-"] * 6), (["-"] * 6, ["C3 G3 E3 G3 " * 2] * 6)):
        sections, *_ = all_of(form_builder.build(upper, lower))
        assert sections.rows[0].bar_index == 1


def test_graces_are_not_strokes(form_builder):
    """Grace notes and cues change no finding."""
    score = form_builder.build(["C5/4"] * 4, ["C3 G3 E3 G3 " * 2] * 4)
    plain = all_of(score)
    extra = score.notes[[0, 1]].copy()
    extra["duration"], extra["flags"], extra["pitch"] = [0, 5040], [Flag.GRACE, Flag.CUE], [20, 100]
    notes = np.concatenate([score.notes, extra])
    notes = notes[np.lexsort((notes["pitch"], notes["onset"]))]
    notes["id"] = np.arange(len(notes))
    decorated = dataclasses.replace(score, notes=notes)
    assert played(decorated).sum() == len(score.notes)
    assert all_of(decorated)[1:3] == plain[1:3]
    assert [row.bar_index for row in all_of(decorated)[0].rows] == [row.bar_index for row in plain[0].rows]


def test_hands(form_builder):
    """Two staves are the hands, a voice beside them is neither; one staff is split at middle C; two parts are hands."""
    score = form_builder.build(["C5/4"], ["C3/4"])
    assert hands(score).tolist() == [LOWER, UPPER]
    notes = score.notes.copy()
    notes["part"], notes["staff"] = [1, 0], [2, 1]
    song = dataclasses.replace(score, notes=notes, parts=(PartInfo("Voice"), PartInfo("Piano", 2)))
    assert hands(song).tolist() == [LOWER, OTHER]
    assert attacks(song).order.tolist() == [0]
    flat = score.notes.copy()
    flat["staff"] = 1
    assert hands(dataclasses.replace(score, notes=flat, parts=(PartInfo("Celesta"),))).tolist() == [LOWER, UPPER]
    assert hands(form_builder.build(["C3/4"], ["C2/4"], staves=False)).tolist() == [LOWER, UPPER]


def test_attacks_partition_the_notes(form_builder):
    """Every played note is in exactly one attack, low to high, at its onset."""
    score = form_builder.build(["C5+E5 G5 C5 E5/2.5"] * 2, ["C3/4 & - E3+G3 E3 G3/2.5"] * 2)
    hit = attacks(score)
    assert sorted(hit.order.tolist()) == list(range(len(score.notes)))
    for row, first in enumerate(hit.start):
        mine = score.notes[hit.order[first : first + hit.count[row]]]
        assert set(mine["onset"].tolist()) == {int(hit.onset[row])}
        assert mine["pitch"].tolist() == sorted(mine["pitch"].tolist())
        assert (mine["pitch"][0], mine["pitch"][-1]) == (hit.low[row], hit.high[row])


def test_very_long_score_is_cut(form_builder, monkeypatch):
    """A score longer than a stretch is analysed in stretches that join without gap, its last theme included."""
    theme, other = ["E4 G4 C5/1 B4/1 G4/1", "D4 F4 A4/1 G4/1 F4/1"], ["Ab5/2 G5/2"]
    monkeypatch.setattr(form_stretches, "MOST_BARS", 60)
    n_bars = 100
    upper = (other * n_bars)[: n_bars - 8] + theme * 4
    score = form_builder.build(upper, ["C3 G3 E3 G3 " * 2] * n_bars)
    pieces = list(form_stretches.stretches(score))
    assert len(pieces) == 2
    assert sum(len(piece.bars) for _, piece in pieces) == n_bars
    assert sum(len(piece.notes) for _, piece in pieces) == len(score.notes)
    found = form.sections(score)
    assert found.bars.tolist() == list(range(1, n_bars + 1))
    assert abs(found.rows[1].bar_index - (n_bars - 7)) <= 1


names = st.sampled_from(["C3", "E3", "G3", "C4", "D4", "F#4", "Bb4", "C5", "E5+G5", "C3+E3+G3", "-"])
bar = st.lists(names, min_size=1, max_size=8).map(" ".join)


@settings(max_examples=30)
@given(upper=st.lists(bar, min_size=1, max_size=9), lower=st.lists(bar, min_size=1, max_size=9))
def test_any_score(form_builder, upper, lower):
    """Any score gives one figure per bar and hand, strengths in 0..1, and repeats inside the piece."""
    upper, lower = [*upper, "C4/4"], lower
    score = form_builder.build(upper, lower)
    sections, found, figures, pedals = all_of(score)
    n_bars = len(score.bars)
    assert len(figures.rows) == 2 * n_bars
    assert ((sections.curve >= 0) & (sections.curve <= 1)).all()
    assert all(1 <= row.bar_index <= n_bars and row.reasons for row in sections.rows + sections.more)
    for repeat in found:
        assert 1 <= repeat.first[0] <= repeat.first[1] < repeat.later[0] <= repeat.later[1] <= n_bars
        assert repeat.first[1] - repeat.first[0] == repeat.later[1] - repeat.later[0]
    for row in pedals.rows:
        assert row.onset < row.end
        assert all(0 < length <= row.end - row.onset for length in row.beyond)


@pytest.mark.parametrize("staff", [1, 2])
def test_figure_at(form_builder, staff):
    """A figure is found by bar and staff."""
    found = figuration.describe(form_builder.build(["C5/4"] * 3, ["C3/4"] * 3))
    assert [(found.at(bar, staff).bar_index, found.at(bar, staff).staff) for bar in (1, 2, 3)] == [
        (1, staff),
        (2, staff),
        (3, staff),
    ]


def test_bars_without_length_or_metre(form_builder):
    """An empty bar of no length, and a metre of nothing, are passed over without a warning or an error."""
    score = form_builder.build(["C5/4", "C5/4", "E5/4", "C5/4"], ["C3 G3 E3 G3 " * 2] * 4)
    bars = score.bars.copy()
    bars = np.concatenate([bars[:2], bars[1:2], bars[2:]])
    bars["index"] = np.arange(1, 6)
    bars["duration"][2], bars["onset"][2] = 0, bars["onset"][3]
    bars["beats"][2], bars["beat_type"][2] = 0, 0
    notes = score.notes.copy()
    notes["bar"][notes["bar"] > 2] += 1
    odd = dataclasses.replace(score, bars=bars, notes=notes, bar_numbers=tuple("12345"))
    sections, _, figures, _ = all_of(odd)
    assert len(sections.curve) == 5
    assert [figures.at(bar, 2).family for bar in (1, 2, 4, 5)] == ["broken"] * 4
