"""The piano itself as an arrangement: the reference every variant is compared with."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from mapping.arrangement import PART_DTYPE
from mapping.arranging import arranged
from mapping.draft import Draft

if TYPE_CHECKING:
    from mapping.arrangement import Arrangement
    from reading.score import Score

__all__ = ["piano"]


def piano(score: Score) -> Arrangement:
    """Return the piece as the piano has it, as an arrangement with one player.

    Parameters
    ----------
    score : Score
    """
    from mapping.orchestra import players_of

    notes = np.zeros(len(score.notes), dtype=PART_DTYPE)
    for name in score.notes.dtype.names or ():
        notes[name] = score.notes[name]
    notes["source"], notes["part"], notes["dynamic"] = score.notes["id"], 0, -1
    return arranged("piano", "the piano piece", score, players_of(players=["piano"]), Draft(notes), ())
