"""Roughness: how much the notes that sound together rub against one another.

The partials come from the notes of the arrangement and are weighed in the stems, because picking peaks from the mix
takes the chorus of a string section for dissonance. Partials within 15 cents of each other are one, so that doubling a
chord at the unison does not make it rougher.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from compare.front import FRAME, LOW_HZ
from compare.quantity import Quantity, Reading
from compare.scales import midi_to_hz

if TYPE_CHECKING:
    from compare.scales import Floats
    from compare.sound import Sound

__all__ = ["Roughness", "hutchinson_knopoff", "merged", "sethares", "vassilakis"]

_PARTIALS, _HIGHEST_HZ = 8, 4000.0
_SHORTEST_S = 0.08
_MERGE_CENTS = 15.0
_FLOOR = 1e-2  # amplitude, −40 dB

_ROUGHNESS = Quantity(
    name="roughness",
    title="Roughness",
    unit="",
    definition=(
        "Per slice between note events of 80 ms or more: Sethares' sum over all pairs of partials (8 per note, to "
        "4 kHz, amplitudes from the stems, partials within 15 cents merged) over the sum of the amplitudes; mean "
        "weighted by the slices' energy. 0 smooth, about 0.3 a close triad, about 1 a cluster of semitones."
    ),
    source="Sethares' published program; after Plomp & Levelt 1965, J. Acoust. Soc. Am. 38:548",
    meaning="The notes rub against one another with {value} (0 smooth, 0.3 a close triad, 1 a cluster of semitones).",
    noticeable=0.17,
    noticeable_from="17 %, the just-noticeable difference of roughness in asper (University of Salford teaching page)",
    more="rubs more: {value} against {reference}",
    less="rubs less: {value} against {reference}",
    relative=True,
    least=0.03,
    decimals=2,
)


def _pairs(hz: Floats, amplitude: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Lower and upper frequency of every pair, and both amplitudes."""
    order = np.argsort(hz)
    hz, amplitude = np.asarray(hz, dtype=float)[order], np.asarray(amplitude, dtype=float)[order]
    low, high = np.triu_indices(len(hz), k=1)
    return hz[low], hz[high], amplitude[low], amplitude[high]


def sethares(hz: Floats, amplitude: Floats) -> float:
    """Return Sethares' dissonance of a line spectrum: Σ min(a) · 5 · (e^(−3.51 s d) − e^(−5.75 s d)).

    Parameters
    ----------
    hz, amplitude : ndarray, shape (partials,)
    """
    low, high, one, other = _pairs(hz, amplitude)
    x = 0.24 / (0.0207 * low + 18.96) * (high - low)
    return float(np.sum(np.minimum(one, other) * 5.0 * (np.exp(-3.51 * x) - np.exp(-5.75 * x))))


def vassilakis(hz: Floats, amplitude: Floats) -> float:
    """Return Vassilakis' roughness of a line spectrum (dissertation, UCLA 2001), every pair on its own."""
    low, high, one, other = _pairs(hz, amplitude)
    x = 0.24 / (0.0207 * low + 18.96) * (high - low)
    depth = (2.0 * np.minimum(one, other) / np.maximum(one + other, 1e-30)) ** 3.11
    return float(np.sum((one * other) ** 0.1 * 0.5 * depth * (np.exp(-3.5 * x) - np.exp(-5.75 * x))))


def hutchinson_knopoff(hz: Floats, amplitude: Floats) -> float:
    """Return the dissonance of Hutchinson & Knopoff 1978 (*Interface* 7:1): 0 to about 1."""
    low, high, one, other = _pairs(hz, amplitude)
    distance = np.abs(high - low) / (1.72 * ((low + high) / 2.0) ** 0.65)
    rough = np.where(distance < 1.2, (np.e * (distance / 0.25) * np.exp(-distance / 0.25)) ** 2, 0.0)
    return float(np.sum(one * other * rough) / np.sum(np.asarray(amplitude, dtype=float) ** 2))


