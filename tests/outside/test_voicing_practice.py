"""What hold and fill make of real piano pieces, against published proportions.

Sources
-------
Pieces: corpus of music21 (Mozart K. 545, exposition; C. Schumann, Polonaises op. 1 nos. 1 and 3).
Doubling: J. Wagner, Orchestration: A Practical Handbook (1959), chapter 5b: the first ten triadic partials hold five
roots, three fifths, two thirds; root-position triads of eight parts and more in symphonies of the open dataset S3
(ISMIR 2024) have 49 to 56 % roots, 21 to 25 % fifths, 23 to 27 % thirds.
Spacing: N. Rimsky-Korsakov, Principles of Orchestration (1922), III, p. 67: the bass rarely more than an octave below
the next part, no empty gap above; in S3 88 to 99 % of chords and 85 to 95 %.
"""

import importlib.util
from pathlib import Path

import pytest

PIECES = [
    "mozart/k545/movement1_exposition.mxl",
    "schumann_clara/polonaise_op1n1.mxl",
    "schumann_clara/polonaise_op1n3.mxl",
]


def _textures():
    """The measuring functions the bench scripts use."""
    path = Path(__file__).parents[2] / "bench" / "textures.py"
    spec = importlib.util.spec_from_file_location("textures", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def pieces():
    """Score, layers and harmony of each piece."""
    import music21

    import reading
    from mapping.harmony import spans

    folder = Path(music21.__file__).parent / "corpus"
    scores = [reading.read(folder / path) for path in PIECES]
    return [(score, reading.find_layers(score), spans(score)) for score in scores]


@pytest.fixture(scope="module")
def counts(pieces):
    """Triad counts of held chords by four winds, and gap shares before and after two filling voices."""
    from mapping.orchestra import player
    from mapping.voicing import gap_voices, held_voices, ranges_for

    textures = _textures()
    ranges = ranges_for([player(name) for name in ("horn 1", "horn 2", "bassoon 1", "bassoon 2")])
    total, gaps = {}, []
    for score, layers, harmony in pieces:
        tune, rows = layers.roles == 0, textures.rows_of(score)
        held = [note for voice in held_voices(score, harmony, ranges, melody=tune) for note in voice]
        fill = gap_voices(score, [(43, 79, 62), (43, 79, 55)], melody=tune, harmony=harmony)
        filled = [note for voice in fill for note in voice]
        gaps.append((textures.open_share(score, rows), textures.open_share(score, rows + filled)))
        for added in (held, filled):
            for key, value in textures.triads(score, harmony, rows, added).items():
                total[key] = total.get(key, 0) + value
    return total, gaps


def test_triads_are_doubled_as_in_symphonies(counts):
    """Root most, each member within 0.12 of a half, a quarter and a quarter; the third present as a rule."""
    total, _ = counts
    whole = total["root"] + total["third"] + total["fifth"]
    assert total["chords"] > 150
    assert total["root"] / whole == pytest.approx(0.50, abs=0.12)
    assert total["third"] / whole == pytest.approx(0.25, abs=0.12)
    assert total["fifth"] / whole == pytest.approx(0.25, abs=0.12)
    assert total["root"] > total["third"]
    assert total["root"] > total["fifth"]
    assert total["with_third"] / total["chords"] >= 0.80


def test_chords_are_spaced_as_in_symphonies(counts):
    """The bass within an octave of the next note in 88 % of chords, no wider gap above in 85 %."""
    total, _ = counts
    assert total["bass_close"] / total["spaced"] >= 0.88
    assert total["upper_close"] / total["spaced"] >= 0.85


def test_gaps_come_down_to_symphonic_practice(counts):
    """Two filling voices bring gaps over an octave to at most 15 % of the time (symphonies: 5 to 15 %)."""
    _, gaps = counts
    for before, after in gaps:
        assert after <= before
        assert after <= 0.15


def test_literal_variants_of_real_pieces_keep_everything(pieces):
    """Played as it stands on the piano, each piece has 1 on all five counts."""
    import mapping

    for score, layers, _ in pieces:
        kept = mapping.faithfulness(mapping.piano(score), layers).to_json()
        assert {name: entry["value"] for name, entry in kept.items()} == dict.fromkeys(kept, 1.0)
        assert all(not entry["departures"] for entry in kept.values())
