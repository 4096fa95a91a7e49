"""From played notes to what the synth is asked for: presets, keys, velocities, gains, tuning.

The level a note must have follows from the balance table; what the font gives for its key and velocity is known from
calibration; the difference becomes a gain. Velocity only chooses the colour that belongs to the dynamic.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.arrangement import TECHNIQUES
from render.request import SOUND_DTYPE, SWELL_DTYPE, StemRequest
from render.sound import SAMPLE_RATE_HZ
from soundfonts.balance import instrument_of, power_db

if TYPE_CHECKING:
    from mapping.arrangement import Player
    from render.performance import Performance
    from render.settings import RenderSettings
    from soundfonts.calibration import Calibration

__all__ = ["FULL_SCALE_POWER_DB", "Voiced", "velocity_of", "voice"]

FULL_SCALE_POWER_DB = 128.0
"""Sound power (dB re 1 pW) that reaches digital full scale at the reference distance: a tutti just fits below."""

_VELOCITY_AT = (
    (0.0, 24.0),
    (2.0, 40.0),
    (3.0, 52.0),
    (4.0, 64.0),
    (5.0, 77.0),
    (6.0, 92.0),
    (7.0, 108.0),
    (9.0, 122.0),
)


@dataclass(frozen=True, eq=False)
class Voiced:
    """A stem's request, and the gain that brings its sound to the right level.

    Attributes
    ----------
    request : StemRequest
    gain_db : float
        To be applied to the stem's samples.
    """

    request: StemRequest
    gain_db: float


def velocity_of(dynamic: float) -> int:
    """Return the MIDI velocity whose colour stands for a dynamic (place on the scale of DYNAMICS)."""
    places, velocities = zip(*_VELOCITY_AT, strict=True)
    return round(float(np.interp(dynamic, places, velocities)))


def voice(player: Player, performance: Performance, settings: RenderSettings, calibration: Calibration) -> Voiced:
    """Return the request for a player's stem.

    Parameters
    ----------
    player : Player
    performance : Performance
    settings : RenderSettings
        Its balance chooses the table of levels.
    calibration : Calibration
        Of the font in use.
    """
    played = performance.played
    sounds = np.zeros(len(played), SOUND_DTYPE)
    needed = np.zeros(len(played))
    for row, one in enumerate(played):
        needed[row] = _fill(sounds[row : row + 1], one, player, settings, calibration)
    shapes = performance.shapes
    swells = np.zeros(len(shapes), SWELL_DTYPE)
    wanted = np.zeros(len(shapes))
    for row, shape in enumerate(shapes):
        one = played[shape["played"]]
        target = _target_db(player, one, float(shape["dynamic"]), settings)
        swells[row]["sound"], swells[row]["at"] = shape["played"], round(shape["at_s"] * SAMPLE_RATE_HZ)
        first = _target_db(player, one, float(one["dynamic"]), settings)
        wanted[row] = needed[shape["played"]] + target - first + float(shape["boost_db"] - one["boost_db"])
    highest = max(float(np.max(needed, initial=-200.0)), float(np.max(wanted, initial=-200.0))) if len(played) else 0.0
    sounds["gain_db"], swells["gain_db"] = needed - highest, wanted - highest
    return Voiced(StemRequest(sounds, swells), highest)


def _fill(sound: Any, one: Any, player: Player, settings: RenderSettings, calibration: Calibration) -> float:
    """Fill one row of the request and return the gain it needs, in dB."""
    program = player.instrument.program(TECHNIQUES[one["technique"]], count=player.count)
    key, velocity = int(one["pitch"]), velocity_of(float(one["dynamic"]))
    attack_s = calibration.attack_s(0, program, key)
    start_s = max(0.0, float(one["start_s"] + one["late_s"]) - attack_s)
    sound["start"] = round(start_s * SAMPLE_RATE_HZ)
    sound["end"] = max(round(float(one["end_s"]) * SAMPLE_RATE_HZ), int(sound["start"][0]) + 64)
    sound["key"], sound["velocity"], sound["program"] = key, velocity, program
    sound["tune_cents"] = -calibration.tune_cents(0, program, key)
    sound["note"] = one["note"]
    if settings.balance == "font":
        return float(one["boost_db"])
    target = _target_db(player, one, float(one["dynamic"]), settings) + float(one["boost_db"])
    return target - calibration.level_db(0, program, key, velocity)


def _target_db(player: Player, one: Any, dynamic: float, settings: RenderSettings) -> float:
    """Level a note must have, in dB re full scale at the reference distance."""
    instrument = instrument_of(player.instrument.name)
    balance = "sound power" if settings.balance == "font" else settings.balance
    power = power_db(instrument, dynamic, count=player.count, key=float(one["pitch"]), balance=balance)
    return power - FULL_SCALE_POWER_DB
