"""One passage, its variants, made comparable: the result of this stage and the way to it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from base.errors import InputError
from compare.loudness import CEILING_DBTP, TARGET_LUFS, Loudness, Meter, matching_gains
from compare.scales import Floats, third_octave_centres_hz
from compare.spectra import Spectrum, smooth, third_octaves_db, welch

if TYPE_CHECKING:
    from collections.abc import Sequence

    from compare.quantity import Measured
    from mapping.arrangement import Arrangement
    from reading.layers import Layers
    from render.sound import Rendering

__all__ = ["Heard", "Trial", "compare_passage"]

Audio = np.ndarray[Any, np.dtype[np.float32]]

_SILENCE_BETWEEN_S = 0.7
_LONG_SEGMENT = 32_768


@dataclass(frozen=True, eq=False)
class Heard:
    """One variant as it was heard.

    Attributes
    ----------
    variant, says : str
        Name and one-line description (empty without arrangement).
    rendering : Rendering
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
    gain_matched: float
    gain_scored: float
    loudness: Loudness
    loudness_matched: Loudness
    loudness_scored: Loudness
    spectrum: Spectrum
    third_octaves_db: Floats
    measures: tuple[Measured, ...] = ()

    def clip(self, kind: str) -> Audio:
        """Return the samples, float32, shape (n, 2), of the clip ``matched`` or ``scored``."""
        gain = {"matched": self.gain_matched, "scored": self.gain_scored}[kind]
        clip: Audio = self.rendering.mix * np.float32(gain)
        return clip


@dataclass(frozen=True, eq=False)
class Trial:
    """One passage with its variants side by side.

    Attributes
    ----------
    passage : str
    sample_rate_hz : int
    variants : tuple of Heard
        In the order given; the first is what the others are compared with.
    piano : Heard or None
        The piano itself, where it was given: matched and measured like a variant.
    matched_lufs : float
        Loudness of every matched clip.
    notes : tuple of str
        What the listener should know (silent variants, short passages).
    """

    passage: str
    sample_rate_hz: int
    variants: tuple[Heard, ...]
    piano: Heard | None
    matched_lufs: float
    notes: tuple[str, ...] = ()

    def in_turn(self, kind: str = "matched") -> Audio:
        """Return every variant once, in order, with 0.7 s of silence between; float32, shape (n, 2)."""
        silence = np.zeros((round(_SILENCE_BETWEEN_S * self.sample_rate_hz), 2), dtype=np.float32)
        pieces = [self.variants[0].clip(kind)]
        for heard in self.variants[1:]:
            pieces += [silence, heard.clip(kind)]
        return np.concatenate(pieces)

    def to_json(self) -> dict[str, Any]:
        """Return every figure as JSON-ready data (documented in ``docs/measures.md``)."""
        first = self.variants[0]
        return {
            "name": self.passage,
            "sample_rate_hz": self.sample_rate_hz,
            "matched_lufs": _finite(self.matched_lufs),
            "ceiling_dbtp": CEILING_DBTP,
            "notes": list(self.notes),
            "third_octave_hz": _rounded(third_octave_centres_hz(), 2),
            "spectrum_hz": _rounded(smooth(first.spectrum)[0], 2),
            "variants": [_heard_json(heard, first) for heard in self.variants],
            "piano": _heard_json(self.piano, first) if self.piano else None,
        }


def compare_passage(
    renderings: Sequence[Rendering],
    *,
    arrangements: Sequence[Arrangement] | None = None,
    layers: Layers | None = None,
    piano: Rendering | None = None,
    passage: str,
    target_lufs: float = TARGET_LUFS,
) -> Trial:
    """Match, measure and compare the variants of one passage.

    Parameters
    ----------
    renderings : sequence of Rendering
        One per variant, all of one length; the first is the one the others are compared with.
    arrangements : sequence of Arrangement, optional
        The same variants in the same order; without them there is no account of steps, players and notes, and no
        measure that needs to know which stem has the tune.
    layers : Layers, optional
        Roles of the piano's notes.
    piano : Rendering, optional
        The piano itself, as reference.
    passage : str
        Its name.
    target_lufs : float
        Loudness of the matched clips, where their peaks allow it.

    Raises
    ------
    InputError
        Where there is nothing to compare, or the renderings differ in length.
    """
    every = [*renderings, piano] if piano is not None else list(renderings)
    _check(every, passage)
    rate = _sample_rate(every)
    meters = [Meter(rendering.mix, rate) for rendering in every]
    gains, level = matching_gains(meters, target_lufs=target_lufs)
    scored = _scored_gain(meters[: len(renderings)], level)
    says = [arrangement.says for arrangement in arrangements] if arrangements else [""] * len(renderings)
    heard = [
        _hear(rendering, meter, matched, scored, text, rate)
        for rendering, meter, matched, text in zip(every, meters, gains, [*says, ""], strict=False)
    ]
    reference = heard.pop() if piano is not None else None
    return Trial(passage, rate, tuple(heard), reference, level, _notes(heard))


