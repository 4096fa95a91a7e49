"""Accents: how far they jump above what was sounding, and how much of them is there at once.

An accent is an onset with an accent, marcato or sforzando in the piano score or, where none is written, an onset after
a rest of all voices: the same onsets for every variant.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

import numpy as np

from compare.quantity import Quantity, Reading, Undefined

if TYPE_CHECKING:
    from compare.scales import Floats
    from compare.sound import Sound

__all__ = ["Attack", "attack_of"]

_ACCENT_DB = 6.0
_LIMIT_DB = 40.0

_STEP = Quantity(
    name="accent_step",
    title="Step of the accents",
    unit="dB",
    definition=(
        "K-weighted level 20 to 120 ms after the onset minus the level 100 to 10 ms before it, within ±40 dB; median "
        "over the accents."
    ),
    source="our own; monotone in the level of a pad under the accents",
    meaning="The accents jump {value} above what was sounding.",
    noticeable=2.0,
    noticeable_from="two steps of 1 dB in running music",
    more="lets the accents jump {amount} further",
    less="lets the accents jump {amount} less far",
)
_SPEED = Quantity(
    name="attack_speed",
    title="Sharpness of the attack",
    unit="dB",
    definition=(
        "Mean of the first 50 ms after the onset against the loudest 50 ms within 400 ms, both above the level before; "
        "median over the accents with a step of 6 dB or more. 0 dB: fully there at once."
    ),
    source="our own; monotone in the spread of the players' entries from 0 to 80 ms",
    meaning="Of the punch of the accents {value} is there in the first twentieth of a second.",
    noticeable=4.0,
    noticeable_from="twice what human re-performance of a single accent changed (standard deviation 1.8 dB)",
    more="attacks more sharply, by {amount}",
    less="attacks more softly, by {amount}",
)


def attack_of(means: Floats, hop_s: float, onset_s: float, *, next_s: float = np.inf) -> tuple[float, float] | None:
    """Return ``(step in dB, speed in dB)`` of one onset; None where there is nothing to measure.

    Parameters
    ----------
    means : ndarray
        Mean K-weighted power of 10 ms windows, one every *hop_s*, the first beginning at 0 s.
    hop_s, onset_s : float
    next_s : float
        The next onset, where the measurement ends at the latest.
    """

    def part(first_s: float, last_s: float) -> Floats:
        return means[max(0, round((onset_s + first_s) / hop_s)) : max(0, round((onset_s + last_s) / hop_s))]

    before, after = part(-0.1, -0.02), part(0.02, 0.11)
    if not len(before) or not len(after):
        return None
    floor, level = float(before.mean()), float(after.mean())
    if level <= 0.0:
        return None
    step = float(np.clip(10.0 * np.log10(level / max(floor, 1e-30)), -_LIMIT_DB, _LIMIT_DB))
    rise = np.maximum(part(0.0, min(0.4, next_s - onset_s)) - floor, 0.0)
    wide = max(1, round(0.05 / hop_s))
    if len(rise) < wide or rise.max() <= 0.0:
        return None
    running = np.convolve(rise, np.ones(wide) / wide, mode="valid")
    return step, float(10.0 * np.log10(max(running[0], 1e-30) / running.max()))


class Attack:
    """Step and speed of the accents."""

    name: ClassVar[str] = "attack"
    version: ClassVar[int] = 1
    quantities: ClassVar[tuple[Quantity, ...]] = (_STEP, _SPEED)

    def measure(self, sound: Sound) -> dict[str, Reading]:
        """Return both over the accents, which are the same onsets for all variants."""
        means = sound.meter.means(0.01, 0.001)
        onsets = sound.onsets_s
        following = np.append(onsets, np.inf)[np.searchsorted(onsets, sound.accents_s, side="right")]
        readings = np.array(
            [
                reading
                for onset, after in zip(sound.accents_s, following, strict=True)
                if (reading := attack_of(means, 0.001, onset, next_s=after)) is not None
            ]
        )
        if not len(readings):
            msg = "no accent is written here and no chord follows a rest"
            raise Undefined(msg)
        found = {"accent_step": Reading(float(np.median(readings[:, 0])), {"accents": len(readings)})}
        clear = readings[readings[:, 0] >= _ACCENT_DB, 1]
        if len(clear):
            found["attack_speed"] = Reading(float(np.median(clear)), {"accents": len(clear)})
        return found
