"""What figure each hand plays in each bar, where it changes, and whether an instrument could play it as written.

Per hand and bar the notes that go on sounding under the others are taken out first (a held bass below a figure is not
part of the figure), then :func:`reading.figuration_cells.name_figure` names the rest. Families are settled by their
neighbours (:func:`reading.figuration_stretches.settled`), so that one odd bar does not break a passage; the finer class
is left as found.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from typing import TYPE_CHECKING

import numpy as np

from reading.features import LOWER, UPPER, Bools, beat_ticks, hands, nominal_ticks, played
from reading.features_noted import strokes_written
from reading.features_whole import WholeBars, whole_bars
from reading.figuration_cells import name_figure
from reading.figuration_stretches import settled
from reading.figuration_strokes import rhythm_name, strokes_of
from reading.figure import Figure

if TYPE_CHECKING:
    from reading.features import Ints
    from reading.figuration_strokes import Strokes
    from reading.score import Score

__all__ = ["Figuration", "Figure", "InstrumentFacts", "describe", "figuration_on_page", "playable"]


@dataclass(frozen=True)
class Figuration:
    """All figures of a piece.

    Attributes
    ----------
    rows : tuple of Figure
        By bar, upper hand first.
    changes : dict of int to tuple of int
        For staff 1 and 2, the bar indices at which a new family sets in and lasts two bars or more.
    """

    rows: tuple[Figure, ...]
    changes: dict[int, tuple[int, ...]]

    def at(self, bar_index: int, staff: int) -> Figure:
        """Return the figure of a bar (index from 1) and staff (1 upper, 2 lower)."""
        return self.rows[2 * (bar_index - 1) + staff - 1]


@dataclass(frozen=True)
class InstrumentFacts:
    """What an instrument can do, as plain numbers.

    Attributes
    ----------
    name : str
    low, high : int
        Sounding range, MIDI.
    notes_per_second : float
        Fastest even notes for more than a moment.
    leap : int
        Semitones from which a leap at speed is awkward.
    at_once : int
        Notes one player sounds together (strings 2, winds 1; harp or keyboard more).
    repeats_per_second : float
        Fastest repetition of one pitch; 0 where it is as fast as other notes.
    """

    name: str
    low: int
    high: int
    notes_per_second: float = 8.0
    leap: int = 12
    at_once: int = 1
    repeats_per_second: float = 0.0


def describe(score: Score) -> Figuration:
    """Return the figure of every bar and hand, and where each hand's figure changes.

    Parameters
    ----------
    score : Score
        Both parts of a bar divided by a repeat sign have the figure of the whole bar; tremolos count as written out.
    """
    page = whole_bars(score)
    written = strokes_written(page.score)
    per_hand = {staff: _hand(written, hand, staff) for staff, hand in ((1, UPPER), (2, LOWER))}
    rows = tuple(figure for pair in zip(per_hand[1], per_hand[2], strict=True) for figure in pair)
    changes = {staff: _changes(figures) for staff, figures in per_hand.items()}
    return figuration_on_page(Figuration(rows, changes), page)


def figuration_on_page(found: Figuration, page: WholeBars) -> Figuration:
    """Return the figures of whole bars by the bars of the page.

    Parameters
    ----------
    found : Figuration
        Bar indices of ``page.score``.
    page : WholeBars
    """
    if not page.divided:
        return found
    rows = tuple(
        replace(found.at(whole, staff), bar_index=bar)
        for bar, whole in enumerate(page.row.tolist(), start=1)
        for staff in (1, 2)
    )
    changes = {staff: tuple(int(page.first[bar - 1]) for bar in bars) for staff, bars in found.changes.items()}
    return Figuration(rows, changes)


def playable(figure: Figure, facts: InstrumentFacts, *, beat_s: float) -> tuple[bool, tuple[str, ...]]:
    """Say whether an instrument could play a figure as written, and why not.

    Parameters
    ----------
    figure : Figure
    facts : InstrumentFacts
    beat_s : float
        Seconds per beat at the tempo of the bar.

    Returns
    -------
    possible : bool
    reasons : tuple of str
        What stands in the way; empty where nothing does.
    """
    if figure.low < 0:
        return True, ()
    rate = 1.0 / (figure.shortest_beats * beat_s) if figure.shortest_beats > 0 else 0.0
    limit = facts.repeats_per_second if figure.family == "repeated" and facts.repeats_per_second else 0.0
    fastest = limit or facts.notes_per_second
    reasons = []
    if figure.low < facts.low:
        reasons.append(f"{_semitones(facts.low - figure.low)} below the range of {facts.name}")
    if figure.high > facts.high:
        reasons.append(f"{_semitones(figure.high - facts.high)} above the range of {facts.name}")
    if figure.at_once > facts.at_once:
        reasons.append(f"{figure.at_once} notes at once, {facts.at_once} at most")
    if rate > fastest:
        reasons.append(f"{rate:.0f} notes a second, about {fastest:.0f} at most")
    if figure.leap >= facts.leap and rate > fastest / 2:
        reasons.append(f"leaps of {figure.leap} semitones at {rate:.1f} notes a second")
    return not reasons, tuple(reasons)


def _semitones(count: int) -> str:
    """Return ``1 semitone``, ``2 semitones``."""
    return f"{count} semitone{'s' * (count > 1)}"


def _hand(score: Score, hand: int, staff: int) -> list[Figure]:
    """Return the figures of one hand, families settled."""
    notes = score.notes
    ids = np.flatnonzero(played(score) & (hands(score) == hand))
    onset = notes["onset"][ids].astype(np.int64)
    edges = np.append(score.bars["onset"], score.end)
    first = np.searchsorted(onset, edges)
    last_end = np.maximum.accumulate(onset + notes["duration"][ids]) if len(ids) else onset
    beat, full = beat_ticks(score), nominal_ticks(score)
    figures = []
    known: dict[tuple[bytes, bytes, bytes, int, int], Figure] = {}  # a bar heard before keeps its figure
    for row in range(len(score.bars)):
        mine = ids[first[row] : first[row + 1]]
        if len(mine):
            place = onset[first[row] : first[row + 1]] - edges[row]
            pitch, length = notes["pitch"][mine].tobytes(), notes["duration"][mine].tobytes()
            bar = (place.tobytes(), pitch, length, int(beat[row]), int(full[row]))
            if bar not in known:
                known[bar] = _figure(score, mine, row, staff, int(beat[row]), int(full[row]))
            figures.append(replace(known[bar], bar_index=row + 1))
        else:
            over = first[row] > 0 and last_end[first[row] - 1] > edges[row]
            name = ("held", "held over") if over else ("rest", "rest")
            figures.append(Figure(row + 1, staff, *name))
    return settled(figures)


def _figure(score: Score, ids: Ints, row: int, staff: int, beat: int, full: int) -> Figure:
    """Return the figure of the notes of one hand in one bar."""
    notes, start = score.notes, int(score.bars["onset"][row])
    pitch = notes["pitch"][ids].astype(np.int64)
    held = _held(notes["onset"][ids].astype(np.int64), notes["duration"][ids].astype(np.int64), full)
    moving = ids[~held]
    strokes = strokes_of(score, moving, start, beat, full)
    family, name = name_figure(strokes)
    return Figure(
        row + 1,
        staff,
        family,
        name,
        rhythm_name(strokes, beat),
        int(pitch.min()),
        int(pitch.max()),
        round(len(strokes.pitches) / max(strokes.bar_beats, 1e-9), 2),
        _where(pitch[held], pitch[~held]),
        round(strokes.usual_wait, 4),
        _leap(strokes),
        int(strokes.size.max()),
    )


def _held(onset: Ints, duration: Ints, full: int) -> Bools:
    """Return which notes go on under later attacks: past two of them, or for half a bar past one."""
    times = np.unique(onset)
    later = np.searchsorted(times, onset + duration, side="left") - np.searchsorted(times, onset, side="right")
    held = (later >= 2) | ((later >= 1) & (2 * duration >= full))
    moving = np.unique(onset[~held])
    # Where most attacks would vanish the notes are written out as if pedalled: a broken chord, not a held one.
    return held if len(moving) >= 2 and 2 * len(moving) >= len(times) else np.zeros(len(onset), bool)


def _where(held: Ints, moving: Ints) -> str:
    """Return whether the held notes lie below, above or inside the figure."""
    if not len(held):
        return ""
    if held.max() <= moving.min():
        return "bass"
    return "top" if held.min() >= moving.max() else "middle"


def _leap(strokes: Strokes) -> int:
    """Return the largest distance between the nearest notes of successive attacks."""
    pairs = pairwise(strokes.pitches)
    return max((min(abs(a - b) for a in before for b in after) for before, after in pairs), default=0)


def _changes(figures: list[Figure]) -> tuple[int, ...]:
    """Return the bars at which a family begins that lasts (two bars or more) and differs from the last that did."""
    out: list[int] = []
    lasting = ""
    for family, run in groupby(figures, key=lambda figure: figure.family):
        members = list(run)
        if len(members) >= 2 and family != lasting:
            if lasting:
                out.append(members[0].bar_index)
            lasting = family
    return tuple(out)
