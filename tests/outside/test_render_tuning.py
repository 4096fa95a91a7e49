"""Pitch and time of what is rendered, found by methods that know nothing of the renderer.

Outside source: equal temperament at A4 = 440 Hz (ISO 16:1975).
"""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

import render
import soundfonts
from base.errors import MissingPart
from render import RenderSettings

_SPEC = importlib.util.spec_from_file_location("make_music", Path(__file__).parents[1] / "render" / "make_music.py")
music = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(music)

pytestmark = pytest.mark.sound

SOLOS = {
    "piccolo": 84, "flute 1": 76, "oboe 1": 71, "english horn": 64, "clarinet 1": 65, "bass clarinet": 50,
    "bassoon 1": 50, "contrabassoon": 38, "horn 1": 57, "trumpet 1": 67, "trombone 1": 53, "bass trombone": 46,
    "tuba": 41, "timpani": 45, "harp": 60, "piano": 64, "violins 1": 69, "violas": 60, "cellos": 50, "basses": 38,
    "violins 1*1": 76, "violas*1": 60, "cellos*1": 50, "basses*1": 40,
}  # fmt: skip


@pytest.fixture(scope="session")
def have_font():
    """Skip where nothing can sound."""
    try:
        soundfonts.default()
    except MissingPart:
        pytest.skip("no soundfont installed")


def fundamental_hz(samples, rate=48_000):
    """Fundamental by autocorrelation of the spectrum-whitened sound: whichever partial is strongest does not matter."""
    mono = samples.sum(axis=1)[round(0.4 * rate) : round(2.4 * rate)]
    size = 1 << 18
    power = np.abs(np.fft.rfft(mono * np.hanning(len(mono)), size)) ** 2
    # The fourth root flattens the partials, so that a weak fundamental still shapes the period.
    lags = np.fft.irfft(power**0.25)[: rate // 20]
    first = np.argmax(lags < 0)  # leave the peak at lag 0
    inner = lags[1:-1]
    peaks = 1 + np.flatnonzero((inner > lags[:-2]) & (inner >= lags[2:]) & (np.arange(1, len(lags) - 1) > first))
    # Every multiple of the period is a peak too: the first one nearly as high as the highest is the period.
    rough = rate / peaks[np.argmax(lags[peaks] > 0.75 * lags[peaks].max())]
    return _refined(power, rough, rate, size)


def principal_hz(samples, near_hz, rate=48_000):
    """Strongest partial near the note: a kettledrum sounds its principal mode, others lie 1.5, 2 and 2.5 times higher.

    N. Fletcher, T. Rossing, *The Physics of Musical Instruments*, ch. 18 (from memory).
    """
    mono = samples.sum(axis=1)[round(0.3 * rate) : round(2.3 * rate)]
    size = 1 << 19
    power = np.abs(np.fft.rfft(mono * np.hanning(len(mono)), size))
    low, high = (int(near_hz * ratio / rate * size) for ratio in (5 / 6, 6 / 5))
    return (low + int(np.argmax(power[low:high]))) * rate / size


def _refined(power, rough, rate, size):
    """Sharpen by the first three partials near multiples of a rough fundamental, weighted by amplitude."""
    found, weights = [], []
    for number in (1, 2, 3):
        low, high = (int(number * rough * 2 ** (cents / 1200) / rate * size) for cents in (-60, 60))
        bins = np.arange(low, high + 1)
        peak = power[bins] ** 2
        found.append(np.sum(bins * peak) / np.sum(peak) * rate / size / number)
        weights.append(np.sqrt(power[bins].max()))
    return float(np.average(found, weights=weights))


def test_every_instrument_sounds_its_note(have_font):
    """The fundamental of a long solo note lies within 20 cents of equal temperament at 440 Hz, for every instrument."""
    settings = RenderSettings(room=False)
    made = [music.arrangement_of({name: music.notes_of((0, 6, key))}) for name, key in SOLOS.items()]
    found = render.render_variants(made, (1, 2), passage="solo", settings=settings)
    off = {}
    for (name, key), one in zip(SOLOS.items(), found, strict=True):
        note_hz = 440 * 2 ** ((key - 69) / 12)
        heard_hz = principal_hz(one.mix, note_hz) if name == "timpani" else fundamental_hz(one.mix)
        cents = 1200 * np.log2(heard_hz / note_hz)
        if abs(cents) > 20:
            off[name] = round(cents, 1)
        assert not one.warnings
    assert not off


@pytest.mark.parametrize(
    ("name", "key"),
    [("violins 1*1", 90), ("violins 1*1", 96), ("bassoon 1", 37), ("flute 1", 62), ("violins 1", 84), ("horn 1", 53)],
)
def test_keys_that_fonts_have_out_of_tune_are_corrected(have_font, name, key):
    """Keys that are 10 to 35 cents off in free fonts come out within 10 cents of equal temperament."""
    made = music.arrangement_of({name: music.notes_of((0, 6, key), dynamic="f")})
    settings = RenderSettings(room=False, spread=False)
    (found,) = render.render_variants([made], (1, 2), passage="solo", settings=settings)
    mono = found.mix.sum(axis=1)[19_200:115_200]
    size, note_hz = 1 << 19, 440 * 2 ** ((key - 69) / 12)
    power = np.abs(np.fft.rfft(mono * np.hanning(len(mono)), size)) ** 2
    cents = []
    for number in (1, 2):
        bins = np.arange(*(int(number * note_hz * 2 ** (side / 24) / 48_000 * size) for side in (-1, 1)))
        peak = np.where(power[bins] > 0.25 * power[bins].max(), power[bins], 0.0)
        cents.append((1200 * np.log2(np.average(bins, weights=peak) * 48_000 / size / (number * note_hz)), peak.sum()))
    assert abs(np.average([one for one, _ in cents], weights=[weight for _, weight in cents])) < 10
