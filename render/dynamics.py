"""The dynamic a player is at, as a curve over musical time.

Where the score holds no dynamic at all but velocities (a MIDI file), those stand for it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.levels import levels_at
from reading.score import DYNAMICS
from reading.sung import lead_part
from soundfonts.calibration import LAYERS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reading.score import Mark, Score

__all__ = ["Dynamics"]

Floats = np.ndarray[Any, np.dtype[np.float64]]


class Dynamics:
    """Dynamics of one score, found once and asked often.

    Parameters
    ----------
    score : Score
    """

    def __init__(self, score: Score) -> None:
        self.score = score
        self._curves: dict[tuple[int, int], tuple[Floats, Floats]] = {}
        self._by_velocity = not any(mark.value in DYNAMICS for mark in score.marks_of("dynamic"))

    def at(self, note: Any, ticks: Floats, marks: Sequence[Mark] = ()) -> Floats:
        """Return the dynamic of one note at *ticks* of its length, shape of *ticks*.

        A mark that falls into a held note is for those who begin there; the held note goes on as it was and follows
        hairpins only.

        Parameters
        ----------
        note : row of dtype PART_DTYPE
        ticks : ndarray, float
            Ascending, the first is where the note begins.
        marks : sequence of Mark
            The player's own; its hairpins come on top.
        """
        if note["dynamic"] >= 0:
            level = np.full(len(ticks), float(note["dynamic"]))
        elif self._by_velocity and note["velocity"] > 0:
            level = np.full(len(ticks), _of_velocity(float(note["velocity"])))
        else:
            level = self._marked(note, ticks)
        for mark in marks:
            if mark.kind == "hairpin" and mark.end > mark.onset:
                sign = 1.0 if mark.value == "cresc" else -1.0
                share = (ticks - mark.onset) / (mark.end - mark.onset)
                inside = (share >= 0.0) & (share <= 1.0)
                level = level + np.where(inside, sign * np.clip(share, 0.0, 1.0), 0.0)
        return np.asarray(np.clip(level, 0.0, len(DYNAMICS) - 1.0))

    def _marked(self, note: Any, ticks: Floats) -> Floats:
        """Dynamic by the score's marks, without the jumps inside the note."""
        at, level = self._curve(note)
        inside = np.flatnonzero((at > ticks[0]) & (at <= ticks[-1]))
        found: Floats = np.interp(ticks, at, level)
        for row in inside:
            if row and at[row] - at[row - 1] == 1.0:  # knots one tick apart are a jump
                found[ticks >= at[row]] -= level[row] - level[row - 1]
        return found

    def _curve(self, note: Any) -> tuple[Floats, Floats]:
        """Knots of the curve for the staff a note comes from."""
        source = int(note["source"])
        if 0 <= source < len(self.score.notes):
            origin = self.score.notes[source]
            place = int(origin["part"]), int(origin["staff"])
        else:
            place = lead_part(self.score), 1
        if place not in self._curves:
            self._curves[place] = _knots(self.score, *place)
        return self._curves[place]


def _knots(score: Score, part: int, staff: int) -> tuple[Floats, Floats]:
    """Places where the dynamic changes (each with the tick before it) and the levels there; straight between."""
    edges = {0}
    for mark in score.marks_of("dynamic", "hairpin"):
        for tick in (mark.onset, mark.end):
            edges.update((max(0, tick - 1), tick))
    at = np.array(sorted(edges), np.float64)
    return at, levels_at(score, at, part=part, staff=staff).astype(np.float64)


def _of_velocity(velocity: float) -> float:
    """Dynamic that a MIDI velocity stands for."""
    return float(np.interp(velocity, [row[2] for row in LAYERS], [row[1] for row in LAYERS]))
