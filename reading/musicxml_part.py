"""One part of a MusicXML score, bar by bar, into the draft."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Any

from reading.draft import RawNote
from reading.musicxml_bars import read_attributes, read_barline
from reading.musicxml_directions import read_direction, read_sound
from reading.musicxml_lyrics import read_lyric
from reading.musicxml_marks import BadPlace, MarkKeeper
from reading.musicxml_notations import read_notations
from reading.musicxml_strokes import read_stroke
from reading.score import Flag

if TYPE_CHECKING:
    from collections.abc import Callable

    from reading.draft import Draft, RawBar

__all__ = ["PartReader"]

STEPS = {"C": 0, "D": 1, "E": 2, "F": 3, "G": 4, "A": 5, "B": 6}
SEMITONES = (0, 2, 4, 5, 7, 9, 11)
_GRACE_VALUES = {"whole": 1, "half": 2, "quarter": 4, "eighth": 8, "16th": 16, "32nd": 32, "64th": 64, "128th": 128}
_MAX_BAR_QUARTERS = 4096
_MAX_VOICES = 256
_SILENT = {"print", "grouping", "link", "bookmark", "listening"}


class PartReader(MarkKeeper):
    """Walks through one ``<part>``: where its notes go, and what the next note depends on."""

    def __init__(self, draft: Draft, row: int) -> None:
        super().__init__(draft, row)
        self.chord_start: Fraction | int = 0
        self.last: RawNote | None = None
        self.chords = 0
        self.graces: list[RawNote] = []
        self.late_graces: list[RawNote] = []  # said to belong to the note before
        self.voices: set[str] = set()

    def read_bar(self, element: Any, bar: RawBar) -> None:
        """Read one ``<measure>``."""
        self.bar, self.position, self.last = bar, 0, None
        self.arpeggios.clear()
        for child in element:
            tag = child.tag
            if tag in _CARRIED:
                _CARRIED[tag](self, child)
            elif tag in ("harmony", "figured-bass"):
                self.lose(tag, f"<{tag}> (chord names, figures)")
            elif tag not in _SILENT and isinstance(tag, str):
                self.lose(tag, f"<{tag}>")
        self._after_graces()
        self._never_began()
        bar.metres.append(self.metre)
        bar.keys.append((self.chromatic % 12, *self.key))

    def _move(self, step: Fraction | int) -> None:
        """Go back or forward; never before the bar, never for ever."""
        self._after_graces()
        self.position += step
        if self.position < 0:
            self.draft.repair("backup", "the file goes back past the bar line; taken as the bar line", self.bar.index)
            self.position = 0
        self._check_length()
        self.last = None

    def _check_length(self) -> None:
        """Refuse bars of absurd length."""
        if self.position > _MAX_BAR_QUARTERS * self.divisions:
            raise BadPlace(f"a bar of more than {_MAX_BAR_QUARTERS} quarters is impossible")

    def _after_graces(self) -> None:
        """Grace notes with no note after them in their voice belong to the note before."""
        for note in self.graces:
            note.flags |= Flag.GRACE_AFTER
        self.graces.clear()
        self.late_graces.clear()

    def read_note(self, element: Any) -> None:
        """Read a ``<note>``: a note, a rest, a grace note or a member of a chord."""
        grace, chord = element.find("grace"), element.find("chord")
        length: Fraction | int = 0
        if grace is None:
            length = self.length(element.findtext("duration"))
            if length < 0:
                raise BadPlace(f"a note of negative duration ({length})")
        start = self.chord_start if chord is not None else self.position
        if chord is None:
            self.chord_start = start
            if grace is None:
                self.position += length
                self._check_length()
        onset, end = self.ticks_at(start), self.ticks_at(start + length)
        self._fill(element, end, chord is not None)
        if element.find("pitch") is None:
            if element.find("unpitched") is not None:
                read_stroke(self, element, onset, end)
            if grace is None and chord is None:
                self.graces.clear()
            self._rest_notations(element, onset)
            return
        note = self._pitched(element, onset, end - onset)
        self._join_chord(note, chord is not None)
        self._grace(element, note, grace, chord is not None)
        self._attach(element, note)

    def _fill(self, element: Any, end: int, chord: bool) -> None:
        """Tell the bar how far it is filled."""
        rest = element.find("rest")
        if rest is not None and (rest.get("measure") == "yes" or element.find("type") is None) and not chord:
            self.bar.rested = max(self.bar.rested, end)
        elif not chord:
            self.bar.filled = max(self.bar.filled, end)

    def _rest_notations(self, element: Any, onset: int) -> None:
        """Carry a fermata over a rest: it stretches time, too."""
        for sign in element.iterfind("notations/fermata"):
            staff = self.number(element.findtext("staff"), 1)
            self.mark("fermata", onset, staff, (sign.text or "normal").strip() or "normal")

    def _pitched(self, element: Any, onset: int, duration: int) -> RawNote:
        """Make the note with its sounding pitch and spelling."""
        pitch = element.find("pitch")
        step = STEPS.get((pitch.findtext("step") or "").strip().upper(), -1)
        octave, alter = self.number(pitch.findtext("octave"), 4), self.length(pitch.findtext("alter") or "0")
        if step < 0 or not 0 <= octave <= 10 or not -3 <= alter <= 3:
            raise BadPlace("a note without a possible pitch")
        if alter != int(alter):
            self.lose("microtone", "a quarter-tone; read as the nearest semitone")
            alter = round(alter)
        midi = SEMITONES[step] + int(alter) + 12 * (octave + 1) + self.chromatic
        degree = step + 7 * octave + self.diatonic
        if not 0 <= midi <= 127:
            raise BadPlace(f"pitch {midi} lies outside 0 to 127")
        step, octave = degree % 7, degree // 7
        alter = midi - SEMITONES[step] - 12 * (octave + 1)
        if abs(alter) > 2 and abs(alter) != 3:
            degree, alter = _respelled(midi)
            step, octave = degree % 7, degree // 7
        chord = element.find("chord") is not None  # its members may leave out what the first one says
        staff = self.number(element.findtext("staff"), self.last.staff if chord and self.last else 1)
        if not 1 <= staff <= 64:
            raise BadPlace(f"staff {staff} is impossible")
        self.staves = max(self.staves, staff)
        voice = (element.findtext("voice") or (self.last.voice if chord and self.last else "1")).strip()[:16]
        self._count_voice(voice)
        made = RawNote(onset, duration, midi, step, int(alter), octave, self.row, staff, voice, self.bar.index)
        made.xml_id = element.get("id") or ""
        self.draft.add_note(made)
        made.hidden = element.get("print-object") == "no"
        self.draft.hidden += made.hidden
        return made

    def _count_voice(self, voice: str) -> None:
        """Refuse parts with hundreds of voices."""
        self.voices.add(voice)
        if len(self.voices) > _MAX_VOICES:
            raise BadPlace(f"more than {_MAX_VOICES} voices in one part")

    def _join_chord(self, note: RawNote, chord: bool) -> None:
        """Give the chord its number."""
        if not chord or self.last is None:
            self.chords += 1
        note.chord = self.chords + (self.row << 24)
        self.last = note

    def _grace(self, element: Any, note: RawNote, grace: Any, chord: bool) -> None:
        """Grace kinds; a plain note ends a run of graces before it."""
        if grace is None:
            if not chord:
                self.graces.clear()
                self.late_graces.clear()
            return
        note.flags |= Flag.GRACE
        note.grace_value = _GRACE_VALUES.get((element.findtext("type") or "").strip(), 8)
        late = bool(grace.get("steal-time-previous") and not grace.get("steal-time-following"))
        run = self.late_graces if late else self.graces
        before = run[-1].grace_order if run else -1
        note.grace_order = before if chord and before >= 0 else before + 1
        if grace.get("slash") == "yes":
            note.flags |= Flag.GRACE_SLASH
        if late:
            note.flags |= Flag.GRACE_AFTER
        run.append(note)

    def _attach(self, element: Any, note: RawNote) -> None:
        """Ties, notations, text, and what is small or hidden."""
        verses = 0
        for child in element:
            tag = child.tag
            if tag == "tie":
                self._tie(note, child.get("type"))
            elif tag == "notations":
                for tied in child.iterfind("tied"):
                    self._tie(note, tied.get("type"))
                read_notations(self, child, note)
            elif tag == "cue":
                note.flags |= Flag.CUE
            elif tag == "lyric":
                read_lyric(self, child, note, verses)
                verses += 1

    def _tie(self, note: RawNote, way: str | None) -> None:
        """Carry one end of a tie."""
        note.tie_start |= way == "start"
        note.tie_stop |= way == "stop"
        if way == "let-ring":
            self.mark("text", note.onset, note.staff, "l.v.", note)

    def finish(self) -> None:
        """Say which marks never ended, and how many staves there are."""
        waiting = [made for held in (*self.ranges.values(), *self.slurs.values()) for made in held]
        for made in (*self.open.values(), *waiting):
            if made.kind != "ornament":
                self.unclosed(made)
        self.draft.part(self.row, staves=self.staves, transpose=self.chromatic)


_CARRIED: dict[str, Callable[[PartReader, Any], None]] = {
    "note": PartReader.read_note,
    "backup": lambda reader, child: reader._move(-reader.length(child.findtext("duration"))),
    "forward": lambda reader, child: reader._move(reader.length(child.findtext("duration"))),
    "direction": read_direction,
    "attributes": read_attributes,
    "barline": read_barline,
    "sound": lambda reader, child: read_sound(reader, child, reader.now),
}


def _respelled(midi: int) -> tuple[int, int]:
    """Degree (7 × octave + step) and accidental of a pitch whose transposed spelling would need three accidentals."""
    octave, rest = midi // 12 - 1, midi % 12
    step = max(index for index, semitone in enumerate(SEMITONES) if semitone <= rest)
    return 7 * octave + step, rest - SEMITONES[step]
