"""Held voices and gap voices."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from base.errors import InputError
from mapping.harmony import span_at, spans
from mapping.orchestra import player
from mapping.voicing import gap_voices, held_voices, ranges_for
from mapping.voicing_inner import inner_voices

HORNS = [(48, 74, 62), (46, 69, 55)]
FIGURES = {  # left hand of one bar each, eight quavers
    "C": [36, 43, 48, 52, 55, 52, 48, 43],
    "a": [33, 40, 45, 48, 52, 48, 45, 40],
    "F": [29, 36, 41, 45, 48, 45, 41, 36],
    "G7": [31, 38, 43, 47, 53, 47, 43, 38],
}
TUNE = {"C": 79, "a": 76, "F": 77, "G7": 74}


def _nocturne(build, chords=("C", "a", "F", "G7", "C")):
    """Wide broken chords under a tune of semibreves."""
    rows = [(4 * bar, 4, TUNE[chord], 1) for bar, chord in enumerate(chords)]
    rows += [
        (4 * bar + 0.5 * place, 0.5, pitch, 2)
        for bar, chord in enumerate(chords)
        for place, pitch in enumerate(FIGURES[chord])
    ]
    return build.score_of(rows)


def _tune(build, score):
    return build.outer_layers(score).roles == 0


def test_hold_stays_in_the_harmony(build):
    """Horns hold nothing foreign, between bass and tune, in range, without crossing or doubled leading note."""
    score = _nocturne(build)
    found = spans(score)
    upper, lower = held_voices(score, found, HORNS, melody=_tune(build, score))
    assert upper
    assert lower
    sung = [TUNE[chord] for chord in ("C", "a", "F", "G7", "C")]
    for voice, (low, high, _) in zip((upper, lower), HORNS, strict=True):
        for start, end, pitch in voice:
            assert low <= pitch <= high
            for tick in range(start, end, build.Q // 2):
                span = span_at(found, tick)
                assert pitch % 12 in span.pcs
                assert span.bass <= pitch <= sung[tick // (4 * build.Q)] - 3
    for bar in range(5):
        tick = bar * 4 * build.Q
        sounding = [next(pitch for start, end, pitch in voice if start <= tick < end) for voice in (upper, lower)]
        assert sounding[0] >= sounding[1]
        assert [pitch % 12 for pitch in sounding].count(11) <= 1


def test_common_tones_are_tied(build):
    """A note that stays is not struck again inside one harmony, nor where the next chord keeps it."""
    score = _nocturne(build, ("C", "C", "a", "C"))
    for voice in held_voices(score, None, HORNS, melody=_tune(build, score)):
        for (_, end, pitch), (start, _, following) in itertools.pairwise(voice):
            assert not (end == start and pitch == following)
        assert len(voice) < 4
        assert voice[0][1] - voice[0][0] >= 8 * build.Q


def test_quick_wide_arpeggios_leave_room(build):
    """Under semiquavers thrown up from the bass horns hold the harmony, though no single note of the figure lasts."""
    figure = [32, 39, 44, 48, 51, 56, 60, 56, 51, 48, 44, 39]
    rows = [(3 * bar, 3, 75, 1) for bar in range(4)]
    rows += [(3 * bar + 0.25 * place, 0.25, pitch, 2) for bar in range(4) for place, pitch in enumerate(figure)]
    score = build.score_of(rows, beats=3)
    voices = held_voices(score, None, HORNS, melody=_tune(build, score))
    assert all(sum(end - start for start, end, _ in voice) >= 9 * build.Q for voice in voices)
    assert {pitch % 12 for voice in voices for _, _, pitch in voice} <= {8, 0, 3}


def test_restrike(build):
    """The same notes are struck again at bar lines or beats where the spec asks for it."""
    score = _nocturne(build, ("C", "C"))
    melody = _tune(build, score)
    counts = [
        len(held_voices(score, None, HORNS[:1], melody=melody, restrike=word)[0])
        for word in ("changes", "bars", "beats")
    ]
    assert counts == [1, 2, 8]


def test_hold_only_a_member(build):
    """`hold: root` holds roots."""
    score = _nocturne(build)
    found = spans(score)
    for start, _, pitch in held_voices(score, found, HORNS[:1], melody=_tune(build, score), only=("root",))[0]:
        assert pitch % 12 == span_at(found, start).root


def test_register_cuts_the_range(build):
    """A register in words or pitches bounds the voices."""
    score = _nocturne(build)
    for register, low, high in (("low", 36, 57), ("C4-G4", 60, 67), ((50, 60), 50, 60)):
        voices = held_voices(score, None, HORNS, melody=_tune(build, score), register=register)
        assert all(low <= pitch <= high for voice in voices for _, _, pitch in voice)


def test_bars_bound_the_hold(build):
    """Nothing sounds outside start and end."""
    score = _nocturne(build)
    voices = held_voices(score, None, HORNS, melody=_tune(build, score), start=4 * build.Q, end=8 * build.Q)
    assert {start for voice in voices for start, _, _ in voice} == {4 * build.Q}
    assert {end for voice in voices for _, end, _ in voice} == {8 * build.Q}


def test_a_lone_line_gets_no_harmony(build):
    """Under a bare single line there is no room and no chord: all rest."""
    score = build.score_of([(row, 1, pitch, 1) for row, pitch in enumerate((60, 62, 64, 65, 67, 69, 71, 72))])
    assert held_voices(score, None, HORNS) == [[], []]


def test_wide_gap_is_filled(build):
    """Chords between a deep bass and a high tune close the hole to an octave at most, from the chord only."""
    rows = [(0, 4, pitch, 2) for pitch in (36, 43, 48)] + [(0, 4, pitch, 1) for pitch in (76, 79, 84)]
    score = build.score_of(rows)
    voices = gap_voices(score, [(43, 79, 66), (43, 79, 57)], melody=_tune(build, score))
    pitches = sorted([36, 43, 48, 76, 79, 84] + [pitch for voice in voices for _, _, pitch in voice])
    assert max(np.diff(pitches)) <= 12
    assert {pitch % 12 for pitch in pitches} <= {0, 4, 7}


def test_no_gap_no_filling(build):
    """Where neighbours lie within an octave nothing is added."""
    score = build.score_of([(0, 4, pitch, 2) for pitch in (48, 55, 60)] + [(0, 4, 67, 1)])
    assert gap_voices(score, HORNS) == [[], []]


@settings(max_examples=25)
@given(st.lists(st.sampled_from(sorted(FIGURES)), min_size=1, max_size=6), st.integers(1, 4), st.booleans())
def test_promises_hold_for_many_pieces(build, chords, count, filling):
    """In any chain of chords: in range, no overlap or crossing, only classes of the harmony, always the same."""
    score = _nocturne(build, tuple(chords))
    ranges = [(74 - 4 * row - 26, 74 - 4 * row, 62 - 4 * row) for row in range(count)]
    melody, found = _tune(build, score), spans(score)

    def made():
        if filling:
            return gap_voices(score, ranges, melody=melody, harmony=found)
        return held_voices(score, found, ranges, melody=melody)

    voices = made()
    assert voices == made()
    for voice, (low, high, _) in zip(voices, ranges, strict=True):
        assert all(low <= pitch <= high and start < end for start, end, pitch in voice)
        assert all(one[1] <= other[0] for one, other in itertools.pairwise(voice))
        assert all(pitch % 12 in span_at(found, start).pcs for start, _, pitch in voice)
    for tick in range(0, score.end, build.Q):
        sounding = [pitch for voice in voices for start, end, pitch in voice if start <= tick < end]
        assert sounding == sorted(sounding, reverse=True)


def test_ranges_for_players():
    """Two horns share the middle, the first above the second; a flute takes the voice above a bassoon."""
    first, second = ranges_for([player("horn 1"), player("horn 2")])
    assert first[2] > second[2]
    low, high = ranges_for([player("bassoon 1"), player("flute 1")])
    assert low[2] < high[2]
    assert ranges_for([player("horn 1")], "C3-C4")[0][:2] == (48, 60)


@pytest.mark.parametrize("register", ["deep", "C5-C4", "C4-H5"])
def test_bad_register_is_refused(register):
    """A register that is none is refused with what to write."""
    with pytest.raises(InputError):
        ranges_for([player("horn 1")], register)
    with pytest.raises(InputError, match="no notes in the register"):
        ranges_for([player("piccolo")], "low")


def test_bad_restrike_is_refused(build):
    """An unknown word for restriking is refused."""
    with pytest.raises(InputError, match="restrike"):
        held_voices(_nocturne(build), None, HORNS, restrike="often")


def test_inner_voices_of_a_cadence():
    """Between C–C–B–C over C–F–G–C the voices are complete, move little and double no leading note."""
    classes = [frozenset(pcs) for pcs in ({0, 4, 7}, {5, 9, 0}, {7, 11, 2}, {0, 4, 7})]
    found = inner_voices([72, 72, 71, 72], [48, 53, 55, 48], classes)
    for (tenor, alto), pcs, soprano, bass in zip(found, classes, (72, 72, 71, 72), (48, 53, 55, 48), strict=True):
        assert bass <= tenor <= alto <= soprano
        assert {pitch % 12 for pitch in (bass, tenor, alto, soprano)} == pcs
    assert [pitch % 12 for pitch in found[2]].count(11) == 0
    moves = [abs(a - b) for one, other in itertools.pairwise(found) for a, b in zip(one, other, strict=True)]
    assert max(moves) <= 5
