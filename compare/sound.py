"""One variant as the measures see it: stems, notes, beats and the shared analysis, worked out when first asked for."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from compare.front import BAND_CAM, FRAME, HOP, Front, analyse
from compare.quantity import Undefined
from compare.sounding import LAYERS, Beats, Schedule, beats_without_score, onsets_of, sounding_notes

if TYPE_CHECKING:
    from compare.front import Singles
    from compare.loudness import Meter
    from compare.scales import Floats
    from mapping.arrangement import Arrangement
    from reading.layers import Layers
    from render.sound import Rendering

__all__ = ["Sound"]

_LISTENING_DB = 70.0
_ANALYSIS = {"frame": FRAME, "hop": HOP, "window": "Hann (periodic)", "channels": "powers added", "analysis_version": 1}


@dataclass(frozen=True, eq=False)
class Sound:
    """A rendered variant with all that measures may ask of it. Nothing in it may be changed.

    Attributes
    ----------
    rendering : Rendering
    sample_rate_hz : int
    meter : Meter
        Of the mix as rendered.
    gain_matched, gain_scored : float
    stems : tuple of Front
        By row of ``rendering.stems``.
    arrangement : Arrangement or None
    layers : Layers or None
    """

    rendering: Rendering
    sample_rate_hz: int
    meter: Meter
    gain_matched: float
    gain_scored: float
    stems: tuple[Front, ...]
    arrangement: Arrangement | None = None
    layers: Layers | None = None

    @property
    def signature(self) -> dict[str, Any]:
        """What every number of this sound depends on besides the measure itself."""
        return {"sample_rate_hz": self.sample_rate_hz, **_ANALYSIS}

    @property
    def mix(self) -> Singles:
        """The mix as rendered, float32, shape (n, 2)."""
        return self.rendering.mix

    @cached_property
    def front(self) -> Front:
        """The analysis of the mix."""
        return analyse(self.mix, self.sample_rate_hz)

    @cached_property
    def frame_s(self) -> Floats:
        """Middle of every frame in seconds."""
        return (np.arange(len(self.front.k_power)) * HOP + FRAME / 2.0) / self.sample_rate_hz

    @cached_property
    def sounding_frames(self) -> np.ndarray[Any, np.dtype[np.bool_]]:
        """Frames within 30 dB of the loudest: the passage without rests and fading tail."""
        power = self.front.k_power
        return np.asarray((power > 1e-3 * power.max(initial=0.0)) & (power > 0.0))

    @cached_property
    def calibration(self) -> float:
        """Factor from power re full scale to power re 0 dB SPL that lets the mix sound at 70 dB."""
        level = self.meter.integrated()
        if not np.isfinite(level):
            msg = "the variant is silent here"
            raise Undefined(msg)
        return float(10.0 ** ((_LISTENING_DB - (level + 0.691)) / 10.0))

    @cached_property
    def schedule(self) -> Schedule | None:
        """Notes to seconds, where there is a score."""
        return Schedule(self.arrangement.score, self.rendering) if self.arrangement else None

    @cached_property
    def onsets_s(self) -> Floats:
        """Onsets of the piano score, the same for all variants."""
        return self.schedule.onsets() if self.schedule else onsets_of(self.rendering)

    @cached_property
    def accents_s(self) -> Floats:
        """Onsets to be heard as accents, the same for all variants; every onset where there is no score."""
        return self.schedule.accents() if self.schedule else self.onsets_s

    @cached_property
    def beats(self) -> Beats:
        """The beats of the passage."""
        return self.schedule.beats() if self.schedule else beats_without_score(self.rendering, self.sample_rate_hz)

    @cached_property
    def bars_s(self) -> tuple[tuple[int, float, float], ...]:
        """Bar index, start and end in seconds; the last bar ends with the last beat."""
        starts = self.rendering.bar_starts_s
        end = float(self.beats.edges_s[-1]) if self.arrangement else len(self.mix) / self.sample_rate_hz
        ends = [start for _, start in starts[1:]] + [end]
        return tuple((index, start, stop) for (index, start), stop in zip(starts, ends, strict=True))

    @cached_property
    def notes(self) -> np.ndarray[Any, np.dtype[np.void]]:
        """Every sounding note (``SOUNDING_DTYPE``)."""
        if self.arrangement is None or self.schedule is None:
            msg = "it needs to know which player has which note"
            raise Undefined(msg)
        return sounding_notes(self.rendering, self.arrangement, self.layers, self.schedule)

    @cached_property
    def layer_of_frame(self) -> np.ndarray[Any, np.dtype[np.int8]]:
        """Layer every stem serves in every frame, shape (stems, frames): that of the notes it began last."""
        if self.layers is None or self.arrangement is None:
            msg = "it needs to know which notes are melody, bass and middle"
            raise Undefined(msg)
        found = np.full((len(self.stems), len(self.frame_s)), -1, dtype=np.int8)
        for row in range(len(self.stems)):
            own = self.notes[self.notes["stem"] == row]
            if not len(own):
                continue
            starts, place = np.unique(own["start_s"], return_inverse=True)
            counts = np.zeros((len(starts), len(LAYERS)), dtype=np.int32)
            np.add.at(counts, (place, own["layer"]), 1)
            served = np.argmax(counts, axis=1).astype(np.int8)  # most notes begun together; the melody wins a tie
            # A note begun inside a frame already fills part of it.
            last = np.searchsorted(starts, self.frame_s + 0.25 * FRAME / self.sample_rate_hz, side="right") - 1
            found[row] = served[np.maximum(last, 0)]
        return found

    @cached_property
    def layer_excitation(self) -> Floats:
        """Excitation of every layer in dB-SPL power, shape (layers, frames, bands)."""
        return self._by_layer([stem.excitation for stem in self.stems], len(BAND_CAM)) * self.calibration

    @cached_property
    def layer_k_power(self) -> Floats:
        """K-weighted power of every layer re full scale, shape (layers, frames)."""
        return self._by_layer([stem.k_power[:, None] for stem in self.stems], 1)[:, :, 0]

    def _by_layer(self, tables: list[Any], width: int) -> Floats:
        """Sum the stems' tables (frames, width) by the layer each serves in each frame."""
        served = self.layer_of_frame
        found = np.zeros((len(LAYERS), len(self.frame_s), width))
        for row, table in enumerate(tables):
            for layer in np.unique(served[row]):
                if layer >= 0:
                    frames = served[row] == layer
                    found[layer, frames] += table[frames]
        return found
