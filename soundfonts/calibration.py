"""What a font's presets really give: level by key and dynamic, time to the perceived onset, tuning, compass.

Fonts differ by 20 dB at equal velocity, and within one preset by 7 dB from key to key, so every preset is measured
(:func:`render.calibrating.calibrate`). The result is a JSON file named by the font's checksum: those of the fonts in
the catalogue come with Klangprobe, those the user measures lie in the user's data folder.

Conventions: a level is the mean power of a held sound, both channels added, in dB re full scale; of a sound that only
rings, the loudest 200 ms. Dynamics are measured in LAYERS, each with the velocity and filter that the renderer uses.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import cache, cached_property
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from soundfonts.presets import DRUM_BANK, FONT_BANKS

if TYPE_CHECKING:
    from soundfonts.installed import Font

__all__ = ["LAYERS", "Calibration", "Preset", "calibrated", "calibration_of", "layers_of", "user_path"]

LAYERS = (("pp", 2.0, 40), ("p", 3.0, 52), ("mp", 4.0, 64), ("mf", 5.0, 77), ("f", 6.0, 92), ("ff", 7.0, 108))
"""Dynamic, its place on the scale of reading.score.DYNAMICS, and the MIDI velocity that stands for it."""

Ints = np.ndarray[Any, np.dtype[np.int64]]
Floats = np.ndarray[Any, np.dtype[np.float64]]

_UNMEASURED_DB = -12.0
_FORMAT = 1


@dataclass(frozen=True, eq=False)
class Preset:
    """Measured facts of one preset.

    Attributes
    ----------
    low : int
        Key of the first entry of the arrays.
    level_db : ndarray, float, shape (keys, layers)
        NaN where a key is silent.
    attack_s : ndarray, float, shape (keys,)
        From key down until the envelope is 10 dB below its later level.
    tune_cents : ndarray, float, shape (keys,)
        How far the key sounds above its pitch; 0 where it could not be told.
    bright_cents : float
        Filter shift for the softest layer; it falls to 0 at the loudest.
    filter_db : ndarray, float, shape (layers,)
        What that filter does to the level of a middle key.
    rings : bool
        Whether the sound only rings after a stroke.
    """

    low: int
    level_db: np.ndarray[Any, Any]
    attack_s: np.ndarray[Any, Any]
    tune_cents: np.ndarray[Any, Any]
    bright_cents: float
    filter_db: np.ndarray[Any, Any]
    rings: bool

    @cached_property
    def sounding(self) -> Ints:
        """Keys that sound, ascending."""
        return np.asarray(self.low + np.flatnonzero(np.isfinite(self.level_db[:, 0])))

    def nearest(self, keys: Ints) -> Ints:
        """Return the sounding key nearest to each key."""
        return np.asarray(self.sounding[np.argmin(np.abs(self.sounding - keys[:, None]), axis=1)])


@dataclass(frozen=True, eq=False)
class Calibration:
    """Measured facts of one font, by ``(bank, program)``; where nothing is known, common laws stand in."""

    presets: dict[tuple[int, int], Preset] = field(default_factory=dict)

    @property
    def measured(self) -> bool:
        """Whether the font was measured at all."""
        return bool(self.presets)

    def preset(self, bank: int, program: int) -> Preset | None:
        """Return what is known of a preset; of a drum kit the font lacks, that of its standard kit."""
        found = self.presets.get((bank, program))
        return self.presets.get((bank, 0)) if found is None and bank % FONT_BANKS == DRUM_BANK else found

    def keys_for(self, bank: int, program: int, keys: Ints) -> Ints:
        """Return each key, or the nearest one that sounds."""
        preset = self.preset(bank, program)
        return keys if preset is None else preset.nearest(keys)

    def levels_db(self, bank: int, program: int, keys: Ints, layers: Ints) -> Floats:
        """Return the level of sounding keys in rows of LAYERS; unmeasured presets follow 40·log10(v/127)."""
        preset = self.preset(bank, program)
        if preset is None:
            velocities = np.array([row[2] for row in LAYERS], np.float64)[layers]
            return np.asarray(_UNMEASURED_DB + 40.0 * np.log10(velocities / 127.0))
        return np.asarray(preset.level_db[preset.nearest(keys) - preset.low, layers])

    def attacks_s(self, bank: int, program: int, keys: Ints) -> Floats:
        """Return the time from key down to the perceived onset of sounding keys."""
        preset = self.preset(bank, program)
        return np.zeros(len(keys)) if preset is None else np.asarray(preset.attack_s[preset.nearest(keys) - preset.low])

    def tunes_cents(self, bank: int, program: int, keys: Ints) -> Floats:
        """Return how far sounding keys lie above their pitch."""
        preset = self.preset(bank, program)
        return (
            np.zeros(len(keys)) if preset is None else np.asarray(preset.tune_cents[preset.nearest(keys) - preset.low])
        )

    def bright(self, bank: int, program: int, dynamics: Floats) -> tuple[Floats, Floats]:
        """Return ``(filter shift in cents, its effect on the level in dB)`` at each dynamic."""
        preset = self.preset(bank, program)
        if preset is None or preset.bright_cents == 0.0:
            return np.zeros(len(dynamics)), np.zeros(len(dynamics))
        places = [place for _, place, _ in LAYERS]
        share = np.interp(dynamics, (places[0], places[-1]), (1.0, 0.0))
        return preset.bright_cents * share, np.interp(dynamics, places, preset.filter_db)


def layers_of(dynamics: Floats) -> Ints:
    """Return the row of LAYERS nearest to each dynamic (place on the scale of reading.score.DYNAMICS)."""
    return np.asarray(np.clip(np.rint(dynamics - LAYERS[0][1]), 0, len(LAYERS) - 1).astype(np.int64))


def calibrated(font: Font) -> bool:
    """Whether measurements of *font* are at hand."""
    return any(path.is_file() for path in _places(font.sha256))


def calibration_of(font: Font | None) -> Calibration:
    """Return what is known of *font*: the user's own measurements first, then those that come with Klangprobe."""
    for path in _places(font.sha256) if font else ():
        try:
            stat = path.stat()
            return _measured(path, stat.st_size, stat.st_mtime_ns)
        except (OSError, ValueError, KeyError, TypeError):
            continue  # absent, or from another version: as if it were not there
    return Calibration()


