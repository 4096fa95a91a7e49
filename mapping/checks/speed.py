"""Speed: tonguing, plucking, awkward leaps and figures."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from mapping.arrangement import TECHNIQUES
from mapping.checks.report import Check, Fault, gathered

if TYPE_CHECKING:
    from collections.abc import Iterator

    from mapping.checks.lines import Floats, Hearing, Line
    from mapping.instruments import Instrument

__all__ = ["checks"]

_QUICK_S = 0.25  # a leap within this time is sudden
_RUN = 4  # attacks in a row before speed tells
_BROKEN = 3  # semitones from which a figure counts as broken chords
_PIZZICATO = TECHNIQUES.index("pizzicato")


def checks(hearing: Hearing) -> Iterator[Check]:
    """Yield the remarks about speed."""
    for line in hearing.lines:
        if len(line) < 2:
            continue
        rows = line.single
        apart = np.diff(line.onset_s[rows])
        yield from _tongue(hearing, line, apart)
        yield from _pluck(hearing, line, apart)
        yield from _leaps(hearing, line, apart)
        yield from _figures(hearing, line, apart)


def _runs(fast: np.ndarray, least: int) -> list[tuple[int, int]]:
    """Return ``(first, end)`` of the stretches of True of at least *least*."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], fast.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= least]


def _tongue(hearing: Hearing, line: Line, apart: Floats) -> Iterator[Check]:
    """Single tonguing faster than it goes."""
    item, name, rows = line.player.instrument, line.player.name, line.single
    if item.repeat_safe_hz is None or item.repeat_max_hz is None:
        return
    tongued = ~line.slurred[rows][:-1]
    rate = np.where(tongued, 1.0 / np.maximum(apart, 1e-3), 0.0)
    for severity, low, high in (
        ("advice", item.repeat_safe_hz, item.repeat_max_hz),
        ("error", item.repeat_max_hz, np.inf),
    ):
        faults = []
        for first, end in _runs((rate > low + 0.05) & (rate <= high + 0.05), _RUN - 1):
            quickest = float(rate[first:end].max())
            message = f"{end - first + 1} notes at {quickest:.1f} a second; {_does(item)} about {low:.0f}"
            faults.append(Fault(int(line.onset[rows[first]]), message, int(rows[first])))
        words = "share it between two players, or leave every other note out"
        if item.family in ("woodwind", "brass"):
            words = f"slur it in pairs, {words}"
        yield from gathered(hearing.score, faults, name, severity, "speed", words)


def _does(item: Instrument) -> str:
    """An instrument with what it does to repeat a note."""
    verb = "tongues" if item.family in ("woodwind", "brass") else "repeats"
    is_plural = item.name == item.plural  # timpani, cymbals
    return f"the {item.name} {verb.removesuffix('s') if is_plural else verb}"


def _pluck(hearing: Hearing, line: Line, apart: Floats) -> Iterator[Check]:
    """Pizzicato faster than fingers go; slower the thicker the string (Rimsky-Korsakov, I.C, p. 27)."""
    item, name, rows = line.player.instrument, line.player.name, line.single
    if item.pizzicato_hz is None:
        return
    plucked = line.notes["technique"][rows][:-1] == _PIZZICATO
    rate = np.where(plucked, 1.0 / np.maximum(apart, 1e-3), 0.0)
    for severity, factor, top in (("advice", 1.0, 1.6), ("error", 1.6, np.inf)):
        limit = item.pizzicato_hz * factor
        faults = [
            Fault(
                int(line.onset[rows[first]]),
                f"{float(rate[first:end].max()):.1f} plucked notes a second; about {limit:.1f} can be had",
            )
            for first, end in _runs((rate > limit + 0.05) & (rate <= item.pizzicato_hz * top + 0.05), _RUN - 1)
        ]
        yield from gathered(
            hearing.score, faults, name, severity, "pizzicato", "take the bow, or pluck every other note"
        )


def _leaps(hearing: Hearing, line: Line, apart: Floats) -> Iterator[Check]:
    """Sudden wide leaps: of the clarinet over the break, of brass beyond the octave."""
    item, rows = line.player.instrument, line.single
    least = item.sudden_leap
    if least is None:
        return
    leap = np.abs(np.diff(line.pitch[rows]))
    faults = [
        Fault(
            int(line.onset[rows[place + 1]]), f"a sudden leap of {leap[place]} semitones is awkward on the {item.name}"
        )
        for place in np.flatnonzero((leap >= least) & (apart < _QUICK_S)).tolist()
    ]
    words = "divide the leap between two players, or take the octave"
    yield from gathered(hearing.score, faults, line.player.name, "advice", "leap", words)


def _figures(hearing: Hearing, line: Line, apart: Floats) -> Iterator[Check]:
    """Slurred broken chords on oboe and bassoon; quick slurs on the slide."""
    item, rows = line.player.instrument, line.single
    if not item.poor_arpeggio and not item.slide:
        return
    step = np.abs(np.diff(line.pitch[rows]))
    quick = (apart < _QUICK_S) & line.slurred[rows][:-1] & (step >= (_BROKEN if item.poor_arpeggio else 1))
    what = "slurred broken chords or wide alternations" if item.poor_arpeggio else "quick slurs over the slide"
    faults = [
        Fault(int(line.onset[rows[first]]), f"{what} do not suit the {item.name}")
        for first, _ in _runs(quick, _RUN - 1)
    ]
    words = "give the figure to flute, clarinet or strings, or detach it"
    yield from gathered(hearing.score, faults, line.player.name, "advice", "figure", words)
