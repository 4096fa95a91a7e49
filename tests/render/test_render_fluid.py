"""FluidSynth as it is used here: exact, repeatable, and never silently silent."""

import subprocess
import sys

import numpy as np
import pytest

import render
import soundfonts
from base.errors import InputError, MissingPart
from render import RenderSettings
from render.request import SOUND_DTYPE, SWELL_DTYPE, StemRequest
from render.synths.fluid import FluidSynth

pytestmark = pytest.mark.sound


@pytest.fixture(scope="module")
def synth():
    """FluidSynth with the best font installed."""
    try:
        return FluidSynth(soundfonts.default())
    except MissingPart as error:
        pytest.skip(str(error))


def ask(*rows, swells=()):
    """A request from dictionaries of fields."""
    sounds = np.zeros(len(rows), SOUND_DTYPE)
    for row, fields in enumerate(rows):
        for name, value in {"end": 48_000, "key": 69, "velocity": 92, "program": 73, **fields}.items():
            sounds[row][name] = value
    return StemRequest(sounds, np.array(list(swells), SWELL_DTYPE))


@pytest.mark.parametrize("gain_db", [-3.0, -10.0, -30.0])
def test_gain_is_exact(synth, make_music, gain_db):
    """A gain asked for is the gain given, to a hundredth of a decibel."""
    plain, less = (synth.render(ask({"gain_db": gain})).samples for gain in (0.0, gain_db))
    change = make_music.level_db(less, 0.3, 0.9) - make_music.level_db(plain, 0.3, 0.9)
    assert change == pytest.approx(gain_db, abs=0.01)


def test_overlapping_sounds_of_one_key_are_two_sounds(synth, make_music):
    """Letting go of one sound does not silence another on the same key: each has a channel of its own."""
    both = synth.render(ask({"end": 24_000}, {"end": 96_000})).samples
    assert make_music.level_db(both, 1.0, 1.9) > make_music.level_db(both, 0.3, 0.45) - 9


def test_a_missing_sample_gives_way_to_the_nearest(synth):
    """A key the preset lacks is sounded from its neighbour at the right pitch, and reported."""
    found = synth.render(ask({"program": 43, "key": 75}))
    if not found.replaced:
        pytest.skip("this font has a sample for that key")
    ((row, key),) = found.replaced
    assert (row, key < 75) == (0, True)
    spectrum = np.abs(np.fft.rfft(found.samples[9600:48_000, 0] * np.hanning(38_400), 1 << 18))
    strongest = np.argmax(spectrum) * 48_000 / (1 << 18)
    ratio = strongest / (440 * 2 ** ((75 - 69) / 12))
    assert abs(1200 * np.log2(ratio / max(1, round(ratio)))) < 40


def test_a_missing_preset_is_reported_and_still_sounds(synth):
    """A bank the font does not have is named, and something of the same family plays."""
    found = synth.render(ask({"bank": 77, "program": 60}))
    assert found.missing == ((77, 60),)
    assert np.max(np.abs(found.samples)) > 0.01


def test_silence_is_silent_and_told(synth, make_music):
    """Between two notes far apart every sample is zero, the synth says so, and both sound as loud as each alone."""
    first, second = {"end": 24_000}, {"start": 960_000, "end": 984_000}
    both = synth.render(ask(first, second))
    assert len(both.stretches) == 2
    quiet = both.samples.copy()
    for start, end in both.stretches:
        quiet[start:end] = 0.0
    assert not quiet.any()
    (_, end), (start, _) = both.stretches
    assert start - end > 480_000
    alone, later = (synth.render(ask(one)).samples for one in (first, second))
    assert np.allclose(both.samples[: len(alone)], alone, atol=1e-6)
    levels = [make_music.level_db(sound, 20.0, 20.5) for sound in (both.samples, later)]
    assert levels[0] == pytest.approx(levels[1], abs=0.1)


