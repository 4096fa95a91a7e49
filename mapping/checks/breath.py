"""Breath: notes longer than one breath, stretches without a place to breathe."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from mapping.checks.lines import LevelIndex
from mapping.checks.report import Check, Fault, gathered

if TYPE_CHECKING:
    from collections.abc import Iterator

    from mapping.checks.lines import Floats, Hearing, Line

__all__ = ["breath_limit_s", "checks"]

_GAP_S = 0.2  # a gap in which a breath can be snatched
_CLIP_S = 0.6  # a note of this length, not bound to the next, can be clipped for a breath
_SOFT, _LOUD = LevelIndex("p"), LevelIndex("ff")
_HOPELESS = 2.0  # twice the limit: nobody holds it


def breath_limit_s(line: Line) -> Floats:
    """Return the longest note on one breath at each note's dynamic, seconds, shape (notes,)."""
    item = line.player.instrument
    soft, loud = item.breath_soft_s or np.inf, item.breath_loud_s or np.inf
    share = np.clip((line.level - _SOFT) / (_LOUD - _SOFT), 0, 1)
    return np.asarray(soft + (loud - soft) * share)


def checks(hearing: Hearing) -> Iterator[Check]:
    """Yield the remarks about breath."""
    for line in hearing.lines:
        if line.player.instrument.breath_soft_s is not None and line.player.count == 1:
            yield from _long_notes(hearing, line)
            yield from _no_gap(hearing, line)


def _long_notes(hearing: Hearing, line: Line) -> Iterator[Check]:
    """Single notes longer than a breath."""
    name, length, limit = line.player.name, line.end_s - line.onset_s, breath_limit_s(line)
    for severity, lower, upper in (("advice", 1.0, _HOPELESS), ("error", _HOPELESS, np.inf)):
        rows = np.flatnonzero((length > lower * limit) & (length <= upper * limit)).tolist()
        faults = [
            Fault(
                int(line.onset[row]),
                f"held for {length[row]:.0f} s; one breath lasts about {limit[row]:.0f} s here",
                row,
            )
            for row in rows
        ]
        words = "let two players take it in turns, or strike it again: {restrike: bars}"
        yield from gathered(hearing.score, faults, name, severity, "breath", words)


def _no_gap(hearing: Hearing, line: Line) -> Iterator[Check]:
    """Stretches of bound or short notes longer than a breath."""
    rows, limit = line.single, breath_limit_s(line)
    faults, start = [], 0
    for place in range(len(rows)):
        row = int(rows[place])
        last = place + 1 == len(rows)
        if not last and not _can_breathe(line, row, int(rows[place + 1])):
            continue
        first = int(rows[start])
        length = float(line.end_s[row] - line.onset_s[first])
        if place > start and length > limit[first]:
            message = f"{length:.0f} s without a place to breathe; one breath lasts about {limit[first]:.0f} s here"
            faults.append(Fault(int(line.onset[first]), message, first))
        start = place + 1
    words = "leave a note out on the way, or hand over to another player"
    yield from gathered(hearing.score, faults, line.player.name, "advice", "breath", words)


def _can_breathe(line: Line, row: int, following: int) -> bool:
    """Whether a breath can be taken between two notes."""
    if line.onset_s[following] - line.end_s[row] >= _GAP_S:
        return True
    return bool(line.end_s[row] - line.onset_s[row] >= _CLIP_S and not line.slurred[row])
