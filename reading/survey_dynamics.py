"""Dynamics: every mark in order, and the places where loudness changes at once."""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from reading.score import DYNAMICS

if TYPE_CHECKING:
    from reading.score import Mark, Score

__all__ = ["Contrast", "DynamicMark", "Swell", "contrasts", "dynamics", "swells"]

_BEFORE = r"\W*(poco a poco |sempre |pi[ùu] |poco |molto |meno )*"
_ITSELF = r"(cresc|decresc|dim|rinf|rf|sf|smorz|morendo|calando|perdendo|forte|piano|mezza voce|sotto voce)"
_WORDS = re.compile(_BEFORE + f"({_ITSELF}" + r"|[pf]{1,4}\b|m[pf]\b)", re.IGNORECASE)
_SWELLING = re.compile(_BEFORE + "(?:(?P<cresc>cresc)|decresc|dim|smorz|morendo|calando|perdendo)", re.IGNORECASE)
_LEADS_BARS = 8
"""A swell in words leads to a level at most so many bars away."""
_SUDDEN = 2
"""Degrees on the scale of ``DYNAMICS`` (p to mf is 2) from which a change without a hairpin counts as sudden."""
_SHORT_BARS = 4
"""Two contrasts at most so many bars apart belong to one alternation."""


@dataclass(frozen=True)
class DynamicMark:
    """One mark of the dynamics table: bar index, onset and end in ticks, what is printed, and its degree (or -1)."""

    bar_index: int
    onset: int
    end: int
    mark: str
    kind: str
    degree: int


@dataclass(frozen=True)
class Contrast:
    """Loudness changes at once, once or several times in turn.

    Attributes
    ----------
    first_bar, last_bar : int
        Bar indices: the first change, and the last bar under the last change's mark where they alternate.
    marks : tuple of str
        Marks in order, the one before the first change included.
    bars : tuple of int
        Bar index of each mark.
    degrees : int
        Largest step on the scale of ``DYNAMICS``.
    """

    first_bar: int
    last_bar: int
    marks: tuple[str, ...]
    bars: tuple[int, ...]
    degrees: int


@dataclass(frozen=True)
class Swell:
    """A hairpin or the words for it: bar indices, ``cresc`` or ``dim``, and the degrees before and after (or -1)."""

    first_bar: int
    last_bar: int
    kind: str
    before: int
    after: int


def dynamics(score: Score) -> tuple[DynamicMark, ...]:
    """Return every dynamic mark, accent written as a dynamic, hairpin, and word about loudness, in order.

    Parameters
    ----------
    score : Score

    Returns
    -------
    tuple of DynamicMark
    """
    return tuple(
        _row(score, mark)
        for mark in score.marks_of("dynamic", "accent", "hairpin", "text")
        if mark.kind != "text" or _WORDS.match(mark.value)
    )


def _row(score: Score, mark: Mark) -> DynamicMark:
    """One mark as a row of the table."""
    degree = DYNAMICS.index(mark.value) if mark.value in DYNAMICS else -1
    return DynamicMark(score.bar_at(mark.onset), mark.onset, mark.end, mark.value, mark.kind, degree)


def _levels(score: Score, rows: tuple[DynamicMark, ...]) -> list[DynamicMark]:
    """Keep marks that set a level, one for each moment: the louder where the hands differ."""
    by_onset: dict[int, DynamicMark] = {}
    for row in rows:
        if row.kind == "dynamic" and row.degree >= 0:
            known = by_onset.get(row.onset)
            if known is None or row.degree > known.degree:
                by_onset[row.onset] = row
    return [by_onset[onset] for onset in sorted(by_onset)]


def _half_bar(score: Score, bar: int) -> int:
    """Ticks of half a bar: a mark so near to the end of a hairpin is its goal."""
    return int(score.bars["duration"][bar - 1]) // 2


def contrasts(score: Score, rows: tuple[DynamicMark, ...]) -> tuple[Contrast, ...]:
    """Return sudden changes of loudness; changes that follow each other closely are one alternation.

    What a hairpin or the words for it lead to is not sudden.

    Parameters
    ----------
    score : Score
    rows : tuple of DynamicMark
        From :func:`dynamics`.

    Returns
    -------
    tuple of Contrast
        In order of time.
    """
    levels = _levels(score, rows)
    ways = [(row.onset, row.end) for row in _ways(score, rows, levels)]
    sudden = []
    for place in range(1, len(levels)):
        before, now = levels[place - 1], levels[place]
        near = now.onset - _half_bar(score, before.bar_index)
        led = any(a < now.onset and b > before.onset and b >= near for a, b in ways)
        if abs(now.degree - before.degree) >= _SUDDEN and not led:
            sudden.append(place)
    groups: list[list[int]] = []
    for place in sudden:
        close = groups and levels[place].bar_index - levels[groups[-1][-1]].bar_index <= _SHORT_BARS
        back = place >= 2 and levels[place].mark == levels[place - 2].mark
        if close and back and groups[-1][-1] == place - 1:
            groups[-1].append(place)
        else:
            groups.append([place])
    return tuple(_contrast(score, levels, group) for group in groups)


