"""Balance: how far each layer lies under or over the tune."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from compare.quantity import Quantity, Reading, Undefined
from compare.sounding import LAYERS

if TYPE_CHECKING:
    from compare.scales import Floats
    from compare.sound import Sound

__all__ = ["Balance", "beat_power", "beats_with_notes", "level_difference_lu"]

_SHARE = 0.25
_CALLED = {
    "bass": "The bass",
    "middle": "The middle",
    "counter-melody": "The counter-melody",
    "added": "What the steps add",
}


def _quantity(layer: str) -> Quantity:
    """Define the balance of one layer with the tune."""
    called = _CALLED[layer]
    return Quantity(
        name=f"balance_{layer.replace('-', '_')}",
        title=f"{called} against the tune",
        unit="LU",
        definition=(
            "Difference of the mean K-weighted powers of both layers' stems over the beats in which both have notes "
            "for a quarter of the beat or more. One set of beats for both: separate gates would shift it by up to "
            "1.5 LU."
        ),
        source="K weighting: ITU-R BS.1770-5 Annex 1; the rest our own",
        meaning=f"{called} lies at {{value}} from the tune (minus: under it).",
        noticeable=1.0,
        noticeable_from="about 1 dB in running music (from memory)",
        more=f"lifts {called[0].lower()}{called[1:]} by {{amount}} against the tune",
        less=f"lowers {called[0].lower()}{called[1:]} by {{amount}} against the tune",
    )


def beat_power(power: Floats, frame_s: Floats, edges_s: Floats) -> Floats:
    """Return the mean power of every beat, shape (layers, beats), from frames, shape (layers, frames)."""
    beat = np.searchsorted(edges_s, frame_s, side="right") - 1
    count = len(edges_s) - 1
    inside = (beat >= 0) & (beat < count)
    sums = np.array([np.bincount(beat[inside], weights=row[inside], minlength=count) for row in power])
    return np.asarray(sums / np.maximum(1, np.bincount(beat[inside], minlength=count)))


def beats_with_notes(start_s: Floats, end_s: Floats, edges_s: Floats) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Return for every beat whether a note sounds in a quarter of it or more, shape (beats,)."""
    shared = np.minimum(end_s[:, None], edges_s[1:]) - np.maximum(start_s[:, None], edges_s[:-1])
    return np.asarray((shared >= _SHARE * np.diff(edges_s)).any(axis=0))


def level_difference_lu(layer: Floats, tune: Floats) -> float | None:
    """Return the level of the layer's mean power over the tune's in LU; None where one of them is silent."""
    if not len(layer) or layer.mean() <= 0.0 or tune.mean() <= 0.0:
        return None
    return float(10.0 * np.log10(layer.mean() / tune.mean()))


class Balance:
    """Every layer against the tune."""

    name: ClassVar[str] = "balance"
    version: ClassVar[int] = 1
    quantities: ClassVar[tuple[Quantity, ...]] = tuple(_quantity(layer) for layer in LAYERS if layer != "melody")

    def measure(self, sound: Sound) -> dict[str, Reading]:
        """Return the balance of the layers that sound."""
        power = beat_power(sound.layer_k_power, sound.frame_s, sound.beats.edges_s)
        tune = power[LAYERS.index("melody")]
        if not tune.any():
            msg = "no player has the tune in these bars"
            raise Undefined(msg)
        found = {}
        for layer in _CALLED:
            row = power[LAYERS.index(layer)]
            both = _noted(sound, layer) & _noted(sound, "melody")
            value = level_difference_lu(row[both], tune[both])
            if value is not None:
                curve = _curve(row, tune, np.flatnonzero(both), sound)
                found[f"balance_{layer.replace('-', '_')}"] = Reading(value, {"per_beat": curve})
        return found


def _noted(sound: Sound, layer: str) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Beats in which a layer has notes."""
    own = sound.notes[sound.notes["layer"] == LAYERS.index(layer)]
    return beats_with_notes(own["start_s"], own["end_s"], sound.beats.edges_s)


def _curve(layer: Floats, tune: Floats, beats: Any, sound: Sound) -> list[dict[str, Any]]:
    """Difference in every beat in which both have notes."""
    return [
        {"bar": sound.beats.places[row][0], "beat": sound.beats.places[row][1], "lu": round(_lu(layer, tune, row), 1)}
        for row in beats
        if layer[row] > 0.0 and tune[row] > 0.0
    ]


def _lu(layer: Floats, tune: Floats, row: int) -> float:
    """Difference in one beat."""
    return float(10.0 * np.log10(layer[row] / tune[row]))
