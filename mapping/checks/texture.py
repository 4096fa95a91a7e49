"""The whole texture: crossing parts, muddy low intervals, an empty middle."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.checks.lines import LevelIndex
from mapping.checks.report import Check, Fault, gathered
from mapping.harmony_frames import frame_starts, pairs_of
from mapping.orchestra import palette_of
from reading.register import note_name
from reading.score import TICKS_PER_QUARTER

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from mapping.checks.lines import Hearing, Line
    from reading.score import Score

    Name = Callable[[int, int], str]

__all__ = ["LOWEST", "checks"]

LOWEST = {1: 52, 2: 51, 3: 48, 4: 47, 5: 45, 6: 47, 7: 37, 8: 41, 9: 41, 10: 41, 11: 41}
"""Lowest MIDI pitch of the lower note, by interval in semitones, for clear sound.

References
----------
"Low Interval Limit", retailer's glossary, sweetwater.com/insync (its octave numbers raised by one; the tritone, printed
as B1, is taken as B2). In symphonies of 1788 to 1893 1.6 to 7.2 % of neighbouring intervals lie lower.
"""

_EMPTY = 12  # semitones between neighbouring notes that leave a hole in forte
_LOUD = LevelIndex("f") - 0.5
_CROSSED_Q = 1.0  # shorter crossings pass unnoticed
_MUDDY_Q = 0.5
_PHRASE = 4  # bars: low intervals of one phrase are one remark


def checks(hearing: Hearing) -> Iterator[Check]:
    """Yield the remarks about the whole texture."""
    if not hearing.pitched:
        return
    yield from _crossings(hearing)
    yield from _vertical(hearing)


def _namer(score: Score) -> Name:
    """Return a function that names a pitch at a tick as the score spells it there."""
    return lambda pitch, tick: note_name(score, pitch, score.bar_at(tick), score.bar_at(tick))


def _crossings(hearing: Hearing) -> Iterator[Check]:
    """Second players above first ones, basses above cellos; where singers cross is not the arranger's choice."""
    by_kind: dict[str, list[Line]] = {}
    name = _namer(hearing.score)
    for line in [one for one in hearing.pitched if one.player.family != "voice"]:
        key = "low strings" if line.player.instrument.name in ("cello", "double bass") else line.player.instrument.name
        by_kind.setdefault(key, []).append(line)
    for lines in by_kind.values():
        for upper, lower in pairwise(lines):
            faults = [
                Fault(tick, f"lies above {upper.player.name} ({name(low, tick)} over {name(high, tick)})")
                for tick, low, high in _crossed(upper, lower)
            ]
            words = f"exchange the notes with {upper.player.name}, unless the crossing is meant"
            yield from gathered(hearing.score, faults, lower.player.name, "advice", "crossing", words)


def _crossed(upper: Line, lower: Line) -> list[tuple[int, int, int]]:
    """Return ``(tick, lower part's pitch, upper part's)`` where the lower part lies above for a quarter or more."""
    found: list[tuple[int, int, int]] = []
    if not _monophonic(upper):
        return found
    rows, others, overlap = pairs_of(lower.notes, upper.onset, upper.end)
    for row, other, length in zip(rows.tolist(), others.tolist(), overlap.tolist(), strict=True):
        low, high = int(lower.pitch[row]), int(upper.pitch[other])
        if low > high and length >= _CROSSED_Q * TICKS_PER_QUARTER:
            found.append((int(max(lower.onset[row], upper.onset[other])), low, high))
    return found


def _monophonic(line: Line) -> bool:
    """Whether the line never sounds two notes at once, so that its spans are in order."""
    return bool((line.onset[1:] >= line.end[:-1]).all())


def _vertical(hearing: Hearing) -> Iterator[Check]:
    """Low close intervals and an empty middle, half beat by half beat."""
    score = hearing.score
    name = _namer(score)
    notes = np.concatenate([line.notes for line in hearing.pitched])
    level = np.concatenate([line.level for line in hearing.pitched])
    order = np.argsort(notes["onset"], kind="stable")
    notes, level = notes[order], level[order]
    starts, ends, _ = frame_starts(hearing.score)
    rows, frames, _ = pairs_of(notes, starts, ends)
    edges = np.searchsorted(frames, np.arange(len(starts) + 1)).tolist()
    pitch = notes["pitch"].astype(np.int64)[rows]
    muddy, empty = [], []
    for frame, (a, b) in enumerate(pairwise(edges)):
        if b - a < 2:
            continue
        sounding = np.unique(pitch[a:b])
        muddy += _mud(name, int(starts[frame]), sounding)
        if level[rows[a:b]].mean() >= _LOUD:
            empty += _hole(name, int(starts[frame]), sounding)
    long_enough = _lasting(score, muddy, int(_MUDDY_Q * TICKS_PER_QUARTER))
    words = "take the lower note alone, or the upper an octave up"
    yield from gathered(score, long_enough, "", "advice", "low interval", words, apart=_PHRASE)
    inner = palette_of([part.player for part in hearing.arrangement.parts]).inner
    step = lambda bars: {"fill": "gap", "on": list(inner), "bars": bars}  # noqa: E731 - a remedy per stretch
    yield from gathered(score, _lasting(score, empty, TICKS_PER_QUARTER), "", "advice", "empty middle", step)


def _mud(name: Name, tick: int, pitches: Any) -> list[Fault]:
    """Return the first interval that lies too low."""
    for low, high in zip(pitches.tolist(), pitches[1:].tolist(), strict=False):
        limit = LOWEST.get(high - low)
        if limit is not None and low < limit:
            return [Fault(tick, f"{name(low, tick)} and {name(high, tick)} together are muddy: too close for so low")]
    return []


def _hole(name: Name, tick: int, pitches: Any) -> list[Fault]:
    """Return the widest hole above the lowest pair of notes, where it is wider than an octave."""
    gaps = np.diff(pitches)[1:]
    if not len(gaps) or int(gaps.max()) <= _EMPTY:
        return []
    place = int(np.argmax(gaps)) + 1
    low, high = int(pitches[place]), int(pitches[place + 1])
    return [Fault(tick, f"nothing between {name(low, tick)} and {name(high, tick)} in forte")]


def _lasting(score: Any, faults: list[Fault], least_ticks: int) -> list[Fault]:
    """Return the faults of bars in which they add up to *least_ticks* or more."""
    starts, ends, _ = frame_starts(score)
    length = dict(zip(starts.tolist(), (ends - starts).tolist(), strict=True))
    total: dict[int, int] = {}
    for fault in faults:
        bar = score.bar_at(fault.tick)
        total[bar] = total.get(bar, 0) + length[fault.tick]
    return [fault for fault in faults if total[score.bar_at(fault.tick)] >= least_ticks]
