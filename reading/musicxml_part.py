"""One part of a MusicXML score, bar by bar, into the draft."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Any

from reading.draft import RawBar, RawMark, RawNote
from reading.musicxml_bars import read_attributes, read_barline
from reading.musicxml_directions import read_direction, read_sound
from reading.musicxml_notations import read_notations
from reading.score import DYNAMICS, TICKS_PER_QUARTER, Flag

if TYPE_CHECKING:
    from collections.abc import Callable

    from reading.draft import Draft

__all__ = ["BadPlace", "PartReader"]

STEPS = {"C": 0, "D": 1, "E": 2, "F": 3, "G": 4, "A": 5, "B": 6}
SEMITONES = (0, 2, 4, 5, 7, 9, 11)
_ACCENTS = {"sf", "sfz", "sff", "sffz", "sfffz", "fz", "ffz", "rf", "rfz", "fp", "sfp", "sfpp", "sfzp", "pf", "ffp"}
_GRACE_VALUES = {"whole": 1, "half": 2, "quarter": 4, "eighth": 8, "16th": 16, "32nd": 32, "64th": 64, "128th": 128}
_PLAIN = 64  # a fraction of a quarter up to this denominator may be meant
_TUPLETS = (3, 6, 12, 24, 5, 10, 20, 7, 14, 28, 9, 18, 15, 21)
_MAX_BAR_QUARTERS = 4096
_MAX_VOICES = 256
_SILENT = {"print", "grouping", "link", "bookmark", "listening"}


class BadPlace(ValueError):
    """Something in the file is impossible; the reader adds the bar."""


class PartReader:
    """State while walking through one ``<part>``.

    Attributes
    ----------
    position : int or Fraction
        In divisions from the start of the bar.
    divisions : Fraction
        To the quarter.
    """

    def __init__(self, draft: Draft, row: int) -> None:
        self.draft, self.row = draft, row
        self.divisions: Fraction | int = 1
        self.position: Fraction | int = 0
        self.staves = 1
        self.chromatic, self.diatonic = 0, 0
        self.metre = (4, 4)
        self.key = (0, -1)
        self.bar = RawBar(0, 0, "")
        self.chord_start: Fraction | int = 0
        self.last: RawNote | None = None
        self.chords = 0
        self.open: dict[tuple[str, str], RawMark] = {}
        self.early: dict[tuple[str, str], RawNote] = {}
        self.open_tremolo: RawMark | None = None
        self.arpeggios: dict[tuple[Any, ...], RawMark] = {}
        self.graces: list[RawNote] = []
        self.voices: set[str] = set()

    # -- numbers, checked ---------------------------------------------------------------------------------------

    def decimal(self, text: str | None) -> float:
        """Return a positive finite number."""
        return float(self.length(text))

    def length(self, text: str | None) -> Fraction | int:
        """Return a decimal as an exact number; anything but plain digits is refused."""
        word = (text or "").strip()
        if len(word) > 24 or not word.lstrip("+-").replace(".", "", 1).isdecimal():
            raise BadPlace(f"{word[:30]!r} is not a number")
        return int(word) if "." not in word else Fraction(word)

    def number(self, text: str | None, default: int) -> int:
        """Return a small whole number, or *default* where there is none."""
        if text is None:
            return default
        value = self.length(text)
        if not -1_000_000 <= value <= 1_000_000:
            raise BadPlace(f"{text.strip()[:30]!r} is out of range")
        return int(value)

    def ticks_at(self, position: Fraction | int) -> int:
        """Return a position in divisions as ticks from the start of the bar."""
        scaled = position * TICKS_PER_QUARTER
        whole, rest = divmod(scaled, self.divisions)
        if not rest:
            return int(whole)
        place = Fraction(position) / self.divisions
        return self._nearest(place) if place.denominator > _PLAIN else round(place * TICKS_PER_QUARTER)

    def _nearest(self, place: Fraction) -> int:
        """Return a place that falls on no tick as the tuplet it stands for, where one lies within a division.

        Many files give durations in whole divisions that a tuplet does not fit (85, 85, 86 of 256 for a triplet).
        """
        near = [
            (abs(place * count - round(place * count)) / count * self.divisions + Fraction(count, 50), count)
            for count in _TUPLETS
        ]
        error, count = min(near)
        if error - Fraction(count, 50) <= 1:
            return round(place * count) * TICKS_PER_QUARTER // count
        return round(place * TICKS_PER_QUARTER)

    @property
    def now(self) -> int:
        """The current position in ticks from the start of the bar."""
        return self.ticks_at(self.position)

    # -- marks --------------------------------------------------------------------------------------------------

    def mark(self, kind: str, onset: int, staff: int, value: str, note: RawNote | None = None) -> RawMark:
        """Append a mark in this bar, belonging to *note* where given."""
        made = self.draft.mark(kind, self.bar.index, onset, self.row, staff, value)
        if note is not None:
            made.notes.append(note)
        return made

    def lose(self, kind: str, message: str, staff: int = 0) -> None:
        """Say that something is not carried."""
        self.draft.lose(kind, message, self.bar.index, self.row, staff)

    def spanner(self, kind: str, element: Any, note: RawNote) -> None:
        """Open or close a slur or glissando between notes.

        Where a slur goes from one voice or staff to another, its end may stand before its start in the file.
        """
        key = (kind, element.get("number") or "1")
        way = element.get("type")
        if way == "start":
            if key in self.open:
                self.unclosed(self.open.pop(key))
            made = self.mark(kind, note.onset, note.staff, "", note)
            early = self.early.get(key)
            if early is not None and early.onset >= note.onset:
                self._span(made, self.early.pop(key))
            else:
                self.open[key] = made
        elif way == "stop":
            found = self.open.pop(key, None)
            if found is None:
                self.early[key] = note
            else:
                self._span(found, note)

    def _span(self, made: RawMark, note: RawNote) -> None:
        """End a mark at a note of this bar."""
        self.close(made, note.onset + note.duration)
        made.notes.append(note)

    def _never_began(self) -> None:
        """Say which marks of this bar end without having begun."""
        for kind, _ in self.early:
            text = f"{kind} ends that never began"
            self.draft.repair(f"{kind} from nowhere", text, self.bar.index, self.row)
        self.early.clear()

    def close(self, made: RawMark, onset: int) -> None:
        """End a mark at *onset* in this bar."""
        made.end, made.end_bar = onset, self.bar.index

    def unclosed(self, made: RawMark) -> None:
        """Say that a mark begins and never ends; it is kept as a point."""
        self.draft.repair(
            f"{made.kind} to nowhere", f"{made.kind} begins and never ends", made.bar, self.row, made.staff
        )

    def ranged(self, kind: str, element: Any, onset: int, staff: int, value: str) -> None:
        """Open a mark with a length that hangs on no note (hairpin, octave line)."""
        key = (kind, element.get("number") or "1")
        if key in self.open:
            self.unclosed(self.open.pop(key))
        self.open[key] = self.mark(kind, onset, staff, value)

    def wedge(self, element: Any, onset: int, staff: int) -> None:
        """Carry a hairpin."""
        way = element.get("type")
        if way in ("crescendo", "diminuendo"):
            self.ranged("hairpin", element, onset, staff, "cresc" if way == "crescendo" else "dim")
        elif way == "stop":
            self._stop("hairpin", element.get("number") or "1", onset)

    def ottava(self, element: Any, onset: int, staff: int) -> None:
        """Carry an octave line; MusicXML pitches are sounding already."""
        way = element.get("type")
        if way in ("up", "down"):
            size = {"8": "8v", "15": "15m", "22": "22m"}.get(element.get("size") or "8", "8v")
            self.ranged("ottava", element, onset, staff, size + ("a" if way == "down" else "b"))
        elif way == "stop":
            self._stop("ottava", element.get("number") or "1", onset)

    def pedal(self, element: Any, onset: int, staff: int) -> None:
        """Pedal down, up, and up-and-down at once."""
        way, key = element.get("type"), ("pedal", element.get("number") or "1")
        if way in ("stop", "change", "discontinue") and key in self.open:
            self.close(self.open.pop(key), onset)
        elif way == "stop":
            self.draft.repair(
                "pedal from nowhere", "the pedal is lifted that was never pressed", self.bar.index, self.row
            )
        if way in ("start", "change", "sostenuto", "resume"):
            if key in self.open:  # pressed again without a sign for lifting: it is lifted here
                self.close(self.open.pop(key), onset)
            self.open[key] = self.mark("pedal", onset, 0, "sostenuto" if way == "sostenuto" else "damper")

    def _stop(self, kind: str, number: str, onset: int) -> None:
        """Close the mark of that number, or the only one open."""
        made = self.open.pop((kind, number), None)
        if made is None:
            self.draft.repair(f"{kind} from nowhere", f"{kind} ends that never began", self.bar.index, self.row)
            return
        self.close(made, onset)

    def wavy_line(self, element: Any, note: RawNote) -> None:
        """Carry the wavy line after a trill: how long it is shaken."""
        key = ("wavy", element.get("number") or "1")
        if element.get("type") == "start":
            self.open[key] = self.mark("ornament", note.onset, note.staff, "wavy line", note)
        elif element.get("type") == "stop" and key in self.open:
            self.close(self.open.pop(key), note.onset + note.duration)

    def dynamic(self, element: Any, onset: int, staff: int, note: RawNote | None) -> None:
        """Carry a dynamic, or an accent written like one (sf, fz, fp)."""
        name = element.tag if element.tag != "other-dynamics" else (element.text or "").strip()
        if name in DYNAMICS or name == "n":
            self.mark("dynamic", onset, staff, name)
        elif name in _ACCENTS:
            made = self.mark("accent", onset, staff, name, None)
            if note is not None:
                note.flags |= Flag.FP if name.endswith("p") else Flag.SFORZANDO
                made.notes.append(note)
        elif name:
            self.mark("text", onset, staff, name)

    def tempo(self, onset: int, per_minute: float) -> None:
        """Carry a tempo in quarters per minute; one at a place is enough."""
        if not 1 <= per_minute <= 2000:
            raise BadPlace(f"a tempo of {per_minute:g} quarters per minute is impossible")
        for mark in reversed(self.draft.marks):
            if mark.bar != self.bar.index:
                break
            if mark.kind == "tempo" and mark.onset == onset:
                mark.value = f"{per_minute:g}"
                return
        self.mark("tempo", onset, 0, f"{per_minute:g}")

    def jump(self, value: str, onset: int) -> None:
        """Carry a jump sign, once per place however often the file says it."""
        for mark in self.draft.marks:
            if mark.kind == "jump" and mark.bar == self.bar.index and mark.value.startswith(value):
                return
            if mark.kind == "jump" and mark.bar == self.bar.index and value.startswith(mark.value):
                mark.value = value
                return
        self.mark("jump", onset, 0, value)

    # -- the walk -----------------------------------------------------------------------------------------------

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
                self.lose("unpitched", "a note without pitch (percussion)", self.number(element.findtext("staff"), 1))
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
        self.draft.notes.append(made)
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
            return
        note.flags |= Flag.GRACE
        note.grace_value = _GRACE_VALUES.get((element.findtext("type") or "").strip(), 8)
        before = self.graces[-1].grace_order if self.graces else -1
        note.grace_order = before if chord and before >= 0 else before + 1
        if grace.get("slash") == "yes":
            note.flags |= Flag.GRACE_SLASH
        if grace.get("steal-time-previous") and not grace.get("steal-time-following"):
            note.flags |= Flag.GRACE_AFTER
        else:
            self.graces.append(note)

    def _attach(self, element: Any, note: RawNote) -> None:
        """Ties, notations, and what is small or hidden."""
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
                self.lose("lyric", "sung text")

    def _tie(self, note: RawNote, way: str | None) -> None:
        """Carry one end of a tie."""
        note.tie_start |= way == "start"
        note.tie_stop |= way == "stop"
        if way == "let-ring":
            self.mark("text", note.onset, note.staff, "l.v.", note)

    def finish(self) -> None:
        """Say which marks never ended, and how many staves there are."""
        for made in self.open.values():
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
