"""Songs are heard with their singer: in front of the orchestra, not beside it, and not in its place.

Source of the song: music21 corpus, ``schumann_robert/opus48no2.mxl``.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest

import mapping
import render
from reading import read
from reading.sung import find_song_layers
from render import RenderSettings

SONG = Path(importlib.util.find_spec("music21").submodule_search_locations[0]) / "corpus/schumann_robert/opus48no2.mxl"
SPEC = """piece: {score: x}
orchestra: classical full
variants:
  sung:
    steps:
      - {play: melody, on: violins 1}
      - {play: accompaniment, on: [violins 2, violas]}
      - {play: bass, on: [cellos, basses]}
  dumb: {from: sung, steps: [{rest: singers}]}
"""
WITHIN_DB = 6.0  # own default: a soloist neither drowned by the strings nor alone


@pytest.fixture(scope="module")
def arrangements(tmp_path_factory):
    """The song with and without its singer."""
    path = tmp_path_factory.mktemp("song") / "spec.yaml"
    path.write_text(SPEC)
    score = read(SONG)
    return mapping.arrange_all(score, find_song_layers(score), mapping.load_spec(path))


def rms_db(samples):
    """Mean level."""
    return 10 * np.log10(float(np.mean(np.asarray(samples, np.float64) ** 2)) + 1e-20)


@pytest.mark.parametrize("balance", ["sound power", "orchestration rule"])
def test_the_singer_is_heard_through_the_strings(arrangements, balance):
    """With the real synth and font, by either table: about as strong as all strings that accompany together."""
    settings = RenderSettings(room=False, balance=balance)
    (found,) = render.render_variants(arrangements[:1], (1, 4), passage="test", settings=settings)
    stems = {stem.name: stem.samples for stem in found.stems}
    others = sum(samples.astype(np.float64) for name, samples in stems.items() if name != "voice")
    assert abs(rms_db(stems["voice"]) - rms_db(others)) < WITHIN_DB


def test_the_singer_changes_nobody_elses_sound(arrangements):
    """Metamorphic: take the singer away, and every other stem is the same to the bit."""
    settings = RenderSettings(synth="partials", room=False)
    with_voice, without = render.render_variants(arrangements, (1, 4), passage="test", settings=settings)
    mine, theirs = ({stem.name: stem.samples for stem in one.stems} for one in (with_voice, without))
    assert set(mine) - set(theirs) == {"voice"}
    for name, samples in theirs.items():
        assert np.array_equal(samples, mine[name])
