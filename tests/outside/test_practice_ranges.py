"""Ranges against what composers wrote: quartets of the music21 corpus, and symphonies as measured.

Sources: the corpus of music21 (Haydn op. 74/1, Mozart K. 458, Beethoven op. 18/1, Schumann op. 41/1, first
Sources: corpus of music21 (Haydn op. 74 no. 1, Mozart K. 458, Beethoven op. 18 no. 1, Schumann op. 41 no. 1, first
demo; MIT licence): first and ninety-ninth percentile of sounding pitch over sixteen movements of 1788 to 1893.
"""

from pathlib import Path

import numpy as np
import pytest

from base.errors import InputError
from mapping.instruments import instrument

QUARTETS = [
    "haydn/opus74no1/movement1.mxl",
    "mozart/k458/movement1.mxl",
    "beethoven/opus18no1/movement1.mxl",
    "schumann_robert/opus41no1/movement1.mxl",
]
PLAYERS = ("violin", "violin", "viola", "cello")

SYMPHONIES = {
    "piccolo": (74, 105), "flute": (64, 93), "oboe": (62, 86), "english horn": (61, 77), "clarinet": (52, 83),
    "bassoon": (36, 67), "contrabassoon": (26, 54), "horn": (43, 77), "trumpet": (57, 80), "trombone": (43, 71),
    "bass trombone": (40, 64), "tuba": (31, 57), "timpani": (41, 59), "violin": (56, 91), "viola": (48, 76),
    "cello": (37, 68), "double bass": (26, 54),
}  # fmt: skip


def _read(path):
    """A score of the corpus, read by our own reader."""
    import music21

    import reading

    return reading.read(Path(music21.__file__).parent / "corpus" / path)


@pytest.fixture(scope="module")
def scores():
    """The quartets as our reader has them."""
    return [_read(path) for path in QUARTETS]


@pytest.fixture(scope="module")
def quartets(scores):
    """The quartets' notes by player: sounding pitches."""
    found = {name: [] for name in PLAYERS}
    for score in scores:
        for part, name in enumerate(PLAYERS):
            found[name].append(score.notes["pitch"][score.notes["part"] == part])
    return {name: np.concatenate(parts) for name, parts in found.items()}


@pytest.mark.parametrize("name", ["violin", "viola", "cello"])
def test_quartets_lie_in_our_ranges(quartets, name):
    """At least 99 % of the notes of four quartet movements lie inside the compass, and most inside the safe one."""
    item, pitch = instrument(name), quartets[name].astype(int)
    assert len(pitch) > 2000
    assert ((pitch >= item.low) & (pitch <= item.high)).mean() >= 0.99
    assert ((pitch >= item.safe_low) & (pitch <= item.safe_high)).mean() >= 0.90
    assert pitch.min() - item.low <= 3  # and the ranges are no wider below than they need be


def test_clarinet_solo_lies_in_our_range():
    """A virtuoso solo stays inside the clarinet's compass and uses its lowest note."""
    score = _read("weber/concertino_clarinet.mxl")
    pitch = score.notes["pitch"][score.notes["part"] == 0]
    item = instrument("clarinet")
    assert item.low == int(pitch.min())
    assert int(pitch.max()) <= item.high


@pytest.mark.parametrize(("name", "bounds"), SYMPHONIES.items())
def test_symphonies_lie_in_our_ranges(name, bounds):
    """The middle 98 % of what symphonies ask of each instrument lies inside its compass."""
    item = instrument(name)
    assert item.low <= bounds[0]
    assert bounds[1] <= item.high


@pytest.mark.parametrize("name", ["horn", "trumpet"])
def test_natural_notes_are_the_harmonic_series(name):
    """Every note of the natural instrument is a partial of written C2, at most 0.6 semitone off."""
    partials = 36 + 12 * np.log2(np.arange(2, 17))
    for note in instrument(name).natural_notes:
        assert np.abs(partials - note).min() <= 0.6, note  # the thirteenth, A, is 0.59 flat
    missing = [p for p in partials[1:9] if np.abs(np.array(instrument(name).natural_notes) - p).min() > 0.5]
    assert missing == []


def test_crooks_sound_where_composers_count():
    """Horns in D sound a minor seventh lower, in E flat a major sixth; their open notes fit the tonic triad."""
    horn = instrument("horn")
    assert (horn.crooks["D"], horn.crooks["E-flat"], horn.crooks["F"]) == (-10, -9, horn.transpose)
    assert {2, 6, 9} <= {pitch % 12 for pitch in horn.natural_pitches("D")}
    with pytest.raises(InputError, match="no crook"):
        horn.natural_pitches("H")


def test_chords_of_real_quartets_are_accepted(scores):
    """Of the multiple stops Haydn, Mozart and Beethoven wrote, nine in ten lie under the hand by our rule."""
    from mapping.checks.strings import stopping

    lies = [
        stopping(instrument(name), chord) is not None
        for score in scores[:3]
        for part, name in enumerate(PLAYERS)
        for chord in _chords(score.notes[(score.notes["part"] == part) & (score.notes["duration"] > 0)])
    ]
    assert len(lies) > 50
    assert np.mean(lies) >= 0.9


def _chords(notes):
    """Pitches struck together in one voice, two to four of them, low to high."""
    groups = {}
    for onset, voice, pitch in zip(notes["onset"], notes["voice"], notes["pitch"], strict=True):
        groups.setdefault((int(onset), int(voice)), set()).add(int(pitch))
    return [sorted(chord) for chord in groups.values() if 1 < len(chord) <= 4]
