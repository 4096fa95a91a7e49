"""Strings: which chords lie under the hand, where the section must divide, chords held too long."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from mapping.checks.report import Check, Fault, gathered

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from mapping.checks.lines import Hearing, Line
    from mapping.instruments import Instrument

__all__ = ["checks", "stopping"]

_HELD_S = 1.0  # three or four notes can only be broken; longer, two remain
_HIGHEST_STOP = 14  # semitones above the open string within which stops are sought


def stopping(item: Instrument, pitches: Sequence[int], *, highest: int = _HIGHEST_STOP) -> tuple[int, ...] | None:
    """Return the strings (from the lowest, 0) a chord lies on, or None where it does not lie under the hand.

    Parameters
    ----------
    item : Instrument
        With ``open_strings`` and ``stop_reach``.
    pitches : sequence of int
        Sounding MIDI, low to high. Each takes one string, the strings are neighbours, and fingers on neighbouring
        strings may not lie further apart than ``stop_reach``; open strings are free.
    highest : int
        Semitones above the open string within which fingers stop: 7 keeps to the first positions.

    Returns
    -------
    tuple of int or None
    """
    count, strings = len(pitches), item.open_strings
    for first in range(len(strings) - count + 1):
        places = [pitch - strings[first + row] for row, pitch in enumerate(pitches)]
        if min(places) < 0 or max(places) > highest:
            continue
        stopped = [place for place in places if place > 0]
        near = all(a == 0 or b == 0 or abs(a - b) <= item.stop_reach for a, b in pairwise(places))
        if near and (not stopped or max(stopped) - min(stopped) <= item.stop_reach + 2):
            return tuple(range(first, first + count))
    return None


def checks(hearing: Hearing) -> Iterator[Check]:
    """Yield the remarks about chords on strings."""
    for line in hearing.lines:
        if line.player.instrument.open_strings:
            yield from _chords(hearing, line)


def _chords(hearing: Hearing, line: Line) -> Iterator[Check]:
    """Chords that do not lie, that need a divided section, that cannot be held."""
    item, name, count = line.player.instrument, line.player.name, line.player.count
    hard, divide, short = [], [], []
    for rows, pitches in _together(line):
        tick, size = int(line.onset[rows[0]]), len(pitches)
        lies = stopping(item, pitches)
        if lies is None:
            if count >= size:
                divide.append(
                    Fault(tick, f"a chord of {size} that does not lie on the strings: the {item.section} must divide")
                )
            else:
                hard.append(Fault(tick, f"a chord of {size} that does not lie on the strings of the {item.name}"))
        elif size > 2 and float((line.end_s[rows] - line.onset_s[rows]).min()) > _HELD_S:
            short.append(Fault(tick, f"a chord of {size} can only be broken: two of its notes can be held"))
    words = "leave notes out, or share the chord with another player: {share: divide}"
    yield from gathered(hearing.score, hard, name, "error", "stops", words)
    mark = lambda bars: {"mark": "div.", "on": [name], "bars": bars}  # noqa: E731 - a remedy per stretch
    yield from gathered(hearing.score, divide, name, "advice", "divisi", mark)
    yield from gathered(hearing.score, short, name, "advice", "held chord", "hold the upper two, or divide the section")


def _together(line: Line) -> Iterator[tuple[list[int], list[int]]]:
    """Yield rows and pitches, low to high, of what sounds together at each attack, where it is more than one note."""
    sounding: list[int] = []
    for rows in line.attacks:
        now = int(line.onset[rows[0]])
        sounding = [row for row in sounding if int(line.end[row]) > now]
        sounding += rows.tolist()
        pitches = sorted({int(line.pitch[row]) for row in sounding})
        if len(pitches) > 1:
            yield rows.tolist(), pitches
