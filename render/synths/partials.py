"""Plain partials by formula: what it sounds can be predicted to the sample, and it needs nothing installed.

Every sound is a sum of harmonic partials with amplitudes 1/n, attack and release ramps of fixed length, and (for
programs whose strings or bars are struck or plucked) an exponential decay. Its level is exact: the root mean square of
the held part of a sound of gain 0 dB at velocity 127 is REFERENCE_DBFS in the sum of both channels' powers.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from render.request import StemRequest, StemSound, StemStream
from soundfonts.presets import DRUM_BANK, FONT_BANKS

if TYPE_CHECKING:
    from soundfonts import Font

__all__ = ["ATTACK_S", "DECAYING", "PARTIALS", "REFERENCE_DBFS", "RELEASE_S", "Partials", "level_dbfs"]

REFERENCE_DBFS = -12.0
"""Level (both channels' powers added) of key-down sound at velocity 127 and gain 0 dB."""

ATTACK_S = 0.005
RELEASE_S = 0.060
PARTIALS = 8
"""Most partials of a tone; those above 0.45 of the sample rate are left out."""

DECAYING = frozenset([*range(0, 16), *range(24, 32), 45, 46, 47, *range(104, 120)])
"""General MIDI programs that ring after a stroke: keys, mallets, plucked strings, pizzicato, harp, timpani, drums."""

_DECAY_S = 1.2  # to 1/e

Rows = np.ndarray[Any, np.dtype[np.void]]
Floats = np.ndarray[Any, np.dtype[np.float64]]


def level_dbfs(velocity: int, gain_db: float) -> float:
    """Return the level of a held tone in dB re full scale, both channels' powers added: 40·log10(v/127) plus gain."""
    return REFERENCE_DBFS + 40.0 * float(np.log10(velocity / 127.0)) + gain_db


class Partials:
    """The synth plugin ``partials``."""

    name = "partials"
    uses_font = False

    def __init__(self, font: Font | None = None) -> None:
        del font  # a soundfont means nothing to a formula

    def identity(self) -> dict[str, str]:
        """Return name and version of the formula."""
        return {"synth": self.name, "formula": "3"}

    def render(self, request: StemRequest) -> StemSound:
        """Return the sound of *request*; onsets are exact to the sample."""
        stream = _Stream(request)
        return StemSound(stream.read(stream.length))

    def open(self, request: StemRequest) -> StemStream:
        """Return the sound of *request* to be read in pieces."""
        return _Stream(request)


class _Stream:
    """A stem in pieces: each piece sums the tones that fall into it."""

    def __init__(self, request: StemRequest) -> None:
        self.request, self.done = request, 0
        self.release = round(RELEASE_S * request.sample_rate_hz)
        self.ends = request.sounds["end"] + self.release
        self.length = int(self.ends.max(initial=0))

    @property
    def finished(self) -> bool:
        """Whether only silence follows."""
        return self.done >= self.length

    def read(self, count: int) -> np.ndarray[Any, np.dtype[np.float32]]:
        """Return the next *count* samples."""
        first, last = self.done, self.done + count
        mono = np.zeros(count, np.float64)
        sounds, swells = self.request.sounds, self.request.swells
        for row in np.flatnonzero((sounds["start"] < last) & (self.ends > first)):
            sound = sounds[row]
            begin, end = max(first, int(sound["start"])), min(last, int(self.ends[row]))
            own = swells[swells["sound"] == row]
            mono[begin - first : end - first] += _tone(
                sound, own, self.request.sample_rate_hz, begin, end, self.release
            )
        self.done = last
        return np.repeat(mono.astype(np.float32)[:, None], 2, axis=1)

    def close(self) -> None:
        """Nothing is held."""


def _tone(sound: Any, swells: Rows, rate: int, begin: int, end: int, release: int) -> Floats:
    """One sound from sample *begin* to *end* of the stem, float64."""
    held = int(sound["end"] - sound["start"])
    place = np.arange(begin - int(sound["start"]), end - int(sound["start"]))
    time_s = place / rate
    frequency = 440.0 * 2.0 ** ((float(sound["key"]) - 69.0 + float(sound["tune_cents"]) / 100.0) / 12.0)
    numbers = np.arange(1, PARTIALS + 1)
    numbers = numbers[(numbers == 1) | (numbers * frequency < 0.45 * rate)]
    amplitudes = 1.0 / numbers
    wave = sum(a * np.sin(2.0 * np.pi * n * frequency * time_s) for n, a in zip(numbers, amplitudes, strict=True))
    # Each channel carries the tone, so its power counts twice: the root sum of squares is the unit.
    unit = np.sqrt(np.sum(amplitudes**2))
    level = 10.0 ** (level_dbfs(int(sound["velocity"]), 0.0) / 20.0) / unit
    envelope = np.clip(place / max(1.0, min(ATTACK_S * rate, held)), 0.0, 1.0)
    envelope *= np.clip((held + release - place) / release, 0.0, 1.0)
    if int(sound["program"]) in DECAYING or int(sound["bank"]) % FONT_BANKS == DRUM_BANK:
        envelope *= np.exp(-time_s / _DECAY_S)
    at = np.concatenate([[0], swells["at"] - sound["start"]])
    gain_db = np.concatenate([[sound["gain_db"]], swells["gain_db"]]).astype(np.float64)
    return np.asarray(level * envelope * wave * 10.0 ** (np.interp(place, at, gain_db) / 20.0))
