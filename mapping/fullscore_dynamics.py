"""Dynamics, accents written like them, and hairpins of one part, from the piano's marks and the steps' own."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.fullscore_details import Details, origins
from mapping.fullscore_directions import Direction, Placed, free_number
from mapping.fullscore_text import plain
from mapping.levels import UNMARKED
from reading.score import DYNAMICS, TICKS_PER_QUARTER, Flag

if TYPE_CHECKING:
    from mapping.arrangement import Part
    from mapping.draft import Rows
    from reading.score import Mark, Score

__all__ = ["dynamics", "hairpins", "side"]

_REST_AGAIN = 2  # bars of silence after which a dynamic is written again
_ELEMENTS = {*DYNAMICS, "n", "sf", "sfp", "sfpp", "fp", "rf", "rfz", "sfz", "sffz", "fz", "pf", "sfzp"}
_ACCENTS = int(Flag.SFORZANDO | Flag.FP)


def side(staff: int, staves: int) -> tuple[str, int]:
    """Return placement and staff of a sign: between the staves for both, else outside its own; below a single one."""
    if staves == 1 or staff == 0:
        return "below", 1
    return ("above", 1) if staff == 1 else ("below", 2)


def dynamics(part: Part, score: Score, details: Details, placed: Placed) -> None:
    """Add the dynamics and accents of a part.

    A dynamic stands where the part's level changes: at its first note, under a note held through the change, and again
    after some bars of silence. A keyboard that plays at the piano's level has the piano's own signs.
    """
    _accents(part, details, placed)
    if part.player.instrument.staves > 1 and not (part.notes["dynamic"] >= 0).any():
        _as_the_piano(part, score, placed)
        return
    notes = part.notes
    marked = _marked(notes, score)
    before, sounded = -1, -1
    onsets, firsts, counts = np.unique(notes["onset"], return_index=True, return_counts=True)
    attacks = {int(onset): (int(row), int(count)) for onset, row, count in zip(onsets, firsts, counts, strict=True)}
    held = _held_changes(notes, score)
    swelling = [(mark.onset, mark.end) for mark in _followed(notes, score)]
    for onset in sorted({*attacks, *held}):
        row, count = attacks.get(onset, (-1, 0))
        rows = slice(row, row + count)
        level = int(marked[row]) if count else held[onset]
        again = sounded >= 0 and score.bar_at(onset) - sounded > _REST_AGAIN
        accented = count and bool((notes["flags"][rows] & _ACCENTS).any())
        if any(start < onset < end for start, end in swelling):
            level = before  # the hairpin says it
        if level >= 0 and not accented:  # the sign stands in place of a level, which comes with the next note
            if level != before or again:
                placed.opening[onset].append(Direction("below", f"<dynamics><{DYNAMICS[level]}/></dynamics>"))
            before = level
        if count:
            sounded = score.bar_at(int((notes["onset"][rows] + notes["duration"][rows]).max()) - 1)


def _accents(part: Part, details: Details, placed: Placed) -> None:
    """Accents as printed (sf, sfz, rfz, fp …); sf and fp where a step made them."""
    notes, staves = part.notes, part.player.instrument.staves
    found: dict[tuple[int, str], set[int]] = {}
    for row in np.flatnonzero(notes["flags"] & _ACCENTS).tolist():
        word = details.accents.get(row) or ("sf" if int(notes["flags"][row]) & Flag.SFORZANDO else "fp")
        found.setdefault((int(notes["onset"][row]), word), set()).add(int(notes["staff"][row]))
    for (onset, word), here in found.items():
        others = set(notes["staff"][(notes["onset"] == onset) & (notes["duration"] > 0)].tolist()) - here
        placement, staff = side(min(here) if others else 0, staves)
        xml = f"<{word}/>" if word in _ELEMENTS else f"<other-dynamics>{plain(word)}</other-dynamics>"
        placed.opening[onset].append(Direction(placement, f"<dynamics>{xml}</dynamics>", staff))


def _as_the_piano(part: Part, score: Score, placed: Placed) -> None:
    """The piano's own dynamics, each at its place and staff, where the part plays while it holds."""
    notes = part.notes
    marks = [mark for mark in score.marks_of("dynamic") if mark.value in _ELEMENTS]
    ends = notes["onset"] + notes["duration"]
    onsets = [mark.onset for mark in marks]
    for mark in marks:
        later = bisect_right(onsets, mark.onset)
        until = onsets[later] if later < len(onsets) else score.end + 1
        if bool(((notes["onset"] < until) & (np.maximum(ends, notes["onset"] + 1) > mark.onset)).any()):
            placement, staff = side(mark.staff, part.player.instrument.staves)
            placed.opening[mark.onset].append(
                Direction(placement, f"<dynamics><{mark.value}/></dynamics>", staff),
            )


