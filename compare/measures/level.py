"""Loudness as scored, its range, and the true peak."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

import numpy as np

from compare.quantity import Quantity, Reading

if TYPE_CHECKING:
    from compare.sound import Sound

__all__ = ["Level"]

_LOUDNESS = Quantity(
    name="loudness",
    title="Loudness as scored",
    unit="LUFS",
    definition="Integrated loudness, gated, of the clip as scored (one gain for all variants of the passage).",
    source="ITU-R BS.1770-5 Annex 1",
    meaning="As scored, the passage is {value} loud.",
    noticeable=1.0,
    noticeable_from="about 1 dB in running music (from memory); 0.2 to 0.4 dB for single steady sounds",
    more="is {amount} louder as scored",
    less="is {amount} softer as scored",
    matched=False,
    step_unit="LU",
)
_RANGE = Quantity(
    name="loudness_range",
    title="Loudness range",
    unit="LU",
    definition="10th to 95th percentile of the short-term loudness (3 s) above −70 LUFS and −20 LU relative.",
    source="EBU Tech 3342 V4 section 3; meant for longer programmes, so under a minute take it as a hint",
    meaning="Between its soft and its loud moments lie {value}.",
    noticeable=2.0,
    noticeable_from="twice the loudness step noticed in running music; no published threshold",
    more="spans {amount} more between soft and loud",
    less="spans {amount} less between soft and loud",
)
_CREST = Quantity(
    name="peak_over_loudness",
    title="Peaks above the mean loudness",
    unit="LU",
    definition="True peak in dBTP minus integrated loudness in LUFS.",
    source="EBU Tech 3343, section on peak to loudness ratio; true peak to ITU-R BS.1770-5 Annex 2",
    meaning="The sharpest peak stands {value} above the mean loudness.",
    noticeable=3.0,
    noticeable_from="three standard deviations of human re-performance in three pieces (0.3 to 0.9 dB each)",
    more="has peaks standing {amount} higher above its mean loudness",
    less="has peaks standing {amount} lower above its mean loudness",
)


class Level:
    """Loudness, loudness range, peaks."""

    name: ClassVar[str] = "level"
    version: ClassVar[int] = 1
    quantities: ClassVar[tuple[Quantity, ...]] = (_LOUDNESS, _RANGE, _CREST)

    def measure(self, sound: Sound) -> dict[str, Reading]:
        """Return what the meter reads."""
        level = sound.meter.integrated(sound.gain_scored)
        if not np.isfinite(level):
            return {}
        peak = 20.0 * float(np.log10(sound.meter.true_peak * sound.gain_scored))
        found = {"loudness": Reading(level), "peak_over_loudness": Reading(peak - level)}
        if len(sound.meter.means(3.0, 0.1)):
            found["loudness_range"] = Reading(sound.meter.loudness_range())
        return found
