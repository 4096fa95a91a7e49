"""Passages of a first spec: cut where the survey hears the form, named after what begins there."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from typing import TYPE_CHECKING

from reading import bars_said

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reading.form import Section
    from reading.score import Score
    from reading.survey import Survey

__all__ = ["LONGEST", "MOST", "parts", "passages"]

BARS = 8
LONGEST = 24
"""Bars that can be kept in the ear from one variant to the next."""
_PHRASE = 4
"""Bars a passage has at least, but for the last: less is heard as a fragment."""
MOST = 12
_CLOSING = 1 / 6
"""A last passage no longer than this share of the piece, and without a theme of its own, closes it."""
_HEADINGS = ("coda", "trio")
_THEMES = {"theme returns": "theme returns", "opening returns": "opening returns", "new theme": "new theme"}
_CHANGES = {
    "new tempo": "new tempo",
    "new metre": "new metre",
    "new key signature": "new key",
    "key changes": "new key",
    "texture changes": "new texture",
    "figuration changes": "new figuration",
    "new rhythm": "new rhythm",
    "new register": "new register",
    "dynamics change": "new dynamics",
    "harmony changes": "new harmony",
}
"""Beginnings of the survey's reasons, the most telling first, and the name each gives.

Names are these words alone: no text of the score goes into them.
"""


def passages(score: Score, survey: Survey | None) -> list[tuple[str, str]]:
    """Return name and bars, as a spec says them, of the passages worth hearing side by side.

    Parameters
    ----------
    score : Score
    survey : Survey, optional
        Its sections cut the piece and name the passages; every eight bars where it sees no form.

    Returns
    -------
    list of (str, str)
        At most ``MOST``, each of at most ``LONGEST`` bars, in the order of the piece. Together they are the whole piece
        where that can be, else the beginnings of its strongest sections.
    """
    found = _cut(score, survey.sections.rows if survey else ())
    starts = {section.bar_index: section for section in survey.sections.rows} if survey else {}
    names = [_name(score, starts.get(first), first, last) for first, last in found]
    counts = Counter(names)
    return [
        (_called(score, name, counts[name], *part), bars_said(score, *part))
        for name, part in zip(names, found, strict=True)
    ]


def parts(first: int, last: int) -> list[tuple[int, int]]:
    """Return bars cut evenly where they are too many to be kept in the ear.

    Parameters
    ----------
    first, last : int
        Bar indices from 1, both included.
    """
    count = -(-(last - first + 1) // LONGEST)
    cuts = [first + place * (last - first + 1) // count for place in range(count + 1)]
    return [(start, after - 1) for start, after in pairwise(cuts)]


def _cut(score: Score, rows: Sequence[Section]) -> list[tuple[int, int]]:
    """Bars of the passages: as many of the strongest sections as leave no more passages than a list should have."""
    last = len(score.bars)
    for strongest in range(min(len(rows), MOST), 1, -1):
        spans = _spans(_starts(rows[:strongest], last), last)
        found = [part for span in spans for part in parts(*span)]
        if len(spans) > 1 and len(found) <= MOST:
            return found
    spans = _spans(_starts(rows[:MOST], last), last)
    if len(spans) > 1 and last > MOST * LONGEST:
        return [parts(*span)[0] for span in spans]
    return _evenly(last)


def _evenly(last: int) -> list[tuple[int, int]]:
    """Equal passages of eight bars or, in longer pieces, of more; a short rest goes to the last."""
    length = min(LONGEST, max(BARS, -(-last // MOST)))
    starts = list(range(1, last + 1, length))
    rest = last - starts[-1] + 1
    if len(starts) > 1 and rest < length // 2 and length + rest <= LONGEST:
        starts.pop()
    return _spans(starts, last)[:MOST]


def _spans(starts: list[int], last: int) -> list[tuple[int, int]]:
    """First and last bar from each start to the next."""
    return [(first, after - 1) for first, after in pairwise([*starts, last + 1])]


def _starts(rows: Sequence[Section], last: int) -> list[int]:
    """First bars of sections, the strongest first: a weaker one that would leave less than a phrase is passed over."""
    found = [1]
    for bar in (one.bar_index for one in rows):
        if bar < last and all(abs(bar - other) >= _PHRASE for other in found):
            found.append(bar)
    return sorted(found)


def _name(score: Score, section: Section | None, first: int, last: int) -> str:
    """What begins there, in a few words; empty where the survey does not know."""
    if section is None:
        return ""
    if first == 1:
        return "opening"
    if heading := _heading(score, first):
        return heading
    if theme := _told(section, _THEMES):
        return theme
    bars = len(score.bars)
    if last == bars and last - first + 1 <= _CLOSING * bars:
        return "closing"
    return _told(section, _CHANGES)


def _heading(score: Score, bar: int) -> str:
    """A heading over the bar that names its part of the form."""
    start, end = score.span(bar, bar)
    words = [
        mark.value.strip().lower() for mark in score.marks_of("text", "tempo", "jump") if start <= mark.onset < end
    ]
    return next((name for name in _HEADINGS if any(word.rstrip(".:") == name for word in words)), "")


def _told(section: Section, names: dict[str, str]) -> str:
    """The first of the names that the section's reasons give."""
    return next((name for known, name in names.items() if any(one.startswith(known) for one in section.reasons)), "")


def _called(score: Score, name: str, count: int, first: int, last: int) -> str:
    """The name with its first bar where others have it too; the bars alone where there is none."""
    if not name:
        word = "bar" if first == last else "bars"
        return f"{word} {bars_said(score, first, last)}"
    return name if count == 1 else f"{name} {bars_said(score, first, first)}"
