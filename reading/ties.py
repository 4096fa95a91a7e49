"""Tied notes joined; ties that lead nowhere, come from nowhere or jump a gap are told."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from reading.score import TICKS_PER_QUARTER, Flag

if TYPE_CHECKING:
    from reading.draft import Draft, RawNote

__all__ = ["merge_ties"]

_MOST_OPEN_TIES = 32
_LONGEST_GAP = 6 * TICKS_PER_QUARTER


def merge_ties(draft: Draft) -> None:
    """Join tied notes; say where a tie leads nowhere or comes from nowhere."""
    open_ties: dict[tuple[int, int], list[RawNote]] = defaultdict(list)
    ends: dict[int, int] = {}  # end of a tied chain, by id of its first note
    for note in sorted(draft.notes, key=lambda item: (item.onset, not item.flags & Flag.GRACE)):
        waiting = open_ties[note.part, note.pitch]
        if note.tie_stop and _continued(draft, note, waiting, ends):
            continue
        if note.tie_start:
            ends[id(note)] = note.onset + note.duration
            waiting.append(note)
            if len(waiting) > _MOST_OPEN_TIES:
                lost = waiting.pop(0)
                draft.repair("tie to nowhere", "no note to tie to; held as written", lost.bar, lost.part, lost.staff)
    for waiting in open_ties.values():
        for note in waiting:
            draft.repair("tie to nowhere", "no note to tie to; held as written", note.bar, note.part, note.staff)


def _continued(draft: Draft, note: RawNote, waiting: list[RawNote], ends: dict[int, int]) -> bool:
    """Join a note that ends a tie to the one it began at; return whether it went into that one.

    A grace note keeps its own row: it is played first and held on, which is for the performance to do.
    """
    found = _tied_from(note, waiting, ends)
    if found is None:
        draft.repair("tie from nowhere", "no note to tie from; struck anew", note.bar, note.part, note.staff)
        return False
    waiting.remove(found)
    if ends[id(found)] != note.onset:
        text = "a tie over a gap; the note is held through"
        draft.repair("tie over a gap", text, note.bar, note.part, note.staff)
    if (note.flags | found.flags) & Flag.GRACE:
        note.flags |= Flag.TIED
        found.flags |= Flag.TIED
        return False
    _join(found, note, ends)
    if note.tie_start:
        waiting.append(found)
    return True


def _tied_from(note: RawNote, waiting: list[RawNote], ends: dict[int, int]) -> RawNote | None:
    """Return the open note that *note* goes on from: one that ends here, else one that ended a little before.

    A tie over a gap is how broken chords are collected into a held one; the first note sounds through.
    """
    fitting = [item for item in waiting if ends[id(item)] == note.onset]
    if not fitting:
        fitting = [item for item in waiting if 0 < note.onset - ends[id(item)] <= _LONGEST_GAP]
    if not fitting:
        return None
    return min(fitting, key=lambda item: (item.voice != note.voice, item.staff != note.staff, -ends[id(item)]))


def _join(first: RawNote, note: RawNote, ends: dict[int, int]) -> None:
    """Lengthen *first* to the end of *note*."""
    first.duration = note.onset + note.duration - first.onset
    first.flags |= Flag.TIED | (note.flags & int(Flag.FERMATA | Flag.TREMOLO))
    ends[id(first)] = first.onset + first.duration
    note.into = first
