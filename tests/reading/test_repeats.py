"""Repeats: literal, varied, transposed, in the other mode; none where there is none."""

import numpy as np
import pytest

from reading import repeats
from reading.repeats_runs import parted

THEME = ["E4 G4 C5/1 B4/1 G4/1", "D4 F4 A4/1 G4/1 F4/1", "E4 G4 E5/1 D5/1 C5/1", "B4/1 A4/1 G4/2"]
MINOR = ["Eb4 G4 C5/1 Bb4/1 G4/1", "D4 F4 Ab4/1 G4/1 F4/1", "Eb4 G4 Eb5/1 D5/1 C5/1", "Bb4/1 Ab4/1 G4/2"]
ALBERTI = ["C3 G3 E3 G3 " * 2, "B2 G3 D3 G3 " * 2, "C3 G3 E3 G3 " * 2, "G2 F3 B2 F3 " * 2]
MINOR_ALBERTI = ["C3 G3 Eb3 G3 " * 2, "B2 G3 D3 G3 " * 2, "C3 G3 Eb3 G3 " * 2, "G2 F3 B2 F3 " * 2]
STRIDE = ["C2/1 E3+G3+C4/1 C2/1 E3+G3+C4/1", "G1/1 D3+F3+B3/1 G1/1 D3+F3+B3/1"] * 2
AFTER = ["A4/1.5 G4 F4/1 D4/1", "E4 D4 C4 D4 E4/2", "F4/3 A4/1", "G4/1 -/1 G4 F4 E4 D4"]
BETWEEN = ["Ab5/2 G5/2", "F5/1.5 Eb5/0.5 Db5/2", "F#5/2 Db5/2", "Bb4/3 A4/1"]
CHORDS = ["F3+Ab3+C4/0.5 " * 8, "Db3+F3+Bb3 -/1 E3/2 -/.5", "E3+G3+C#4/0.25 -/3.75", "- D3+F3+Bb3 D3/3"]


def moved(bars, semitones):
    """Return bars of text with every pitch moved by whole *semitones* (spelling by flats)."""
    names = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
    steps = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}

    def one(name):
        if name == "-":
            return name
        pitch = 12 * int(name[-1]) + steps[name[0]] + name.count("#") - name[1:].count("b") + semitones
        return f"{names[pitch % 12]}{pitch // 12}"

    def token(text):
        pitches, slash, length = text.partition("/")
        return "+".join(one(name) for name in pitches.split("+")) + slash + length

    return [" ".join(token(text) for text in bar.split()) for bar in bars]


def with_return(form_builder, upper, lower):
    """Return theme, four other bars, and the return given."""
    return form_builder.build(THEME + BETWEEN + upper, ALBERTI + CHORDS + lower)


@pytest.mark.parametrize(
    ("upper", "lower", "kind", "semitones"),
    [
        (THEME, ALBERTI, "literal", 0),
        (THEME, STRIDE, "varied", 0),
        (moved(THEME, 5), moved(ALBERTI, 5), "transposed", 5),
        (moved(THEME, -3), moved(ALBERTI, -3), "transposed", -3),
        (moved(THEME, 12), moved(ALBERTI, -12), "varied", 0),
        (moved(THEME, 19), moved(ALBERTI, 7), "transposed", -5),
        (MINOR, MINOR_ALBERTI, "modal", 0),
    ],
    ids=["literal", "new accompaniment", "up a fourth", "down a third", "octaves apart", "up a twelfth", "minor"],
)
def test_kind_and_interval(form_builder, upper, lower, kind, semitones):
    """Each way of coming back is found once, at its bars, with kind and interval (octaves not counted)."""
    found = repeats.find(with_return(form_builder, upper, lower))
    assert [(r.first, r.later, r.kind, r.semitones) for r in found] == [((1, 4), (9, 12), kind, semitones)]
    assert 0.5 < found[0].similarity <= 1.0


def test_register_shift_inside_a_return(form_builder):
    """Two bars of the return at another transposition do not cut it in two."""
    upper, lower = THEME + AFTER, ALBERTI + STRIDE
    back = THEME + moved(AFTER[:2], 5) + AFTER[2:], ALBERTI + moved(STRIDE[:2], 5) + STRIDE[2:]
    found = repeats.find(form_builder.build(upper + BETWEEN + back[0], lower + CHORDS + back[1]))
    assert [(r.first, r.later) for r in found] == [((1, 8), (13, 20))]


def test_return_is_parted_where_its_interval_changes(form_builder):
    """A return that begins as before and goes on a fourth higher is two repeats, one at each interval."""
    rng = np.random.default_rng(1)
    upper, lower = random_piece(form_builder, rng, 14)
    back = upper[:4] + moved(upper[4:], 5), lower[:4] + moved(lower[4:], 5)
    found = repeats.find(form_builder.build(upper + BETWEEN + back[0], lower + CHORDS + back[1]))
    assert {(r.first, r.later, r.semitones, r.kind) for r in found} == {
        ((1, 4), (19, 22), 0, "literal"),
        ((5, 14), (23, 32), 5, "transposed"),
    }


BROKEN = [
    "/.25 ".join([*names.split() * 4]) + "/.25"
    for names in (
        "C5 E5 G5 E5",
        "G5 D5 F5 B4",
        "A5 C5 F5 C6",
        "Bb4 D5 E5 Bb5",
        "F#5 A4 C5 D5",
        "Ab5 Eb5 C5 F5",
        "B4 D5 Ab5 G5",
        "E5 C#5 A4 A5",
    )
]


