"""The piano's pedal: holding notes until it rises is what the synth's own pedal does."""

import ctypes

import numpy as np
import pytest

import soundfonts
from base.errors import MissingPart
from render.request import SOUND_DTYPE, SWELL_DTYPE, StemRequest

RATE = 48_000
NOTES = ((0.0, 0.4, 60), (0.4, 0.8, 64), (0.8, 1.2, 60), (1.2, 1.6, 43))  # key down, key up, key: C4 is struck twice
UP_S = 2.4


@pytest.fixture(scope="module")
def loaded():
    """A loaded soundfont."""
    from render.synths.fresh import LoadedFonts

    try:
        return LoadedFonts((soundfonts.default(),), static=False)
    except MissingPart:
        pytest.skip("no soundfont installed")


def by_controller(loaded):
    """The notes on one channel with MIDI controller 64 down from the start until UP_S, then a second of silence."""
    lib = loaded.lib
    lib.fluid_settings_setint(loaded.settings, b"synth.midi-channels", 16)
    synth = lib.new_fluid_synth(loaded.settings)
    font = lib.fluid_synth_add_sfont(synth, loaded.sfonts[0])
    lib.fluid_synth_program_select(synth, 0, font, 0, 0)
    lib.fluid_synth_cc(synth, 0, 7, 127)
    events = [(0.0, lib.fluid_synth_cc, 64, 127), (UP_S, lib.fluid_synth_cc, 64, 0)]
    for down, up, key in NOTES:
        events += [(down, lib.fluid_synth_noteon, key, 90), (up, lib.fluid_synth_noteoff, key)]
    out, done = np.zeros((round((UP_S + 1.0) * RATE), 2), np.float32), 0
    for at_s, call, *values in [*sorted(events, key=lambda event: event[0]), (UP_S + 1.0, None)]:
        count = (round(at_s * RATE) // 64 * 64 if call else len(out)) - done
        if count > 0:
            place = ctypes.c_void_p(out.ctypes.data)
            lib.fluid_synth_write_float(synth, count, place, 2 * done, 2, place, 2 * done + 1, 2)
            done += count
        if call:
            call(synth, 0, *values)
    lib.fluid_synth_remove_sfont(synth, loaded.sfonts[0])
    lib.delete_fluid_synth(synth)
    return out


def by_length(loaded):
    """The same notes held until the pedal rises or the key is struck again."""
    from render.synths.fresh import FreshSynth

    sounds = np.zeros(len(NOTES), SOUND_DTYPE)
    for row, (down, _, key) in enumerate(NOTES):
        again = [start for start, _, other in NOTES if other == key and start > down]
        sounds[row]["start"], sounds[row]["end"] = round(down * RATE), round(min([UP_S, *again]) * RATE)
        sounds[row]["key"], sounds[row]["velocity"] = key, 90
    synth = FreshSynth(loaded, StemRequest(sounds, np.zeros(0, SWELL_DTYPE), RATE))
    try:
        return synth.read(round((UP_S + 1.0) * RATE))
    finally:
        synth.close()


@pytest.mark.sound
def test_held_notes_are_what_the_pedal_controller_does(loaded):
    """MIDI controller 64 (MIDI 1.0: damper pedal) and notes held as long are the same samples, until a key returns."""
    pedal, held = by_controller(loaded), by_length(loaded)
    again = round(0.8 * RATE)
    assert np.array_equal(pedal[:again], held[:again])
    assert np.mean(pedal[round(2.0 * RATE) : round(UP_S * RATE)] ** 2) > 1e-8  # the pedal does hold


@pytest.mark.sound
def test_a_key_struck_again_sounds_once(loaded):
    """The controller lets the first stroke of a key ring on under the second; held notes end it, within half a dB."""
    pedal, held = by_controller(loaded), by_length(loaded)
    later = slice(round(0.8 * RATE), None)
    more_db = 10 * np.log10(np.mean(pedal[later] ** 2) / np.mean(held[later] ** 2))
    assert 0.0 < more_db < 0.5
