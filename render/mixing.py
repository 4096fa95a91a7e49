"""One variant on the stage: players placed, summed and sent into the room, a few seconds at a time.

A piece of sound goes through all steps while it is in the processor's own memory; pieces are shared among threads.
Every sample is summed in the order of the players, so that the number of threads changes nothing. Where a player rests
nothing is done.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from render.room import Room
from render.stage import place_into, radiate

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from concurrent.futures import Executor

    from render.stage import Seat

__all__ = ["Placing", "mixed"]

_STEP = 1 << 14

Samples = np.ndarray[Any, np.dtype[np.float32]]


@dataclass(frozen=True, eq=False)
class Placing:
    """A player's sound on its way to the listener.

    Attributes
    ----------
    dry : ndarray, float32, shape (n, 2)
        As the synth gave it.
    stretches : tuple of (int, int)
        Where it is not zero.
    where : Seat
    gain_db : float
        On top of the level by distance.
    out : ndarray, float32, shape (length, 2)
        As it reaches the listener: zeros to be filled, unless it is *placed* already.
    placed : bool
    """

    dry: Samples
    stretches: tuple[tuple[int, int], ...]
    where: Seat
    gain_db: float
    out: Samples
    placed: bool = False

    def add(self, first: int, last: int, mix: Samples, sent: Samples | None) -> None:
        """Place the samples that arrive from *first* to *last*; add them to *mix*, what is radiated to *sent*."""
        delay = self.where.delay_samples
        for start, end in self._sounding(first - delay, last - delay):
            arriving = self.out[start + delay : end + delay]
            if not self.placed:
                place_into(arriving, self.dry[start:end], self.where, self.gain_db)
            here = slice(start + delay - first, end + delay - first)
            mix[here] += arriving
            if sent is not None:
                radiate(sent[here], self.dry[start:end], self.gain_db)

    def _sounding(self, first: int, last: int) -> Iterator[tuple[int, int]]:
        """Stretches inside a range."""
        for start, end in self.stretches:
            if start < last and end > first:
                yield max(start, first), min(end, last)


def mixed(players: Sequence[Placing], length: int, *, room: bool, pool: Executor) -> tuple[Samples, Samples | None]:
    """Place all players of a variant; return their sum, and what the room answers.

    Parameters
    ----------
    players : sequence of Placing
        Their ``out`` is filled.
    length : int
        Samples of the mix; what arrives later is left out.
    room : bool
    pool : Executor
        Shares the work.

    Returns
    -------
    mix : ndarray, float32, shape (length, 2)
        Players and room.
    answer : ndarray, float32, shape (length, 2), or None
        What the room answers; None without a room.
    """
    hall = Room() if room else None
    block = hall.block if hall else _STEP
    mix = np.zeros((length, 2), np.float32)
    answer = np.zeros((length, 2), np.float32) if hall else None

    def piece(first: int) -> Samples | None:
        """Place one piece of the mix; returns what the room makes of it."""
        last = min(first + block, length)
        sent = np.zeros(last - first, np.float32) if hall else None
        for at in range(first, last, _STEP):
            to = min(at + _STEP, last)
            for player in players:
                player.add(at, to, mix[at:to], None if sent is None else sent[at - first : to - first])
        return hall.spread(sent) if hall and sent is not None else None

    starts = range(0, length, block)
    for first, spread in zip(starts, pool.map(piece, starts), strict=True):
        if hall and answer is not None and spread is not None:
            last = min(first + block, length)
            answer[first:last] = hall.joined(spread, last - first)
            mix[first:last] += answer[first:last]
    return mix, answer
