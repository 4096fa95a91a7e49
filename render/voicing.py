"""From played notes to what the synth is asked for: presets, keys, velocities, gains, tuning.

The level a note must have follows from the balance table; what the font gives for its key and velocity is known from
calibration; the difference becomes a gain. Velocity only chooses the colour that belongs to the dynamic.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.arrangement import TECHNIQUES
from render.passage import LEAD_S
from render.request import SOUND_DTYPE, SWELL_DTYPE, StemRequest
from render.sound import SAMPLE_RATE_HZ
from soundfonts.balance import instrument_of, powers_db
from soundfonts.calibration import LAYERS, layers_of
from soundfonts.presets import DRUM_BANK, INSTRUMENTS_OWN, Presets

if TYPE_CHECKING:
    from mapping.arrangement import Player
    from render.performance import Performance
    from render.settings import RenderSettings
    from soundfonts.calibration import Calibration

__all__ = ["FULL_SCALE_POWER_DB", "Voiced", "voice"]

FULL_SCALE_POWER_DB = 128.0
"""Sound power (dB re 1 pW) that reaches digital full scale at the reference distance: a tutti just fits below."""

_RAW_DB = -20.0  # for balance "font": leaves room for many players
_SHORTEST = SAMPLE_RATE_HZ // 50
_LAYER_PLACES = np.array([row[1] for row in LAYERS])

Rows = np.ndarray[Any, np.dtype[np.void]]
Floats = np.ndarray[Any, np.dtype[np.float64]]


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


def voice(
    player: Player,
    performance: Performance,
    settings: RenderSettings,
    calibration: Calibration,
    presets: Presets = INSTRUMENTS_OWN,
) -> Voiced:
    """Return the request for a player's stem.

    Parameters
    ----------
    player : Player
    performance : Performance
    settings : RenderSettings
        Its balance chooses the table of levels.
    calibration : Calibration
        Of the fonts in use.
    presets : Presets
        The user's choice of presets.
    """
    played, shapes = performance.played, performance.shapes
    sounds, swells = np.zeros(len(played), SOUND_DTYPE), np.zeros(len(shapes), SWELL_DTYPE)
    needed, wanted = np.zeros(len(played)), np.zeros(len(shapes))
    for number in sorted(set(played["technique"].tolist())):
        voicer = _Voicer(player, TECHNIQUES[number], settings.balance, calibration, presets)
        rows = np.flatnonzero(played["technique"] == number)
        sounds[rows], needed[rows] = voicer.sounds(played[rows])
        some = np.flatnonzero(played["technique"][shapes["played"]] == number)
        swells[some], change = voicer.swells(shapes[some], played)
        wanted[some] = needed[shapes["played"][some]] + change
    highest = float(np.max(np.concatenate([needed, wanted]), initial=-300.0))
    sounds["gain_db"], swells["gain_db"] = needed - highest, wanted - highest
    apart = (sounds["key"] != played["pitch"]) & (player.instrument.unpitched is None)
    replaced = sorted(
        {(int(one["pitch"]), int(key)) for one, key in zip(played[apart], sounds["key"][apart], strict=True)}
    )
    return Voiced(_sorted(sounds, swells), highest, tuple(replaced))


class _Voicer:
    """What is asked for notes of one player that are played in one way."""

    def __init__(self, player: Player, way: str, balance: str, calibration: Calibration, presets: Presets) -> None:
        self.count, self.way, self.balance, self.calibration = player.count, way, balance, calibration
        self.instrument = instrument_of(player.instrument.name)
        own = player.instrument.program(way, count=player.count)
        self.unpitched = player.instrument.unpitched
        bank = 0 if self.unpitched is None else DRUM_BANK
        self.preset = presets.preset(player.instrument.name, way, player.count, own, bank)

    def levels_db(self, dynamics: Floats, pitches: Floats) -> Floats:
        """Return the levels notes must have, in dB re full scale at the reference distance."""
        if self.balance == "font":  # its own levels: only what velocity does
            places, velocities = [row[1] for row in LAYERS], [row[2] for row in LAYERS]
            return np.asarray(40.0 * np.log10(np.interp(dynamics, places, velocities) / 127.0))
        choice = {"count": self.count, "way": self.way, "balance": self.balance}
        return powers_db(self.instrument, dynamics, keys=pitches, **choice) - FULL_SCALE_POWER_DB  # type: ignore[arg-type]

    def sounds(self, played: Rows) -> tuple[Rows, Floats]:
        """Return the synth's rows for *played*, and the gain each needs, in dB."""
        know, preset = self.calibration, self.preset
        table = np.zeros(len(played), SOUND_DTYPE)
        pitches, dynamics = played["pitch"].astype(np.int64), played["dynamic"].astype(np.float64)
        keys, layers, lower = know.keys_for(*preset, pitches), layers_of(dynamics), 0
        if self.unpitched is not None:  # a stroke has a key of its own, and nothing to be in tune with
            pitches = keys = np.full(len(played), self.unpitched.kit_key)
            lower = self.unpitched.lower
        early_s = np.minimum(know.attacks_s(*preset, keys), LEAD_S - 0.01)
        start_s = np.maximum(0.0, played["start_s"] + played["late_s"] - early_s)
        table["start"] = np.rint(start_s * SAMPLE_RATE_HZ)
        table["end"] = np.rint((played["end_s"] + played["late_s"]) * SAMPLE_RATE_HZ)
        table["end"] = np.maximum(table["end"], table["start"] + _SHORTEST)
        table["key"], table["velocity"] = keys, np.array([row[2] for row in LAYERS])[layers]
        table["bank"], table["program"] = preset
        own_cents = 100.0 * (pitches - keys - lower) - know.tunes_cents(*preset, keys)
        table["tune_cents"] = own_cents + played["tune_cents"]
        # A layer was measured with its own filter, so a note has the filter of its layer, not of its exact dynamic.
        table["bright_cents"] = know.bright(*preset, _LAYER_PLACES[layers])[0]
        table["note"] = played["note"]
        extra_db = played["boost_db"].astype(np.float64) + played["share_db"]
        if self.balance == "font":
            return table, extra_db + _RAW_DB
        wanted = self.levels_db(dynamics, pitches.astype(np.float64)) + extra_db
        return table, wanted - know.levels_db(*preset, keys, layers)

    def swells(self, shapes: Rows, played: Rows) -> tuple[Rows, Floats]:
        """Return the synth's rows for *shapes*, and the change of gain from each note's start, in dB."""
        table = np.zeros(len(shapes), SWELL_DTYPE)
        notes = played[shapes["played"]]
        first, now = notes["dynamic"].astype(np.float64), shapes["dynamic"].astype(np.float64)
        pitches = notes["pitch"].astype(np.float64)
        layer = _LAYER_PLACES[layers_of(first)]
        before_db = self.calibration.bright(*self.preset, layer)[1]
        table["bright_cents"], after_db = self.calibration.bright(*self.preset, now + layer - first)
        table["sound"] = shapes["played"]
        table["at"] = np.rint((shapes["at_s"] + notes["late_s"]) * SAMPLE_RATE_HZ)
        change = self.levels_db(now, pitches) - self.levels_db(first, pitches) + before_db - after_db
        return table, change + shapes["boost_db"] - notes["boost_db"]


def _sorted(sounds: Rows, swells: Rows) -> StemRequest:
    """Return the request with sounds in order of start and key."""
    order = np.lexsort((sounds["key"], sounds["start"]))
    place = np.empty(len(order), np.int32)
    place[order] = np.arange(len(order))
    swells["sound"] = place[swells["sound"]]
    return StemRequest(sounds[order], swells[np.argsort(swells["at"], kind="stable")])
