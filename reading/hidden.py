"""Notes a file hides: an ornament printed as a sign and written out unseen for play-back must not sound twice."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from reading.score import Flag

if TYPE_CHECKING:
    from reading.draft import Draft, RawNote

__all__ = ["silence_playback"]

_NEAR = 4  # semitones a shake, turn or mordent goes from its note
_SIGNS = ("ornament", "tremolo")


def silence_playback(draft: Draft) -> None:
    """Flag hidden notes as cues where the sign they realise is carried by a printed note of the same staff.

    Such notes are hidden, shorter than the note with the sign, within its time, in another voice, and no further from
    its pitch than an ornament goes. The sign is what gets played; the written-out notes stay in the table.

    Parameters
    ----------
    draft : Draft
        Its notes are changed.
    """
    hidden: dict[tuple[int, int], list[RawNote]] = defaultdict(list)
    for note in draft.notes:
        if note.hidden and not note.flags & Flag.CUE:
            hidden[note.part, note.staff].append(note)
    if not hidden:
        return
    signed = (main for mark in draft.marks if mark.kind in _SIGNS for main in mark.notes)
    pairs = ((main, note) for main in signed for note in hidden.get((main.part, main.staff), ()))
    silenced = {id(note): note for main, note in pairs if _realises(note, main)}
    for note in silenced.values():
        note.flags |= Flag.CUE
    if silenced:
        first = min(silenced.values(), key=lambda note: note.onset)
        text = f"{len(silenced)} hidden notes write out an ornament that is printed as a sign; the sign is played"
        draft.repair("written-out ornament", text, first.bar, first.part, first.staff)


def _realises(note: RawNote, main: RawNote) -> bool:
    """Whether a hidden note is part of the written-out ornament of *main*."""
    within = main.onset <= note.onset and note.onset + note.duration <= main.onset + main.duration
    other = note.voice != main.voice and note.duration < main.duration
    return within and other and not main.hidden and abs(note.pitch - main.pitch) <= _NEAR