def _contrast(score: Score, levels: list[DynamicMark], group: list[int]) -> Contrast:
    """Describe one change or one alternation."""
    marks = levels[group[0] - 1 : group[-1] + 1]
    steps = [abs(b.degree - a.degree) for a, b in itertools.pairwise(marks)]
    last = marks[-1].bar_index
    if len(group) > 1 and group[-1] + 1 < len(levels):
        usual = max(b.bar_index - a.bar_index for a, b in itertools.pairwise(marks))
        last = min(last + max(0, usual - 1), levels[group[-1] + 1].bar_index - 1)
    return Contrast(
        marks[1].bar_index,
        max(last, marks[1].bar_index),
        tuple(mark.mark for mark in marks),
        tuple(mark.bar_index for mark in marks),
        max(steps),
    )


def swells(score: Score, rows: tuple[DynamicMark, ...]) -> tuple[Swell, ...]:
    """Return the hairpins, and the words for them, with the levels they lead from and to.

    Parameters
    ----------
    score : Score
    rows : tuple of DynamicMark
        From :func:`dynamics`.

    Returns
    -------
    tuple of Swell
        A hairpin that begins with the word is one swell with it. A swell in words lasts to the next level or the next
        swell the other way, within eight bars; else four bars. A level that goes the other way ends any swell.
    """
    levels, result = _levels(score, rows), []
    for row in _ways(score, rows, levels):
        half = _half_bar(score, row.bar_index)
        before = [level.degree for level in levels if level.onset <= row.onset]
        near = [level for level in levels if row.onset < level.onset <= row.end + half]
        after = [level.degree for level in near if not _against(score, row, level, levels)]
        last = score.bar_at(max(row.onset, row.end - 1))
        result.append(Swell(row.bar_index, last, row.mark, before[-1] if before else -1, after[0] if after else -1))
    return tuple(result)


def _ways(score: Score, rows: tuple[DynamicMark, ...], levels: list[DynamicMark]) -> list[DynamicMark]:
    """Return hairpins and the words for them as rows marked ``cresc`` or ``dim``, each with the end it leads to."""
    marks = [replace(row, mark=way) for row in rows if (way := _way(row))]
    merged: list[DynamicMark] = []
    for mark in marks:
        twin = next((one for one in reversed(merged) if one.mark == mark.mark and _one_swell(score, one, mark)), None)
        if twin is None:
            merged.append(mark)
        else:
            kind = "text" if "text" in (twin.kind, mark.kind) else twin.kind
            merged[merged.index(twin)] = replace(twin, end=max(twin.end, mark.end), kind=kind)
    return [replace(mark, end=_goal(score, mark, merged, levels)) for mark in merged]


def _way(row: DynamicMark) -> str:
    """Return ``cresc`` or ``dim`` for a hairpin or a word that swells or fades, else nothing."""
    if row.kind == "hairpin":
        return "dim" if row.mark.startswith("d") else "cresc"
    words = _SWELLING.match(row.mark) if row.kind == "text" else None
    return "" if words is None else "cresc" if words["cresc"] else "dim"


def _one_swell(score: Score, one: DynamicMark, other: DynamicMark) -> bool:
    """Whether a hairpin and a word, or two words, begin together."""
    return "text" in (one.kind, other.kind) and abs(other.onset - one.onset) <= _half_bar(score, one.bar_index)


def _against(score: Score, mark: DynamicMark, level: DynamicMark, levels: list[DynamicMark]) -> bool:
    """Whether a level goes the other way than a swell, or is the same again a bar or more after its beginning."""
    known = [one.degree for one in levels if one.onset <= mark.onset]
    step = (level.degree - known[-1]) * (1 if mark.mark == "cresc" else -1) if known else 1
    return step < 0 or (step == 0 and level.onset - mark.onset >= 2 * _half_bar(score, mark.bar_index))


def _goal(score: Score, mark: DynamicMark, ways: list[DynamicMark], levels: list[DynamicMark]) -> int:
    """Return where a swell ends."""
    against = [level.onset for level in levels if level.onset > mark.onset and _against(score, mark, level, levels)]
    if mark.kind == "hairpin":
        return min([mark.end, *against])
    goals = [level.onset for level in levels if level.onset > mark.onset]
    goals += [other.onset for other in ways if other.mark != mark.mark and other.onset > mark.onset]
    bars = score.bars
    ends = [int(bars["onset"][row] + bars["duration"][row]) for row in range(mark.bar_index - 1, len(bars))]
    near = [goal for goal in goals if goal <= ends[min(_LEADS_BARS, len(ends)) - 1]]
    return min(near) if near else max(mark.end, ends[min(_LEADS_BARS // 2, len(ends)) - 1])
