"""From a draft to a score: ties merged, chord marks spread, voices numbered, slurs resolved, notes sorted."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter, defaultdict
from typing import TYPE_CHECKING

import numpy as np

from reading.draft import RawMark, finished_mark
from reading.hidden import silence_playback
from reading.score import BAR_DTYPE, NOTE_DTYPE, Flag, Score
from reading.ties import merge_ties

if TYPE_CHECKING:
    from reading.draft import Draft, RawBar, RawNote

__all__ = ["finish"]

_SHARED_BY_CHORD = int(
    Flag.ACCENT
    | Flag.MARCATO
    | Flag.STACCATO
    | Flag.STACCATISSIMO
    | Flag.TENUTO
    | Flag.SFORZANDO
    | Flag.FP
    | Flag.FERMATA
    | Flag.TREMOLO
    | Flag.TREMOLO_BETWEEN
    | Flag.CUE
)
"""Written once at a chord, meant for all of it."""
_LARGEST_CHORD = 64
_SHARED_NUMBERS = 0.35
_MOST_REFERENCES = 2_000_000
"""Notes under slurs and accents in all: a score has far fewer, a hostile file could ask for billions."""


def finish(draft: Draft, source: str, sha256: str) -> Score:
    """Return the score the draft holds.

    Parameters
    ----------
    draft : Draft
        As the reader left it; its notes are changed.
    source, sha256 : str
        File name without folder, and the hash of its bytes.
    """
    _home_staves(draft)
    _spread_over_chords(draft.notes)
    _strokes_over_chords(draft)
    merge_ties(draft)
    silence_playback(draft)
    notes = [note for note in draft.notes if note.into is None]
    voices = _voice_numbers(notes)
    _flag_slurs(draft.marks, notes)
    _flag_accents(draft.marks, notes)
    for note in notes:
        if note.home != note.staff:
            note.flags |= Flag.CROSS_STAFF
    notes.sort(key=lambda note: (note.onset, note.pitch, note.part, note.staff, voices[id(note)]))
    table = np.zeros(len(notes), NOTE_DTYPE)
    for row, note in enumerate(notes):
        note.id = row
        table[row] = _row(note, voices[id(note)])
    _grace_marks(draft, notes)
    _heads_of_song(draft)
    for mark in draft.marks:
        if mark.kind == "lyric":  # where its own note head stands, though that may be tied to an earlier one
            mark.onset = mark.end = mark.notes[0].onset
    marks = sorted(
        dict.fromkeys(map(finished_mark, draft.marks)), key=lambda mark: (mark.onset, mark.part, mark.staff, mark.kind)
    )
    return Score(
        title=draft.title,
        composer=draft.composer,
        source=source,
        sha256=sha256,
        parts=tuple(draft.parts),
        notes=table,
        bars=_bar_table(draft.bars),
        bar_numbers=tuple(bar.number for bar in draft.bars),
        marks=tuple(marks),
        not_carried=draft.lost(),
        repaired=tuple(draft.repaired),
        counts=_counts(table, draft),
    )


def _row(note: RawNote, voice: int) -> tuple[int, ...]:
    """One row of the note table."""
    return (
        note.id,
        note.onset,
        note.duration,
        note.pitch,
        note.step,
        note.alter,
        note.octave,
        note.part,
        note.staff,
        voice,
        note.bar,
        note.velocity,
        note.flags,
    )


def _home_staves(draft: Draft) -> None:
    """Give every note the staff its voice lives on, so that a visit to the other staff shows as cross-staff.

    Some programs number voices anew on each staff; a voice name spread evenly over two staves is taken as that.
    """
    used: dict[tuple[int, str], Counter[int]] = defaultdict(Counter)
    for note in draft.notes:
        if not note.home:
            used[note.part, note.voice][note.staff] += 1
    for note in draft.notes:
        if note.home:
            continue
        staves = used[note.part, note.voice]
        (home, most), *_ = staves.most_common(1)
        shared = staves.total() - most > _SHARED_NUMBERS * staves.total()
        note.home = note.staff if shared else home


def _voice_numbers(notes: list[RawNote]) -> dict[int, int]:
    """Voice number of every note: voices at home on a staff first, then visitors from another staff."""
    names: dict[tuple[int, int], set[str]] = defaultdict(set)
    for note in notes:
        names[note.part, note.home].add(note.voice)
    rank = {
        (part, staff, name): number
        for (part, staff), found in names.items()
        for number, name in enumerate(sorted(found, key=_voice_order), start=1)
    }
    guests = {key: len(found) for key, found in names.items()}
    return {
        id(note): rank[note.part, note.home, note.voice]
        + (0 if note.home == note.staff else guests.get((note.part, note.staff), 0))
        for note in notes
    }


def _voice_order(name: str) -> tuple[int, str]:
    """Sort ``2`` before ``10``."""
    return (int(name), "") if name.isdecimal() else (1 << 30, name)


def _spread_over_chords(notes: list[RawNote]) -> None:
    """Let a sign written at one note of a chord hold for the whole chord."""
    chords: dict[int, list[RawNote]] = defaultdict(list)
    for note in notes:
        if note.chord >= 0:
            chords[note.chord].append(note)
    for members in chords.values():
        if len(members) > 1:
            shared = 0
            for note in members:
                shared |= note.flags & _SHARED_BY_CHORD
            for note in members:
                note.flags |= shared


def _strokes_over_chords(draft: Draft) -> None:
    """Give a tremolo that is written once at a chord to all notes of it, so that all are struck alike."""
    signs = [mark for mark in draft.marks if mark.kind == "tremolo"]
    members: dict[int, list[RawNote]] = defaultdict(list)
    for note in draft.notes if signs else ():
        members[note.chord].append(note)
    for mark in signs:
        struck: dict[int, RawNote] = {}
        for note in mark.notes:
            chord = members[note.chord] if note.chord >= 0 else []
            struck.update((id(other), other) for other in (chord if 0 < len(chord) <= _LARGEST_CHORD else [note]))
        mark.notes = list(struck.values())


def _flag_slurs(marks: list[RawMark], notes: list[RawNote]) -> None:
    """Flag the notes under each slur: the chords at its ends, and what its voice has between."""
    lines: dict[tuple[int, int, str], list[RawNote]] = defaultdict(list)
    for note in sorted(notes, key=lambda item: item.onset):
        lines[note.part, note.home, note.voice].append(note)
    budget = _MOST_REFERENCES
    times = {key: [note.onset for note in line] for key, line in lines.items()}
    for mark in marks:
        if mark.kind != "slur" or not mark.notes:
            continue
        first, last = mark.notes[0].head(), mark.notes[-1].head()
        inside, onsets = lines[first.part, first.home, first.voice], times[first.part, first.home, first.voice]
        low, high = bisect_left(onsets, first.onset), bisect_right(onsets, last.onset)
        budget -= high - low
        if budget < 0:
            return
        for note in (*inside[low:high], last):
            if note.onset == first.onset and (
                not note.flags & Flag.GRACE or note is first or first.onset == last.onset
            ):
                note.flags |= Flag.SLUR_START if note is not last else Flag.SLUR_END
            elif note.onset == last.onset:
                note.flags |= Flag.SLUR_END
            else:
                note.flags |= Flag.SLUR_INSIDE


def _flag_accents(marks: list[RawMark], notes: list[RawNote]) -> None:
    """Give the notes struck at an sf, fz, rfz, fp its flag (of the staff, or of the part where no staff is said)."""
    starts: dict[tuple[int, int], list[RawNote]] = defaultdict(list)
    for note in notes:
        starts[note.part, note.onset].append(note)
    budget = _MOST_REFERENCES
    for mark in marks:
        if mark.kind != "accent" or mark.notes:
            continue
        flag = Flag.FP if mark.value.endswith("p") else Flag.SFORZANDO
        budget -= len(starts[mark.part, mark.onset])
        if budget < 0:
            return
        for note in starts[mark.part, mark.onset]:
            if mark.staff in (0, note.staff) and not note.flags & Flag.GRACE:
                note.flags |= flag
                mark.notes.append(note)


def _grace_marks(draft: Draft, notes: list[RawNote]) -> None:
    """Keep the order of every run of grace notes: in the table notes of one moment are sorted by pitch."""
    runs: dict[tuple[int, int, str, int, int], list[RawNote]] = defaultdict(list)
    for note in notes:
        if note.flags & Flag.GRACE:
            after = note.flags & Flag.GRACE_AFTER
            runs[note.part, note.home, note.voice, note.onset, int(after)].append(note)
    for (part, home, _, onset, _), members in runs.items():
        members.sort(key=lambda note: note.id)
        value = " ".join(f"{note.grace_order}/{note.grace_value}" for note in members)
        draft.marks.append(RawMark("graces", onset, onset, part, home, value, members))


def _heads_of_song(draft: Draft) -> None:
    """Keep where a note of a sung part is written as several heads tied within a bar: the line stays as it is."""
    sung = {mark.part for mark in draft.marks if mark.kind == "lyric"}
    for note in draft.notes:
        if note.into is not None and note.part in sung and note.onset != draft.bars[note.bar - 1].onset:
            draft.marks.append(RawMark("head", note.onset, note.onset, note.part, note.home, notes=[note]))


def _bar_table(bars: list[RawBar]) -> np.ndarray:
    """Table of the bars; a bar nobody filled lasts as long as its metre says."""
    table = np.zeros(len(bars), BAR_DTYPE)
    for row, bar in enumerate(bars):
        table[row] = (
            bar.index,
            bar.onset,
            bar.filled,
            bar.beats,
            bar.beat_type,
            bar.fifths,
            bar.minor,
            row == 0 and bar.filled < bar.nominal,
            bar.repeat_start,
            bar.repeat_end,
            bar.volta,
            bar.double_bar,
        )
    return table


def _counts(table: np.ndarray, draft: Draft) -> dict[str, int]:
    """How many of each kind were found."""
    counts = Counter({"notes": len(table), "bars": len(draft.bars), "parts": len(draft.parts)})
    counts["note heads"] = len(draft.notes)
    if draft.hidden:
        counts["notes not printed"] = draft.hidden
    for flag in Flag:
        if number := int(np.count_nonzero(table["flags"] & flag)):
            counts[f"notes with {str(flag.name).lower().replace('_', ' ')}"] = number
    for mark in draft.marks:
        if mark.kind != "head":
            counts["syllables" if mark.kind == "lyric" else f"{mark.kind} marks"] += 1
    if verses := len({mark.value.split(" ", 1)[0] for mark in draft.marks if mark.kind == "lyric"}):
        counts["verses"] = verses
    return dict(sorted(counts.items()))
