"""One figure through a stretch: families settled by their neighbours, and the passages a finding speaks of."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from statistics import median
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reading.figure import Figure

__all__ = ["Stretch", "figure_words", "settled", "stretches"]

_ALTERNATING = 5
"""Bars of two families by turns that make one pattern; fewer may be a change from one to the other."""
_BRIDGED = 2
"""Bars of something else inside a passage that do not end it."""
_MOST_BRIDGED = 3
"""One bar of this many at most is something else."""
_SLOW = 1.6
"""A figure so many times as quick as another is another motion."""
_PHRASE = 4
"""Bars of broken octaves that do not part a passage of broken chords; more are a figure of their own."""
_CLASSES = {
    "broken": ("Alberti", "broken", "arpeggio", "oscillat", "tremolo"),
    "repeated": ("repeated", "after-beat"),
    "octaves": ("octave",),
    "oom-pah": ("bass and chord", "octave line", "chord motion", "single chord", "chords and single notes"),
}


@dataclass(frozen=True)
class Stretch:
    """A passage of one figure.

    Attributes
    ----------
    kind : str
        ``broken``, ``repeated``, ``oom-pah`` or ``octaves``. Notes to and fro are broken chords here, and so are broken
        octaves for a phrase beside them: the question asked is the same, and the table keeps them apart.
    rows : tuple of Figure
        The bars that have it, in order; up to two bars in a row between them may have something else.
    """

    kind: str
    rows: tuple[Figure, ...]

    @property
    def first(self) -> int:
        """Index of the first bar."""
        return self.rows[0].bar_index

    @property
    def last(self) -> int:
        """Index of the last bar."""
        return self.rows[-1].bar_index


def settled(figures: list[Figure]) -> list[Figure]:
    """Return the figures with their families settled by the bars around (rests stay).

    Two families of one pattern that alternate for five bars or more are one: an octave in the bass, then a chord, is
    bass and chords, and so is a lone bar of octaves beside two bars of it; a lone family takes that of both neighbours.

    Parameters
    ----------
    figures : list of Figure
        Of one hand, by bar.
    """
    found = [figure.family for figure in figures]
    families, alternating = list(found), [False] * len(found)
    for first, last in _alternations(found):
        one = _one_pattern(found[first : last + 1])
        for row in range(first, last + 1):
            alternating[row], families[row] = True, one or found[row]
    for row in range(1, len(found) - 1):
        before, here, after = found[row - 1 : row + 2]
        if before == after != here and "rest" not in (before, here) and not alternating[row]:
            families[row] = before
    _take_octaves_in(families)
    return [replace(figure, family=family) for figure, family in zip(figures, families, strict=True)]


def _take_octaves_in(families: list[str]) -> None:
    """Make a lone bar of octaves beside two bars of bass and chords part of them."""
    for row, family in enumerate(families):
        before, after = families[max(0, row - 2) : row], families[row + 1 : row + 3]
        lone = family == "octaves" and family not in (*before[-1:], *after[:1])
        if lone and ["oom-pah", "oom-pah"] in (before, after):
            families[row] = "oom-pah"


def _alternations(families: list[str]) -> list[tuple[int, int]]:
    """Longest runs of two families by turns, as first and last row."""
    runs, first = [], 0
    for row in range(1, len(families) + 1):
        if row < len(families) and families[row] != families[row - 1]:
            if row - first < 2 or families[row] == families[row - 2]:
                continue
            begin = row - 1
        else:
            begin = row
        if row - first >= _ALTERNATING:
            runs.append((first, row - 1))
        first = begin
    return runs


def _one_pattern(families: list[str]) -> str:
    """The family of two that alternate and are of one pattern, else empty."""
    pair, count = set(families), Counter(families)
    if pair <= {"oom-pah", "octaves", "block"}:
        return "oom-pah"
    alike = pair <= {"broken", "oscillation", "octaves"} or pair <= {"line", "scale", "broken"}
    odd = families[0] == families[-1] and "rest" not in pair  # it comes back after every odd bar
    return count.most_common(1)[0][0] if alike or odd else ""


def stretches(rows: Iterable[Figure]) -> list[Stretch]:
    """Return the passages of two bars or more with one figure of the piano's own.

    Parameters
    ----------
    rows : iterable of Figure
        Of one hand, by bar, settled.

    Returns
    -------
    list of Stretch
        In order. One or two bars of something else in a row do not end a passage, as long as they are no passage
        themselves and no more than a third of it.
    """
    found: list[Stretch] = []
    for row in rows:
        kind = _kind(row)
        if kind and found and found[-1].kind == kind and found[-1].last + 1 == row.bar_index:
            found[-1] = Stretch(kind, (*found[-1].rows, row))
        elif kind:
            found.append(Stretch(kind, (row,)))
    lasting = [one for one in map(_trimmed, found) if len(one.rows) > 1]
    joined: list[Stretch] = []
    for one in lasting:
        kind = _one_figure(joined[-1], one) if joined else ""
        if kind:
            joined[-1] = Stretch(kind, (*joined[-1].rows, *one.rows))
        else:
            joined.append(one)
    return [one for one in joined if sum(_is(row, one.kind) for row in one.rows) > 1]


def _trimmed(stretch: Stretch) -> Stretch:
    """The passage without a bar at either end that moves much more slowly: the figure has not begun, or is over."""
    pace, rows = _pace(stretch), list(stretch.rows)
    for end in (0, -1):
        if len(rows) > 1 and _SLOW * rows[end].per_beat < pace:
            del rows[end]
    return replace(stretch, rows=tuple(rows))


def _pace(stretch: Stretch) -> float:
    """Usual attacks to the beat."""
    return median(row.per_beat for row in stretch.rows)


def _one_figure(before: Stretch, after: Stretch) -> str:
    """The kind of two passages that are one, else empty.

    The figure goes on after a few bars of something else; or the notes go on, for a phrase, in broken octaves.
    """
    between, own = after.first - before.last - 1, len(before.rows) + len(after.rows)
    if before.kind == after.kind:
        other = after.last - before.first + 1 - own
        return before.kind if between <= _BRIDGED and _MOST_BRIDGED * other <= own + other else ""
    if between or {before.kind, after.kind} != {"broken", "octaves"}:
        return ""
    octaves = before if before.kind == "octaves" else after
    short = min(len(before.rows), len(after.rows)) <= _PHRASE
    slow, quick = sorted((_pace(before), _pace(after)))
    return "broken" if short and quick <= _SLOW * slow and any(_is(row, "broken") for row in octaves.rows) else ""


def _kind(row: Figure) -> str:
    """The kind of passage a bar belongs to; empty for lines, held notes, plain chords and rests."""
    if row.family in ("broken", "oscillation"):
        return "broken"
    return row.family if row.family in ("repeated", "oom-pah", "octaves") else ""


def _is(row: Figure, kind: str) -> bool:
    """Whether a bar is of a kind by its own finer class."""
    return any(word in row.figure for word in _CLASSES[kind])


def _own(stretch: Stretch) -> list[Figure]:
    """The bars whose own finer class is of the kind; all where none is."""
    return [row for row in stretch.rows if _is(row, stretch.kind)] or list(stretch.rows)


def figure_words(stretch: Stretch) -> str:
    """Return what the figure is, in words: ``Alberti and broken octaves in 8th notes``.

    Parameters
    ----------
    stretch : Stretch
    """
    own = _own(stretch)
    names = Counter("bass and chords" if stretch.kind == "oom-pah" else row.figure for row in own).most_common(2)
    said = [name for name, count in names if 4 * count >= len(own) or 2 * names[0][1] < len(own)]
    rhythm = Counter(row.rhythm for row in own).most_common(1)[0][0]
    plain = f"in notes of a {rhythm}" if "tied" in rhythm else f"in {rhythm} notes"
    values = {"uneven": "in mixed values", "": ""}.get(rhythm, plain)
    return f"{' and '.join(said)} {values}".strip()
