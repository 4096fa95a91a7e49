"""Balance: how far each layer lies under or over the tune."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from compare.quantity import Quantity, Reading, Undefined
from compare.sounding import LAYERS

if TYPE_CHECKING:
    from compare.scales import Floats
    from compare.sound import Sound

__all__ = ["Balance", "beat_power", "level_difference_lu"]

_ACTIVE_DB = 20.0
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
            "Difference of the mean K-weighted powers of both layers' stems over the beats in which each is within "
            "20 dB of its own loudest beat. One set of beats for both: separate gates would shift it by up to 1.5 LU."
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


def level_difference_lu(layer: Floats, tune: Floats) -> float | None:
    """Return the layer's level over the tune's in LU over the beats in which both sound; None where there is none."""
    if layer.max(initial=0.0) <= 0.0 or tune.max(initial=0.0) <= 0.0:
        return None
    floor = 10.0 ** (-_ACTIVE_DB / 10.0)
    both = (layer > floor * layer.max()) & (tune > floor * tune.max())
    return float(10.0 * np.log10(layer[both].mean() / tune[both].mean())) if both.any() else None


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
            value = level_difference_lu(row, tune)
            if value is not None:
                found[f"balance_{layer.replace('-', '_')}"] = Reading(value, {"per_beat": _curve(row, tune, sound)})
        return found


def _curve(layer: Floats, tune: Floats, sound: Sound) -> list[dict[str, Any]]:
    """Difference in every beat in which both sound."""
    return [
        {"bar": bar, "beat": beat, "lu": round(float(10.0 * np.log10(a / b)), 1)}
        for (bar, beat), a, b in zip(sound.beats.places, layer, tune, strict=True)
        if a > 0.0 and b > 0.0
    ]
