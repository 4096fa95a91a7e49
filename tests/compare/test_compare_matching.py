"""Fair clips: loudness, peaks, lengths, and what a trial holds."""

import json

import numpy as np
import pyebur128
import pytest

from base.errors import InputError
from compare import compare_passage, write_clips
from compare.loudness import Meter, matching_gains

RATE = 48_000


def other_meter(samples):
    """Integrated loudness and true peak (dBTP) by libebur128, not the library that matched."""
    modes = pyebur128.MeasurementMode
    state = pyebur128.R128State(2, RATE, modes.MODE_I | modes.MODE_TRUE_PEAK)
    state.add_frames(np.ascontiguousarray(samples, dtype=np.float64).ravel(), len(samples))
    peak = max(pyebur128.get_true_peak(state, channel) for channel in (0, 1))
    return pyebur128.get_loudness_global(state), 20.0 * np.log10(peak)


def test_matched_clips_are_equally_loud_by_another_meter(trial):
    """libebur128 reads every matched clip, the piano too, within 0.1 LU of the others (here within 0.01)."""
    levels = [other_meter(heard.clip("matched"))[0] for heard in (*trial.variants, trial.piano)]
    assert max(levels) - min(levels) < 0.01
    assert levels[0] == pytest.approx(trial.matched_lufs, abs=0.01)


