"""Spans of one harmony and the spelling of added notes."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mapping.harmony import span_at, spans
from mapping.spelling import respelt, spell

# (root, quality, pitches) in C: a cadence in four bars, block chords under a tune
CADENCE = [
    (0, "major", (48, 52, 55, 72)),
    (5, "major", (53, 57, 60, 72)),
    (7, "dominant seventh", (55, 59, 62, 65, 71)),
    (0, "major", (48, 52, 55, 72)),
]


def _cadence(build, semitones=0):
    rows = [
        (4 * bar, 4, pitch + semitones, 1 if pitch > 66 else 2)
        for bar, (_, _, pitches) in enumerate(CADENCE)
        for pitch in pitches
    ]
    return build.score_of(rows)


def test_cadence_is_found(build):
    """Block chords give one span each, with root, quality and bass."""
    score = _cadence(build)
    found = spans(score)
    assert [(span.root, span.quality) for span in found] == [(root, quality) for root, quality, _ in CADENCE]
    assert [span.start_ticks for span in found] == [bar * 4 * build.Q for bar in range(4)]
    assert found[-1].end_ticks == score.end
    assert [span.bass for span in found] == [48, 53, 55, 48]


def test_members_have_their_place(build):
    """Root, third, fifth and seventh of a dominant seventh are told apart."""
    seventh = spans(_cadence(build))[2]
    assert [seventh.role(pc) for pc in (7, 11, 2, 5, 0)] == ["root", "third", "fifth", "seventh", "other"]
    assert seventh.pcs == {7, 11, 2, 5}
    assert all(seventh.posterior[pc] > 0.9 for pc in seventh.pcs)


def test_passing_notes_stay_outside(build):
    """A scale of quavers over a held C major chord leaves one span of C major."""
    scale = [72, 74, 76, 77, 79, 77, 76, 74]
    rows = [(0.5 * row, 0.5, pitch, 1) for row, pitch in enumerate(scale)]
    rows += [(0, 4, pitch, 2) for pitch in (48, 52, 55)]
    found = spans(build.score_of(rows))
    assert len(found) == 1
    assert found[0].pcs == {0, 4, 7}


def test_broken_chord_is_one_harmony(build):
    """An Alberti bass in C, then one in G with its seventh, gives two spans that change at the bar line."""
    figure = [48, 55, 52, 55] * 2 + [47, 55, 50, 53] * 2
    rows = [(0.5 * row, 0.5, pitch, 2) for row, pitch in enumerate(figure)] + [(0, 4, 76, 1), (4, 4, 74, 1)]
    found = spans(build.score_of(rows))
    assert [(span.start_ticks // build.Q, span.root, span.quality) for span in found] == [
        (0, 0, "major"),
        (4, 7, "dominant seventh"),
    ]


def test_a_touched_bass_is_the_foundation(build):
    """Of a wide broken chord whose lowest note sounds for a semiquaver only, that note is the bass."""
    figure = [36, 43, 52, 55, 60, 55, 52, 43] * 2
    rows = [(0.25 * row, 0.25, pitch, 2) for row, pitch in enumerate(figure)] + [(0, 4, 76, 1)]
    assert spans(build.score_of(rows))[0].bass == 36


@pytest.mark.parametrize("semitones", [1, 3, 7, -5])
def test_spans_transpose(build, semitones):
    """Transposing the piece transposes the spans and changes nothing else."""
    here, there = spans(_cadence(build)), spans(_cadence(build, semitones))
    for one, other in zip(here, there, strict=True):
        assert (one.start_ticks, one.end_ticks, one.quality) == (other.start_ticks, other.end_ticks, other.quality)
        assert (one.root + semitones) % 12 == other.root
        assert {(pc + semitones) % 12 for pc in one.pcs} == other.pcs


@given(
    st.lists(
        st.tuples(st.integers(0, 31), st.integers(1, 8), st.integers(30, 96), st.sampled_from([1, 2])),
        min_size=1,
        max_size=40,
    ),
    st.sampled_from([(4, 4), (3, 4), (6, 8), (2, 2), (5, 8)]),
)
def test_spans_cover_any_piece(build, rows, metre):
    """Whatever the notes, spans are in order, without gap or overlap, and hold only classes that sound in them."""
    score = build.score_of([(a / 2, b / 2, p, s) for a, b, p, s in rows], beats=metre[0], beat_type=metre[1])
    found = spans(score)
    assert found[0].start_ticks == 0
    assert found[-1].end_ticks == score.end
    for one, other in itertools.pairwise(found):
        assert one.end_ticks == other.start_ticks
    for span in found:
        inside = (score.notes["onset"] < span.end_ticks) & (
            score.notes["onset"] + score.notes["duration"] > span.start_ticks
        )
        assert span.pcs <= set((score.notes["pitch"][inside] % 12).tolist())
        assert all(0 <= value <= 1 + 1e-9 for value in span.posterior)
    assert found == spans(score)


def test_empty_piece_has_no_spans(build):
    """A piece without notes has no harmony."""
    assert spans(build.score_of([])) == []


def test_span_at(build):
    """The span that holds a tick is found; outside the piece there is none."""
    found = spans(_cadence(build))
    assert span_at(found, 0) is found[0]
    assert span_at(found, 4 * build.Q) is found[1]
    assert span_at(found, 16 * build.Q) is None
    assert span_at(found, -1) is None


@pytest.mark.parametrize(
    ("midi", "fifths", "name"),
    [(61, 0, "C#4"), (61, -4, "Db4"), (66, 2, "F#4"), (70, 0, "Bb4"), (60, 7, "B#3"), (59, -7, "Cb4"), (68, 1, "G#4")],
)
def test_key_spelling(midi, fifths, name):
    """Without a chord the key decides, by the line of fifths."""
    step, alter, octave = spell(midi, fifths)
    assert f"{'CDEFGAB'[step]}{'#' * alter}{'b' * -alter}{octave}" == name


def test_score_spelling_comes_first(build):
    """A class the score spells in the span keeps that name, whatever the key says."""
    score = build.score_of([(0, 4, 54, 2), (0, 4, 58, 2), (0, 4, 61, 1)])
    score.notes.setflags(write=True)
    score.notes["step"], score.notes["alter"] = [4, 6, 1], [-1, -1, -1]  # G flat, B flat, D flat
    span = spans(score)[0]
    assert spell(66, 2, span)[:2] == (4, -1)


def test_many_notes_are_spelt_at_once(build):
    """Names agree with pitches for every key and pitch."""
    part = build.part_of("violins 1", [(0, 1, pitch) for pitch in range(55, 105)]).notes.copy()
    natural = np.array([0, 2, 4, 5, 7, 9, 11])
    for fifths in range(-7, 8):
        respelt(part, np.full(len(part), fifths))
        sounding = 12 * (part["octave"] + 1) + natural[part["step"]] + part["alter"]
        assert (sounding == part["pitch"]).all()
        assert np.abs(part["alter"]).max() <= 2
