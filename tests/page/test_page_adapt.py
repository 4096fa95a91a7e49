"""From a real trial to the page: loudness, players, questions and steps are those of the passage."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest

DEMO = Path(__file__).parents[2] / "demo" / "weathercock.yaml"
SPANS = ((9, 9),)
RATE_HZ = 48_000


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Return the page of one bar, two variants and the piano, rendered with plain partials."""
    import mapping
    import render
    from base.store import Store
    from compare import compare_passage
    from klangprobe.page import Engraver, passage_page, player_sounds
    from klangprobe.workbench import open_spec

    bench = open_spec(DEMO)
    arrangements = bench.arrange(("strings alone", "horns keep the pedal"))
    everything = [*arrangements, mapping.piano(bench.score)]
    store = Store(tmp_path_factory.mktemp("stems"))
    settings = render.RenderSettings(synth="partials")
    *variants, piano = render.render_variants(everything, SPANS, passage="the river", settings=settings)
    trial = compare_passage(variants, arrangements=arrangements, layers=bench.layers, piano=piano, passage="the river")
    page = passage_page(
        trial,
        arrangements,
        SPANS,
        engraver=Engraver(DEMO.with_suffix(".musicxml"), bench.score),
        findings=bench.survey.findings,
        answers=bench.spec.answers,
        sounds={heard.variant: player_sounds(heard, RATE_HZ, store) for heard in trial.variants},
    )
    return page, store, trial


def decoded(data: bytes) -> np.ndarray:
    """Decode a clip."""
    import soundfile

    return soundfile.read(io.BytesIO(data), dtype="float64")[0]


def lufs(samples: np.ndarray) -> float:
    """Return integrated loudness by libebur128."""
    import pyebur128

    state = pyebur128.R128State(2, RATE_HZ, pyebur128.MeasurementMode.MODE_I)
    state.add_frames(np.ascontiguousarray(samples).reshape(-1), len(samples))
    return float(pyebur128.get_loudness_global(state))


def test_made_equally_loud_is_equally_loud(made):
    """Clip times gain measures the same for all variants and the piano, by libebur128 within 0.1 LU (ITU-R BS.1770)."""
    page, *_ = made
    loudness = [lufs(decoded(variant.audio) * variant.gain_matched) for variant in page.variants]
    assert len(loudness) == 3
    assert max(loudness) - min(loudness) <= 0.1


def test_players_add_up_to_the_clip(made):
    """The players and the room times their gains sum to the clip below 10.5 kHz, but for 11 bits (30 dB below)."""
    from klangprobe.page.players import halved

    page, *_ = made
    for variant in page.variants[:2]:
        whole = halved(decoded(variant.audio))
        rest = whole - sum(decoded(stem.audio) * stem.gain for stem in variant.stems)
        assert np.sqrt(np.mean(rest**2)) <= 10 ** (-30 / 20) * np.sqrt(np.mean(whole**2))


def test_half_the_rate_keeps_the_music_and_its_place():
    """A sine of 1 kHz stays itself at every second sample; one of 15 kHz, beyond the limit, goes."""
    from klangprobe.page.players import halved

    for size in (48_000, 9_001):
        time_s = np.arange(size) / 48_000.0
        low, high = (np.sin(2.0 * np.pi * hz * time_s).astype(np.float32) for hz in (1000.0, 15_000.0))
        found = halved(np.stack((low, high), axis=1))
        assert found.shape == ((size + 1) // 2, 2)
        assert np.abs(found[100:-100, 0] - low[::2][100:-100]).max() < 1e-3
        assert np.abs(found[100:-100, 1]).max() < 1e-3


def test_a_player_alike_in_two_variants_is_kept_once(made):
    """Violins and cellos play the same in both variants: same key; the horns are in one only."""
    page, store, _ = made
    keys = [{stem.name: stem.key for stem in variant.stems} for variant in page.variants[:2]]
    assert keys[0]["violins 1"] == keys[1]["violins 1"]
    assert "horn 1" in keys[1]
    assert "horn 1" not in keys[0]
    assert len(store.entries()) == len(set(keys[0].values()) | set(keys[1].values()))


def test_page_shows_the_questions_the_answer_and_the_steps_of_these_bars(made):
    """Bar 9: the pedal question and its recorded answer; the horn step of bars 9 to 17, not that of bars 49 to 56."""
    page, *_ = made
    assert page.where == "bar 9"
    assert any("resonance" in question for question in page.questions)
    assert any("warmth without weight" in answer for answer in page.answers)
    assert [variant.chosen for variant in page.variants] == [False, True, False]
    steps = " / ".join(page.variants[1].steps)
    assert "9-17" in steps
    assert "49-56" not in steps
    assert page.variants[2].reference
    assert page.players.index("horn 1") < page.players.index("violins 1")
    assert page.players[-1].startswith("the room")


def test_difference_names_who_came_in(made):
    """The pair of variants says that the horns join."""
    page, *_ = made
    assert [difference.title for difference in page.differences] == ["horns keep the pedal, beside strings alone"]
    assert "orn 1 (" in page.differences[0].lines[0]
    assert page.differences[0].lines[0].endswith("join in bar 9.")


def test_variants_that_are_alike_here_are_said_to_be(made):
    """Two variants with one sound give a note; these two differ, so there is none."""
    from dataclasses import replace

    from klangprobe.page.adapt import _notes

    page, trial = made[0], made[2]
    assert not any("exactly" in note for note in page.notes)
    twin = replace(trial.variants[0], variant="twin")
    notes = _notes(trial.variants, replace(trial, variants=(*trial.variants, twin)))
    assert notes[0] == "In these bars ‘twin’ sounds exactly as ‘strings alone’."