def _points(score: Score, part: int, staff: int) -> tuple[Any, Any]:
    """(ticks, levels) of the dynamics one staff of the piano goes by; −1 before the first.

    A mark holds for its whole part; where two staves are marked differently at one moment, each keeps its own.
    """
    points: dict[int, tuple[bool, int]] = {}
    for mark in score.marks_of("dynamic"):
        if mark.value in DYNAMICS and part in (mark.part, -1):
            own = mark.staff in (staff, 0)
            if mark.onset not in points or own or not points[mark.onset][0]:
                points[mark.onset] = own, DYNAMICS.index(mark.value)
    ticks = sorted(points)
    return np.array(ticks, dtype=np.int64), np.array([-1, *(points[tick][1] for tick in ticks)], dtype=np.int64)


def _marked(notes: Rows, score: Score) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """The dynamic written at or before each note (row in DYNAMICS): the step's own, else the piano's, else −1."""
    found = np.full(len(notes), -1, dtype=np.int64)
    parts, staves = origins(notes, score)
    for part, staff in sorted(set(zip(parts.tolist(), staves.tolist(), strict=True))):
        mine = (parts == part) & (staves == staff)
        ticks, levels = _points(score, part, staff)
        found[mine] = levels[np.searchsorted(ticks, notes["onset"][mine], side="right")]
    own = notes["dynamic"] >= 0
    found[own] = notes["dynamic"][own]
    silent = (found < 0) & ~own
    found[silent] = UNMARKED if own.any() else -1
    return np.asarray(found, dtype=np.int64)


def _held_changes(notes: Rows, score: Score) -> dict[int, int]:
    """Tick and level of dynamics that fall under a held note the part has from the piano."""
    parts, staves = origins(notes, score)
    found: dict[int, int] = {}
    for mark in score.marks_of("dynamic"):
        if mark.value in DYNAMICS:
            mine = (parts == mark.part) & (notes["dynamic"] < 0)
            mine &= (staves == mark.staff) if mark.staff else np.ones(len(notes), dtype=bool)
            if bool((mine & (notes["onset"] < mark.onset) & (notes["onset"] + notes["duration"] > mark.onset)).any()):
                found[mark.onset] = DYNAMICS.index(mark.value)
    return found


def _followed(notes: Rows, score: Score) -> list[Mark]:
    """The piano's hairpins that notes made by steps follow: their levels change all the way in its direction."""
    own = (notes["dynamic"] >= 0) & (notes["source"] < 0)
    found = []
    for mark in score.marks_of("hairpin"):
        inside = np.flatnonzero(own & (notes["onset"] >= mark.onset) & (notes["onset"] < mark.end))
        change = np.diff(notes["dynamic"][inside].astype(int)) * (1 if mark.value == "cresc" else -1)
        if (change >= 0).all() and (change > 0).any():
            found.append(mark)
    return found


def hairpins(part: Part, score: Score, placed: Placed) -> None:
    """Add the hairpins of the piano where the part plays at the piano's level or follows it, and those of steps.

    A line has one hairpin at a time; where the piano's staves differ, the one of the staff its notes come from.
    """
    notes, staves = part.notes, part.player.instrument.staves
    _, origin = origins(notes, score)
    wanted = [(mark, notes["dynamic"] < 0) for mark in score.marks_of("hairpin")]
    wanted += [(replace(mark, staff=0), notes["dynamic"] >= 0) for mark in _followed(notes, score)]
    wanted += [(replace(mark, staff=0), notes["dynamic"] < 99) for mark in part.marks if mark.kind == "hairpin"]
    done: list[Mark] = []
    for mark, mask in sorted(
        wanted,
        key=lambda item: (not bool((item[1] & (origin == item[0].staff)).any()), item[0].end - item[0].onset),
    ):
        inside = mask & (notes["onset"] < mark.end) & (notes["onset"] + notes["duration"] > mark.onset)
        if mark.end <= mark.onset or not inside.any() or any(_clash(mark, other, staves) for other in done):
            continue
        if staves == 1:  # no hairpin over a player's rest
            first, last = notes["onset"][inside].min(), (notes["onset"] + notes["duration"])[inside].max()
            mark = replace(mark, onset=max(mark.onset, int(first)), end=min(mark.end, int(last)))
            if mark.end - mark.onset < TICKS_PER_QUARTER and len(np.unique(notes["onset"][inside])) < 2:
                continue  # one short note cannot swell
        done.append(mark)
    _write(done, staves, score, placed)


def _write(marks: list[Mark], staves: int, score: Score, placed: Placed) -> None:
    """Add hairpins with numbers that tell them apart."""
    open_until: dict[int, int] = {}
    for mark in sorted(marks, key=lambda one: one.onset):
        number = free_number(open_until, mark.onset, score)
        if not number:
            continue
        open_until[number] = mark.end
        kind = "crescendo" if mark.value == "cresc" else "diminuendo"
        placement, staff = side(mark.staff, staves)
        placed.opening[mark.onset].append(Direction(placement, f'<wedge type="{kind}" number="{number}"/>', staff))
        placed.closing[mark.end].insert(0, Direction(placement, f'<wedge type="stop" number="{number}"/>', staff))


def _clash(one: Mark, other: Mark, staves: int) -> bool:
    """Whether two hairpins would stand over each other."""
    same = (one.onset, one.end, one.staff, one.value) == (other.onset, other.end, other.staff, other.value)
    return same if staves > 1 else one.onset < other.end and other.onset < one.end
