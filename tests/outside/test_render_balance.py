"""Levels against the published tables that Klangprobe states, with two soundfonts.

Outside sources: J. Meyer, *Acoustics and the Performance of Music* (5th ed. 2009), sound power at f and the ranges of
dynamics, *from memory*; N. Rimsky-Korsakov, *Principles of Orchestration* (1922), ch. I p. 33; General MIDI Level 1
Developer Guidelines and DLS: 40 log10(v/127) for velocity and controllers.
"""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

import render
import soundfonts
from base.errors import MissingPart
from mapping.orchestra import player
from reading.score import DYNAMICS
from render import RenderSettings
from soundfonts.balance import POWER, instrument_of

_SPEC = importlib.util.spec_from_file_location("make_music", Path(__file__).parents[1] / "render" / "make_music.py")
music = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(music)

pytestmark = pytest.mark.sound

# Sound power in dB re 1 pW, one player, pp / f / ff, as the handbook has them (from memory), and a key in the middle.
HANDBOOK = {
    "flute 1": (82, 91, 94, 78),
    "oboe 1": (83, 93, 95, 74),
    "clarinet 1": (77, 93, 97, 70),
    "bassoon 1": (81, 93, 96, 53),
    "horn 1": (86, 102, 107, 56),
    "trumpet 1": (89, 101, 104, 69),
    "trombone 1": (89, 101, 105, 56),
    "tuba": (93, 104, 108, 45),
    "violins 1*1": (74, 89, 94, 77),
    "violas*1": (73, 87, 91, 68),
    "cellos*1": (74, 90, 96, 58),
    "basses*1": (79, 92, 96, 44),
}
FLUTE_MF = 82 + 0.75 * (91 - 82)


@pytest.fixture(scope="session")
def fonts():
    """The first two different soundfonts installed."""
    try:
        found = soundfonts.find()
    except MissingPart:
        found = []
    if not found:
        pytest.skip("no soundfont installed")
    return found[:2]


def dry(font=None, **more):
    """Settings without stage, room or spread."""
    path = font.path if font else None
    return RenderSettings(soundfont=path, room=False, spread=False, stage="centre", **more)


def held_db(samples):
    """Level of a held note, both channels' powers added."""
    return music.level_db(samples, 0.85, 3.2)


def solos(settings, rows):
    """Levels of solo notes: rows of (player, key, dynamic)."""
    made = [music.arrangement_of({name: music.notes_of((0, 6, key), dynamic=mark)}) for name, key, mark in rows]
    return [held_db(one.mix) for one in render.render_variants(made, (1, 2), passage="solo", settings=settings)]


@pytest.mark.parametrize("which", [0, 1])
def test_levels_follow_the_handbook_with_either_font(fonts, which):
    """Every instrument at pp, f and ff lies within 1.5 dB of the table, relative to the flute at mf."""
    if which >= len(fonts):
        pytest.skip("only one soundfont installed")
    marks = ("pp", "f", "ff")
    rows = [("flute 1", 78, "mf")] + [(name, row[3], mark) for name, row in HANDBOOK.items() for mark in marks]
    flute, *levels = solos(dry(fonts[which]), rows)
    wanted = [row[place] - FLUTE_MF for row in HANDBOOK.values() for place in range(3)]
    off = {f"{name} {mark}": round(level - flute - want, 2)
           for (name, _, mark), level, want in zip(rows[1:], levels, wanted, strict=True)
           if abs(level - flute - want) > 1.5}  # fmt: skip
    assert not off


SECTIONS = (("violins 1*16", 69), ("violins 1*16", 84), ("violas*12", 60), ("cellos*10", 50), ("basses*8", 38))


