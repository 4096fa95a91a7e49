"""Density: in how many colour bands something substantial sounds, and how many notes sound at once."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from compare.quantity import Quantity, Reading, Undefined

if TYPE_CHECKING:
    from compare.scales import Floats
    from compare.sound import Sound

__all__ = ["Density", "filled_bands", "notes_at_once"]

_NEAR_DB = 20.0

_BANDS = Quantity(
    name="filled_bands",
    title="Filled bands",
    unit="bands",
    definition=(
        "Mean over the frames within 30 dB of the loudest of the number of third-octave bands (50 Hz to 20 kHz) within "
        "20 dB of the frame's strongest. Depends on the soundfont: compare within one only."
    ),
    source="bands: IEC 61260-1:2014; the count our own",
    meaning="Something substantial sounds in {value} of 27 bands a third of an octave wide.",
    noticeable=0.5,
    noticeable_from="no published threshold; six times what human re-performance changes",
    more="fills {amount} more",
    less="leaves {amount} more empty",
)
_NOTES = Quantity(
    name="notes_at_once",
    title="Notes at once",
    unit="notes",
    definition="Mean number of different pitches sounding together while anything sounds (written lengths).",
    source="—",
    meaning="On average {value} sound at once.",
    noticeable=0.5,
    noticeable_from="half a note; no published threshold",
    more="is fuller by {amount} at once",
    less="is thinner by {amount} at once",
)


def filled_bands(thirds: Floats) -> Floats:
    """Return per frame the number of bands within 20 dB of the strongest; shape of *thirds*: (frames, bands)."""
    return np.asarray(
        (thirds >= thirds.max(axis=1, keepdims=True) * 10.0 ** (-_NEAR_DB / 10.0)).sum(axis=1), dtype=float
    )


def notes_at_once(start_s: Floats, end_s: Floats, pitch: Floats) -> float:
    """Return the mean number of different pitches sounding while anything sounds."""
    events = np.unique(np.concatenate((start_s, end_s)))
    total = time = 0.0
    for first, last in pairwise(events):
        count = len(np.unique(pitch[(start_s < last) & (end_s > first)]))
        if count:
            total += count * (last - first)
            time += last - first
    return total / time if time else 0.0


class Density:
    """Filled bands and notes at once."""

    name: ClassVar[str] = "density"
    version: ClassVar[int] = 1
    quantities: ClassVar[tuple[Quantity, ...]] = (_BANDS, _NOTES)

    def measure(self, sound: Sound) -> dict[str, Reading]:
        """Return both; the notes only where they are known."""
        frames = sound.sounding_frames
        found = {}
        if frames.any():
            found["filled_bands"] = Reading(float(np.mean(filled_bands(sound.front.thirds[frames]))))
        try:
            notes = sound.notes
        except Undefined:
            return found
        if len(notes):
            found["notes_at_once"] = Reading(notes_at_once(notes["start_s"], notes["end_s"], notes["pitch"]))
        return found