@pytest.mark.parametrize(("octave", "semitones"), [(0, 0), (-12, 0), (-12, 5)])
def test_a_tune_alone_comes_back(form_builder, octave, semitones):
    """A tune over new chords, or below new figures in the other hand, is found, with its octave and interval."""
    upper, lower = THEME + AFTER, ALBERTI + STRIDE
    tune = moved(upper, octave + semitones)
    back = (BROKEN, tune) if octave else (tune, ["F2+Ab2/.5 -/.5 " * 4] * 8)
    (found,) = repeats.find(form_builder.build(upper + BETWEEN + back[0], lower + CHORDS + back[1]))
    assert (found.first, found.later, found.semitones) == ((1, 8), (13, 20), semitones)
    assert (found.tune, found.octaves) == (bool(octave), octave // 12)


def test_whole_passage_an_octave_lower(form_builder):
    """A return an octave lower says so; one to the note, or with the hands moved apart, does not."""
    lower_still = repeats.find(with_return(form_builder, moved(THEME, -12), moved(ALBERTI, -12)))
    apart = repeats.find(with_return(form_builder, moved(THEME, 12), moved(ALBERTI, -12)))
    assert [(r.semitones, r.octaves) for r in (*lower_still, *apart)] == [(0, -1), (0, 0)]


def test_a_return_begins_where_its_tune_does(form_builder):
    """Where the first bars of a return have new accompaniment, they belong to it for their tune."""
    upper, lower = THEME + AFTER, ALBERTI + STRIDE
    changed = ["F#3+Bb3/.25 " * 16] * 2 + lower[2:]
    found = repeats.find(form_builder.build(upper + BETWEEN + upper, lower + CHORDS + changed))
    assert [(r.first, r.later) for r in found] == [((1, 8), (13, 20))]


def test_new_bars_inside_a_return_belong_to_no_repeat():
    """Six bars that resemble nothing at any one interval part a run; three bars at another interval do not."""
    along = np.full((12, 20), 0.2)
    along[0, :7], along[5, 13:], along[np.arange(1, 12, 2), np.arange(7, 13)] = 0.9, 0.9, 0.7
    assert parted(along) == [(0, 7, 0), (13, 7, 5)]
    along = np.full((12, 15), 0.2)
    along[0], along[0, 6:9], along[7, 6:9] = 0.9, 0.1, 0.9
    assert parted(along) == [(0, 15, 0)]


def test_phrase_said_twice(form_builder):
    """Two bars repeated at once to the note are a repeat; one bar said four times is not."""
    twice = form_builder.build(THEME[:2] * 2 + BETWEEN, ALBERTI[:2] * 2 + CHORDS)
    assert [(r.first, r.later, r.kind) for r in repeats.find(twice)] == [((1, 2), (3, 4), "literal")]
    often = form_builder.build(THEME[:1] * 4 + BETWEEN, ALBERTI[:1] * 4 + CHORDS)
    assert repeats.find(often) == ()


def test_nothing_in_what_does_not_repeat(form_builder):
    """Eight different bars hold no repeat, an empty piece neither."""
    assert repeats.find(form_builder.build(THEME + BETWEEN, ALBERTI + CHORDS)) == ()
    assert repeats.find(form_builder.build(["C4/4"], ["-"])) == ()


def random_piece(form_builder, rng, n_bars):
    """Return bars of a random tonal surface: scale notes above, chord tones below."""
    scale, low = (
        ["C4", "D4", "E4", "F4", "G4", "A4", "B4", "C5", "D5", "E5"],
        ["C3", "E3", "G3", "A3", "F3", "B2", "D3"],
    )
    upper = [" ".join(rng.choice(scale, 8)) for _ in range(n_bars)]
    lower = [" ".join(f"{name}/1" for name in rng.choice(low, 4)) for _ in range(n_bars)]
    return upper, lower


def test_shuffled_bars_hold_no_repeat(form_builder):
    """With its bars in random order a piece full of repeats keeps none (twenty orders)."""
    rng = np.random.default_rng(4)
    upper, lower = random_piece(form_builder, rng, 24)
    score = form_builder.build(upper + upper + moved(upper, 5), lower + lower + moved(lower, 5))
    whole = repeats.find(score)
    assert whole[0].later[1] - whole[0].later[0] == 23
    assert [len(repeats.find(form_builder.shuffled_bars(score, seed))) for seed in range(20)] == [0] * 20


@pytest.mark.parametrize("semitones", [-4, 3, 11])
def test_transposed_piece(form_builder, semitones):
    """The whole piece moved has the same repeats at the same intervals."""
    score = with_return(form_builder, moved(THEME, 5), moved(ALBERTI, 5))
    assert repeats.find(form_builder.transposed(score, semitones)) == repeats.find(score)


def test_scaled_values_and_voices(form_builder):
    """Twice the note values, or other voice numbers, change no repeat."""
    score = with_return(form_builder, THEME, STRIDE)
    assert repeats.find(form_builder.stretched(score, 2)) == repeats.find(score)
    assert repeats.find(form_builder.renamed_voices(score)) == repeats.find(score)


def test_first_ending_is_not_a_return(form_builder):
    """A first ending that plays the opening again is passed over."""
    score = form_builder.build(THEME + BETWEEN + THEME, ALBERTI + CHORDS + ALBERTI, voltas={12: 1})
    assert len(repeats.find(score)) == 1
    cut = form_builder.build(
        THEME + BETWEEN + THEME + ["C4/4"],
        [*ALBERTI, *CHORDS, *ALBERTI, "-"],
        voltas={9: 1, 10: 1, 11: 1, 12: 1, 13: 2},
    )
    assert repeats.find(cut) == ()
