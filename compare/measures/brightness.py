"""Where the ear's centre of gravity lies, how wide the sound is spread around it, how fast the colour moves."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from compare.front import BAND_CAM, BAND_HZ
from compare.quantity import Quantity, Reading, Undefined
from compare.scales import erb_number_to_hz, note_name
from compare.spectra import decibels

if TYPE_CHECKING:
    from compare.scales import Floats
    from compare.sound import Sound

__all__ = ["Brightness", "centroid_cam", "flux_percent", "specific_loudness", "spread_cam"]

_EXPONENT = 0.25
_FLOOR_DB = 50.0

_CENTROID = Quantity(
    name="brightness",
    title="Brightness",
    unit="Cam",
    definition=(
        "Mean over the frames within 30 dB of the loudest of the centroid of excitation^0.25 over ERB-number; bands "
        "more than 50 dB under the frame's strongest count nothing. Differs from the common amplitude centroid in Hz, "
        "which faint noise raises and which falls when a flute joins."
    ),
    source="ERB scale: Glasberg & Moore 1990; loudness-like exponent after Moore, Glasberg & Baer 1997",
    meaning="The ear's centre of gravity lies at {value} (1 Cam is the width of one auditory band).",
    noticeable=0.2,
    noticeable_from="about 5 % of the centroid (from memory); human re-performance changes 0.02 to 0.04 Cam",
    more="sounds brighter: the centre of gravity lies {amount} higher",
    less="sounds darker: the centre of gravity lies {amount} lower",
    decimals=2,
)
_SPREAD = Quantity(
    name="spread",
    title="Spread of the colour",
    unit="Cam",
    definition="Standard deviation around the centroid of the same distribution.",
    source="as brightness",
    meaning="Around it the sound is spread over ±{value}.",
    noticeable=0.3,
    noticeable_from="no published threshold; ten times what human re-performance changes",
    more="is spread {amount} wider over the registers of hearing",
    less="is {amount} narrower over the registers of hearing",
    decimals=2,
)
_FLUX = Quantity(
    name="flux",
    title="Movement of the colour",
    unit="%",
    definition="Mean over frames (43 ms apart) of the sum of the bands' increases of excitation^0.25 over their sum.",
    source="spectral flux, half-wave rectified, on the scale of brightness",
    meaning="From one moment to the next (43 ms) the sound renews {value} of itself.",
    noticeable=0.15,
    noticeable_from="no published threshold",
    more="is livelier: {amount} more movement of the colour",
    less="is calmer: {amount} less movement of the colour",
    relative=True,
)


def specific_loudness(excitation: Floats) -> Floats:
    """Return excitation^0.25 per frame and band, faint bands at zero.

    Parameters
    ----------
    excitation : ndarray, shape (frames, bands)
    """
    floor = excitation.max(axis=-1, keepdims=True) * 10.0 ** (-_FLOOR_DB / 10.0)
    return np.where(excitation >= floor, np.asarray(excitation, dtype=float), 0.0) ** _EXPONENT


def centroid_cam(loudness: Floats) -> Floats:
    """Return the centroid of every frame in Cam; not a number for silent frames."""
    total = loudness.sum(axis=-1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray((loudness * BAND_CAM).sum(axis=-1) / total)


def spread_cam(loudness: Floats) -> Floats:
    """Return the standard deviation around the centroid of every frame in Cam."""
    centre = centroid_cam(loudness)
    with np.errstate(invalid="ignore", divide="ignore"):
        square = (loudness * BAND_CAM**2).sum(axis=-1) / loudness.sum(axis=-1) - centre**2
    return np.asarray(np.sqrt(np.maximum(square, 0.0)))


def flux_percent(loudness: Floats) -> float:
    """Return the mean share of the sound that is new from one frame to the next, in percent."""
    rise = np.maximum(np.diff(loudness, axis=0), 0.0).sum(axis=1)
    total = loudness[1:].sum(axis=1)
    heard = total > 0.0
    return float(100.0 * np.mean(rise[heard] / total[heard])) if heard.any() else 0.0


class Brightness:
    """Centroid, spread and flux on the ear's scale; the centroid also for every register that is played."""

    name: ClassVar[str] = "brightness"
    version: ClassVar[int] = 1
    quantities: ClassVar[tuple[Quantity, ...]] = (_CENTROID, _SPREAD, _FLUX)

    def measure(self, sound: Sound) -> dict[str, Reading]:
        """Return the three quantities."""
        frames = sound.sounding_frames
        if not frames.any():
            return {}
        loudness = specific_loudness(sound.front.excitation)
        centre = float(np.mean(centroid_cam(loudness[frames])))
        mean = sound.front.excitation[frames].mean(axis=0) * sound.calibration
        detail: dict[str, Any] = {
            "hz": round(float(erb_number_to_hz(centre)), 1),
            "band_hz": [round(float(hz), 1) for hz in BAND_HZ],
            "excitation_db": [round(float(db), 1) for db in decibels(mean)],
        }
        try:
            detail["by_register"] = _by_register(sound)
        except Undefined:
            detail["by_register"] = []
        return {
            "brightness": Reading(centre, detail),
            "spread": Reading(float(np.mean(spread_cam(loudness[frames])))),
            "flux": Reading(flux_percent(loudness[frames])),
        }


def _by_register(sound: Sound) -> list[dict[str, Any]]:
    """Centroid of what is played in each octave: stems while all their notes lie in that octave."""
    octaves = sound.notes["pitch"] // 12
    found = []
    for octave in np.unique(octaves):
        total = np.zeros_like(sound.front.excitation)
        for row, stem in enumerate(sound.stems):
            frames = _frames_in_octave(sound, row, int(octave))
            total[frames] += stem.excitation[frames]
        heard = total.sum(axis=1) > 1e-3 * total.sum(axis=1).max(initial=0.0)
        if heard.any():
            centre = float(np.mean(centroid_cam(specific_loudness(total[heard]))))
            entry = {"from": note_name(int(octave) * 12), "cam": round(centre, 3)}
            found.append(entry | {"hz": round(float(erb_number_to_hz(centre)), 1)})
    return found


def _frames_in_octave(sound: Sound, row: int, octave: int) -> Any:
    """Frames in which a stem plays, and only in that octave."""
    own = sound.notes[sound.notes["stem"] == row]
    inside = np.zeros(len(sound.frame_s), dtype=bool)
    outside = np.zeros(len(sound.frame_s), dtype=bool)
    first = np.searchsorted(sound.frame_s, own["start_s"])
    last = np.searchsorted(sound.frame_s, own["end_s"])
    for start, stop, here in zip(first, last, own["pitch"] // 12 == octave, strict=True):
        (inside if here else outside)[start:stop] = True
    return inside & ~outside
