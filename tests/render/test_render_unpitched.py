"""Percussion without pitch as sound: level, ring, damping, rolls, and fonts without an orchestral kit."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest

import render
import soundfonts
from base.errors import MissingPart
from mapping.arrangement import TECHNIQUES
from mapping.instruments import instrument, instruments
from reading.score import DYNAMICS, Mark
from render import RenderSettings
from render.calibrating import KITS, measure_kit
from render.performance import perform
from render.voicing import FULL_SCALE_POWER_DB
from soundfonts.balance import instrument_of, power_db
from soundfonts.calibration import Calibration, calibration_of
from soundfonts.presets import DRUM_BANK

_SPEC = importlib.util.spec_from_file_location("make_music", Path(__file__).parent / "make_music.py")
music = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(music)

NAMES = [name for name, item in instruments().items() if item.unpitched]
STILL = RenderSettings(room=False, spread=False, stage="centre")
_RATE = 48_000


@pytest.fixture(scope="module")
def font():
    """The default soundfont; skip where nothing can sound."""
    try:
        return soundfonts.default()
    except MissingPart:
        pytest.skip("no soundfont installed")


def heard(name: str, *rows, settings=STILL, marks=(), **how):
    """One player's strokes as sound: samples, and power in 200 ms windows in dB re full scale."""
    key = instrument(name).unpitched.key
    notes = music.notes_of(*((onset, length, key) for onset, length in rows), **how)
    made = music.arrangement_of({name: notes}, score=music.score_of(4, marks=marks))
    (found,) = render.render_variants([made], (1, 2), passage="x", settings=settings)
    power = np.sum(found.mix.astype(np.float64) ** 2, axis=1)
    total = np.concatenate([[0.0], np.cumsum(power)])
    width = _RATE // 5
    return found, 10.0 * np.log10((total[width:] - total[:-width]) / width + 1e-20)


@pytest.mark.sound
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("dynamic", ["p", "ff"])
def test_a_stroke_has_the_level_of_the_table(font, name, dynamic) -> None:
    """The loudest 200 ms of a stroke have the sound power of the balance table, within 1 dB, in soft and loud."""
    if calibration_of(font).preset(DRUM_BANK, 0) is None:
        pytest.skip("this font's kits are not measured")
    found, level = heard(name, (2, 4), dynamic=dynamic)
    wanted = power_db(instrument_of(name), float(DYNAMICS.index(dynamic))) - FULL_SCALE_POWER_DB
    assert level.max() == pytest.approx(wanted, abs=1.0)
    assert found.warnings == ()


