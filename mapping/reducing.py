"""An arrangement back on two staves: what a pianist at the rehearsal would play from the full score.

The reduction sees only the parts, never the piano piece they came from, so that comparing the two is a proof.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.arrangement import Arrangement, Part
from mapping.reducing_hands import hands_of, shortened
from mapping.reducing_weights import attacks_of
from reading.score import Flag, Mark

if TYPE_CHECKING:
    from mapping.harmony_frames import Ints, Notes

__all__ = ["Reduction", "reduced"]

_NOT_FOR_HANDS = int(Flag.TREMOLO | Flag.TREMOLO_BETWEEN | Flag.GLISSANDO | Flag.CROSS_STAFF)


@dataclass(frozen=True, eq=False)
class Reduction:
    """Two staves made of an arrangement.

    Attributes
    ----------
    arrangement : Arrangement
        For one piano, staff 1 the right hand, below the singers of a song; what the winds held inside the harmony is a
        mark ``pedal``, unless the piano piece has pedal marks of its own.
    struck : int
        Distinct attacks (onset and pitch) of the orchestra.
    resonance : int
        Of these, notes held by winds only that the pedal stands for.
    sung : bool
        Whether singers stand above the piano; their notes are not the hands'.
    """

    arrangement: Arrangement
    struck: int
    resonance: int
    sung: bool = False

    @property
    def notes(self) -> Notes:
        """The notes of both hands, dtype PART_DTYPE, sorted by onset then pitch."""
        return self.arrangement.parts[-1].notes


def reduced(arrangement: Arrangement) -> Reduction:
    """Reduce an arrangement to two staves for two hands.

    Unisons are merged, doublings at the octave dropped unless they support the top or the bass, repetitions faster than
    a hand repeats thinned to every second, and of each onset is kept what two hands can take: at most five notes each
    within a ninth, led so that the hands leap little. The highest and the lowest note weigh most. Grace notes are left
    out, and so is what singers sing, which keeps a staff of its own. The same arrangement always gives the same
    reduction.

    Parameters
    ----------
    arrangement : Arrangement

    Returns
    -------
    Reduction
    """
    from mapping.orchestra import player

    singers = tuple(part for part in arrangement.parts if part.player.family == "voice" and len(part.notes))
    band = tuple(part for part in arrangement.parts if part.player.family != "voice")
    attacks = attacks_of(replace(arrangement, parts=band))
    hands = hands_of(attacks)
    notes = attacks.notes.copy()
    notes["staff"], notes["voice"], notes["part"], notes["technique"], notes["dynamic"] = hands, 1, 0, 0, -1
    notes["flags"] &= np.uint32(~_NOT_FOR_HANDS & 0xFFFFFFFF)
    for hand in (1, 2):
        rows = np.flatnonzero(hands == hand)
        columns = (notes[name][rows] for name in ("onset", "duration", "pitch"))
        notes["duration"][rows] = shortened(*columns, upper=hand == 1)
    marks = () if any(arrangement.score.marks_of("pedal")) else _pedal(attacks.notes[attacks.resonance])
    part = Part(player("piano"), notes[hands > 0], marks)
    says = f"{arrangement.variant}, reduced to two staves"
    back = replace(arrangement, variant=says, says=says, parts=(*singers, part), steps=())
    return Reduction(back, len(notes), int(attacks.resonance.sum()), bool(singers))


def _pedal(held: Notes) -> tuple[Mark, ...]:
    """Pedal marks over what the winds held, neighbours that overlap in one."""
    found: list[list[int]] = []
    for onset, end in zip(held["onset"].tolist(), _ends(held).tolist(), strict=True):
        if found and onset < found[-1][1]:
            found[-1][1] = max(found[-1][1], end)
        else:
            found.append([onset, end])
    return tuple(Mark("pedal", onset, end, value="damper") for onset, end in found)


def _ends(notes: Any) -> Ints:
    """Where notes end, ticks."""
    return np.asarray(notes["onset"] + notes["duration"])
