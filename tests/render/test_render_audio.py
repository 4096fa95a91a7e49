"""Sound in files: formats, rounding, tags, nothing half-written."""

import numpy as np
import pytest
import soundfile

from base.errors import OutputError
from render import write_audio
from render.audio import quantised


@pytest.fixture(scope="module")
def tone():
    """A second of a decaying tone in stereo."""
    time_s = np.arange(48_000) / 48_000
    mono = 0.5 * np.exp(-3 * time_s) * np.sin(2 * np.pi * 440 * time_s)
    return np.stack([mono, 0.5 * mono], axis=1).astype(np.float32)


@pytest.mark.parametrize(
    ("name", "sample_format", "error"),
    [("a.flac", None, 2.1 / 2**15), ("a.flac", "PCM_24", 0.51 / 2**23), ("a.wav", None, 0.0),
     ("a.wav", "PCM_24", 0.51 / 2**23), ("a.wav", "PCM_16", 2.1 / 2**15)],
)  # fmt: skip
def test_lossless_formats_give_back_what_went_in(tone, tmp_path, name, sample_format, error):
    """FLAC and WAV keep length and samples within their own step (a step and a half with dither)."""
    write_audio(tmp_path / name, tone, sample_format=sample_format)
    back, rate = soundfile.read(tmp_path / name)
    assert rate == 48_000
    assert back.shape == tone.shape
    assert np.max(np.abs(back - tone)) <= error


@pytest.mark.parametrize("name", ["a.ogg", "a.opus", "a.mp3"])
def test_lossy_formats_keep_length_and_place(tmp_path, name):
    """Vorbis, Opus and MP3 come back with the right length, and nothing is shifted."""
    noise = np.random.default_rng(3).standard_normal((48_000, 2)) * 0.1
    write_audio(tmp_path / name, noise.astype(np.float32))
    back, _ = soundfile.read(tmp_path / name)
    assert abs(len(back) - len(noise)) <= 1152
    shift = int(np.argmax(np.correlate(back[1000:9000, 0], noise[2000:8000, 0]))) - 1000
    assert abs(shift) <= 1


def test_rounding_has_no_bias():
    """Sixteen-bit rounding leaves an error without mean, with dither's power: 1/4 step squared (JAES 40, 1992)."""
    ramp = np.linspace(-0.5, 0.5, 200_000)[:, None]
    error = quantised(ramp, 16, dither=True)[:, 0] - ramp[:, 0] * 2**15
    assert abs(np.mean(error)) < 0.01
    assert np.mean(error**2) == pytest.approx(0.25, rel=0.03)
    plain = quantised(ramp, 24, dither=False)[:, 0] - ramp[:, 0] * 2**23
    assert abs(np.mean(plain)) < 0.01
    assert np.max(np.abs(plain)) <= 0.5


def test_dither_in_pieces_is_dither_in_one(tone):
    """Sound quantised in pieces gives the same integers as in one go; silence stays silent."""
    whole = quantised(tone, 16, dither=True)
    pieces = [quantised(tone[at : at + 777], 16, dither=True, first_sample=at) for at in range(0, len(tone), 777)]
    assert np.array_equal(whole, np.concatenate(pieces))
    assert not quantised(np.zeros((100, 2)), 16, dither=True).any()


def test_overs_are_counted_and_do_not_wrap(tmp_path):
    """Samples above full scale are reported and clipped; float files keep them."""
    loud = np.array([[1.5, -1.5], [0.5, 0.5]], np.float32)
    assert write_audio(tmp_path / "a.flac", loud) == 2
    back, _ = soundfile.read(tmp_path / "a.flac")
    assert back[0] == pytest.approx([1.0, -1.0], abs=1e-4)
    assert write_audio(tmp_path / "a.wav", loud) == 0
    assert soundfile.read(tmp_path / "a.wav")[0][0, 0] == 1.5


def test_tags_are_in_the_file(tone, tmp_path):
    """Title and licence travel with the file."""
    write_audio(tmp_path / "a.flac", tone, tags={"title": "Ferry: horns held", "license": "CC BY 4.0", "other": "x"})
    with soundfile.SoundFile(tmp_path / "a.flac") as file:
        assert file.title == "Ferry: horns held"
        assert file.license == "CC BY 4.0"


@pytest.mark.parametrize(("name", "sample_format"), [("a.xyz", None), ("a.flac", "FLOAT")])
def test_impossible_formats_are_refused(tone, tmp_path, name, sample_format):
    """An unknown suffix or sample format is an error that names what is possible, and leaves nothing."""
    with pytest.raises(OutputError, match=r"\.flac|PCM_16"):
        write_audio(tmp_path / name, tone, sample_format=sample_format)
    assert not list(tmp_path.iterdir())


def test_equal_samples_give_equal_files(tone, tmp_path):
    """Written twice, a file has the same bytes."""
    for name in ("a.flac", "b.flac"):
        write_audio(tmp_path / name, tone)
    assert (tmp_path / "a.flac").read_bytes() == (tmp_path / "b.flac").read_bytes()