@pytest.mark.parametrize("seed", range(4))
def test_matching_holds_for_clips_of_any_kind(make_sound, seed):
    """Bursts, clicks, fades and near silence match within 0.1 LU, and no true peak passes −1 dBTP."""
    rng = np.random.default_rng(seed)
    n = 5 * RATE
    steady = rng.normal(0.0, 0.2, (n, 2))
    bursts = steady * (rng.uniform(size=(n // 4800 + 1)) > 0.7).repeat(4800)[:n, None]
    clicks = 0.001 * rng.normal(size=(n, 2))
    clicks[:: RATE // 3] = 0.9
    fading = steady * np.geomspace(1.0, 1e-4, n)[:, None]
    renderings = [
        make_sound.rendering(name, {"one": samples.astype(np.float32)})
        for name, samples in (("steady", steady), ("bursts", bursts), ("clicks", clicks), ("fading", fading))
    ]
    made = compare_passage(renderings, passage="any", measures=())
    for kind in ("matched", "scored"):
        read = [other_meter(heard.clip(kind)) for heard in made.variants]
        assert max(peak for _, peak in read) <= -1.0 + 0.05  # the other meter's interpolator differs by hundredths
        assert all(np.abs(heard.clip(kind)).max() <= 10.0 ** (-1.0 / 20.0) for heard in made.variants)
        if kind == "matched":
            levels = [level for level, _ in read]
            assert max(levels) - min(levels) < 0.1


def test_all_clips_have_one_length(trial):
    """Matched and scored clips of all variants agree to the sample; in turn they follow with equal silences."""
    lengths = {len(heard.clip(kind)) for heard in (*trial.variants, trial.piano) for kind in ("matched", "scored")}
    assert len(lengths) == 1
    (length,) = lengths
    turn = trial.in_turn()
    gap = round(0.7 * RATE)
    assert len(turn) == 3 * length + 2 * gap
    starts = [round(second * RATE) for second in trial.in_turn_starts_s()]
    for start, heard in zip(starts, trial.variants, strict=True):
        assert np.array_equal(turn[start : start + length], heard.clip("matched"))
    assert not turn[length : length + gap].any()


def test_as_scored_keeps_the_differences(trial):
    """One gain for all variants; the loudest plays as loud as the matched clips."""
    gains = {heard.gain_scored for heard in trial.variants}
    assert len(gains) == 1
    rendered = np.array([heard.loudness.integrated_lufs for heard in trial.variants])
    scored = np.array([heard.loudness_scored.integrated_lufs for heard in trial.variants])
    assert np.allclose(rendered - rendered[0], scored - scored[0], atol=1e-6)
    assert scored.max() == pytest.approx(trial.matched_lufs, abs=1e-6)


def test_the_gain_of_the_source_does_not_matter(make_sound, variants, trial):
    """+6 dB on a rendering: loudness as rendered +6.02 LU, the matched clip unchanged."""
    louder = [make_sound.scaled(variants[0][0], 2.0), *variants[0][1:]]
    made = compare_passage(louder, passage="opening", measures=())
    before, after = trial.variants[0], made.variants[0]
    assert after.loudness.integrated_lufs - before.loudness.integrated_lufs == pytest.approx(6.0206, abs=1e-3)
    assert after.gain_matched * 2.0 == pytest.approx(before.gain_matched, rel=1e-6)


def test_a_silent_variant_is_said(make_sound, variants):
    """Silence keeps gain 1, is named in the notes, and JSON has null instead of infinity."""
    silent = make_sound.rendering("tacet", {"horn 1": np.zeros_like(variants[0][0].mix)})
    made = compare_passage([variants[0][0], silent], passage="opening")
    assert made.variants[1].gain_matched == 1.0
    assert any("tacet: silent" in note for note in made.notes)
    data = json.loads(json.dumps(made.to_json(), allow_nan=False))
    assert data["variants"][1]["loudness_lufs"] is None


def test_a_passage_too_short_for_the_standard_is_said(make_sound):
    """Under 400 ms the ungated mean is matched, and the note says so."""
    short = [
        make_sound.rendering(
            name, {"one": np.full((9600, 2), level, np.float32) * np.sin(np.arange(9600) / 20.0)[:, None]}
        )
        for name, level in (("a", 0.1), ("b", 0.3))
    ]
    made = compare_passage(short, passage="tiny", measures=())
    assert "400 ms" in made.notes[0]
    assert np.allclose(made.variants[0].clip("matched"), made.variants[1].clip("matched"), atol=1e-4)


def test_what_does_not_fit_together_is_refused(make_sound, variants):
    """No variant, two of one name, different lengths, no sound: each one clear message."""
    one = variants[0][0]
    cut = make_sound.rendering("cut", {"x": one.mix[:1000]})
    empty = make_sound.rendering("empty", {"x": one.mix[:0]})
    for renderings, words in (
        ([], "no variant"),
        ([one, one], "two variants"),
        ([one, cut], "differ in length"),
        ([empty], "no sound"),
    ):
        with pytest.raises(InputError, match=words):
            compare_passage(renderings, passage="p")
    with pytest.raises(InputError, match="1 renderings but 3 arrangements"):
        compare_passage([one], arrangements=variants[1], passage="p")


def test_gains_never_pass_the_ceiling():
    """A clip of high peaks decides the common level; the others follow it down."""
    peaky = np.zeros((3 * RATE, 2), np.float32)
    peaky[::2000] = 0.5
    dense = np.random.default_rng(0).normal(0.0, 0.2, (3 * RATE, 2)).astype(np.float32)
    meters = [Meter(peaky, RATE), Meter(dense, RATE)]
    gains, level = matching_gains(meters, target_lufs=0.0)
    assert gains[0] * meters[0].true_peak == pytest.approx(10.0 ** (-1.0 / 20.0), rel=1e-6)
    assert meters[1].integrated(gains[1]) == pytest.approx(level, abs=1e-6)


def test_clips_are_written_under_safe_names(trial, tmp_path):
    """Every clip as a file of the trial's length, names made safe."""
    import soundfile

    files = write_clips(trial, tmp_path / "opening")
    assert files.matched["horns held"].name == "horns-held.matched.flac"
    assert files.scored["flute 8va"].name == "flute-8va.scored.flac"
    assert files.in_turn.name == "in-turn.flac"
    for path in (*files.matched.values(), *files.scored.values()):
        info = soundfile.info(path)
        assert (info.frames, info.samplerate, info.channels) == (len(trial.variants[0].rendering.mix), RATE, 2)


def test_the_json_holds_every_figure(trial):
    """Keys promised by the design: clips' gains, loudness, measures; numbers are finite and JSON-clean."""
    data = json.loads(json.dumps(trial.to_json(), allow_nan=False))
    assert [variant["name"] for variant in data["variants"]] == ["plain", "horns held", "flute 8va"]
    first = data["variants"][0]
    assert len(first["third_octave_db"]) == len(data["third_octave_hz"]) == 30
    assert len(first["spectrum_db"]) == len(data["spectrum_hz"])
    assert not np.any(first["spectrum_difference_db"])
    assert first["measures"]["brightness"]["unit"] == "Cam"
    assert first["measures"]["brightness"]["signature"]["version"] == 1
    assert [(change["first"], change["second"]) for change in data["changes"]] == [
        ("plain", "horns held"), ("plain", "flute 8va"), ("horns held", "flute 8va"),
    ]  # fmt: skip
