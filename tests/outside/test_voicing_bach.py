"""The voicing optimiser against J. S. Bach: alto and tenor from soprano, bass and each beat's pitch classes.

Source: four-part chorales of the music21 corpus (BWV numbers by file name). The weights were set on the first files by
name, which are left out here.
"""

import importlib.util
from pathlib import Path

import pytest


@pytest.fixture(scope="module")
def result():
    """Shares and rates over the chorales after those the weights were set on."""
    path = Path(__file__).parents[2] / "bench" / "chorales.py"
    spec = importlib.util.spec_from_file_location("chorales", path)
    chorales = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(chorales)
    return chorales.measure(chorales.files()[chorales.TUNED : chorales.TUNED + 68])


def test_inner_voices_are_mostly_bachs(result):
    """At least 70 % of the notes of 50 chorales or more are exactly those Bach wrote."""
    assert result["chorales"] >= 50
    assert result["beats"] > 2500
    assert result["exact"] >= 0.70


def test_hardly_any_parallels(result):
    """At most one pair of parallel fifths, octaves or unisons in 100 chords, and fewer than in Bach's beats."""
    assert result["parallels_per_100"] <= 1.0
    assert result["parallels_per_100"] < result["bach_parallels_per_100"]