def _check(renderings: Sequence[Rendering], passage: str) -> None:
    """Refuse an empty comparison, two variants of one name and clips of different length."""
    if not renderings:
        msg = f"passage '{passage}' has no variant to compare."
        raise InputError(msg)
    names = [rendering.variant for rendering in renderings]
    if twice := {name for name in names if names.count(name) > 1}:
        msg = f"passage '{passage}' has two variants named '{min(twice)}'."
        raise InputError(msg)
    lengths = {rendering.variant: len(rendering.mix) for rendering in renderings}
    if len(set(lengths.values())) > 1:
        msg = f"the variants of passage '{passage}' differ in length: {lengths} samples."
        raise InputError(msg, hint="Render them in one call, so that all get one length.")
    if not len(renderings[0].mix):
        msg = f"passage '{passage}' holds no sound."
        raise InputError(msg)


def _sample_rate(renderings: Sequence[Rendering]) -> int:
    """Sample rate the renderings say they have, else the project's."""
    from render.sound import SAMPLE_RATE_HZ

    rates = {int(rendering.about.get("sample_rate_hz", SAMPLE_RATE_HZ)) for rendering in renderings}
    if len(rates) > 1:
        msg = f"renderings at different sample rates cannot be compared: {sorted(rates)} Hz."
        raise InputError(msg)
    return rates.pop()


def _scored_gain(meters: Sequence[Meter], level_lufs: float) -> float:
    """One gain for all: the loudest variant plays as loud as the matched clips, no peak passes the ceiling."""
    gains, _ = matching_gains(meters, target_lufs=level_lufs)
    heard = [(meter, gain) for meter, gain in zip(meters, gains, strict=True) if np.isfinite(meter.integrated())]
    if not heard:
        return 1.0
    ceiling = 10.0 ** (CEILING_DBTP / 20.0)
    return float(min([gain for _, gain in heard] + [ceiling / meter.true_peak for meter, _ in heard]))


def _hear(sound: Sound, says: str, measures: Sequence[str] | None) -> Heard:
    """Everything about one variant that needs no other."""
    rendering, meter, matched, scored = sound.rendering, sound.meter, sound.gain_matched, sound.gain_scored
    clip = rendering.mix * np.float32(matched)
    long = welch(clip, sound.sample_rate_hz, segment=_LONG_SEGMENT)
    return Heard(
        rendering.variant,
        says,
        rendering,
        matched,
        scored,
        meter.read(),
        meter.read(matched),
        meter.read(scored),
        welch(clip, sound.sample_rate_hz),
        third_octaves_db(long),
        measure_all(sound, measures),
    )


def _notes(heard: Sequence[Heard]) -> tuple[str, ...]:
    """Tell what a listener should know about the clips."""
    notes = [f"{item.variant}: silent in this passage" for item in heard if item.loudness.sample_peak_dbfs == -np.inf]
    if note := heard[0].loudness.note:
        notes.append(note)
    return tuple(notes)


def _heard_json(heard: Heard, first: Heard) -> dict[str, Any]:
    """One variant's figures."""
    level = smooth(heard.spectrum)[1]
    return {
        "name": heard.variant,
        "says": heard.says,
        "gain_matched": heard.gain_matched,
        "gain_scored": heard.gain_scored,
        "loudness_lufs": _finite(heard.loudness.integrated_lufs),
        "loudness": {kind: _loudness_json(value) for kind, value in _loudnesses(heard)},
        "spectrum_db": _rounded(level, 2),
        "spectrum_difference_db": _rounded(level - smooth(first.spectrum)[1], 2),
        "third_octave_db": _rounded(heard.third_octaves_db, 2),
        "third_octave_difference_db": _rounded(heard.third_octaves_db - first.third_octaves_db, 2),
        "welch": {
            "window": heard.spectrum.window,
            "segment": heard.spectrum.segment,
            "segments": heard.spectrum.segments,
            "enbw_hz": round(heard.spectrum.enbw_hz, 4),
            "reference": "dB re full scale squared per Hz, mean of both channels",
        },
        "measures": {item.quantity.name: item.to_json() for item in heard.measures},
        "warnings": list(heard.rendering.warnings),
        "about": heard.rendering.about,
    }


def _loudnesses(heard: Heard) -> tuple[tuple[str, Loudness], ...]:
    """Pair the three readings with their names."""
    return (("rendered", heard.loudness), ("matched", heard.loudness_matched), ("scored", heard.loudness_scored))


def _loudness_json(loudness: Loudness) -> dict[str, Any]:
    """Meter readings; silence as null, because JSON has no infinity."""
    return {key: _finite(value) if isinstance(value, float) else value for key, value in asdict(loudness).items()}


def _finite(value: float) -> float | None:
    """Return the value to a thousandth, or None for silence."""
    return round(value, 3) if np.isfinite(value) else None


def _rounded(values: Floats, decimals: int) -> list[float]:
    """Array as a short list of numbers."""
    return [float(value) for value in np.round(values, decimals)]
