"""The bench every reader works on: notes, bars and marks as they come, put in order at the end.

A reader (MusicXML, MEI, MIDI) appends what it meets; :meth:`Draft.finish` merges ties, spreads chord marks, works out
voices and slurs, sorts, numbers, and returns the immutable :class:`~reading.score.Score`.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from dataclasses import dataclass, field, replace

from reading.score import Mark, PartInfo, Remark
from reading.sung import ELISION, SYLLABIC, cleaned, syllable_value

__all__ = ["MAX_BARS", "MAX_NOTES", "Draft", "RawBar", "RawMark", "RawNote", "finished_mark"]

_WORST_PLACES = 12
MAX_BARS = 20_000
MAX_NOTES = 400_000
MAX_MARKS = 60_000
MAX_SYLLABLES = 60_000
MAX_VERSES = 40


@dataclass(slots=True, eq=False)
class RawNote:
    """One written note head. ``voice`` is the source's own name; ``tie_start``, ``tie_stop`` as written."""

    onset: int
    duration: int
    pitch: int
    step: int
    alter: int
    octave: int
    part: int
    staff: int
    voice: str
    bar: int
    flags: int = 0
    velocity: int = -1
    tie_start: bool = False
    tie_stop: bool = False
    home: int = 0  # staff the voice lives on; 0 = to be worked out
    chord: int = -1  # running number of the chord it belongs to
    into: RawNote | None = None  # the note it was merged into
    id: int = -1
    grace_order: int = 0  # place in its run of grace notes, chords sharing one
    grace_value: int = 8  # printed value: 8 for an eighth
    xml_id: str = ""
    hidden: bool = False  # in the file, but not printed

    def head(self) -> RawNote:
        """Return the note this one was tied to, or itself."""
        note = self
        while note.into is not None:
            note = note.into
        return note


@dataclass(slots=True)
class RawMark:
    """A mark whose notes are still raw."""

    kind: str
    onset: int
    end: int
    part: int = 0
    staff: int = 0
    value: str = ""
    notes: list[RawNote] = field(default_factory=list)
    bar: int = 0  # until placed, onset and end count from these bars
    end_bar: int = 0


@dataclass(slots=True)
class RawBar:
    """A bar while it is being read; ``filled`` is the furthest point any part reached in it."""

    index: int
    onset: int
    number: str
    beats: int = 4
    beat_type: int = 4
    fifths: int = 0
    minor: int = -1
    filled: int = 0
    rested: int = 0  # the same, where there is nothing but a rest for the whole bar
    implicit: bool = False
    repeat_start: bool = False
    repeat_end: int = 0
    volta: int = 0
    double_bar: bool = False
    xml_id: str = ""
    metres: list[tuple[int, int]] = field(default_factory=list)  # as each part says
    keys: list[tuple[int, int, int]] = field(default_factory=list)  # transposition, fifths, mode, as each part says

    @property
    def nominal(self) -> int:
        """Length the metre asks for, in ticks."""
        return 4 * 10_080 * self.beats // self.beat_type


