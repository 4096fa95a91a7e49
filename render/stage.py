"""The stage: where each player sits, and what that does to level, time and direction.

Level falls by 6 dB per doubling of the distance from the listener, sound takes its time (343 m/s), the direction is a
balance of equal power between the two channels with a moderate width of the font's own stereo picture.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from render.passage import LEAD_S
from render.sound import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from mapping.arrangement import Player

__all__ = [
    "LISTENER_M",
    "NARROWING",
    "REFERENCE_M",
    "STAGE_VERSION",
    "Seat",
    "fade_in",
    "narrowed",
    "place",
    "place_into",
    "radiate",
    "seat",
]

SPEED_OF_SOUND_M_S = 343.0
LISTENER_M = 6.0
"""The listener is this far behind the conductor, from whom seats are measured."""
REFERENCE_M = 12.0
"""Distance at which a stem keeps its level."""
NARROWING = np.array([[0.75, 0.25], [0.25, 0.75]])
"""Middle and sides of the font's own stereo picture: the sides are halved (fonts pan single players wide)."""
STAGE_VERSION = 1
"""Raised whenever a placed stem would sound different."""
_FADE_IN_S = 0.050
_PLANS = {"violins together": "american", "violins divided": "antiphonal"}
_SPREAD_DEG = 60.0  # seat angle that is heard fully at one side

Samples = np.ndarray[Any, np.dtype[np.float32]]


@dataclass(frozen=True)
class Seat:
    """Where a player is heard from.

    Attributes
    ----------
    azimuth_deg : float
        From the listener: 0 ahead, negative left.
    distance_m : float
        From the listener.
    delayed : bool
        Whether the sound's way to the listener takes time.
    """

    azimuth_deg: float
    distance_m: float
    delayed: bool = True

    @property
    def without_delay(self) -> Seat:
        """The same seat for sound whose delay was taken care of."""
        return replace(self, delayed=False)

    @property
    def gain_db(self) -> float:
        """Level relative to the reference distance."""
        return float(-20.0 * np.log10(self.distance_m / REFERENCE_M))

    @property
    def delay_samples(self) -> int:
        """Time the sound takes beyond that from the nearest possible seat."""
        if not self.delayed:
            return 0
        return round(max(0.0, self.distance_m - LISTENER_M) / SPEED_OF_SOUND_M_S * SAMPLE_RATE_HZ)


def seat(player: Player, stage: str) -> Seat:
    """Return where *player* sits in a plan of render.settings.STAGES."""
    from mapping.orchestra import seat_of

    if stage == "centre":
        return Seat(0.0, REFERENCE_M)
    azimuth, distance = seat_of(player, _PLANS[stage])
    across = distance * np.sin(np.radians(azimuth))
    ahead = LISTENER_M + distance * np.cos(np.radians(azimuth))
    return Seat(float(np.degrees(np.arctan2(across, ahead))), float(np.hypot(across, ahead)))


def place(samples: Samples, where: Seat, gain_db: float, length: int) -> Samples:
    """Return a stem as it reaches the listener, cut or padded to *length* samples.

    Parameters
    ----------
    samples : ndarray, float32, shape (n, 2)
        As the synth gave it.
    where : Seat
    gain_db : float
        On top of the level by distance.
    length : int
        Samples of the result.
    """
    out = np.zeros((length, 2), np.float32)
    first = where.delay_samples
    count = max(0, min(len(samples), length - first))
    place_into(out[first : first + count], samples[:count], where, gain_db)
    return out


def place_into(out: Samples, samples: Samples, where: Seat, gain_db: float) -> None:
    """Fill *out* with a piece of a stem as it reaches the listener, of the same length; the delay is the caller's."""
    gain = 10.0 ** ((gain_db + where.gain_db) / 20.0)
    pan = np.clip(where.azimuth_deg / _SPREAD_DEG, -1.0, 1.0)
    angle = (pan + 1.0) * np.pi / 4.0
    left, right = np.sqrt(2.0) * np.cos(angle), np.sqrt(2.0) * np.sin(angle)
    _through(samples, gain * NARROWING * np.array([left, right]), out)


def narrowed(samples: Samples) -> Samples:
    """Return a stem with the width the stage gives it, at its own level, from straight ahead."""
    out = np.empty_like(samples)
    _through(samples, NARROWING, out)
    return out


def _through(samples: Samples, matrix: np.ndarray[Any, Any], out: Samples) -> None:
    """Send two channels through a 2 by 2 matrix.

    Seen as z = left + i right, every such matrix is a z + b conj(z), which runs through memory in order (a matrix
    product would start the threads of BLAS for next to nothing).
    """
    (to_left, to_right), (from_right, stays_right) = matrix
    a = np.complex64(complex(to_left + stays_right, to_right - from_right) / 2.0)
    b = np.complex64(complex(to_left - stays_right, to_right + from_right) / 2.0)
    pairs = np.ascontiguousarray(samples).view(np.complex64)
    placed = out.view(np.complex64)
    np.conjugate(pairs, out=placed)
    placed *= b
    placed += a * pairs


def radiate(sent: Samples, samples: Samples, gain_db: float) -> None:
    """Add what a player radiates to *sent*, shape (n,), in place: the room hears it whatever the distance."""
    gain = np.float32(10.0 ** (gain_db / 20.0) / np.sqrt(2.0))
    sent += gain * (samples[:, 0] + samples[:, 1])


def fade_in(samples: Samples) -> None:
    """Fade in up to the first bar line, in place: a note struck anew in its middle has no attack."""
    full, count = round(LEAD_S * SAMPLE_RATE_HZ), round(_FADE_IN_S * SAMPLE_RATE_HZ)
    samples[: full - count] = 0.0
    samples[full - count : full] *= np.linspace(0.0, 1.0, count, dtype=np.float32)[:, None]
