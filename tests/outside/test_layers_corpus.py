"""Layers against facts anyone can look up, on scores that come with music21 (its corpus, public domain works)."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from reading.layers import Role, find_layers
from reading.reader import read

CORPUS = Path(importlib.util.find_spec("music21").origin).parent / "corpus"


def roles(path):
    """A score of the corpus and its roles."""
    score = read(CORPUS / path)
    return score, find_layers(score)


def share(score, layers, role, part):
    """Share of a part's notes that have a role."""
    mine = (score.notes["part"] == part) & (score.notes["duration"] > 0)
    return float((layers.roles[mine] == int(role)).mean())


@pytest.mark.parametrize("number", ["66.6", "57.8", "269", "26.6"])
def test_soprano_of_a_chorale_is_the_melody_and_its_bass_the_bass(number):
    """Bach's chorales set a hymn tune in the soprano (the definition of the kind; common knowledge, no source).

    Of a bass that moves in quavers only the notes on the beats are counted as bass, hence two thirds.
    """
    score, layers = roles(f"bach/bwv{number}.mxl")
    assert share(score, layers, Role.MELODY, 0) >= 0.95
    assert share(score, layers, Role.BASS, 3) >= 0.65
    assert share(score, layers, Role.MELODY, 1) + share(score, layers, Role.MELODY, 2) <= 0.1


@pytest.mark.parametrize("path", ["schubert/Lindenbaum.xml", "schumann_robert/dichterliebe_no2.xml"])
def test_voice_of_a_song_is_the_melody(path):
    """In a song for voice and piano the voice has the melody while it sings (Schubert D 911/5, Schumann op. 48/2)."""
    score, layers = roles(path)
    voice = next(row for row, part in enumerate(score.parts) if part.staves == 1)
    assert share(score, layers, Role.MELODY, voice) >= 0.85


def test_fugue_is_called_contrapuntal(form_text):
    """The exposition of the fugue in C minor (J. S. Bach, BWV 847): the alto begins, the soprano answers in bar 3."""
    assert {3, 4} <= set(find_layers(form_text).contrapuntal)


@pytest.mark.parametrize("path", ["bach/bwv846.mxl", "joplin/maple_leaf_rag.mxl", "schumann_clara/polonaise_op1n1.mxl"])
def test_prelude_rag_and_polonaise_are_not_contrapuntal(path):
    """A prelude of broken chords, a rag and a polonaise are tune or figure with accompaniment, without imitation."""
    assert find_layers(read(CORPUS / path)).contrapuntal == ()


def test_bass_of_alberti_figures_is_their_lowest_note():
    """W. A. Mozart, K. 545 (new collected edition), bars 1-4: the left hand breaks chords in quavers.

    Each half bar goes low, high, middle, high. The chords named by their lowest notes: C | D (G7 in second inversion),
    C | C, C | B, C.
    """
    score, layers = roles("mozart/k545/movement1_exposition.mxl")
    notes = score.notes
    low = (notes["staff"] == 2) & (notes["bar"] <= 4) & (layers.roles == int(Role.BASS))
    heard = [(int(note["bar"]), int(note["pitch"])) for note in notes[low]]
    assert {(1, 60), (2, 62), (2, 60), (3, 60), (4, 59), (4, 60)} <= set(heard)
    assert 8 <= len(heard) <= 10
    assert 67 not in {pitch for _, pitch in heard}


def test_bass_of_a_rag_is_below_its_chords():
    """The left hand of a rag alternates low notes with chords well above them (S. Joplin, Maple Leaf Rag, 1899)."""
    score, layers = roles("joplin/maple_leaf_rag.mxl")
    notes = score.notes
    lower, bass = notes["staff"] == 2, layers.roles == int(Role.BASS)
    low = np.array(
        [notes["pitch"][lower & bass & (notes["bar"] == bar)].mean() for bar in set(notes["bar"][lower & bass])]
    )
    high = np.array([
        notes["pitch"][lower & ~bass & (notes["bar"] == bar)].mean()
        for bar in set(notes["bar"][lower & bass])
        if (lower & ~bass & (notes["bar"] == bar)).any()
    ])  # fmt: skip
    assert np.median(high) - np.median(low) >= 7


@pytest.mark.parametrize(
    ("path", "bars", "drummed", "tune"),
    [
        ("schumann_clara/polonaise_op1n3.mxl", (1, 1), 81, {69, 68, 71, 73, 74, 76}),
        ("chopin/mazurka06-2.krn", (8, 8), 68, {63, 66, 64}),
    ],
    ids=["C. Schumann op. 1/3", "Chopin op. 6/2"],
)
def test_tune_below_a_repeated_note_is_found(path, bars, drummed, tune):
    """Two openings in which one note is struck on and on above the line that moves (as printed; read off the score).

    C. Wieck, Polonaise op. 1 no. 3, bar 1: a'' over a' g#' a' b' c#'' d'' e''. F. Chopin, Mazurka op. 6 no. 2, bar 8 of
    the introduction: g#' over d#' f#' e' d#'.
    """
    score, layers = roles(path)
    notes = score.notes
    inside = (notes["bar"] >= bars[0]) & (notes["bar"] <= bars[1]) & (notes["staff"] == 1)
    melody = layers.roles == int(Role.MELODY)
    assert set(notes["pitch"][inside & melody].tolist()) == tune
    assert drummed in notes["pitch"][inside & ~melody]


@pytest.fixture
def form_text():
    """Bars 1 to 4 of the fugue, both voices on the upper staff, transcribed for this test."""
    spec = importlib.util.spec_from_file_location(
        "form_builder", Path(__file__).parents[1] / "reading" / "form_builder.py"
    )
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    alto = [
        "- C5/0.25 B4/0.25 C5 G4 Ab4 C5/0.25 B4/0.25 C5 D5",
        "G4 C5/0.25 B4/0.25 C5 D5 F4/0.25 G4/0.25 Ab4/1 G4/0.25 F4/0.25",
        "Eb4/0.25 C5/0.25 B4/0.25 A4/0.25 G4/0.25 F4/0.25 Eb4/0.25 D4/0.25 C4 Eb5 D5 C5",
        "Bb4 A4 Bb4 C5 F#4 G4 A4 F#4",
    ]
    soprano = [
        "-/4",
        "-/4",
        "- G5/0.25 F#5/0.25 G5 C5 Eb5 G5/0.25 F#5/0.25 G5 A5",
        "D5 G5/0.25 F#5/0.25 G5 A5 C5/0.25 D5/0.25 Eb5/1 D5/0.25 C5/0.25",
    ]
    upper = [f"{low} & {high}" for low, high in zip(alto, soprano, strict=True)]
    return module.build(upper, ["-/4"] * 4)
