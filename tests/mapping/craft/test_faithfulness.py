"""Faithfulness: exact figures for changes worked out on paper."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mapping.keeping import COUNTS, faithfulness
from reading.score import Mark, quarters

# Four bars of C major: a tune of four crotchets a bar, chords off the beat, a bass on one and three.
TUNE = (72, 76, 79, 76)


def _piece(build):
    rows = []
    for bar in range(4):
        rows += [(4 * bar + beat, 1, pitch, 1) for beat, pitch in enumerate(TUNE)]
        rows += [(4 * bar + beat, 2, 48, 2) for beat in (0, 2)]
        rows += [(4 * bar + beat + 0.5, 0.5, pitch, 2) for beat in range(4) for pitch in (60, 64, 67)]
    score = build.score_of(rows)
    onset, pitch = score.notes["onset"], score.notes["pitch"]
    melody = np.flatnonzero((pitch >= 72) & (onset % build.Q == 0))
    return score, build.layers_of(score, melody, np.flatnonzero(pitch == 48))


def _values(build, change=None):
    score, layers = _piece(build)
    kept = faithfulness(build.literal(score, change), layers)
    return kept, [getattr(kept, name).value for name in COUNTS[:5]]


def test_literal_variant_keeps_everything(build):
    """Note for note, all six counts are exactly 1 and nothing is listed."""
    kept, values = _values(build)
    assert values == [1.0] * 5
    assert kept.dynamics.value == 1.0
    assert all(not getattr(kept, name).departures for name in COUNTS)


def test_bass_an_octave_up(build):
    """A bass heard only an octave higher keeps half its value, and a third of register (every bar's lowest note)."""

    def up(notes):
        notes["pitch"][notes["pitch"] == 48] += 12
        return notes

    kept, values = _values(build, up)
    assert values == [1.0, 0.5, 1.0, 1.0, pytest.approx(2 / 3)]
    assert "higher octave" in kept.bass.departures[0].what
    assert len(kept.bass.departures) == 8


def test_bass_an_octave_down_is_a_foundation(build):
    """Basses an octave lower, beside the cellos, keep every count at 1: doublings outside the compass are allowed."""

    def doubled(notes):
        below = notes[notes["pitch"] == 48].copy()
        below["pitch"] -= 12
        return np.sort(np.concatenate([notes, below]), order=["onset", "pitch"])

    assert _values(build, doubled)[1] == [1.0] * 5


def test_dropped_melody_note(build):
    """One of sixteen notes of the tune gone: melody 15/16; its attack and its class are still there."""

    def drop(notes):
        return notes[~((notes["pitch"] == 79) & (notes["onset"] == 2 * 10_080))]

    kept, values = _values(build, drop)
    assert values == [pytest.approx(15 / 16), 1.0, 1.0, 1.0, pytest.approx((1 + 1 + 1) / 3)]
    one = kept.melody.departures[0]
    assert (one.bar_index, one.beat) == (1, Fraction(3))
    assert "G5" in one.what


def test_foreign_note(build):
    """An F sharp sounding in the one span of C, E and G: three classes kept of four, harmony 3/4."""

    def foreign(notes):
        added = notes[:1].copy()
        added["pitch"], added["onset"], added["duration"] = 66, 0, 4 * 10_080
        return np.sort(np.concatenate([notes, added]), order=["onset", "pitch"])

    kept, values = _values(build, foreign)
    assert values == [1.0, 1.0, 0.75, 1.0, 1.0]
    assert [one.what for one in kept.harmony.departures] == ["F♯ is foreign to the piano's harmony"]


def test_silent_bar(build):
    """A silenced bar of four: melody, bass and momentum 3/4; what is not played at all does not count for register."""

    def silent(notes):
        return notes[notes["bar"] != 2]

    kept, values = _values(build, silent)
    assert values == [0.75, 0.75, 1.0, 0.75, 1.0]
    assert {one.bar_index for one in kept.momentum.departures} == {2}
    assert len(kept.momentum.departures) == 8


def test_added_attacks_lower_momentum(build):
    """Sixteen attacks put between thirty-two: 32/48, and each is listed as added."""

    def busier(notes):
        added = notes[notes["pitch"] == 60].copy()
        added["onset"] += 10_080 // 4
        return np.sort(np.concatenate([notes, added]), order=["onset", "pitch"])

    kept, values = _values(build, busier)
    assert values[3] == pytest.approx(32 / 48)
    assert {one.what for one in kept.momentum.departures} == {"an attack is added"}


def test_melody_in_another_octave(build):
    """The tune an octave down keeps melody at 1, and loses two of three shares of register: its own and the tops."""

    def down(notes):
        notes["pitch"][notes["pitch"] >= 72] -= 12
        return notes

    kept, values = _values(build, down)
    assert values[0] == 1.0
    assert values[4] == pytest.approx(1 / 3)
    assert any("another octave" in one.what for one in kept.register.departures)


def test_note_under_the_bass(build):
    """A held A below the bass makes another chord of it: bass 0, and A is foreign."""

    def under(notes):
        added = notes[:1].copy()
        added["pitch"], added["onset"], added["duration"] = 45, 0, 16 * 10_080
        return np.sort(np.concatenate([notes, added]), order=["onset", "pitch"])

    kept, values = _values(build, under)
    assert values[1] == 0.0
    assert kept.bass.departures[0].what == "below the bass C3 lies A"
    assert values[2] == pytest.approx(3 / 4)


def test_bass_that_rings_on_costs_nothing(build):
    """Over a held low C the bass may move on to E and G of the same harmony; a held D would be another bass."""
    rows = [(0, 1, 36, 2), (1, 1, 40, 2), (2, 1, 43, 2), (3, 1, 40, 2), (0, 4, 64, 1), (0, 4, 72, 1)]
    score = build.score_of(rows)
    layers = build.layers_of(score, [], np.flatnonzero(score.notes["pitch"] < 60))
    for pitch, value in ((36, 1.0), (38, 0.25)):
        part = build.part_of("cellos", [(0, 4, pitch)], cause=1)
        whole = build.literal(score).parts[0]
        kept = faithfulness(build.arrangement_of(score, whole, part, verbs=("play", "hold")), layers)
        assert kept.bass.value == value
        assert all(one.intended for one in kept.bass.departures)


def test_empty_variant_keeps_nothing(build):
    """With every player silent melody, bass, harmony and momentum are 0."""
    assert _values(build, lambda notes: notes[:0])[1][:4] == [0.0] * 4


def test_intended_departures_are_told_apart(build):
    """Foreign notes that a `hold` brings are intended, those of a `play` are accidents."""
    score, layers = _piece(build)
    for verb, meant in (("hold", True), ("play", False)):
        part = build.part_of("horn 1", [(0, 16, 66)], cause=1)
        whole = build.literal(score).parts[0]
        kept = faithfulness(build.arrangement_of(score, whole, part, verbs=("play", verb)), layers)
        assert [one.intended for one in kept.harmony.departures] == [meant]


def test_json(build):
    """The export has the six counts, each with value and departures at bar and beat."""
    kept, _ = _values(build, lambda notes: notes[notes["bar"] != 2])
    data = kept.to_json()
    assert list(data) == list(COUNTS)
    assert data["melody"]["departures"][0] == {
        "bar_index": 2, "beat": "1", "what": "the tune's C5 is not played", "intended": False,
    }  # fmt: skip


@given(
    st.lists(
        st.tuples(st.integers(0, 23), st.integers(1, 8), st.integers(30, 96), st.sampled_from([1, 2])),
        min_size=1,
        max_size=30,
    )
)
def test_literal_is_always_one(build, rows):
    """For any piece a literal variant has 1 on all counts."""
    score = build.score_of([(a / 2, b / 2, p, s) for a, b, p, s in rows])
    kept = faithfulness(build.literal(score), build.outer_layers(score))
    assert [getattr(kept, name).value for name in COUNTS] == [1.0] * 6


def test_piano_counts_ignore_grace_notes(build):
    """A grace note that a variant leaves out costs nothing (its place has no length)."""
    score, layers = _piece(build)
    assert quarters(int(score.notes["duration"].min())) > 0
    score.notes.setflags(write=True)
    row = int(np.flatnonzero(score.notes["pitch"] == 60)[0])
    score.notes["duration"][row] = 0
    kept = faithfulness(build.literal(score, lambda notes: notes[notes["duration"] > 0]), layers)
    assert [getattr(kept, name).value for name in COUNTS] == [1.0] * 6


def _marked(build, values):
    """A piece of one note a bar, with a dynamic on each."""
    marks = [Mark("dynamic", 4 * bar * build.Q, 4 * bar * build.Q, value=value) for bar, value in enumerate(values)]
    return build.score_of([(4 * bar, 4, 72, 1) for bar in range(len(values))], marks=marks)


def test_dynamics_keep_their_shape(build):
    """p–f–p–ff has three changes: all kept as marked, none at one level, two where the end stays soft."""
    score = _marked(build, ["p", "f", "p", "ff"])
    layers = build.layers_of(score, range(4))
    bars = [(4 * bar, 4, 72, bar) for bar in range(4)]
    as_marked = build.part_of("violins 1", bars)
    level = build.part_of("violins 1", bars, level="mf")
    soft_end = build.part_of("violins 1", bars[3:], level="p")
    first = build.part_of("violins 2", bars[:3])
    for parts, value in (([as_marked], 1.0), ([level], 0.0), ([first, soft_end], 2 / 3)):
        kept = faithfulness(build.arrangement_of(score, *parts), layers).dynamics
        assert kept.value == pytest.approx(value)
        assert len(kept.departures) == round(3 * (1 - value))


def test_added_players_make_a_crescendo(build):
    """Four winds entering one by one at one level grow as the piano's crescendo does."""
    score = _marked(build, ["p", "mp", "mf", "f"])
    parts = [
        build.part_of(name, [(4 * bar, 4, 72, bar) for bar in range(row, 4)], level="mf")
        for row, name in enumerate(("oboe 1", "flute 1", "clarinet 1", "oboe 2"))
    ]
    assert faithfulness(build.arrangement_of(score, *parts), build.layers_of(score, range(4))).dynamics.value == 1.0


def test_the_front_door_stays_a_function(build):
    """However its module is imported, ``mapping.faithfulness`` and ``mapping.check`` are the functions."""
    import mapping

    score, layers = _piece(build)
    assert mapping.faithfulness(build.literal(score), layers).melody.value == 1.0
    assert mapping.check(build.literal(score), layers) is not None
