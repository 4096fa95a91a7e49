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

__all__ = ["Registers", "played_profile_lufs", "widest_gap"]

OCTAVES = tuple(range(2, 9))
"""MIDI octaves shown: from C1 (pitch 24) to B7."""
_FLOOR_LUFS = -60.0

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
        unit="LUFS",
        definition=(
            "Mean K-weighted level over the passage, as scored, of the stems during their notes, booked on the octave "
            "of the sounding pitch (notes begun together in one stem share it); not below −60 LUFS. Overtones do not "
            "count: they hide a hole that a player sees at once."
        ),
        source="K weighting: ITU-R BS.1770-5 Annex 1; the rest our own",
        meaning=f"What is played in the octave from {name} up has {{value}} on average (−60: nothing).",
        noticeable=1.5,
        noticeable_from="three standard deviations of human re-performance and 1 dB in running music",
        more=f"puts {{amount}} more into the octave from {name} up",
        less=f"takes {{amount}} out of the octave from {name} up",
        matched=False,
        step_unit="LU",
        floor=_FLOOR_LUFS,
        from_nothing=f"fills the octave from {name} up, which was empty",
        to_nothing=f"leaves the octave from {name} up empty",
    )


def played_profile_lufs(energy: Floats, octave: Any, length_s: float) -> dict[int, float]:
    """Return the mean level of every shown octave.

    Parameters
    ----------
    energy : ndarray, shape (notes,)
        K-weighted power times seconds.
    octave : ndarray of int, shape (notes,)
        MIDI pitch // 12.
    length_s : float
        Length of the passage.
    """
    power = {number: float(energy[octave == number].sum()) / length_s for number in OCTAVES}
    return {number: max(_FLOOR_LUFS, float(-0.691 + 10.0 * np.log10(max(one, 1e-30)))) for number, one in power.items()}


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
        energy = _energies(sound) * sound.gain_scored**2
        length_s = float(notes["end_s"].max() - notes["start_s"].min())
        profile = played_profile_lufs(energy, notes["pitch"] // 12, length_s)
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
