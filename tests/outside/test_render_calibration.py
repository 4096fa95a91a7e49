"""Calibration against other measurements of the same sound.

Outside source: the perceptual onset of a tone as the moment its envelope comes within about 10 dB of its level
(J. Vos, R. Rasch, Perception & Psychophysics 29, 1981: 6 to 15 dB; from memory).
"""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

import render
import soundfonts
from base.errors import MissingPart
from render import RenderSettings
from render.passage import LEAD_S

_SPEC = importlib.util.spec_from_file_location("make_music", Path(__file__).parents[1] / "render" / "make_music.py")
music = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(music)

pytestmark = pytest.mark.sound


@pytest.fixture(scope="session")
def have_sound():
    """Skip where nothing can sound."""
    try:
        return soundfonts.default()
    except MissingPart:
        pytest.skip("no soundfont installed")


def onset_s(samples, at_s, rate=48_000):
    """Moment at which a 10 ms envelope comes within 10 dB of the level half a second later."""
    power = np.sum(samples.astype(np.float64) ** 2, axis=1)
    total = np.concatenate([[0.0], np.cumsum(power)])
    window = rate // 100
    envelope = (total[window:] - total[:-window]) / window
    first = round((at_s - 0.2) * rate)
    level = np.mean(power[round((at_s + 0.4) * rate) : round((at_s + 0.9) * rate)])
    return (first + np.argmax(envelope[first:] > 0.1 * level) + window / 2) / rate


@pytest.mark.parametrize(
    "name", ["violins 1", "violins 1*1", "violas", "cellos", "cellos*1", "basses", "horn 1", "oboe 1"]
)
def test_slow_attacks_are_heard_in_time(have_sound, name):
    """The perceptual onset lies within 25 ms of the written beat, however slowly the sample speaks."""
    key = {"violins 1": 72, "violins 1*1": 74, "violas": 60, "cellos": 50, "cellos*1": 52, "basses": 38}.get(name, 65)
    made = music.arrangement_of({name: music.notes_of((2, 4, key))})
    settings = RenderSettings(room=False, spread=False, stage="centre")
    (found,) = render.render_variants([made], (1, 2), passage="x", settings=settings)
    written = LEAD_S + 1.0 + 6.0 / 343.0  # the sound's way from the middle of the stage
    assert onset_s(found.mix, written) == pytest.approx(written, abs=0.025)


def test_partials_begin_on_the_sample():
    """The plain-partials synth begins within 2 ms of the score."""
    made = music.arrangement_of({"flute 1": music.notes_of((1, 1, 76), (3, 1, 79))})
    settings = RenderSettings(synth="partials", room=False, spread=False, stage="centre")
    (found,) = render.render_variants([made], (1, 1), passage="x", settings=settings)
    for beat in (1, 3):
        written = LEAD_S + 0.5 * beat + 6.0 / 343.0
        first = np.argmax(np.abs(found.mix[round((written - 0.1) * 48_000) :, 0]) > 0) / 48_000 + written - 0.1
        assert first == pytest.approx(written, abs=0.002)


def test_measuring_again_gives_what_was_shipped(have_sound):
    """The shipped levels of a preset are what measuring it here gives, within 0.3 dB."""
    from render.calibrating import COMPASSES, measure_keys
    from soundfonts.calibration import calibration_of

    known = calibration_of(have_sound).preset(0, 73)
    if known is None:
        pytest.skip("this font is not in the catalogue")
    again = measure_keys(have_sound, 73, (70, 72), bright_cents=known.bright_cents)
    row = 70 - COMPASSES[73][0]
    assert np.allclose(again, known.level_db[row : row + 3], atol=0.3)


def test_tuning_is_corrected(have_sound):
    """What the font is off by is taken back: a timpani stroke of FluidR3 some 40 cents sharp comes out within 20."""
    made = music.arrangement_of({"timpani": music.notes_of((0, 4, 50))})
    settings = RenderSettings(room=False, spread=False)
    (found,) = render.render_variants([made], (1, 1), passage="x", settings=settings)
    size, note_hz = 1 << 19, 440 * 2 ** ((50 - 69) / 12)
    power = np.abs(np.fft.rfft(found.mix[14_400:110_000, 0] * np.hanning(95_600), size))
    low, high = int(note_hz / 1.15 / 48_000 * size), int(note_hz * 1.15 / 48_000 * size)
    strongest = (low + np.argmax(power[low:high])) * 48_000 / size
    assert abs(1200 * np.log2(strongest / note_hz)) < 20
