"""What a font's presets really give: level by key and velocity, attack, tuning, compass."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from soundfonts.installed import Font

__all__ = ["Calibration", "calibration_of"]

_UNMEASURED_DB = -12.0


@dataclass(frozen=True)
class Calibration:
    """Measured facts of one font; without any, the law of MIDI velocity and a common guess stand in."""

    sha256: str = ""

    @property
    def measured(self) -> bool:
        """Whether the font was measured."""
        return False

    def level_db(self, bank: int, program: int, key: int, velocity: int) -> float:
        """Return the level of a held key in dB re full scale, both channels' powers added."""
        del bank, program, key
        return _UNMEASURED_DB + 40.0 * float(np.log10(velocity / 127.0))

    def attack_s(self, bank: int, program: int, key: int) -> float:
        """Return the time from key down to the perceived onset."""
        del bank, program, key
        return 0.0

    def tune_cents(self, bank: int, program: int, key: int) -> float:
        """Return how far the key sounds above its pitch."""
        del bank, program, key
        return 0.0


def calibration_of(font: Font | None) -> Calibration:
    """Return what is known of *font*."""
    del font
    return Calibration()