def test_warnings_name_player_and_note(make_music, monkeypatch):
    """What a font cannot play is told by player and key, never rendered as silence without a word."""
    from render import lines
    from soundfonts.calibration import Calibration

    monkeypatch.setattr(lines, "calibration_of", lambda _: Calibration())
    made = make_music.arrangement_of({"basses*1": make_music.notes_of((0, 4, 75))})
    (found,) = render.render_variants([made], (1, 1), passage="x", settings=RenderSettings(room=False))
    assert any("not calibrated" in text for text in found.warnings)
    assert any(text.startswith("basses:") and "75" in text for text in found.warnings) or found.mix.any()
    assert found.mix.any()


def test_another_process_gives_the_same_samples(make_music):
    """A stem made in a new process equals the one made here, bit by bit."""
    code = """
import hashlib, sys, numpy as np, soundfonts
from render.request import SOUND_DTYPE, SWELL_DTYPE, StemRequest
from render.synths.fluid import FluidSynth
sounds = np.zeros(3, SOUND_DTYPE)
sounds["start"], sounds["end"] = [0, 9600, 20000], [12000, 30000, 60000]
sounds["key"], sounds["velocity"], sounds["program"] = [60, 64, 67], 77, [60, 48, 46]
made = FluidSynth(soundfonts.default()).render(StemRequest(sounds, np.zeros(0, SWELL_DTYPE)))
print(hashlib.sha256(made.samples.tobytes()).hexdigest())
"""
    hashes = {subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
              for _ in range(2)}  # fmt: skip
    assert len(hashes) == 1


def test_one_worker_or_two_and_a_whole_orchestra(make_music):
    """Stems of many players are the same with one and two threads; nothing clips, nothing has an offset."""
    parts = {name: make_music.notes_of(*((beat, 1, key + beat % 3) for beat in range(4)), dynamic="ff")
             for name, key in (("flute 1", 76), ("oboe 1", 72), ("clarinet 1", 67), ("horn 1", 57), ("trumpet 1", 67),
                               ("violins 1", 74), ("violas", 62), ("cellos", 48), ("basses", 36))}  # fmt: skip
    made = make_music.arrangement_of(parts)
    settings = RenderSettings(room=False)
    one, two = (render.render_variants([made], (1, 1), passage="x", settings=settings, workers=workers)[0]
                for workers in (1, 2))  # fmt: skip
    assert np.array_equal(one.mix, two.mix)
    assert np.max(np.abs(one.mix)) < 1.0
    assert np.all(np.abs(np.mean(one.mix, axis=0)) < 1e-3)
    for stem in one.stems:
        assert make_music.level_db(stem.samples, 0.3, 1.0) > -70


def test_a_damaged_soundfont_is_the_inputs_fault(make_music, tmp_path):
    """A file with the right first bytes and nothing behind them is refused by name."""
    path = tmp_path / "half.sf2"
    path.write_bytes(b"RIFF\x10\x00\x00\x00sfbkLIST" + bytes(100))
    made = make_music.arrangement_of({"flute 1": make_music.notes_of((0, 1, 72))})
    with pytest.raises(InputError, match=r"half\.sf2.*could not be loaded"):
        render.render_variants([made], (1, 1), passage="x", settings=RenderSettings(soundfont=path))


def test_without_the_library_the_error_says_what_to_install():
    """Where libfluidsynth is missing, the error names its package and has exit code 3."""
    code = (
        "import sys; sys.modules['fluidsynth'] = None\n"
        "from render.synths.library import library\n"
        "from base.errors import InputError, MissingPart\n"
        "try: library()\n"
        "except MissingPart as error: print(error.exit_code, error)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("3 ")
    assert "libfluidsynth3" in done.stdout


def test_brightness_follows_the_dynamic(make_music):
    """A soft note is darker than a loud one where the font's preset lets the filter act."""

    def centroid(mark):
        made = make_music.arrangement_of({"trumpet 1": make_music.notes_of((0, 4, 67), dynamic=mark)})
        settings = RenderSettings(room=False, spread=False)
        mix = render.render_variants([made], (1, 1), passage="x", settings=settings)[0].mix[24_000:72_000, 0]
        power = np.abs(np.fft.rfft(mix)) ** 2
        return np.sum(power * np.arange(len(power))) / np.sum(power)

    assert centroid("pp") < 0.97 * centroid("ff")
