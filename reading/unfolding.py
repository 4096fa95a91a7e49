"""Repeats, endings, da capo and dal segno played out, with bar names that stay readable (``12``, ``12 (2nd time)``).

After a da capo or dal segno repeats are not taken again and the last ending is played (common practice, no source).
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.score import Mark, Score

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["Unfolding", "bar_order", "unfold"]

_MAX_BARS = 50_000


@dataclass(frozen=True, eq=False)
class Unfolding:
    """A score with its repeats played out.

    Attributes
    ----------
    score : Score
        In played order; bar indices, note ids and times are new.
    source : ndarray, int32
        By new note id, the id of the written note.
    order : tuple of int
        By new bar, the index of the written bar.
    """

    score: Score
    source: np.ndarray[Any, np.dtype[np.int32]]
    order: tuple[int, ...]


def bar_order(score: Score) -> tuple[int, ...]:
    """Return the written bar indices in the order they are played."""
    return tuple(row + 1 for row in _Walk(score).rows())


class _Walk:
    """Follows the signs through the piece once."""

    def __init__(self, score: Score) -> None:
        self.bars = score.bars
        self.jumps: dict[int, list[str]] = {}
        for mark in score.marks_of("jump"):
            self.jumps.setdefault(score.bar_at(mark.onset) - 1, []).append(mark.value)
        self.start, self.turn, self.jumped, self.to_coda = 0, 1, False, False

    def rows(self) -> Iterator[int]:
        """Yield rows of the bar table in playing order."""
        row, before, played = 0, -1, 0
        while 0 <= row < len(self.bars) and played < _MAX_BARS:
            self._enter(row, before)
            volta = int(self.bars["volta"][row])
            if volta and not volta >> (self.turn - 1) & 1:
                row += 1
                continue
            yield row
            played += 1
            before, row = row, self._next(row)

    def _enter(self, row: int, before: int) -> None:
        """Begin a new passage at a repeat sign, after the endings of the last one, and after a Fine."""
        bars = self.bars
        left_endings = before >= 0 and row > before and bars["volta"][before] and not bars["volta"][row]
        after_fine = before >= 0 and row == before + 1 and "fine" in self.jumps.get(before, ())
        fresh = bars["repeat_start"][row] and row > before and row != self.start
        if fresh or left_endings or after_fine:
            self.start, self.turn = row, 1
        if self.jumped and bars["volta"][row] and not (before >= 0 and bars["volta"][before]):
            self.turn = self._last_ending(row)

    def _last_ending(self, row: int) -> int:
        """Highest ending of the group of bars under brackets that *row* belongs to."""
        first = last = row
        while first > 0 and self.bars["volta"][first - 1]:
            first -= 1
        while last + 1 < len(self.bars) and self.bars["volta"][last + 1]:
            last += 1
        return max(int(bits).bit_length() for bits in self.bars["volta"][first : last + 1])

    def _next(self, row: int) -> int:
        """Row to play after *row*; -1 at the end."""
        times = int(self.bars["repeat_end"][row])
        if times and not self.jumped:
            if self.bars["volta"][row]:
                times = max(times, self._last_ending(row))
            if self.turn < times:
                self.turn += 1
                return self.start
        if times and not self.bars["volta"][row]:
            self.start, self.turn = row + 1, 1
        return self._jump(row)

    def _jump(self, row: int) -> int:
        """Follow da capo, dal segno, coda and fine."""
        for value in self.jumps.get(row, ()):
            if value == "fine" and self.jumped:
                return -1
            if value == "to coda" and self.jumped and self.to_coda and (coda := self._find("coda")) >= 0:
                return coda
            if value.startswith(("da capo", "dal segno")) and not self.jumped:
                self.jumped, self.turn = True, 1
                self.to_coda = "fine" not in value
                self.start = max(0, self._find("segno")) if value.startswith("dal segno") else 0
                return self.start
        return row + 1

    def _find(self, sign: str) -> int:
        """Row of the last bar with that sign, -1 where there is none."""
        return max((row for row, values in self.jumps.items() if sign in values), default=-1)


def unfold(score: Score) -> Unfolding:
    """Return the score with its repeats played out.

    Parameters
    ----------
    score : Score
        As written.

    Notes
    -----
    A note held over a bar line from which the playing jumps away ends at that bar line. Tempo and dynamics in force
    at the target of a jump are stated again there.
    """
    order = bar_order(score)
    if order == tuple(range(1, len(score.bars) + 1)):
        return Unfolding(score, np.arange(len(score.notes), dtype=np.int32), order)
    tables: list[Any] = []
    sources: list[Any] = []
    marks: list[list[Mark]] = []
    spans: list[tuple[int, int]] = []
    now, placed = 0, 0
    for first, last in _runs(order):
        start, end = score.span(first, last)
        rows = np.flatnonzero((score.notes["bar"] >= first) & (score.notes["bar"] <= last))
        table = score.notes[rows].copy()
        table["duration"] = np.minimum(table["duration"], np.maximum(0, end - table["onset"]))
        table["onset"] += now - start
        table["bar"] += placed - (first - 1)
        tables.append(table)
        sources.append(rows.astype(np.int32))
        marks.append(_marks_of_run(score, start, end, now, fresh=bool(spans) and spans[-1][1] != first - 1))
        spans.append((first, last))
        now, placed = now + end - start, placed + last - first + 1
    return Unfolding(_assembled(score, order, tables, sources, marks), _sorted_sources(tables, sources), order)


def _runs(order: tuple[int, ...]) -> Iterator[tuple[int, int]]:
    """Group the order into runs of bars that follow each other."""
    first = last = order[0]
    for bar in order[1:]:
        if bar != last + 1:
            yield first, last
            first = bar
        last = bar
    yield first, last


def _marks_of_run(score: Score, start: int, end: int, now: int, *, fresh: bool) -> list[Mark]:
    """Return marks that begin within a run, moved; after a jump also the tempo and dynamics in force there."""
    shift = now - start
    kept = [mark for mark in score.marks if start <= mark.onset < end or (mark.onset == end == score.end)]
    found = [replace(mark, onset=mark.onset + shift, end=min(mark.end, end) + shift) for mark in kept]
    if fresh:
        force: dict[tuple[str, int, int], Mark] = {}
        for mark in score.marks_of("tempo", "dynamic"):
            if mark.onset < start:
                force[mark.kind, mark.part, mark.staff] = mark
        stated = {(mark.kind, mark.part, mark.staff) for mark in kept if mark.onset == start}
        found += [replace(mark, onset=now, end=now) for key, mark in force.items() if key not in stated]
    return found


def _order_of(tables: list[Any]) -> Any:
    """Sorting of all notes: onset, pitch, part, staff, voice."""
    joined = np.concatenate(tables)
    return np.lexsort([joined[name] for name in ("voice", "staff", "part", "pitch", "onset")])


def _sorted_sources(tables: list[Any], sources: list[Any]) -> Any:
    """Written ids by new id."""
    return np.concatenate(sources)[_order_of(tables)]


def _assembled(
    score: Score, order: tuple[int, ...], tables: list[Any], sources: list[Any], marks: list[list[Mark]]
) -> Score:
    """Return the new score from its runs."""
    sorting = _order_of(tables)
    notes = np.concatenate(tables)[sorting]
    run_of = np.repeat(np.arange(len(tables)), [len(table) for table in tables])[sorting]
    written = np.concatenate(sources)[sorting]
    notes["id"] = np.arange(len(notes))
    new_id = {(int(run), int(old)): row for row, (run, old) in enumerate(zip(run_of, written, strict=True))}
    moved = [
        replace(mark, notes=tuple(sorted(new_id[run, old] for old in mark.notes if (run, old) in new_id)))
        for run, found in enumerate(marks)
        for mark in found
    ]
    bars = score.bars[np.array(order) - 1].copy()
    bars["index"] = np.arange(1, len(bars) + 1)
    bars["onset"] = np.concatenate(([0], np.cumsum(bars["duration"])[:-1]))
    for name in ("repeat_start", "repeat_end", "volta"):
        bars[name] = 0
    return replace(
        score,
        notes=notes,
        bars=bars,
        bar_numbers=_names(score, order),
        marks=tuple(sorted(moved, key=lambda mark: (mark.onset, mark.part, mark.staff, mark.kind))),
    )


def _names(score: Score, order: tuple[int, ...]) -> tuple[str, ...]:
    """Return printed numbers, with the time of playing from the second on."""
    seen: Counter[int] = Counter()
    names = []
    for bar in order:
        seen[bar] += 1
        ending = {1: "st", 2: "nd", 3: "rd"}.get(seen[bar], "th")
        number = score.bar_numbers[bar - 1]
        names.append(number if seen[bar] == 1 else f"{number} ({seen[bar]}{ending} time)")
    return tuple(names)