@cache
def _measured(path: Path, _size: int, _changed_ns: int) -> Calibration:
    """Read a file of measurements, once while it does not change."""
    return from_json(json.loads(path.read_text(encoding="utf-8")))


def user_path(sha256: str) -> Path:
    """Return where the user's measurements of a font are kept."""
    from soundfonts.installed import data_folder

    return data_folder() / "klangprobe" / "calibration" / f"{sha256}.json"


def _places(sha256: str) -> tuple[Path, ...]:
    """Files that may hold a font's measurements, in order of preference."""
    return user_path(sha256), Path(str(files("soundfonts") / "data" / f"{sha256}.json"))


def to_json(calibration: Calibration, *, name: str, sha256: str) -> str:
    """Return *calibration* as text: one line for each key, levels in hundredths of a decibel, attacks in ms."""
    lines = []
    for (bank, program), preset in sorted(calibration.presets.items()):
        rows = []
        for offset, levels in enumerate(preset.level_db):
            numbers = [None] if not np.isfinite(levels[0]) else [
                *np.rint(100.0 * levels).astype(int).tolist(),
                round(1000.0 * float(preset.attack_s[offset])),
                round(10.0 * float(preset.tune_cents[offset])),
            ]  # fmt: skip
            rows.append("  " + json.dumps(numbers, separators=(",", ":")))
        head = {
            "bank": bank, "program": program, "low": preset.low, "rings": preset.rings,
            "bright_cents": preset.bright_cents, "filter_db": [round(float(one), 2) for one in preset.filter_db],
        }  # fmt: skip
        lines.append(json.dumps(head)[:-1] + ', "keys": [\n' + ",\n".join(rows) + "]}")
    top = json.dumps({"format": _FORMAT, "font": name, "sha256": sha256, "layers": [row[2] for row in LAYERS]})
    return top[:-1] + ', "presets": [\n' + ",\n".join(lines) + "]}\n"


def from_json(data: Any) -> Calibration:
    """Return the calibration in parsed JSON of :func:`to_json`.

    Raises
    ------
    ValueError, KeyError, TypeError
        Where it is not of this format, or was measured with other velocities.
    """
    if data["format"] != _FORMAT or data["layers"] != [row[2] for row in LAYERS]:
        msg = "measured with another version"
        raise ValueError(msg)
    presets = {}
    for entry in data["presets"]:
        silent = [np.nan] * (len(LAYERS) + 2)
        table = np.array([row if len(row) > 1 else silent for row in entry["keys"]], np.float64)
        count = len(LAYERS)
        presets[int(entry["bank"]), int(entry["program"])] = Preset(
            int(entry["low"]), table[:, :count] / 100.0, table[:, count] / 1000.0, table[:, count + 1] / 10.0,
            float(entry["bright_cents"]), np.array(entry["filter_db"], np.float64), bool(entry["rings"]),
        )  # fmt: skip
    return Calibration(presets)
