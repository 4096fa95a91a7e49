"""Sung text under the notes of a part: syllables by note and tick, as MusicXML.

References
----------
MusicXML 4.0 (W3C Music Notation Community Group): ``lyric``, ``syllabic``, ``text``, ``elision``, ``extend``.
"""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from mapping.fullscore_text import plain
from mapping.singing import is_singer
from reading.sung import ELISION, Syllable, sung_notes, syllables

if TYPE_CHECKING:
    from mapping.arrangement import Arrangement, Part
    from mapping.fullscore_rhythm import Event

__all__ = ["Lyrics", "lyrics_of"]

_NO_TOKEN = re.compile(r"[^\w.:-]")


@dataclass
class Lyrics:
    """The text of a part.

    Attributes
    ----------
    by_row : dict of int to list of Syllable
        By row of the part's notes.
    ticks : set of int
        Where syllables begin, in ticks of the piece.
    heads : dict of int to set of int
        By row, where a singer's note has a further head: as the file ties it, or where a verse has a syllable.
    """

    by_row: dict[int, list[Syllable]] = field(default_factory=lambda: defaultdict(list))
    ticks: set[int] = field(default_factory=set)
    heads: dict[int, set[int]] = field(default_factory=lambda: defaultdict(set))

    def at(self, rows: tuple[int, ...] | list[int], start: int, end: int) -> str:
        """Return the text of notes struck together that begins from *start* up to *end* ticks, verse by verse."""
        if not self.by_row:
            return ""
        here = [one for row in rows for one in self.by_row.get(row, ()) if start <= one.onset < end]
        return "".join(_xml(one) for one in sorted(here, key=lambda one: (len(one.verse), one.verse)))

    def split(self, events: list[Event], bar: int) -> list[Event]:
        """Return a voice's events cut where their notes have further heads; *bar* is the bar's tick."""
        found: list[Event] = []
        for event in events:
            ticks = {tick - bar for row in event.rows for tick in self.heads.get(row, ())}
            cuts = sorted(tick for tick in ticks if 0 < tick - event.start < event.length)
            found += _cut(event, cuts) if cuts else [event]
        return found

    def begun(self, bar: int, length: int) -> frozenset[int]:
        """Return where in a bar syllables begin, ticks from its start: no beam is drawn into a new syllable."""
        return frozenset(tick - bar for tick in self.ticks if bar <= tick < bar + length)


def _cut(event: Event, cuts: list[int]) -> list[Event]:
    """An event in pieces, tied."""
    edges = [event.start, *cuts, event.start + event.length]
    pieces = [replace(event, start=first, length=last - first, grace=[], after=[]) for first, last in pairwise(edges)]
    pieces[0].grace, pieces[-1].after = event.grace, event.after
    return pieces


def lyrics_of(part: Part, arrangement: Arrangement) -> Lyrics:
    """Return the text of a singer's part, or of a part that is the source's own; none for instruments that double.

    Parameters
    ----------
    part : Part
    arrangement : Arrangement
    """
    found = Lyrics()
    if arrangement.steps and not is_singer(part.player):
        return found
    sings, sung = is_singer(part.player), sung_notes(arrangement.score)
    row_of = {source: row for row, source in enumerate(part.notes["source"].tolist()) if source >= 0}
    for one in syllables(arrangement.score):
        if one.note in row_of and (sings or not sung[one.note]):
            found.by_row[row_of[one.note]].append(one)
            found.ticks.add(one.onset)
            found.heads[row_of[one.note]].add(one.onset)
    for mark in arrangement.score.marks_of("head") if sings else ():
        for note in mark.notes:
            if note in row_of:
                found.heads[row_of[note]].add(mark.onset)
    return found


def _xml(one: Syllable) -> str:
    """One syllable of one verse."""
    texts = one.text.split(ELISION) if len(one.syllabic) > 1 else [one.text]
    kinds = (*one.syllabic, *["single"] * len(texts))
    body = f"<elision>{ELISION}</elision>".join(
        f"<syllabic>{kind}</syllabic><text>{plain(text)}</text>" for kind, text in zip(kinds, texts, strict=False)
    )
    number = _NO_TOKEN.sub("", one.verse) or "1"
    return f'<lyric number="{plain(number)}">{body}{"<extend/>" if one.extend else ""}</lyric>'
