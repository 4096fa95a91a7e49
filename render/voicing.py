"""From played notes to what the synth is asked for: presets, keys, velocities, gains, tuning.

The level a note must have follows from the balance table; what the font gives for its key and velocity is known from
calibration; the difference becomes a gain. Velocity only chooses the colour that belongs to the dynamic.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.arrangement import TECHNIQUES
from render.passage import LEAD_S
from render.request import SOUND_DTYPE, SWELL_DTYPE, StemRequest
from render.sound import SAMPLE_RATE_HZ
from soundfonts.balance import instrument_of, power_db
from soundfonts.calibration import LAYERS, layer_of

if TYPE_CHECKING:
    from mapping.arrangement import Player
    from render.performance import Performance
    from render.settings import RenderSettings
    from soundfonts.calibration import Calibration

__all__ = ["FULL_SCALE_POWER_DB", "Voiced", "voice"]

FULL_SCALE_POWER_DB = 128.0
"""Sound power (dB re 1 pW) that reaches digital full scale at the reference distance: a tutti just fits below."""

_RAW_DB = -20.0  # for balance "font": leaves room for many players
_BANK = 0


@dataclass(frozen=True, eq=False)
class Voiced:
    """A stem's request, and the gain that brings its sound to the right level.

    Attributes
    ----------
    request : StemRequest
    gain_db : float
        To be applied to the stem's samples.
    replaced : tuple of (int, int)
        Keys the font lacks, and the keys they are sounded from.
    """

    request: StemRequest
    gain_db: float
    replaced: tuple[tuple[int, int], ...] = ()


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
    voicer = _Voicer(player, settings.balance, calibration)
    played, shapes = performance.played, performance.shapes
    sounds, swells = np.zeros(len(played), SOUND_DTYPE), np.zeros(len(shapes), SWELL_DTYPE)
    needed = np.array([voicer.fill(sounds[row : row + 1], one) for row, one in enumerate(played)])
    wanted = _swell(swells, needed, performance, voicer)
    if not len(played):
        return Voiced(StemRequest(sounds, swells), 0.0)
    highest = float(max(np.max(needed), np.max(wanted, initial=-300.0)))
    sounds["gain_db"], swells["gain_db"] = needed - highest, wanted - highest
    order = np.lexsort((sounds["key"], sounds["start"]))
    place = np.empty(len(order), np.int32)
    place[order] = np.arange(len(order))
    swells["sound"] = place[swells["sound"]]
    return Voiced(StemRequest(sounds[order], swells), highest, tuple(sorted(voicer.replaced)))


class _Voicer:
    """What is asked for every note of one player, with answers kept."""

    def __init__(self, player: Player, balance: str, calibration: Calibration) -> None:
        self.player, self.balance, self.calibration = player, balance, calibration
        self.instrument = instrument_of(player.instrument.name)
        self.replaced: set[tuple[int, int]] = set()
        self.power = cache(self._power)

    def program(self, way: str) -> int:
        """General MIDI program for a way of playing."""
        return self.player.instrument.program(way, count=self.player.count)

    def target_db(self, dynamic: float, one: Any) -> float:
        """Level a note must have, in dB re full scale at the reference distance."""
        return self.power(round(dynamic, 3), int(one["pitch"]), TECHNIQUES[one["technique"]])

    def _power(self, dynamic: float, pitch: int, way: str) -> float:
        """Level by the chosen table; for the font's own levels only what velocity does."""
        if self.balance == "font":
            places, velocities = [row[1] for row in LAYERS], [row[2] for row in LAYERS]
            return 40.0 * float(np.log10(np.interp(dynamic, places, velocities) / 127.0))
        count, balance = self.player.count, self.balance
        power = power_db(self.instrument, dynamic, count=count, key=float(pitch), way=way, balance=balance)
        return power - FULL_SCALE_POWER_DB

    def fill(self, sound: Any, one: Any) -> float:
        """Fill one row of the request and return the gain it needs, in dB."""
        program, pitch, dynamic = self.program(TECHNIQUES[one["technique"]]), int(one["pitch"]), float(one["dynamic"])
        key, layer = self.calibration.key_for(_BANK, program, pitch), layer_of(dynamic)
        if key != pitch:
            self.replaced.add((pitch, key))
        early_s = min(self.calibration.attack_s(_BANK, program, key), LEAD_S - 0.01)
        start = round(max(0.0, float(one["start_s"] + one["late_s"]) - early_s) * SAMPLE_RATE_HZ)
        sound["start"] = start
        sound["end"] = max(round(float(one["end_s"] + one["late_s"]) * SAMPLE_RATE_HZ), start + SAMPLE_RATE_HZ // 50)
        sound["key"], sound["velocity"], sound["program"], sound["bank"] = key, LAYERS[layer][2], program, _BANK
        off_cents = self.calibration.tune_cents(_BANK, program, key)
        sound["tune_cents"] = 100.0 * (pitch - key) - off_cents + one["tune_cents"]
        # The layer was measured with its own filter; between layers and beyond, the filter stays at the layer's.
        sound["bright_cents"] = self.calibration.bright(_BANK, program, LAYERS[layer][1])[0]
        sound["note"] = one["note"]
        if self.balance == "font":
            return float(one["boost_db"]) + _RAW_DB
        return (
            self.target_db(dynamic, one)
            + float(one["boost_db"])
            - self.calibration.level_db(_BANK, program, key, layer)
        )

    def change_db(self, one: Any, dynamic: float) -> float:
        """Change of gain from a note's first dynamic to another, the filter's own change undone."""
        program, first = self.program(TECHNIQUES[one["technique"]]), float(one["dynamic"])
        layer = self._at_layer(first)
        before, after = (self.calibration.bright(_BANK, program, at)[1] for at in (layer, dynamic + layer - first))
        return self.target_db(dynamic, one) - self.target_db(first, one) + before - after

    def bright_cents(self, one: Any, dynamic: float) -> float:
        """Filter for a note that has come to another dynamic."""
        program, first = self.program(TECHNIQUES[one["technique"]]), float(one["dynamic"])
        return self.calibration.bright(_BANK, program, dynamic + self._at_layer(first) - first)[0]

    @staticmethod
    def _at_layer(dynamic: float) -> float:
        """Place of the layer that stands for a dynamic."""
        return LAYERS[layer_of(dynamic)][1]


def _swell(swells: Any, needed: Any, performance: Performance, voicer: _Voicer) -> np.ndarray[Any, Any]:
    """Fill the swells and return the gain each needs, in dB."""
    wanted = np.zeros(len(swells))
    for row, shape in enumerate(performance.shapes):
        index = int(shape["played"])
        one, dynamic = performance.played[index], float(shape["dynamic"])
        swells[row]["sound"] = index
        swells[row]["at"] = round(float(shape["at_s"] + one["late_s"]) * SAMPLE_RATE_HZ)
        swells[row]["bright_cents"] = voicer.bright_cents(one, dynamic)
        wanted[row] = needed[index] + voicer.change_db(one, dynamic) + float(shape["boost_db"] - one["boost_db"])
    return wanted
