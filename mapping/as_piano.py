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
    """Return the piece as the piano has it, as an arrangement with one player; a song's singers sing.

    Parameters
    ----------
    score : Score
    """
    from mapping.orchestra import players_of
    from mapping.singing import is_singer, singing_of

    singing = singing_of(players_of(players=["piano"]), score)
    order = sorted(range(len(singing.players)), key=lambda row: not is_singer(singing.players[row]))
    own, sung = score.notes[~singing.kept], singing.notes.copy()
    notes = np.zeros(len(own), dtype=PART_DTYPE)
    for name in own.dtype.names or ():
        notes[name] = own[name]
    notes["source"], notes["part"], notes["dynamic"] = own["id"], len(order) - 1, -1
    sung["part"] = [order.index(row) for row in sung["part"].tolist()]  # above the piano, as in the song's own score
    says = "the song" if len(sung) else "the piano piece"
    players = tuple(singing.players[row] for row in order)
    return arranged("piano", says, score, players, Draft(np.concatenate([notes, sung])), ())
