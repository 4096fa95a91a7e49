"""Registers: who sits in which octave, and how wide the hole between the hands is."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from compare.front import HOP
from compare.quantity import Quantity, Reading
from compare.scales import note_name

if TYPE_CHECKING:
    from compare.scales import Floats
    from compare.sound import Sound

__all__ = ["Registers", "played_profile_db", "widest_gap"]

OCTAVES = tuple(range(2, 9))
"""MIDI octaves shown: from C1 (pitch 24) to B7."""
_FLOOR_DB = -30.0

_GAP = Quantity(
    name="widest_gap",
    title="Widest hole between neighbouring notes",
    unit="semitones",
    definition="Mean over time, while two or more pitches sound, of the widest interval between neighbouring pitches.",
    source="—",
    meaning="Between neighbouring notes the widest hole is {value} on average.",
    noticeable=2.0,
    noticeable_from="a whole tone; no published threshold",
    more="leaves a hole wider by {amount}",
    less="closes the widest hole by {amount}",
)


def _quantity(octave: int) -> Quantity:
    """Define the share of one octave."""
    name = note_name(octave * 12)
    return Quantity(
        name=f"octave_{name.lower()}",
        title=f"Played from {name} up",
        unit="dB",
        definition=(
            "K-weighted energy of the stems during their notes, booked on the octave of the written pitch (notes begun "
            "together in one stem share it), against the sum of all octaves; not below −30 dB. Overtones do not count: "
            "they hide a hole that a player sees at once."
        ),
        source="our own",
        meaning=f"Of what is played, the octave from {name} up has {{value}}.",
        noticeable=1.5,
        noticeable_from="three standard deviations of human re-performance and 1 dB in running music",
        more=f"puts {{amount}} more into the octave from {name} up",
        less=f"takes {{amount}} out of the octave from {name} up",
    )


def played_profile_db(energy: Floats, octave: Any) -> dict[int, float]:
    """Return the share of every shown octave in dB of the whole.

    Parameters
    ----------
    energy : ndarray, shape (notes,)
    octave : ndarray of int, shape (notes,)
        MIDI pitch // 12.
    """
    whole = float(energy.sum())
    shares = {number: float(energy[octave == number].sum()) / whole if whole > 0.0 else 0.0 for number in OCTAVES}
    return {number: max(_FLOOR_DB, float(10.0 * np.log10(max(share, 1e-30)))) for number, share in shares.items()}


def widest_gap(start_s: Floats, end_s: Floats, pitch: Any) -> float | None:
    """Return the mean of the widest interval between neighbouring pitches, None where never two sound together."""
    events = np.unique(np.concatenate((start_s, end_s)))
    total = time = 0.0
    for first, last in pairwise(events):
        sounding = np.unique(pitch[(start_s < last) & (end_s > first)])
        if len(sounding) > 1:
            total += float(np.diff(sounding).max()) * (last - first)
            time += last - first
    return total / time if time else None


class Registers:
    """The played octaves and the hole between them."""

    name: ClassVar[str] = "registers"
    version: ClassVar[int] = 1
    quantities: ClassVar[tuple[Quantity, ...]] = (_GAP, *(_quantity(octave) for octave in OCTAVES))

    def measure(self, sound: Sound) -> dict[str, Reading]:
        """Return the hole and the share of every octave."""
        notes = sound.notes
        if not len(notes):
            return {}
        profile = played_profile_db(_energies(sound), notes["pitch"] // 12)
        found = {f"octave_{note_name(octave * 12).lower()}": Reading(level) for octave, level in profile.items()}
        gap = widest_gap(notes["start_s"], notes["end_s"], notes["pitch"])
        if gap is not None:
            found["widest_gap"] = Reading(gap)
        return found


def _energies(sound: Sound) -> Floats:
    """K-weighted energy of every note: its stem's during the note, shared by the notes begun together in it."""
    notes = sound.notes
    hop_s = HOP / sound.sample_rate_hz
    found = np.zeros(len(notes))
    for row, stem in enumerate(sound.stems):
        own = np.flatnonzero(notes["stem"] == row)
        if not len(own):
            continue
        sums = np.concatenate(([0.0], np.cumsum(stem.k_power))) * hop_s
        edges = np.arange(len(sums)) * hop_s + sound.frame_s[0] - hop_s / 2.0
        energy = np.interp(notes["end_s"][own], edges, sums) - np.interp(notes["start_s"][own], edges, sums)
        _, together, count = np.unique(notes["start_s"][own], return_inverse=True, return_counts=True)
        found[own] = energy / count[together]
    return found
