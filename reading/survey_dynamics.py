"""Dynamics: every mark in order, and the places where loudness changes at once."""

from __future__ import annotations

import itertools
import re
from bisect import bisect_left, bisect_right
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
_SOFT, _LOUD = DYNAMICS.index("p"), DYNAMICS.index("f")
"""Piano and softer, forte and louder: the two sides of an alternation; what lies between is itself."""


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
    onsets : tuple of int
        Ticks of each mark.
    degrees : int
        Largest step on the scale of ``DYNAMICS``.
    """

    first_bar: int
    last_bar: int
    marks: tuple[str, ...]
    bars: tuple[int, ...]
    onsets: tuple[int, ...]
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
    swelling = _ways(score, rows, levels)
    ways = [(row.onset, row.end) for row in swelling]
    turns = [levels[:1]]  # a level printed again is no turn
    sudden = []
    for now in levels[1:]:
        before = turns[-1][-1]
        if now.degree == before.degree:
            turns[-1].append(now)
            continue
        turns.append([now])
        near = now.onset - _half_bar(score, before.bar_index)
        led = any(a < now.onset and b > before.onset and b >= near for a, b in ways)
        if abs(now.degree - before.degree) >= _SUDDEN and not led:
            sudden.append(len(turns) - 1)
    groups: list[list[int]] = []
    for place in sudden:
        close = groups and turns[place][0].bar_index - turns[groups[-1][-1]][0].bar_index <= _SHORT_BARS
        if close and groups[-1][-1] == place - 1 and _side(turns[place][0]) == _side(turns[place - 2][0]):
            groups[-1].append(place)
        else:
            groups.append([place])
    return tuple(_contrast(turns, group, swelling) for group in groups)


def _side(level: DynamicMark) -> int:
    """Return the side of a level: soft and loud ones are alike, whether p or pp, f or ff."""
    return _SOFT if level.degree <= _SOFT else _LOUD if level.degree >= _LOUD else level.degree


def _contrast(turns: list[list[DynamicMark]], group: list[int], swelling: list[DynamicMark]) -> Contrast:
    """Describe one change or one alternation; each turn holds its marks, which all say the same level."""
    marks = [turns[group[0] - 1][-1], *(turns[place][0] for place in group)]
    steps = [abs(b.degree - a.degree) for a, b in itertools.pairwise(marks)]
    last = marks[-1].bar_index
    if len(group) > 1 and group[-1] + 1 < len(turns):
        apart = sorted(b.bar_index - a.bar_index for a, b in itertools.pairwise(marks[1:]))
        usual = apart[(len(apart) - 1) // 2]
        after = [row.bar_index for row in (turns[group[-1] + 1][0], *swelling) if row.onset > marks[-1].onset]
        last = min(last + max(0, usual - 1), min(after) - 1)
    return Contrast(
        marks[1].bar_index,
        max(last, marks[1].bar_index),
        tuple(mark.mark for mark in marks),
        tuple(mark.bar_index for mark in marks),
        tuple(mark.onset for mark in marks),
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
    onsets = [level.onset for level in levels]
    for row in _ways(score, rows, levels):
        before = _level_at(levels, onsets, row.onset)
        until = row.end + _half_bar(score, row.bar_index)
        near = levels[bisect_right(onsets, row.onset) : bisect_right(onsets, until)]
        after = next((level.degree for level in near if not _against(score, row, level, before)), -1)
        last = score.bar_at(max(row.onset, row.end - 1))
        result.append(Swell(row.bar_index, last, row.mark, before, after))
    return tuple(result)


def _ways(score: Score, rows: tuple[DynamicMark, ...], levels: list[DynamicMark]) -> list[DynamicMark]:
    """Return hairpins and the words for them as rows marked ``cresc`` or ``dim``, each with the end it leads to."""
    merged: list[DynamicMark] = []
    last: dict[str, int] = {}
    for row in rows:
        way = _way(row)
        twin = last.get(way, -1)
        if not way:
            continue
        if twin >= 0 and _one_swell(score, merged[twin], row):
            kind = "text" if "text" in (merged[twin].kind, row.kind) else row.kind
            merged[twin] = replace(merged[twin], end=max(merged[twin].end, row.end), kind=kind)
        else:
            last[way] = len(merged)
            merged.append(replace(row, mark=way))
    onsets = [level.onset for level in levels]
    other = {way: [mark.onset for mark in merged if mark.mark != way] for way in ("cresc", "dim")}
    return [replace(mark, end=_goal(score, mark, other[mark.mark], levels, onsets)) for mark in merged]


def _way(row: DynamicMark) -> str:
    """Return ``cresc`` or ``dim`` for a hairpin or a word that swells or fades, else nothing."""
    if row.kind == "hairpin":
        return "dim" if row.mark.startswith("d") else "cresc"
    words = _SWELLING.match(row.mark) if row.kind == "text" else None
    return "" if words is None else "cresc" if words["cresc"] else "dim"


def _one_swell(score: Score, one: DynamicMark, other: DynamicMark) -> bool:
    """Whether a hairpin and a word, or two words, begin together."""
    return "text" in (one.kind, other.kind) and abs(other.onset - one.onset) <= _half_bar(score, one.bar_index)


def _level_at(levels: list[DynamicMark], onsets: list[int], onset: int) -> int:
    """Return the degree in force at a moment, -1 before any."""
    place = bisect_right(onsets, onset)
    return levels[place - 1].degree if place else -1


def _against(score: Score, mark: DynamicMark, level: DynamicMark, before: int) -> bool:
    """Whether a level goes the other way than a swell, or is the same again a bar or more after its beginning."""
    step = (level.degree - before) * (1 if mark.mark == "cresc" else -1) if before >= 0 else 1
    return step < 0 or (step == 0 and level.onset - mark.onset >= 2 * _half_bar(score, mark.bar_index))


def _goal(score: Score, mark: DynamicMark, other: list[int], levels: list[DynamicMark], onsets: list[int]) -> int:
    """Return where a swell ends; *other* holds the beginnings of swells the other way."""
    later = bisect_right(onsets, mark.onset)
    if mark.kind == "hairpin":
        before = _level_at(levels, onsets, mark.onset)
        inside = levels[later : bisect_left(onsets, mark.end)]
        return next((level.onset for level in inside if _against(score, mark, level, before)), mark.end)
    turn = bisect_right(other, mark.onset)
    goals = [*onsets[later : later + 1], *other[turn : turn + 1]]
    near = [goal for goal in goals if goal <= _bar_end(score, mark.bar_index + _LEADS_BARS - 1)]
    return min(near) if near else max(mark.end, _bar_end(score, mark.bar_index + _LEADS_BARS // 2 - 1))


def _bar_end(score: Score, bar_index: int) -> int:
    """Return the end of a bar in ticks; of the last one where there are not so many."""
    bar = score.bars[min(bar_index, len(score.bars)) - 1]
    return int(bar["onset"] + bar["duration"])
