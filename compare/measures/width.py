"""Stereo width and the side the sound leans to."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from compare.quantity import Quantity, Reading

if TYPE_CHECKING:
    from compare.sound import Sound

__all__ = ["Width", "correlation", "lean_db"]

_WIDTH = Quantity(
    name="width",
    title="Stereo width",
    unit="",
    definition="1 minus the correlation of left and right (no delay) over the clip: 0 one point, 1 unrelated sides.",
    source="correlation coefficient; no weighting",
    meaning="The sound is {value} wide (0 from one point, 1 with unrelated sides).",
    noticeable=0.075,
    noticeable_from="0.075, the just-noticeable difference of interaural correlation in ISO 3382-1:2009 (from memory)",
    more="sounds wider by {amount}",
    less="sounds narrower by {amount}",
    decimals=2,
)
_LEAN = Quantity(
    name="lean",
    title="Left and right",
    unit="dB",
    definition="Power of the right over that of the left.",
    source="—",
    meaning="The right side is at {value} against the left.",
    noticeable=1.5,
    noticeable_from="1 to 2 dB between loudspeakers move the image by a few degrees (from memory)",
    more="leans {amount} further to the right",
    less="leans {amount} further to the left",
)


def correlation(samples: Any) -> float:
    """Return the correlation coefficient of left and right; 1 for silence and for one channel alone.

    Parameters
    ----------
    samples : ndarray, shape (n, 2)
    """
    left, right = (np.ascontiguousarray(samples[:, side], dtype=np.float32) for side in (0, 1))
    both, one, other = (
        float(np.sum(a * b, dtype=np.float64)) for a, b in ((left, right), (left, left), (right, right))
    )
    norm = float(np.sqrt(one * other))
    return both / norm if norm > 0.0 else 1.0


def lean_db(samples: Any) -> float:
    """Return the level of the right over the left in dB, within ±40; 0 for silence."""
    left, right = (float(np.sum(np.square(samples[:, side], dtype=np.float64))) for side in (0, 1))
    if left <= 0.0 and right <= 0.0:
        return 0.0
    return float(np.clip(10.0 * np.log10(max(right, 1e-30) / max(left, 1e-30)), -40.0, 40.0))


class Width:
    """Width and lean of the mix."""

    name: ClassVar[str] = "width"
    version: ClassVar[int] = 1
    quantities: ClassVar[tuple[Quantity, ...]] = (_WIDTH, _LEAN)

    def measure(self, sound: Sound) -> dict[str, Reading]:
        """Return both."""
        return {"width": Reading(1.0 - correlation(sound.mix)), "lean": Reading(lean_db(sound.mix))}