@pytest.mark.parametrize("which", [0, 1])
def test_sections_follow_the_table_times_their_players(fonts, which):
    """String sections at pp and ff lie within 1.5 dB of one player's level plus 10 log10(players) (powers add)."""
    from soundfonts.balance import power_db

    if which >= len(fonts):
        pytest.skip("only one soundfont installed")
    rows = [("flute 1", 78, "mf")] + [(name, key, mark) for name, key in SECTIONS for mark in ("pp", "ff")]
    flute, *levels = solos(dry(fonts[which]), rows)
    off = {}
    for (name, key, mark), level in zip(rows[1:], levels, strict=True):
        word, _, count = name.partition("*")
        one = power_db(instrument_of(player(word).instrument.name), DYNAMICS.index(mark), key=key)
        want = one + 10 * np.log10(int(count)) - power_db("flute", DYNAMICS.index("mf"), key=78)
        if abs(level - flute - want) > 1.5:
            off[f"{name} {key} {mark}"] = round(level - flute - want, 2)
    assert not off


def test_two_players_are_three_decibels_more(fonts):
    """Two players of one part are +3.0 dB within 0.3 (powers add: physics)."""
    one, two = solos(dry(fonts[0]), [("horn 1*1", 57, "f"), ("horn 1*2", 57, "f")])
    assert two - one == pytest.approx(3.01, abs=0.3)


@pytest.mark.parametrize(
    ("name", "key", "mark", "woodwinds"),
    [
        ("trumpet 1", 69, "f", 4),
        ("trombone 1", 56, "f", 4),
        ("tuba", 45, "f", 4),
        ("horn 1", 56, "f", 2),
        ("clarinet 1", 70, "f", 1),
        ("violins 1*12", 72, "f", 2),
        ("trumpet 1", 69, "p", 1),
        ("horn 1", 56, "p", 1),
        ("bassoon 1", 53, "p", 1),
        ("violins 1*12", 72, "p", 1),
    ],
)
def test_the_orchestration_rule_holds_when_chosen(fonts, name, key, mark, woodwinds):
    """At f one trumpet equals two horns and four woodwinds, at p all are alike, within 1.5 dB."""
    level, flute = solos(dry(fonts[0], balance="orchestration rule"), [(name, key, mark), ("flute 1", 78, mark)])
    assert level - flute == pytest.approx(10 * np.log10(woodwinds), abs=1.5)


def test_velocity_does_what_midi_says(fonts):
    """The synth's level follows 40 log10(v/127) within 0.2 dB between velocities of one sample layer."""
    from render.request import SOUND_DTYPE, SWELL_DTYPE, StemRequest
    from render.synths.fluid import FluidSynth

    synth = FluidSynth(fonts[0])
    levels = []
    for velocity in (30, 60, 90, 120):
        sounds = np.zeros(1, SOUND_DTYPE)
        sounds["end"], sounds["key"], sounds["velocity"], sounds["program"] = 96_000, 76, velocity, 73
        samples = synth.render(StemRequest(sounds, np.zeros(0, SWELL_DTYPE))).samples
        levels.append(music.level_db(samples, 0.5, 1.9) - 40 * np.log10(velocity / 127))
    assert np.ptp(levels) < 0.2


def test_twice_the_distance_is_six_decibels_less():
    """Dry sound falls by 6.0 dB when the distance doubles (physics: free field)."""
    from render.stage import Seat, place

    tone = np.ones((4800, 2), np.float32)
    near, far = (music.level_db(place(tone, Seat(0.0, metres), 0.0, 9600), 0.05, 0.09) for metres in (6.0, 12.0))
    assert near - far == pytest.approx(6.02, abs=0.05)


def test_the_weak_register_counts_less():
    """The trade: a flute low is softer than high at one dynamic, an oboe and a bassoon the reverse."""
    from soundfonts.balance import power_db

    forte = DYNAMICS.index("f")
    for instrument, sign in (("flute", 1), ("oboe", -1), ("bassoon", -1)):
        low, high = POWER[instrument].compass
        assert sign * (power_db(instrument, forte, key=high) - power_db(instrument, forte, key=low)) > 0


def test_every_player_of_the_orchestra_has_a_row():
    """Instruments are found in the power table by their names."""
    expected = {"flute 1": "flute", "basses": "double bass", "bassoon 1": "bassoon", "horn 1": "horn",
                "english horn": "english horn", "bass clarinet": "bass clarinet", "cellos": "cello"}  # fmt: skip
    assert {name: instrument_of(player(name).instrument.name) for name in expected} == expected
