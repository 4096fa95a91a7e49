"""Long pieces in pieces."""

import numpy as np
import pytest
import soundfile

import render
from base.errors import OutputError
from render import RenderSettings


@pytest.fixture(scope="module")
def long_piece(make_music):
    """Twelve bars, three players far apart on the stage."""
    notes = [(bar * 4 + beat, 1, 60 + (bar + beat) % 12) for bar in range(12) for beat in range(4)]
    return make_music.arrangement_of(
        {"flute 1": make_music.notes_of(*notes), "timpani": make_music.notes_of((0, 4, 45), (40, 4, 43)),
         "cellos": make_music.notes_of((0, 24, 43), (24, 24, 48))},
        score=make_music.score_of(12),
    )  # fmt: skip


@pytest.mark.parametrize("room", [False, True])
def test_streamed_sound_is_the_sound_made_at_once(long_piece, tmp_path, room):
    """Block by block or at once: the same mix but for the gain that sets its peak."""
    settings = RenderSettings(synth="partials", room=room)
    (whole,) = render.render_variants([long_piece], (1, 12), passage="all", settings=settings)
    made = render.stream_mix(long_piece, tmp_path / "a.wav", settings=settings, peak_dbfs=-3.0)
    back, _ = soundfile.read(tmp_path / "a.wav", dtype="float32")
    assert np.max(np.abs(back)) == pytest.approx(10 ** (-3 / 20), rel=1e-5)
    same = back[: len(whole.mix)] / 10 ** (made.gain_db / 20)
    assert np.max(np.abs(same - whole.mix[: len(same)])) < 1e-5
    assert not np.any(np.abs(back[len(whole.mix) :]) > 1e-5)


@pytest.mark.sound
def test_streamed_soundfont_sound_is_the_sound_made_at_once(long_piece, tmp_path):
    """FluidSynth read in blocks gives what it gives at once."""
    settings = RenderSettings(room=False)
    (whole,) = render.render_variants([long_piece], (1, 12), passage="all", settings=settings)
    made = render.stream_mix(long_piece, tmp_path / "a.wav", settings=settings, workers=1)
    back, _ = soundfile.read(tmp_path / "a.wav", dtype="float32")
    count = min(len(back), len(whole.mix))
    assert np.max(np.abs(back[:count] / 10 ** (made.gain_db / 20) - whole.mix[:count])) < 1e-4
    assert [path.name for path in tmp_path.iterdir()] == ["a.wav"]


def test_a_place_that_cannot_be_written_leaves_nothing(long_piece, tmp_path):
    """Where a file stands in the way of the folder, the error says so."""
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError):
        render.stream_mix(long_piece, tmp_path / "file" / "a.wav", settings=RenderSettings(synth="partials"))
