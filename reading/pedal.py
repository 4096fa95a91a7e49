"""Where the pedal sustains, by mark or by necessity, and which notes it keeps sounding.

A pedal is implied where the left hand reaches further than a hand can hold: it leaps from a bass to notes well above
it, strikes notes far above a bass already let go, or spans more than a hand at once, and does not just walk by step.
Marks always count; where marks stop and the left hand goes on in the same pattern, that is said (``simile``).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from reading.barwords import bars_said
from reading.features import (
    LOWER,
    OTHER,
    SLOTS,
    Attacks,
    attacks,
    beat_ticks,
    hands,
    has_keyboard,
    nominal_ticks,
    places,
    played,
)
from reading.score import Flag

if TYPE_CHECKING:
    from reading.features import Ints
    from reading.score import Score

__all__ = ["Pedal", "PedalRow", "find", "implied_bars"]

REACH = 14
"""Semitones from the first bass of the bar to the highest left-hand note: more than a hand holds."""
RELEASED_REACH = 17
"""Semitones from a bass already let go to a later note within half a bar."""
STRUCK_REACH = 16
"""Semitones struck together: only a broken chord, caught by the pedal, gives them."""
STEPWISE = 0.6
"""A left hand that moves by step more often than this is a line, not a harmony."""
DRY = 0.5
"""A left hand of which more than this share is marked staccato wants no pedal."""
LEAST_PATTERN = 3
"""Attacks a left hand must share with a printed bar for "simile"."""
LEAST_LEAP = 3
"""Semitones between the notes of a broken chord left in the air."""
IN_THE_AIR = "broken chord left in the air: short notes, then the left hand rests"
NEW_BASS = 7
"""A drop of this many semitones within the bar starts a new pedal."""


@dataclass(frozen=True)
class PedalRow:
    """One depression of the pedal.

    Attributes
    ----------
    bar_index : int
        Bar (from 1) in which it starts.
    onset, end : int
        Ticks.
    source : str
        ``marked`` or ``implied``.
    notes : tuple of int
        Ids of the notes that would go on sounding past their written end.
    beyond : tuple of int
        For each of these, ticks from its written end to the release of the pedal.
    reason : str
        In words.
    """

    bar_index: int
    onset: int
    end: int
    source: str
    notes: tuple[int, ...] = ()
    beyond: tuple[int, ...] = ()
    reason: str = ""


@dataclass(frozen=True)
class Pedal:
    """All depressions of the pedal, in order of time."""

    rows: tuple[PedalRow, ...]

    @property
    def bars(self) -> tuple[int, ...]:
        """Indices of the bars in which a pedal starts."""
        return tuple(sorted({row.bar_index for row in self.rows}))


def find(score: Score, *, use_marks: bool = True) -> Pedal:
    """Return the pedal of a piece, marked and implied.

    Parameters
    ----------
    score : Score
    use_marks : bool
        False hides the printed marks, to measure the rest against them.
    """
    marked = _marked(score) if use_marks else []
    taken = np.zeros(len(score.bars), bool)
    for row in marked:
        first, last = row.bar_index, score.bar_at(max(row.onset, row.end - 1))
        taken[first - 1 : last] = True
    hit = attacks(score)
    by_bar = _left_hand(score, hit)
    reasons = implied_bars(score)
    reasons |= _same_pattern(score, hit, by_bar, sorted({row.bar_index for row in marked}))
    implied = [
        row
        for bar, reason in reasons.items()
        if not taken[bar - 1]
        for row in _bar_pedals(score, hit, by_bar, bar, reason)
    ]
    rows = _sustained(score, _one_at_a_time(sorted(marked + implied, key=lambda row: (row.onset, row.end))))
    return Pedal(tuple(row for row in rows if row.source == "marked" or row.notes))


def implied_bars(score: Score) -> dict[int, str]:
    """Return the bars (index from 1) whose left hand needs the pedal, each with the reason in words.

    A score of three parts or more without a keyboard has no pedal to imply.

    Parameters
    ----------
    score : Score
    """
    if not has_keyboard(score):
        return {}
    hit = attacks(score)
    notes = score.notes
    ends = (notes["onset"] + notes["duration"]).astype(np.int64)
    full = nominal_ticks(score)
    out = {}
    by_bar = _left_hand(score, hit)
    short = np.asarray(notes["flags"] & (Flag.STACCATO | Flag.STACCATISSIMO) > 0, bool)
    for row, mine in enumerate(by_bar):
        dry = len(mine) and short[hit.order[hit.start[mine]]].mean() > DRY
        if len(mine) and not dry and _stepwise_share(hit.low[mine]) <= STEPWISE:
            reason = _reach(hit, mine, ends, int(full[row]))
            if (
                not reason
                and not _same_notes(hit, by_bar, row - 1, row)
                and _in_the_air(hit, mine, ends, int(full[row]))
            ):
                reason = IN_THE_AIR
            if reason:
                out[row + 1] = reason
    return out


def _one_at_a_time(rows: list[PedalRow]) -> list[PedalRow]:
    """Return the rows with each implied pedal released where the next one goes down."""
    out = list(rows)
    for place, (row, after) in enumerate(pairwise(rows)):
        if row.source == "implied" and row.end > after.onset > row.onset:
            out[place] = replace(row, end=after.onset)
    return out


def _in_the_air(hit: Attacks, mine: Ints, ends: Ints, full: int) -> bool:
    """Say whether a broken chord runs up in short notes and the left hand then falls silent for half a bar."""
    if len(mine) < LEAST_PATTERN or hit.count[mine].max() > 1:
        return False
    onset, low = hit.onset[mine], hit.low[mine]
    stop = ends[hit.order[hit.start[mine]]]
    silence = np.append(onset[1:], onset[0] + full) - stop
    last = int(np.argmax(2 * silence >= full))  # the note after which the hand rests
    up = np.diff(low[: last + 1])
    if 2 * silence[last] < full or last + 1 < LEAST_PATTERN:
        return False
    return bool((up >= LEAST_LEAP).all() and 4 * (onset[last] - onset[0]) <= full)


def _same_notes(hit: Attacks, by_bar: list[Ints], row: int, other: int) -> bool:
    """Say whether the left hand strikes the same pitches in two bars."""
    if not (row >= 0 and other < len(by_bar)) or not len(by_bar[row]):
        return False
    return set(hit.low[by_bar[row]].tolist()) == set(hit.low[by_bar[other]].tolist())


def _left_hand(score: Score, hit: Attacks) -> list[Ints]:
    """Return the rows of the left hand's attacks for every bar."""
    lower = np.flatnonzero(hit.hand == LOWER)
    first = np.searchsorted(hit.bar[lower], np.arange(len(score.bars) + 1))
    return [lower[a:b] for a, b in pairwise(first.tolist())]


