"""The dynamic a player is at, as a curve over musical time."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.levels import levels_at

if TYPE_CHECKING:
    from collections.abc import Callable

    from mapping.arrangement import Part
    from reading.score import Score

__all__ = ["level_curve"]


def level_curve(part: Part, note: Any, score: Score) -> Callable[[Any], np.ndarray[Any, Any]]:
    """Return the dynamic (place on the scale of DYNAMICS) as a function of ticks, for one note of a player."""
    if note["dynamic"] >= 0:
        fixed = float(note["dynamic"])
        return lambda at: np.full(len(at), fixed)
    source = int(note["source"])
    origin = score.notes[source] if 0 <= source < len(score.notes) else None
    row, staff = (int(origin["part"]), int(origin["staff"])) if origin is not None else (0, 0)
    return lambda at: levels_at(score, np.asarray(at), part=row, staff=staff)
