"""Out of range, outside comfort, weak or wild at the dynamic, unprepared extremes, more notes than can be sounded."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from mapping.checks.lines import LevelIndex, level_name
from mapping.checks.report import Check, Fault, gathered
from reading.register import pitch_name

if TYPE_CHECKING:
    from collections.abc import Iterator

    from mapping.checks.lines import Hearing, Line
    from mapping.instruments import Register

__all__ = ["checks"]

_SLACK = 0.5  # a hairpin may pass a register's limit by half a step
_REST_S = 2.0  # after so long a rest a high entry is unprepared
_LEAP = 12
_ALL = 1 << 20  # bars: every fault of the piece in one remark
_ANOTHER_VOICE = "what is sung stays: name another voice under 'singers:', or transpose the song"


def checks(hearing: Hearing) -> Iterator[Check]:
    """Yield the remarks about compass and register."""
    for line in hearing.pitched:
        yield from _range(hearing, line)
        yield from _comfort(hearing, line)
        yield from _register(hearing, line)
        yield from _unprepared(hearing, line)
        yield from _at_once(hearing, line)


def _range(hearing: Hearing, line: Line) -> Iterator[Check]:
    """Notes the instrument does not have."""
    item, name = line.player.instrument, line.player.name
    beyond = (line.pitch < item.low) | (line.pitch > item.high)
    faults = []
    for row in np.flatnonzero(beyond).tolist():
        pitch = int(line.pitch[row])
        side, limit = ("below the lowest", item.low) if pitch < item.low else ("above the highest", item.high)
        there = _octave_within(pitch, item.low, item.high)
        hint = f"; an octave away {pitch_name(there)} is there" if there else ""
        message = f"{line.name(row)} lies {side} note of the {item.name} ({pitch_name(limit)}){hint}"
        faults.append(Fault(int(line.onset[row]), message, row))
    rest = lambda bars: {"rest": [name], "bars": bars}  # noqa: E731 - a remedy per stretch
    remedy = _ANOTHER_VOICE if item.family == "voice" else rest
    yield from gathered(hearing.score, faults, name, "error", "range", remedy)


def _octave_within(pitch: int, low: int, high: int) -> int:
    """Return the nearest octave of *pitch* within the range, 0 where there is none."""
    inside = [pitch + 12 * shift for shift in range(-6, 7) if low <= pitch + 12 * shift <= high]
    return min(inside, key=lambda other: abs(other - pitch)) if inside else 0


def _comfort(hearing: Hearing, line: Line) -> Iterator[Check]:
    """Notes a professional has but a student fears: one remark for the low ones, one for the high ones."""
    item = line.player.instrument
    safe = f"{pitch_name(item.safe_low)} to {pitch_name(item.safe_high)} is safe"
    words = "fine for a professional; for students give it to another player or take the octave"
    words = _ANOTHER_VOICE if item.family == "voice" else words
    low = (line.pitch < item.safe_low) & (line.pitch >= item.low)
    high = (line.pitch > item.safe_high) & (line.pitch <= item.high)
    for side, beyond in (("low", low), ("high", high)):
        faults = [
            Fault(int(line.onset[row]), f"{line.name(row)} is {side} for the {item.name}: {safe}", row)
            for row in np.flatnonzero(beyond).tolist()
        ]
        yield from gathered(hearing.score, faults, line.player.name, "advice", "comfort", words, apart=_ALL)


def _register(hearing: Hearing, line: Line) -> Iterator[Check]:
    """Dynamics the register cannot be relied on for."""
    item, name = line.player.instrument, line.player.name
    for register in item.registers:
        inside = (line.pitch >= register.low) & (line.pitch <= register.high)
        for limit, word in ((register.softest, "softer"), (register.loudest, "louder")):
            if not limit:
                continue
            bound = LevelIndex(limit)
            beyond = line.level < bound - _SLACK if word == "softer" else line.level > bound + _SLACK
            faults = [
                Fault(int(line.onset[row]), _unreliable(line, row, register, f"{word} than {limit}"), row)
                for row in np.flatnonzero(inside & beyond).tolist()
            ]
            step = (
                (lambda bars, mark=limit: {"mark": mark, "on": [name], "bars": bars})
                if word == "softer"
                else ("double it with a stronger player, or give it up an octave")
            )
            yield from gathered(hearing.score, faults, name, "advice", "register", step)


def _unreliable(line: Line, row: int, register: Register, beyond: str) -> str:
    """Say what the register is like at this dynamic."""
    note, level = line.name(row), level_name(line.level[row])
    where = f"the {register.name} register of the {line.player.instrument.name}"
    return f"{note} in {level}: {where} is {register.character}; {beyond} is not to be relied on"


def _unprepared(hearing: Hearing, line: Line) -> Iterator[Check]:
    """High notes of winds that enter after a rest or by a wide leap."""
    item = line.player.instrument
    if item.family not in ("woodwind", "brass") or not len(line):
        return
    rows = line.single
    high = (line.pitch[rows] > item.safe_high) & (line.pitch[rows] <= item.high)
    rest = np.append(np.inf, line.onset_s[rows][1:] - line.end_s[rows][:-1]) >= _REST_S
    leap = np.append(0, np.diff(line.pitch[rows])) > _LEAP
    faults = []
    for place in np.flatnonzero(high & (rest | leap)).tolist():
        how = "after a rest" if rest[place] else "by a leap of more than an octave"
        row = int(rows[place])
        faults.append(Fault(int(line.onset[row]), f"{line.name(row)} is entered {how}", row))
    words = "lead up to it by step, or double the entry with a safer player"
    yield from gathered(hearing.score, faults, line.player.name, "advice", "unprepared", words)


def _at_once(hearing: Hearing, line: Line) -> Iterator[Check]:
    """More notes than the player can sound together (string sections divide, see the string checks)."""
    item, name = line.player.instrument, line.player.name
    if item.family == "strings":
        return
    faults = []
    sounding: list[tuple[int, int]] = []
    for rows in line.attacks:
        now = int(line.onset[rows[0]])
        struck = set(line.pitch[rows].tolist())
        sounding = [(end, pitch) for end, pitch in sounding if end > now and pitch not in struck]
        together = len(sounding) + len(struck)
        if together > item.notes_at_once:
            what = "one note" if item.notes_at_once == 1 else f"{item.notes_at_once} notes"
            faults.append(Fault(now, f"{together} notes at once; the {item.name} sounds {what}", int(rows[0])))
        if item.sustains:
            sounding += [(int(line.end[row]), int(line.pitch[row])) for row in rows.tolist()]
    words = "divide the notes over more players (share: divide)"
    yield from gathered(hearing.score, faults, name, "error", "notes at once", words)
