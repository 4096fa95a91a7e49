"""Shared by the tests of comparing: the hand-made piece and three variants of it, compared once."""

import importlib.util
from pathlib import Path

import pytest

from compare import compare_passage


@pytest.fixture(scope="session")
def make_sound():
    """The module make_sound, without a package or a path hack."""
    spec = importlib.util.spec_from_file_location("make_sound", Path(__file__).with_name("make_sound.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def piece(make_sound):
    """Score and layers."""
    return make_sound.score()


@pytest.fixture(scope="session")
def variants(make_sound, piece):
    """Renderings and arrangements of: plain; horns held; flute an octave above the tune."""
    m, (score, _) = make_sound, piece
    horn = m.part(score, "horn 1", m.held(), source=False, family="brass")
    flute_notes = [(onset, length, pitch + 12) for onset, length, pitch in m.MELODY]
    flute = m.part(score, "flute 1", flute_notes, family="woodwind")
    plain = m.plain_stems()
    renderings = [
        m.rendering("plain", plain),
        m.rendering("horns held", {**plain, "horn 1": m.sound(m.held(), level=0.04, brightness=2.0)}),
        m.rendering("flute 8va", {**plain, "flute 1": m.sound(flute_notes, level=0.03, brightness=2.5)}),
    ]
    steps = ("violins 1 play the melody",)
    arrangements = [
        m.arrangement(score, m.plain_parts(score), steps=steps),
        m.arrangement(
            score, [*m.plain_parts(score), horn], variant="horns held", steps=(*steps, "horn 1 holds the harmony")
        ),
        m.arrangement(
            score, [*m.plain_parts(score), flute], variant="flute 8va", steps=(*steps, "flute 1 doubles the melody 8va")
        ),
    ]
    return renderings, arrangements


@pytest.fixture(scope="session")
def trial(make_sound, piece, variants):
    """The three variants and a stand-in for the piano, compared."""
    renderings, arrangements = variants
    piano = make_sound.rendering("piano", {"piano": sum(make_sound.plain_stems().values())}, scale=0.5)
    return compare_passage(renderings, arrangements=arrangements, layers=piece[1], piano=piano, passage="opening")
