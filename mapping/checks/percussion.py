"""Percussion without pitch: how many players it takes, and whether they can change instruments in time.

One percussionist plays one instrument at a time. How long a change takes stands in the instruments' table (*from
memory*); three percussionists beside the timpanist are the usual section (*common practice, no source*).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from mapping.arrangement import TECHNIQUES
from mapping.checks.report import Check, Fault, gathered

if TYPE_CHECKING:
    from collections.abc import Iterator

    from mapping.checks.lines import Hearing, Line

__all__ = ["USUAL", "checks"]

USUAL = 3
"""Percussionists of a usual section, the timpanist not counted."""

_MANY = "book them, or let the instruments enter one after the other"
_ALL = 1 << 20  # bars: every fault of the piece in one remark
_ROLL = TECHNIQUES.index("roll")
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven")


def checks(hearing: Hearing) -> Iterator[Check]:
    """Yield one remark on the percussionists needed, and one on every place that asks for more than a usual section."""
    lines = [line for line in hearing.lines if line.player.instrument.unpitched is not None]
    needed = _section(lines)
    if len(needed) > 1:
        first = needed[1]
        count = _NUMBERS[len(needed)] if len(needed) < len(_NUMBERS) else str(len(needed))
        message = f"the percussion takes {count} players: {first.message}"
        yield from gathered(hearing.score, [Fault(first.tick, message)], "", "advice", "percussion", _MANY)
    words = "leave a stroke out, or give the players longer to change"
    many = [Fault(one.tick, f"{one.message}; {USUAL} players are usual") for one in needed[USUAL:]]
    yield from gathered(hearing.score, many, "", "advice", "percussion", words, apart=_ALL)


def _section(lines: list[Line]) -> list[Fault]:
    """Percussionists in the order they are needed: the stroke that asks for each, and why those before cannot play it.

    Each stroke goes to whoever is at the instrument, else to the player idle for longest who has time to change. A
    stroke that rings on leaves the hands free; a roll does not.
    """
    strokes = sorted(
        (float(line.onset_s[row]), float(until_s[row]), int(line.onset[row]), place)
        for place, line in enumerate(lines)
        for until_s in [np.where(line.notes["technique"] == _ROLL, line.end_s, line.onset_s)]
        for row in range(len(line))
    )
    at: list[int] = []  # the instrument each percussionist stands at, as a row of lines
    free_s: list[float] = []
    needed = []
    for start_s, end_s, tick, place in strokes:
        item = lines[place].player.instrument
        change_s = item.unpitched.change_s if item.unpitched else 0.0
        if place in at:
            who = at.index(place)
        else:
            idle = [one for one in range(len(at)) if free_s[one] + change_s <= start_s]
            who = min(idle, key=lambda one: free_s[one]) if idle else len(at)
        if who == len(at):
            needed.append(Fault(tick, _why(lines, at, free_s, place, start_s)))
            at.append(place)
            free_s.append(end_s)
        at[who], free_s[who] = place, max(free_s[who], end_s)
    return needed


def _why(lines: list[Line], at: list[int], free_s: list[float], place: int, now_s: float) -> str:
    """Why nobody who stands at another instrument can take this stroke."""
    name = lines[place].player.name
    if not at:
        return f"the {name} enters"
    first = min(range(len(at)), key=lambda one: free_s[one])
    other, left_s = lines[at[first]].player.name, now_s - free_s[first]
    if left_s <= 0:
        return f"{name} and {other} play together"
    item = lines[place].player.instrument
    wanted_s = item.unpitched.change_s if item.unpitched else 0.0
    return f"{left_s:.1f} s to change from the {other} to the {name}, which takes about {wanted_s:.0f} s"