def _same_pattern(score: Score, hit: Attacks, by_bar: list[Ints], marked: list[int]) -> dict[int, str]:
    """Return the bars whose left hand goes on in the pattern of the last bar with a printed pedal."""
    place = places(score, hit.onset, SLOTS)[1]
    printed, model = set(marked), (0, b"")
    out = {}
    for bar in range(marked[0] if marked else len(by_bar) + 1, len(by_bar) + 1):
        mine = by_bar[bar - 1]
        rise = np.sign(np.diff(hit.low[mine], prepend=hit.low[mine][:1]))
        pattern = np.stack([place[mine], rise, hit.count[mine]]).tobytes()
        if bar in printed:
            model = (bar, pattern)
        elif len(mine) >= LEAST_PATTERN and pattern == model[1]:
            said = bars_said(score, model[0], model[0])
            out[bar] = f"simile: the left hand goes on as in bar {said}, where the pedal is printed"
    return out


def _stepwise_share(low: Ints) -> float:
    """Return how often the lowest notes move by one or two semitones."""
    step = np.abs(np.diff(low))
    return float(np.mean((step > 0) & (step <= 2))) if len(step) else 0.0


def _reach(hit: Attacks, mine: Ints, ends: Ints, full: int) -> str:
    """Return why the left hand cannot hold what it plays in this bar, or nothing."""
    low, onset = hit.low[mine], hit.onset[mine]
    octave = (hit.count[mine] == 2) & (hit.high[mine] - low == 12)
    high = np.where(octave, low, hit.high[mine])  # an octave is one voice, doubled
    if np.any(high - low > STRUCK_REACH):
        return "chord wider than a hand"
    reach = int(high.max() - low[0])
    if reach >= REACH:
        return f"left hand reaches {reach} semitones above its bass"
    released = ends[hit.order[hit.start[mine]]]
    later = (onset[None, :] >= released[:, None]) & (2 * (onset[None, :] - onset[:, None]) <= full)
    far = later & (high[None, :] - low[:, None] >= RELEASED_REACH)
    return "notes far above a bass already let go" if far.any() else ""


def _marked(score: Score) -> list[PedalRow]:
    """Return the printed pedals."""
    return [
        PedalRow(score.bar_at(mark.onset), mark.onset, max(mark.end, mark.onset), "marked", reason="printed")
        for mark in score.marks_of("pedal")
    ]


def _bar_pedals(score: Score, hit: Attacks, by_bar: list[Ints], bar: int, reason: str) -> list[PedalRow]:
    """Return the pedals of an implied bar: a new one wherever the left hand drops to a new bass on a beat."""
    start, stop = score.span(bar, bar)
    beat = int(beat_ticks(score)[bar - 1])
    mine = by_bar[bar - 1]
    onset, low = hit.onset[mine], hit.low[mine]
    new = np.ones(len(low), bool)
    new[1:] = (np.diff(low) <= -NEW_BASS) & (low[1:] < (low.min() + low.max()) / 2)
    new[1:] &= ((onset[1:] - start) % beat == 0) & (stop - onset[1:] >= beat)
    edges = [*onset[new].tolist(), stop]
    if reason == IN_THE_AIR:  # one chord, kept while the hand only touches it again
        last = bar
        while _same_notes(hit, by_bar, bar - 1, last):
            last += 1
        edges = [int(onset[0]), score.span(last, last)[1]]
    return [PedalRow(bar, a, b, "implied", reason=reason) for a, b in pairwise(edges)]


def _sustained(score: Score, rows: list[PedalRow]) -> list[PedalRow]:
    """Return the rows with the notes that the pedal keeps sounding and for how long."""
    notes = score.notes
    ids = np.flatnonzero(played(score) & (hands(score) != OTHER))
    onset = notes["onset"][ids].astype(np.int64)
    end = onset + notes["duration"][ids]
    latest = np.maximum.accumulate(end) if len(end) else end  # never falls: a place to start looking
    out = []
    for row in rows:
        first, last = np.searchsorted(latest, row.onset, side="right"), np.searchsorted(onset, row.end)
        near = np.arange(first, last)
        kept = near[(end[near] > row.onset) & (end[near] < row.end)]
        beyond = tuple((row.end - end[kept]).tolist())
        out.append(replace(row, notes=tuple(ids[kept].tolist()), beyond=beyond))
    return out
