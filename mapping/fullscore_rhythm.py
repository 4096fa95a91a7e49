"""From lengths in ticks to written note values: dots, ties at the beat, tuplets, beams.

No music library is asked, because the writer must be exact in ticks and fast; music21 and verovio check it in tests.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

from reading.score import TICKS_PER_QUARTER

__all__ = ["Event", "Glyph", "beamed", "beat_ticks", "can_alternate", "middle_ticks", "written"]

_GRID = TICKS_PER_QUARTER // 32  # a 128th: whatever is not a multiple needs a tuplet
_TYPES = {
    8 * TICKS_PER_QUARTER: "breve",
    4 * TICKS_PER_QUARTER: "whole",
    2 * TICKS_PER_QUARTER: "half",
    TICKS_PER_QUARTER: "quarter",
    TICKS_PER_QUARTER // 2: "eighth",
    TICKS_PER_QUARTER // 4: "16th",
    TICKS_PER_QUARTER // 8: "32nd",
    TICKS_PER_QUARTER // 16: "64th",
    _GRID: "128th",
}
_FLAGS = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4, "128th": 5}
_RATIOS = ((3, 2), (5, 4), (7, 4), (9, 8), (11, 8), (13, 8), (15, 8))


@dataclass
class Event:
    """What one voice does for a while within a bar: notes struck or held together, or silence (no rows).

    Times in ticks from the start of the bar; *rows* are rows of the part's note table.
    """

    start: int
    length: int
    rows: tuple[int, ...] = ()
    grace: list[tuple[int, ...]] = field(default_factory=list)  # struck before it
    after: list[tuple[int, ...]] = field(default_factory=list)  # struck at its end
    between: str = ""  # start or stop of a tremolo between two chords: each is written with the length of both


@dataclass
class Glyph:
    """One written note, chord or rest."""

    start: int
    length: int
    kind: str
    dots: int
    rows: tuple[int, ...]
    ratio: tuple[int, int] | None = None
    tuplet: str = ""  # start, stop or empty
    first: bool = True  # of its event
    last: bool = True
    beams: tuple[str, ...] = ()
    grace: list[tuple[int, ...]] = field(default_factory=list)
    after: list[tuple[int, ...]] = field(default_factory=list)
    between: str = ""
    fermata: str = ""  # shape, where one stands over it that is not its notes' own

    @property
    def flags(self) -> int:
        """How many beams or flags its value has."""
        return _FLAGS.get(self.kind, 0)


def beat_ticks(beats: int, beat_type: int) -> int:
    """Return the length of a beat in ticks; three eighths where the metre is compound."""
    unit = 4 * TICKS_PER_QUARTER // max(1, beat_type)
    return 3 * unit if beat_type >= 8 and beats % 3 == 0 else unit


@cache
def _value(length: int) -> tuple[str, int] | None:
    """Type and dots of a length, where one note can show it."""
    for dots, (over, under) in enumerate(((1, 1), (2, 3), (4, 7))):
        base = length * over
        if base % under == 0 and base // under in _TYPES and (dots == 0 or (base // under) // 2**dots >= _GRID):
            return _TYPES[base // under], dots
    return None


def written(events: list[Event], beat: int, middle: int = 0, *, plainly: bool = False) -> list[Glyph]:
    """Return a voice's events as written notes and rests.

    Parameters
    ----------
    events : list of Event
        Without gaps, from the start of the bar.
    beat : int
        Ticks; values are tied rather than hide a beat.
    middle : int
        Ticks from the start to the middle of a bar of four beats, which dotted values across it would hide; 0: none.
    plainly : bool
        Whether notes that one value can show have it, wherever they stand.
    """
    glyphs: list[Glyph] = []
    row = 0
    while row < len(events):
        stop = row + 1
        if events[row].between:
            glyphs.append(_alternating(events[row]))
        elif (events[row].start + events[row].length) % _GRID:
            while stop < len(events) and (events[stop - 1].start + events[stop - 1].length) % _GRID:
                stop += 1
            glyphs += _tuplet(events[row:stop], beat)
        else:
            one = plainly and events[row].rows and _value(events[row].length)
            glyphs += _split(events[row], [events[row].length] if one else _cuts(events[row], beat, middle), None)
        row = stop
    return glyphs


def can_alternate(first: Event, second: Event) -> bool:
    """Whether two events can be written as a tremolo between them: one length, and one value for both together."""
    return first.length == second.length and _value(2 * first.length) is not None


def _alternating(event: Event) -> Glyph:
    """One chord of a tremolo between two."""
    kind, dots = _value(2 * event.length) or (_nearest(2 * event.length), 0)
    glyph = Glyph(event.start, event.length, kind, dots, event.rows, (2, 1), between=event.between)
    glyph.grace, glyph.after = event.grace, event.after
    return glyph


def _tuplet(events: list[Event], beat: int) -> list[Glyph]:
    """Events between two places of the plain grid, as one tuplet."""
    for actual, normal in _RATIOS:
        if all(event.length * actual % (normal * _GRID) == 0 for event in events):
            ratio = (actual, normal)
            break
    else:
        return [glyph for event in events for glyph in _split(event, [event.length], None)]
    glyphs: list[Glyph] = []
    for event in events:
        nominal = event.length * ratio[0] // ratio[1]
        parts = [nominal] if _value(nominal) else _halves(0, nominal)
        glyphs += _split(event, [part * ratio[1] // ratio[0] for part in parts], ratio)
    glyphs[0].tuplet = "start"
    glyphs[-1].tuplet = "stop" if len(glyphs) > 1 else ""
    return glyphs


def _split(event: Event, lengths: list[int], ratio: tuple[int, int] | None) -> list[Glyph]:
    """Glyphs of one event with the given lengths."""
    glyphs, start = [], event.start
    for place, length in enumerate(lengths):
        nominal = length * ratio[0] // ratio[1] if ratio else length
        kind, dots = _value(nominal) or (_nearest(nominal), 0)
        glyphs.append(
            Glyph(start, length, kind, dots, event.rows, ratio, first=place == 0, last=place == len(lengths) - 1)
        )
        start += length
    glyphs[0].grace, glyphs[-1].after = event.grace, event.after
    return glyphs


def _nearest(length: int) -> str:
    """Type nearest to a length no note value has (only where a source has times of its own)."""
    return _TYPES[min(_TYPES, key=lambda base: abs(base - length))]


def middle_ticks(beats: int, beat_type: int) -> int:
    """Return where the middle of a bar of four beats is, in ticks; 0 for other metres."""
    beat = beat_ticks(beats, beat_type)
    return 2 * beat if 4 * TICKS_PER_QUARTER * beats == 4 * beat * max(1, beat_type) else 0


def _cuts(event: Event, beat: int, middle: int = 0) -> list[int]:
    """Lengths of the written values of one event on the plain grid."""
    lengths, start, rest = [], event.start, event.length
    while rest > 0:
        length = _first_cut(start, rest, beat, silent=not event.rows)
        if event.rows and 0 < start < middle < start + length and length % beat:
            length = middle - start
        lengths += [length] if _value(length) else _halves(start, length)
        start, rest = start + length, rest - length
    return lengths


def _first_cut(start: int, length: int, beat: int, *, silent: bool) -> int:
    """How much of an event the first written value takes: all of it where that does not hide a beat."""
    if silent:
        return _first_rest(start, length, beat)
    into = start % beat
    value = _value(length)
    if into + length <= beat and value:
        return length
    if into == 0 and value:
        return length
    if value and value[1] == 0 and into * 2 == beat and length == beat:
        return length  # the plain syncopation: eighth, quarter, eighth
    if into:
        return min(length, beat - into)
    whole = length // beat * beat
    while whole and not _value(whole):
        whole -= beat
    return whole or length


def _first_rest(start: int, length: int, beat: int) -> int:
    """How much of a silence the first rest takes: a beat of compound time, else the largest plain rest in place."""
    compound = beat % (3 * TICKS_PER_QUARTER // 4) == 0
    if compound and start % beat == 0 and length >= beat:
        return beat
    return _halves(start, min(length, beat - start % beat) if compound else length)[0]


def _halves(start: int, length: int) -> list[int]:
    """Cut a length into plain values, each standing where a value of its size may begin."""
    found = []
    while length > 0:
        size = max((base for base in _TYPES if base <= length and start % base == 0), default=length)
        found.append(size)
        start, length = start + size, length - size
    return found


def beamed(glyphs: list[Glyph], beat: int, middle: int = 0, apart: frozenset[int] = frozenset()) -> None:
    """Set the beams of a voice's glyphs in place: notes of one beat together, rests apart.

    Plain eighths of a half bar of four quarters share one beam; into the ticks of *apart*, where syllables begin, no
    beam is drawn (common practice, no source).
    """
    groups: list[list[Glyph]] = []
    for glyph in glyphs:
        if not glyph.rows or not glyph.flags:
            groups.append([])
        elif glyph.start in apart:
            groups.append([glyph])
        elif groups and groups[-1] and groups[-1][-1].start // beat == glyph.start // beat:
            groups[-1].append(glyph)
        else:
            groups.append([glyph])
    joined: list[list[Glyph]] = []
    for group in groups:
        before = joined[-1] if joined else []
        if middle == 2 * beat and _halves_of_one(before, group, middle) and group[0].start not in apart:
            before.extend(group)
        else:
            joined.append(group)
    for group in joined:
        _beam(group)


def _halves_of_one(first: list[Glyph], second: list[Glyph], middle: int) -> bool:
    """Whether two beats of plain eighths lie in one half of the bar."""
    both = [*first, *second]
    plain = len(first) == len(second) == 2 and all(one.kind == "eighth" and not one.dots for one in both)
    return plain and not any(one.ratio for one in both) and first[0].start // middle == second[-1].start // middle


def _beam(group: list[Glyph]) -> None:
    """Beams of one group, level by level; a lone short note in it gets a hook."""
    if len(group) < 2:
        return
    for place, glyph in enumerate(group):
        words = []
        for level in range(1, glyph.flags + 1):
            before = place > 0 and group[place - 1].flags >= level
            after = place + 1 < len(group) and group[place + 1].flags >= level
            hook = "backward hook" if place else "forward hook"
            words.append("continue" if before and after else "end" if before else "begin" if after else hook)
        glyph.beams = tuple(words)
