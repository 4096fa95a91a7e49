"""What happens along the bars: loudness, and how much of the tune is heard beat by beat."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from compare.plots.look import label, legend, plain_axes, style

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from compare.heard import Heard
    from compare.scales import Floats
    from compare.trial import Trial

__all__ = ["Courses", "draw_loudness", "draw_tune", "loudness_data", "tune_data"]

_HOP_S = 0.05
_SHOWN_LU = 30.0


@dataclass(frozen=True, eq=False)
class Courses:
    """Several values along the passage.

    Attributes
    ----------
    seconds : tuple of ndarray
        One per variant.
    values : tuple of ndarray
    names : tuple of str
    places : tuple of int
        Place of each variant in the trial, so that it keeps its look.
    bars : tuple of (str, float)
        Bar number as printed (or index) and start in seconds.
    """

    seconds: tuple[Floats, ...]
    values: tuple[Floats, ...]
    names: tuple[str, ...]
    places: tuple[int, ...]
    bars: tuple[tuple[str, float], ...]


def loudness_data(trial: Trial) -> Courses:
    """Return the momentary loudness (0.4 s) of the clips as scored, at the middle of its window."""
    seconds, values = [], []
    for heard in trial.variants:
        momentary = heard.meter.momentary(_HOP_S)
        values.append(momentary + 20.0 * np.log10(heard.gain_scored))
        seconds.append(np.arange(len(momentary)) * _HOP_S + 0.2)
    names = tuple(heard.variant for heard in trial.variants)
    return Courses(tuple(seconds), tuple(values), names, tuple(range(len(names))), _bars(trial.variants[0]))


def tune_data(trial: Trial) -> Courses | None:
    """Return how much of the tune is heard in every beat (percent), None where no variant knows its tune."""
    seconds, values, names, places = [], [], [], []
    for place, heard in enumerate(trial.variants):
        item = next((m for m in heard.measures if m.quantity.name == "melody_share"), None)
        if item is None or item.value is None:
            continue
        beats = item.detail["per_beat"]
        # The last value is drawn to the end of its beat, taken to be as long as the one before.
        at_s = [beat["at_s"] for beat in beats]
        last_s = at_s[-1] - at_s[-2] if len(at_s) > 1 else 0.5
        seconds.append(np.array([*at_s, at_s[-1] + last_s]))
        values.append(np.array([beat["share"] for beat in [*beats, beats[-1]]]))
        names.append(heard.variant)
        places.append(place)
    if not names:
        return None
    return Courses(tuple(seconds), tuple(values), tuple(names), tuple(places), _bars(trial.variants[0]))


def _bars(heard: Heard) -> tuple[tuple[str, float], ...]:
    """Bars by index and start."""
    return tuple((str(index), start) for index, start in heard.rendering.bar_starts_s)


def draw_loudness(ax: Axes, data: Courses) -> Axes:
    """Draw loudness along the bars."""
    _courses(ax, data, steps=False)
    plain_axes(ax, x="bar", y="loudness as scored, LUFS\n(mean of 0.4 s)")
    _bar_axis(ax, data)
    top = max((float(np.max(row[np.isfinite(row)], initial=-60.0)) for row in data.values), default=-20.0)
    ax.set_ylim(top - _SHOWN_LU, top + 6.0)
    ax.set_xlim(right=max(_heard_until(s, v, top - _SHOWN_LU) for s, v in zip(data.seconds, data.values, strict=True)))
    legend(ax, loc="lower right", ncols=min(3, len(data.names)))
    return ax


def _heard_until(seconds: Floats, values: Floats, floor: float) -> float:
    """Second of the last value above the floor."""
    above = np.flatnonzero(values > floor)
    return float(seconds[above[-1]]) + 0.2 if len(above) else 1.0


def draw_tune(ax: Axes, data: Courses) -> Axes:
    """Draw the share of the tune heard in every beat."""
    _courses(ax, data, steps=True)
    plain_axes(ax, x="bar", y="tune heard, %\n(100: as if alone)")
    _bar_axis(ax, data)
    ax.set_ylim(0.0, 122.0)
    ax.set_yticks([0, 20, 40, 60, 80, 100])
    legend(ax, loc="upper right", ncols=min(3, len(data.names)))
    return ax


def _courses(ax: Axes, data: Courses, *, steps: bool) -> None:
    """Draw one line per variant; values that are not finite leave a gap."""
    for place, name, seconds, values in zip(data.places, data.names, data.seconds, data.values, strict=True):
        shown = np.where(np.isfinite(values), values, np.nan)
        more: dict[str, Any] = {"drawstyle": "steps-post"} if steps else {}
        ax.plot(seconds, shown, label=label(name), **style(place).line(), **more)


def _bar_axis(ax: Axes, data: Courses) -> None:
    """Write bar numbers where the bars begin, not more than about sixteen."""
    bars = data.bars
    if bars:
        every = max(1, -(-len(bars) // 16))
        ax.set_xticks([start for _, start in bars[::every]], labels=[number for number, _ in bars[::every]])
    end = max((float(row[-1]) for row in data.seconds if len(row)), default=1.0)
    ax.set_xlim(0.0, end + 0.3)