@dataclass
class Draft:
    """What has been read so far.

    Attributes
    ----------
    losses : Counter
        ``(kind, message)`` to how often; their places are in ``places``.
    """

    title: str = ""
    composer: str = ""
    parts: list[PartInfo] = field(default_factory=list)
    notes: list[RawNote] = field(default_factory=list)
    bars: list[RawBar] = field(default_factory=list)
    marks: list[RawMark] = field(default_factory=list)
    repaired: list[Remark] = field(default_factory=list)
    losses: Counter[tuple[str, str]] = field(default_factory=Counter)
    open_volta: int = 0
    hidden: int = 0
    syllables: int = 0
    tempos: dict[tuple[int, int], RawMark] = field(default_factory=dict)
    jumps: dict[int, list[RawMark]] = field(default_factory=dict)
    places: dict[tuple[str, str], list[tuple[int, int, int]]] = field(default_factory=lambda: defaultdict(list))

    def lose(self, kind: str, message: str, bar: int = 0, part: int = 0, staff: int = 0) -> None:
        """Note that something is not carried; many of one kind become one remark with its first places."""
        key = (kind, message)
        self.losses[key] += 1
        if len(self.places[key]) < _WORST_PLACES:
            self.places[key].append((bar, part, staff))

    def add_bar(self, bar: RawBar) -> None:
        """Append a bar."""
        if len(self.bars) >= MAX_BARS:
            raise ValueError(f"more than {MAX_BARS} bars")
        self.bars.append(bar)

    def add_note(self, note: RawNote) -> None:
        """Append a note."""
        if len(self.notes) >= MAX_NOTES:
            raise ValueError(f"more than {MAX_NOTES} notes")
        self.notes.append(note)

    def repair(self, kind: str, message: str, bar: int = 0, part: int = 0, staff: int = 0) -> None:
        """Note that something did not add up and was put right."""
        self.repaired.append(Remark(kind, message, bar, part, staff))

    def mark(self, kind: str, bar: int, onset: int, part: int = 0, staff: int = 0, value: str = "") -> RawMark:
        """Append a mark at *onset* ticks within *bar* and return it."""
        if len(self.marks) - self.syllables >= MAX_MARKS:
            raise ValueError(f"more than {MAX_MARKS} marks in one score")
        made = RawMark(kind, onset, onset, part, staff, value[:400], bar=bar, end_bar=bar)
        self.marks.append(made)
        return made

    def sing(
        self, note: RawNote, verse: str, pieces: list[tuple[str, str]], *, extend: bool = False, sung: int = 0
    ) -> None:
        """Put a syllable under *note*; what is no text, and more than a page could hold, is not carried.

        Parameters
        ----------
        verse : str
            Its number or name in the file.
        pieces : list of (str, str)
            Place in the word (``single``, ``begin``, ``middle``, ``end``) and text; several where they share the note.
        sung : int
            Verses the note has already.
        """
        read = [(kind if kind in SYLLABIC else "single", cleaned(text)) for kind, text in pieces[:8]]
        read = [(kind, text) for kind, text in read if text]
        if not read:
            return
        text = ELISION.join(text for _, text in read)
        place = (note.bar, note.part, note.staff)
        if sung >= MAX_VERSES or self.syllables >= MAX_SYLLABLES:
            self.lose("lyric", "sung text beyond what a score can hold", *place)
            return
        if any(_altered(text) for _, text in pieces):
            self.lose("lyric", "letters of sung text that are none, or too many for one note", *place)
        number = re.sub(r"[^\w.:-]", "", verse[:100])[:16] or "1"
        self.syllables += 1
        value = syllable_value(number, text, [kind for kind, _ in read], extend=extend)
        mark = RawMark("lyric", note.onset, note.onset, note.part, note.staff, value, [note], note.bar, note.bar)
        self.marks.append(mark)

    def settle_metres(self) -> None:
        """Choose among the metres of the parts the one that fits how long the bar is; else the first part's."""
        for bar in self.bars:
            if not bar.metres:
                continue
            length = bar.filled or bar.rested
            fitting = [metre for metre in bar.metres if 4 * 10_080 * metre[0] // metre[1] == length]
            bar.beats, bar.beat_type = (fitting or bar.metres)[0]
            if len(set(bar.metres)) > 1:
                self.lose("metre", "metres that differ between the parts; the one that fits is kept", bar.index)

    def settle_keys(self) -> None:
        """Take the key most parts at sounding pitch have; where all transpose, the first part's, as it sounds.

        Horns, trumpets and timpani are often written without a signature, so transposing parts come last.
        """
        for bar in self.bars:
            if not bar.keys:
                continue
            plain = Counter((fifths, mode) for shift, fifths, mode in bar.keys if not shift)
            if plain:
                bar.fifths, bar.minor = plain.most_common(1)[0][0]
            else:
                shift, fifths, mode = bar.keys[0]
                bar.fifths, bar.minor = fifths + (7 * shift + 6) % 12 - 6, mode

    def place(self) -> None:
        """Turn times within bars into times within the piece, once every part has said how long its bars are."""
        onset = 0
        for bar in self.bars:
            bar.onset = onset
            if not bar.filled:
                bar.filled = bar.rested if bar.implicit and bar.rested else bar.nominal
            onset += bar.filled
        starts = [bar.onset for bar in self.bars]
        for note in self.notes:
            note.onset += starts[note.bar - 1]
        for mark in self.marks:
            mark.onset += starts[mark.bar - 1]
            mark.end += starts[(mark.end_bar or mark.bar) - 1]
            if mark.kind == "jump":
                self._settle_jump(mark)

    def _settle_jump(self, mark: RawMark) -> None:
        """Let a jump cover the bar it belongs to: orders hold at the bar's end, targets (segno, coda) at its start."""
        bar = self.bars[mark.bar - 1]
        if mark.value in ("segno", "coda") and mark.onset >= bar.onset + bar.filled and mark.bar < len(self.bars):
            bar = self.bars[mark.bar]
        mark.onset, mark.end = bar.onset, bar.onset + bar.filled

    def lost(self) -> tuple[Remark, ...]:
        """Return the losses as remarks, each kind once, at its first place."""
        found = []
        for (kind, message), count in sorted(self.losses.items()):
            places = self.places[kind, message]
            bars = sorted({bar for bar, _, _ in places if bar})
            numbers = ", ".join(dict.fromkeys(self.bars[bar - 1].number for bar in bars if bar <= len(self.bars)))
            where = f", in bar{'s' if ',' in numbers else ''} {numbers}" if numbers else ""
            more = " and later" if count > _WORST_PLACES else ""
            text = f"{message}: {count} times{where}{more}" if count > 1 else f"{message}{where}"
            found.append(Remark(kind, text, *places[0]))
        return tuple(found)

    def part(self, row: int, **changes: object) -> None:
        """Change facts about part *row*."""
        self.parts[row] = replace(self.parts[row], **changes)  # type: ignore[arg-type]


def _altered(text: str) -> bool:
    """Whether more than spaces is lost when a text is cleaned."""
    return len(cleaned(text)) < len(" ".join(text.split()))


def finished_mark(raw: RawMark) -> Mark:
    """Return the immutable mark, its notes by id and in order."""
    ids = tuple(sorted({note.head().id for note in raw.notes}))
    return Mark(raw.kind, raw.onset, max(raw.onset, raw.end), raw.part, raw.staff, raw.value, ids)
