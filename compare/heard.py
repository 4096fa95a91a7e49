"""One variant as it was heard: gains, loudness, spectra and figures."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from compare.measuring import measure_all
from compare.spectra import Spectrum, smooth, third_octaves_db, welch

if TYPE_CHECKING:
    from collections.abc import Sequence

    from compare.loudness import Loudness, Meter
    from compare.quantity import Measured
    from compare.scales import Floats
    from compare.sound import Sound
    from render.sound import Rendering

__all__ = ["Audio", "Heard", "finite", "hear", "heard_json", "rounded"]

Audio = np.ndarray[Any, np.dtype[np.float32]]

_LONG_SEGMENT = 32_768  # 1.5 Hz bins, so that the 25 Hz band still holds four of them


@dataclass(frozen=True, eq=False)
class Heard:
    """One variant as it was heard.

    Attributes
    ----------
    variant, says : str
        Name and one-line description (empty without arrangement).
    rendering : Rendering
    meter : Meter
        Of the mix as rendered, to be read at any gain and any moment.
    gain_matched, gain_scored : float
        Linear. Matched: all clips of the passage equally loud. Scored: one gain for all, weight differences kept.
    loudness, loudness_matched, loudness_scored : Loudness
        As rendered, and after each gain.
    spectrum : Spectrum
        Of the matched clip.
    third_octaves_db : ndarray, shape (30,)
        Of the matched clip, dB re full scale, 25 Hz to 20 kHz.
    measures : tuple of Measured
    """

    variant: str
    says: str
    rendering: Rendering
    meter: Meter
    gain_matched: float
    gain_scored: float
    loudness: Loudness
    loudness_matched: Loudness
    loudness_scored: Loudness
    spectrum: Spectrum
    third_octaves_db: Floats
    measures: tuple[Measured, ...] = ()

    def gain(self, kind: str) -> float:
        """Return the factor of the clip ``matched`` or ``scored``."""
        return {"matched": self.gain_matched, "scored": self.gain_scored}[kind]

    def clip(self, kind: str) -> Audio:
        """Return the samples, float32, shape (n, 2), of the clip ``matched`` or ``scored``."""
        clip: Audio = self.rendering.mix * np.float32(self.gain(kind))
        return clip

    def value(self, name: str) -> float | None:
        """Return the value of the quantity *name*, None where it is not defined here or not known."""
        return next((item.value for item in self.measures if item.quantity.name == name), None)


def hear(sound: Sound, measures: Sequence[str] | None) -> Heard:
    """Return all that can be said about one variant without the others.

    Parameters
    ----------
    sound : Sound
        With its gains.
    measures : sequence of str or None
        Names of measure plugins; None takes all.
    """
    rendering, meter, matched, scored = sound.rendering, sound.meter, sound.gain_matched, sound.gain_scored
    clip = rendering.mix * np.float32(matched)
    long = welch(clip, sound.sample_rate_hz, segment=_LONG_SEGMENT)
    return Heard(
        rendering.variant,
        sound.arrangement.says if sound.arrangement else "",
        rendering,
        meter,
        matched,
        scored,
        meter.read(),
        meter.read(matched),
        meter.read(scored),
        welch(clip, sound.sample_rate_hz),
        third_octaves_db(long),
        measure_all(sound, measures),
    )


def heard_json(heard: Heard, first: Heard) -> dict[str, Any]:
    """Return one variant's figures and its differences from the first variant as JSON-ready data."""
    level = smooth(heard.spectrum)[1]
    return {
        "name": heard.variant,
        "says": heard.says,
        "gain_matched": heard.gain_matched,
        "gain_scored": heard.gain_scored,
        "loudness_lufs": finite(heard.loudness.integrated_lufs),
        "loudness": {
            "rendered": _loudness_json(heard.loudness),
            "matched": _loudness_json(heard.loudness_matched),
            "scored": _loudness_json(heard.loudness_scored),
        },
        "spectrum_db": rounded(level, 2),
        "spectrum_difference_db": rounded(level - smooth(first.spectrum)[1], 2),
        "third_octave_db": rounded(heard.third_octaves_db, 2),
        "third_octave_difference_db": rounded(heard.third_octaves_db - first.third_octaves_db, 2),
        "welch": _welch_json(heard.spectrum),
        "measures": {item.quantity.name: item.to_json() for item in heard.measures},
        "warnings": list(heard.rendering.warnings),
        "about": heard.rendering.about,
    }


def _welch_json(spectrum: Spectrum) -> dict[str, Any]:
    """How a spectrum was estimated."""
    return {
        "window": spectrum.window,
        "segment": spectrum.segment,
        "segments": spectrum.segments,
        "enbw_hz": round(spectrum.enbw_hz, 4),
        "reference": "dB re full scale squared per Hz, mean of both channels",
    }


def _loudness_json(loudness: Loudness) -> dict[str, Any]:
    """Meter readings; silence as null, because JSON has no infinity."""
    return {key: finite(value) if isinstance(value, float) else value for key, value in asdict(loudness).items()}


def finite(value: float) -> float | None:
    """Return the value to a thousandth, or None for silence."""
    return round(value, 3) if np.isfinite(value) else None


def rounded(values: Floats, decimals: int) -> list[float]:
    """Return an array as a short list of numbers."""
    return [float(value) for value in np.round(values, decimals)]