def merged(hz: Floats, amplitude: Floats, *, cents: float = _MERGE_CENTS) -> tuple[Floats, Floats]:
    """Return the partials with those closer than *cents* joined: powers added, frequency their weighted mean."""
    order = np.argsort(hz)
    hz, power = np.asarray(hz, dtype=float)[order], np.asarray(amplitude, dtype=float)[order] ** 2
    if not len(hz):
        return hz, power
    group = np.concatenate(([0], np.cumsum(np.diff(1200.0 * np.log2(hz)) > cents)))
    total = np.bincount(group, weights=power)
    return np.bincount(group, weights=power * hz) / np.maximum(total, 1e-300), np.sqrt(total)


class Roughness:
    """Sethares' model on the partials of the sounding notes."""

    name: ClassVar[str] = "roughness"
    version: ClassVar[int] = 1
    quantities: ClassVar[tuple[Quantity, ...]] = (_ROUGHNESS,)

    def measure(self, sound: Sound) -> dict[str, Reading]:
        """Return the mean over the slices."""
        notes = sound.notes
        events = np.unique(np.round(np.concatenate((notes["start_s"], notes["end_s"])), 4))
        values, weights, slices = [], [], []
        for start, end in pairwise(events):
            if end - start < _SHORTEST_S:
                continue
            sounding = notes[(notes["start_s"] < end - 1e-3) & (notes["end_s"] > start + 1e-3)]
            hz, amplitude = _partials(sound, sounding, start, end)
            if len(hz):
                values.append(sethares(hz, amplitude) / float(np.sum(amplitude)))
                weights.append(float(np.sum(amplitude**2)) * (end - start))
                slices.append({"start_s": round(float(start), 3), "value": round(values[-1], 3)})
        if not values:
            return {}
        return {"roughness": Reading(float(np.average(values, weights=weights)), {"slices": slices})}


def _partials(sound: Sound, notes: Any, start_s: float, end_s: float) -> tuple[Floats, Floats]:
    """Find the partials sounding in a slice: merged, re the strongest, those below −40 dB left out."""
    nothing = np.zeros(0), np.zeros(0)
    first, last = np.searchsorted(sound.frame_s, (start_s, end_s))
    if not len(notes) or first >= len(sound.frame_s):
        return nothing
    stems, pitches = np.divmod(np.unique(notes["stem"].astype(np.int64) * 128 + notes["pitch"]), 128)
    used, row = np.unique(stems, return_inverse=True)
    power = np.array([sound.stems[stem].low[first : max(last, first + 1)].mean(axis=0) for stem in used])
    step = sound.sample_rate_hz / FRAME
    hz = midi_to_hz(pitches)[:, None] * np.arange(1, _PARTIALS + 1)
    inside = hz <= min(_HIGHEST_HZ, LOW_HZ - 4.0 * step)
    if not inside.any():
        return nothing
    row = np.broadcast_to(row[:, None], hz.shape)[inside]
    hz, amplitude = merged(hz[inside], _amplitudes(power, row, hz[inside], step))
    strong = amplitude > _FLOOR * amplitude.max()
    return (hz[strong], amplitude[strong] / amplitude.max()) if strong.any() else nothing


def _amplitudes(power: Floats, row: Any, hz: Floats, step_hz: float) -> Floats:
    """Root of the power of the five bins around the strongest within ±3 % of each frequency, in each one's stem."""
    low = np.maximum(np.floor(hz * 0.97 / step_hz).astype(int), 2)
    high = np.ceil(hz * 1.03 / step_hz).astype(int)
    width = int((high - low).max()) + 1
    places = np.minimum(np.minimum(low[:, None] + np.arange(width), high[:, None]), power.shape[1] - 1)
    peak = places[np.arange(len(hz)), np.argmax(power[row[:, None], places], axis=1)]
    around = np.clip(peak[:, None] + np.arange(-2, 3), 0, power.shape[1] - 1)
    return np.asarray(np.sqrt(power[row[:, None], around].sum(axis=1)))
