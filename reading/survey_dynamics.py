"""Dynamics: every mark in order, and the places where loudness changes at once."""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from reading.score import DYNAMICS

if TYPE_CHECKING:
    from reading.score import Mark, Score

__all__ = ["Contrast", "DynamicMark", "Swell", "contrasts", "dynamics", "swells"]

_BEFORE = r"\W*(poco a poco |sempre |pi[ùu] |poco |molto |meno )*"
_ITSELF = r"(cresc|decresc|dim|rinf|rf|sf|smorz|morendo|calando|perdendo|forte|piano|mezza voce|sotto voce)"
_WORDS = re.compile(_BEFORE + f"({_ITSELF}" + r"|[pf]{1,4}\b|m[pf]\b)", re.IGNORECASE)
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
    hairpins = [(row.onset, row.end) for row in rows if row.kind == "hairpin"]
    sudden = []
    for place in range(1, len(levels)):
        before, now = levels[place - 1], levels[place]
        near = now.onset - _half_bar(score, before.bar_index)
        led = any(a < now.onset and b > before.onset and b >= near for a, b in hairpins)
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
    """Return the hairpins with the levels they lead from and to.

    Parameters
    ----------
    score : Score
    rows : tuple of DynamicMark
        From :func:`dynamics`.

    Returns
    -------
    tuple of Swell
    """
    levels, result = _levels(score, rows), []
    for row in rows:
        if row.kind != "hairpin":
            continue
        half = _half_bar(score, row.bar_index)
        before = [level.degree for level in levels if level.onset <= row.onset]
        after = [level.degree for level in levels if row.onset < level.onset <= row.end + half]
        last = score.bar_at(max(row.onset, row.end - 1))
        kind = "dim" if row.mark.startswith("d") else "cresc"
        result.append(Swell(row.bar_index, last, kind, before[-1] if before else -1, after[0] if after else -1))
    return tuple(result)