@pytest.mark.sound
def test_a_tam_tam_rings_on_after_the_last_bar(font) -> None:
    """A stroke on the last beat rings for seconds beyond its note: the mix is long enough and fades without a cut."""
    found, level = heard("tam-tam", (7, 1), dynamic="ff")
    end = round((0.25 + 4.0) * _RATE)
    assert len(found.mix) > end + 3 * _RATE
    assert level[end + _RATE] > level.max() - 30
    assert np.max(np.abs(found.mix[-_RATE // 100 :])) < 1e-4 * np.max(np.abs(found.mix))


@pytest.mark.sound
@pytest.mark.parametrize("name", ["cymbals", "bass drum", "triangle", "tam-tam"])
def test_secco_is_damped_at_once(font, name) -> None:
    """A damped stroke begins like one left ringing and is 40 dB down half a second later."""
    _, ringing = heard(name, (2, 4), dynamic="f")
    _, dry = heard(name, (2, 4), dynamic="f", technique="secco")
    start = round((0.25 + 1.0) * _RATE)
    later = start + _RATE // 2
    assert dry.max() > ringing.max() - 4.5
    assert dry[later] < dry.max() - 40
    assert ringing[later] > dry[later] + 15


def test_a_stroke_is_held_while_it_rings() -> None:
    """Keys go up when the instrument's ring is over, not when its written note ends; a roll ends with its note."""
    from render.dynamics import Dynamics
    from render.lines import span_of

    for technique, length_s in (("plain", instrument("cymbals").unpitched.ring_s), ("secco", 0.32)):
        notes = music.notes_of((0, 1, 49), technique=technique)
        made = music.arrangement_of({"cymbals": notes})
        found = perform(made.parts[0], span_of(made.score, (1, 2)), STILL, Dynamics(made.score)).played
        assert found["end_s"][0] - found["start_s"][0] == pytest.approx(length_s, abs=0.01)
    rolled = music.arrangement_of({"suspended cymbal": music.notes_of((0, 1, 57), technique="roll")})
    found = perform(rolled.parts[0], span_of(rolled.score, (1, 2)), STILL, Dynamics(rolled.score)).played
    assert found["start_s"].max() < 0.25 + 0.5
    assert len(found) == round(0.5 * 0.91 * 14)  # 14 strokes a second, up to where the note is let go


@pytest.mark.parametrize("name", ["suspended cymbal", "timpani"])
def test_a_roll_grows_with_the_hairpin(name) -> None:
    """Each stroke of a roll has the dynamic of its own moment: p at the start of a crescendo, f at its end."""
    from render.dynamics import Dynamics
    from render.lines import span_of

    marks = (
        Mark("dynamic", 0, 0, 0, 1, "p"),
        Mark("hairpin", 0, 8 * music.TICKS_PER_QUARTER, 0, 1, "cresc"),
        Mark("dynamic", 8 * music.TICKS_PER_QUARTER, 8 * music.TICKS_PER_QUARTER, 0, 1, "f"),
    )
    item = instrument(name).unpitched
    notes = music.notes_of((0, 8, item.key if item else 45), technique="roll", dynamic=None)
    made = music.arrangement_of({name: notes}, score=music.score_of(4, marks=marks))
    found = perform(made.parts[0], span_of(made.score, (1, 2)), STILL, Dynamics(made.score)).played
    assert found["dynamic"][0] == pytest.approx(DYNAMICS.index("p"), abs=0.1)
    assert found["dynamic"][-1] == pytest.approx(DYNAMICS.index("f"), abs=0.2)
    assert np.all(np.diff(found["dynamic"]) >= 0)


def test_the_way_of_playing_of_others_is_as_it_was() -> None:
    """``secco`` on a horn is as short as staccato."""
    from render.dynamics import Dynamics
    from render.lines import span_of

    made = music.arrangement_of({"horn 1": music.notes_of((0, 4, 60), technique="secco")})
    found = perform(made.parts[0], span_of(made.score, (1, 1)), STILL, Dynamics(made.score)).played
    assert found["end_s"][0] - found["start_s"][0] == pytest.approx(0.3, abs=0.01)
    assert TECHNIQUES.index("secco") == found["technique"][0]


@pytest.mark.sound
def test_a_font_without_the_orchestral_kit_plays_the_standard_one(font) -> None:
    """A kit the font lacks is sounded, and weighed, as the standard one; General MIDI asks for no other."""
    from render.request import SOUND_DTYPE, SWELL_DTYPE, StemRequest
    from render.synths.fluid import FluidSynth

    sounds = np.zeros(2, SOUND_DTYPE)
    sounds["bank"], sounds["key"], sounds["velocity"], sounds["end"] = DRUM_BANK, 38, 90, 24_000
    there, lacking = sounds[:1].copy(), sounds[1:].copy()
    lacking["program"] = 99
    synth = FluidSynth(font)
    one, other = (synth.render(StemRequest(row, np.zeros(0, SWELL_DTYPE))) for row in (there, lacking))
    assert np.array_equal(one.samples, other.samples)
    assert other.missing == ((DRUM_BANK, 99),)
    known = calibration_of(font)
    standard = {key: preset for key, preset in known.presets.items() if key != (DRUM_BANK, 48)}
    assert Calibration(standard).preset(DRUM_BANK, 48) is known.preset(DRUM_BANK, 0)


@pytest.mark.sound
@pytest.mark.parametrize("kit", KITS)
def test_measuring_a_kit_again_gives_what_was_shipped(font, kit) -> None:
    """The shipped levels of a drum kit are what measuring it here gives, within 0.3 dB, and no other key is in it."""
    from render.synths.fluid import FluidSynth

    known = calibration_of(font).preset(DRUM_BANK, kit)
    if known is None:
        pytest.skip("this font's kits are not measured")
    again = measure_kit(FluidSynth(font, static=True, tail_cap_s=0.0), kit)
    assert set(known.sounding.tolist()) == {item.unpitched.kit_key for item in instruments().values() if item.unpitched}
    assert np.allclose(again.level_db, known.level_db, atol=0.3, equal_nan=True)
