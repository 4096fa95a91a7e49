"""How far the tune stands above what would cover it, band by band and beat by beat.

Partial loudness after Moore, Glasberg and Baer: the loudness the tune keeps while the others sound, against the
loudness it would have alone. It ranks mixtures; it is known to underrate what is heard in real music (Ma, Reiss and
Black, AES 53rd Conference, 2014), and an ear that follows the tune by its line or its timbre hears more than a model
of masking does.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from compare.front import BAND_HZ
from compare.quantity import Quantity, Reading, Undefined
from compare.sounding import LAYERS

if TYPE_CHECKING:
    from compare.scales import Floats
    from compare.sound import Sound

__all__ = ["Audibility", "margin_db", "partial_loudness_share", "threshold"]

_C, _ALPHA, _A = 0.046871, 0.2, 4.72
_K_HZ = (50.0, 100.0, 150.0, 200.0, 300.0, 500.0, 1000.0)
_K_DB = (13.5, 4.9, 1.9, 0.4, -1.1, -2.3, -3.0)
_QUIET_DB = 3.73
_NEAR_DB = 30.0

_SOURCE = "Moore, Glasberg & Baer 1997, J. Audio Eng. Soc. 45:224, equations 17 and 18; excitation from the stems"
_SHARE = Quantity(
    name="melody_share",
    title="Tune heard",
    unit="%",
    definition=(
        "Per beat, partial loudness of the tune beside all other stems over its loudness alone, summed over the 37 "
        "auditory bands, mix at 70 dB; median over the beats. Frames count where the tune is within 30 dB of its own "
        "maximum."
    ),
    source=_SOURCE,
    meaning="Of the tune's own loudness {value} is left among the others.",
    noticeable=5.0,
    noticeable_from="what 1 dB on the tune changes (2.5 to 4 points) and human re-performance, whichever is larger",
    more="lets more of the tune through, by {amount}",
    less="covers more of the tune, by {amount}",
    decimals=0,
    step_unit="percentage points",
)
_WORST = Quantity(
    name="melody_share_worst",
    title="Tune heard in the worst beats",
    unit="%",
    definition="As the tune's share; 10th percentile over the beats.",
    source=_SOURCE,
    meaning="In the worst tenth of the beats {value} of the tune's loudness is left.",
    noticeable=5.0,
    noticeable_from="as the tune's share",
    more="lets more of the tune through in its worst beats, by {amount}",
    less="covers more of the tune in its worst beats, by {amount}",
    decimals=0,
    step_unit="percentage points",
)
_MARGIN = Quantity(
    name="melody_margin",
    title="Distance of the tune from vanishing",
    unit="dB",
    definition=(
        "10 lg √Σ r², r = excitation of the tune over its masked threshold, in the bands within 30 dB of the tune's "
        "strongest; median over the beats."
    ),
    source=_SOURCE,
    meaning="The tune could be {value} softer before it is lost.",
    noticeable=2.0,
    noticeable_from="three standard deviations of human re-performance in three pieces (0.1 to 0.7 dB each)",
    more="puts the tune {amount} further from vanishing",
    less="brings the tune {amount} nearer to vanishing",
)


def threshold_in_quiet_db() -> Floats:
    """Return the excitation at threshold in quiet of every band: 3.73 dB from 500 Hz up, rising below."""
    l = np.log10(np.minimum(BAND_HZ, 500.0))  # noqa: E741  (the formula's own letter)
    rising = 10.0 ** (0.430688 * l**3 - 2.79761 * l**2 + 5.073847 * l - 1.206062)
    return np.where(BAND_HZ >= 500.0, _QUIET_DB, rising)


def threshold(others: Floats) -> Floats:
    """Return the excitation the tune needs to be heard, per band, among *others* (same shape)."""
    factor = 10.0 ** (np.interp(np.log(BAND_HZ), np.log(_K_HZ), _K_DB) / 10.0)
    return np.asarray(factor * others + 10.0 ** (threshold_in_quiet_db() / 10.0))


def _partial(tune: Floats, others: Floats) -> Floats:
    """Specific partial loudness per band (equations 17 and 18, the branch below 100 dB)."""
    quiet_db = threshold_in_quiet_db()
    quiet = 10.0 ** (quiet_db / 10.0)
    gain = 10.0 ** ((_QUIET_DB - quiet_db) / 10.0)
    needed = threshold(others)

    def compressed(excitation: Floats) -> Floats:
        return np.asarray((gain * excitation + _A) ** _ALPHA)

    total, low = compressed(tune + others), _A**_ALPHA
    masked = compressed(others + needed) - compressed(quiet)
    with np.errstate(divide="ignore", invalid="ignore"):
        above = _C * (total - low) - _C * masked * (needed / tune) ** 0.3
        gap = compressed(others + needed) - compressed(others)
        below = _C * (2.0 * tune / (tune + needed)) ** 1.5 * (compressed(quiet) - low) / gap
        below = below * (total - compressed(others))
    return np.where(tune >= needed, above, np.where(tune > 0.0, below, 0.0))


def partial_loudness_share(tune: Floats, others: Floats) -> Floats:
    """Return the loudness left to the tune among the others over its loudness alone, 0 to 1.

    Parameters
    ----------
    tune, others : ndarray, shape (..., 37)
        Excitation as power re 0 dB SPL.
    """
    alone = _partial(tune, np.zeros_like(tune)).sum(axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = _partial(tune, others).sum(axis=-1) / alone
    return np.asarray(np.clip(np.where(alone > 0.0, share, 0.0), 0.0, 1.0))


def margin_db(tune: Floats, others: Floats) -> Floats:
    """Return by how many dB the tune could be turned down before it is lost (negative: it is lost already)."""
    near = tune >= tune.max(axis=-1, keepdims=True) * 10.0 ** (-_NEAR_DB / 10.0)
    ratio = np.where(near, tune / threshold(others), 0.0)
    return np.asarray(5.0 * np.log10(np.maximum(np.sum(ratio**2, axis=-1), 1e-30)))


def per_beat(tune: Floats, others: Floats, frame_s: Floats, edges_s: Floats) -> tuple[Floats, Floats, list[int]]:
    """Return mean excitation per beat of tune and others, and the numbers of the beats in which the tune sounds."""
    power = tune.sum(axis=1)
    sounding = power > 1e-3 * power.max(initial=0.0)
    beat = np.searchsorted(edges_s, frame_s, side="right") - 1
    rows = [number for number in range(len(edges_s) - 1) if np.any(sounding & (beat == number))]
    pick = [sounding & (beat == number) for number in rows]
    if not rows:
        return np.zeros((0, tune.shape[1])), np.zeros((0, tune.shape[1])), []
    return (
        np.array([tune[frames].mean(axis=0) for frames in pick]),
        np.array([others[f].mean(axis=0) for f in pick]),
        rows,
    )


class Audibility:
    """The tune beside everything else."""

    name: ClassVar[str] = "audibility"
    version: ClassVar[int] = 1
    quantities: ClassVar[tuple[Quantity, ...]] = (_SHARE, _WORST, _MARGIN)

    def measure(self, sound: Sound) -> dict[str, Reading]:
        """Return share, worst share and margin."""
        melody = LAYERS.index("melody")
        excitation = sound.layer_excitation
        tune = excitation[melody]
        if not tune.any():
            msg = "no player has the tune in these bars"
            raise Undefined(msg)
        others = excitation.sum(axis=0) - tune
        if not others.any():
            msg = "the tune is alone"
            raise Undefined(msg)
        mine, theirs, rows = per_beat(tune, np.maximum(others, 0.0), sound.frame_s, sound.beats.edges_s)
        if not rows:
            return {}
        share, margin = 100.0 * partial_loudness_share(mine, theirs), margin_db(mine, theirs)
        bands = 10.0 * np.log10(np.maximum(np.median(mine / threshold(theirs), axis=0), 1e-6))
        detail: dict[str, Any] = {
            "per_beat": _curve(sound, rows, share, margin),
            "band_hz": [round(float(hz), 1) for hz in BAND_HZ],
            "above_threshold_db": [round(float(db), 1) for db in bands],
        }
        return {
            "melody_share": Reading(float(np.median(share)), detail),
            "melody_share_worst": Reading(float(np.percentile(share, 10.0))),
            "melody_margin": Reading(float(np.median(margin))),
        }


def _curve(sound: Sound, rows: list[int], share: Floats, margin: Floats) -> list[dict[str, Any]]:
    """Share and margin of every beat in which the tune sounds."""
    found = []
    for row, percent, decibels in zip(rows, share, margin, strict=True):
        bar, beat = sound.beats.places[row]
        at_s = round(float(sound.beats.edges_s[row]), 3)
        place = {"bar": bar, "beat": beat, "at_s": at_s}
        found.append(place | {"share": round(float(percent), 1), "margin_db": round(float(decibels), 1)})
    return found
