"""Notes, chords, rests, tuplets and tremolos of one MEI layer."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Any

from reading.draft import RawNote
from reading.mei_lyrics import read_verses
from reading.mei_score import number_of
from reading.score import TICKS_PER_QUARTER, Flag

if TYPE_CHECKING:
    from reading.draft import RawBar
    from reading.mei_state import MeiState

__all__ = ["ARTICULATIONS", "LayerReader"]

STEPS = {"c": 0, "d": 1, "e": 2, "f": 3, "g": 4, "a": 5, "b": 6}
SEMITONES = (0, 2, 4, 5, 7, 9, 11)
_ALTERS = {"s": 1, "f": -1, "n": 0, "ss": 2, "x": 2, "ff": -2, "xs": 3, "sx": 3, "ts": 3, "tf": -3, "nf": -1, "ns": 1}
ARTICULATIONS = {
    "acc": Flag.ACCENT,
    "marc": Flag.MARCATO,
    "stacc": Flag.STACCATO,
    "stacciss": Flag.STACCATISSIMO,
    "spicc": Flag.STACCATISSIMO,
    "ten": Flag.TENUTO,
}
_THROUGH = {
    "beam",
    "tuplet",
    "graceGrp",
    "ligature",
    "choice",
    "orig",
    "app",
    "lem",
    "corr",
    "supplied",
    "unclear",
    "sic",
    "abbr",
    "add",
}
_OTHER_READING = {"reg", "expan", "rdg"}
_QUIET = {"clef", "keySig", "meterSig", "accid", "artic", "barLine", "dot", "verse", "syl", "mensur", "pad", "clefGrp"}
_MAX_DEPTH = 24


def alter_of(element: Any) -> int:
    """Return the sounding accidental of a note in semitones."""
    name = element.get("accid.ges") or element.get("accid")
    for sign in element.findall("accid"):
        if sign.get("func") != "caution":
            name = name or sign.get("accid.ges") or sign.get("accid")
        else:
            name = name or sign.get("accid")
    return _ALTERS.get(name or "n", 0)


class LayerReader:
    """State within one layer of one measure."""

    def __init__(self, reader: MeiState, bar: RawBar, staff: int, layer: str) -> None:
        self.reader, self.bar, self.staff, self.layer = reader, bar, staff, layer
        self.now = Fraction(0)
        self.graces: list[RawNote] = []
        self.tremolo = ""

    def read(self, layer: Any) -> None:
        """Read the whole layer."""
        events = [child for child in layer if child.tag not in _QUIET]
        if len(events) == 1 and events[0].tag == "rest" and events[0].get("dur") == "1":
            events[0].tag = "mRest"  # a whole rest alone is the rest of its bar, in any metre
        self._events(layer, Fraction(1), 0)
        for note in self.graces:
            note.flags |= Flag.GRACE_AFTER

    def _events(self, parent: Any, factor: Fraction, depth: int) -> None:
        """Events in order, through beams and the like."""
        if depth > _MAX_DEPTH:
            raise ValueError("beams and tuplets are nested too deep")
        for child in parent:
            tag = child.tag
            if tag in ("note", "chord"):
                self._sounding(child, factor)
            elif tag in ("rest", "space"):
                self._pass(child, factor)
            elif tag in _THROUGH:
                ratio = Fraction(1)
                if tag == "tuplet":
                    ratio = Fraction(max(1, number_of(child.get("numbase"), 2)), max(1, number_of(child.get("num"), 3)))
                self._events(child, factor * ratio, depth + 1)
            elif tag in ("bTrem", "fTrem"):
                self._tremolo(child, factor, depth)
            elif tag in ("mRest", "mSpace", "multiRest"):
                self.bar.rested = max(self.bar.rested, self.bar.nominal)
                self._remember(child, int(self.now * TICKS_PER_QUARTER))
            elif tag not in _QUIET and tag not in _OTHER_READING:
                self._lose(str(tag), f"<{tag}> in a layer")

    def _lose(self, kind: str, message: str) -> None:
        """Say that something is not carried."""
        row, staff = self.reader.places.get(self.staff, (0, 1))
        self.reader.draft.lose(kind, message, self.bar.index, row, staff)

    def _pass(self, element: Any, factor: Fraction) -> None:
        """Carry a rest or space."""
        self._remember(element, round(self.now * TICKS_PER_QUARTER))
        self.now += _length_of(element, factor)
        if element.tag == "rest":
            self.graces.clear()
        self._fill()

    def _fill(self) -> None:
        """Tell the bar how far it is filled."""
        self.bar.filled = max(self.bar.filled, round(self.now * TICKS_PER_QUARTER))

    def _remember(self, element: Any, onset: int) -> None:
        """Keep where an element stands."""
        if name := element.get("{http://www.w3.org/XML/1998/namespace}id"):
            self.reader.moment_of[name] = (self.bar.index, onset, self.staff)

    def _tremolo(self, element: Any, factor: Fraction, depth: int) -> None:
        """Repeated notes (bTrem) or two alternating (fTrem: each is written with the length of both)."""
        unit = number_of(element.get("unitdur"), 32)
        own = max([number_of(item.get("dur"), 4) for item in element.iter("note", "chord")], default=4)
        strokes = next((word for item in element.iter("note", "chord") if (word := item.get("stem.mod"))), "")
        by_value = max(1, unit.bit_length() - max(4, own).bit_length())
        beams = number_of(element.get("beams") or strokes.removesuffix("slash"), by_value)
        count = len(self.reader.draft.notes)
        if element.tag == "fTrem":
            self.tremolo, factor = f"between:{beams}", factor / 2
        else:
            self.tremolo = str(beams)
        self._events(element, factor, depth + 1)
        notes = self.reader.draft.notes[count:]
        if notes:
            row, staff = self.reader.places.get(self.staff, (0, 1))
            mark = self.reader.draft.mark("tremolo", self.bar.index, notes[0].onset, row, staff, self.tremolo)
            mark.notes.extend(notes)
            for note in notes:
                note.flags |= Flag.TREMOLO_BETWEEN if element.tag == "fTrem" else Flag.TREMOLO
        self.tremolo = ""

    def _sounding(self, element: Any, factor: Fraction) -> None:
        """Carry a note or a chord, plain or grace."""
        heads = element.findall("note") if element.tag == "chord" else [element]
        grace = element.get("grace") or (heads[0].get("grace") if heads else None)
        start = self.now
        if not grace:
            inner = element if element.get("dur") or not heads else heads[0]
            self.now += _length_of(inner, factor)
            self.graces.clear()
            self._fill()
        onset, end = round(start * TICKS_PER_QUARTER), round(self.now * TICKS_PER_QUARTER)
        self.reader.chords += 1
        made = [self._head(head, element, onset, end - onset) for head in heads]
        order = self.graces[-1].grace_order + 1 if self.graces else 0
        for note in made:
            if grace:
                note.grace_order = order
                note.grace_value = number_of(element.get("dur") or heads[0].get("dur"), 8)
                note.flags |= Flag.GRACE | (Flag.GRACE_SLASH if grace == "unacc" else Flag(0))
                self.graces.append(note)
        self._remember(element, onset)
        if name := element.get("{http://www.w3.org/XML/1998/namespace}id"):
            self.reader.by_id[name] = made
        if made:
            read_verses(self.reader, element, made, (self.staff, self.layer))

    def _head(self, head: Any, whole: Any, onset: int, duration: int) -> RawNote:
        """One note head with its sounding pitch."""
        step, octave = STEPS.get((head.get("pname") or "").lower(), -1), number_of(head.get("oct"), 99)
        octave = number_of(head.get("oct.ges"), octave)
        if step < 0 or not 0 <= octave <= 10:
            raise ValueError("a note without a possible pitch")
        diatonic, semitones = self.reader.transpose.get(self.staff, (0, 0))
        midi = SEMITONES[step] + alter_of(head) + 12 * (octave + 1) + semitones
        degree = step + 7 * octave + diatonic
        if not 0 <= midi <= 127:
            raise ValueError(f"pitch {midi} lies outside 0 to 127")
        step, octave = degree % 7, degree // 7
        drawn = number_of((head.get("staff") or whole.get("staff") or "").split(" ")[0], self.staff)
        row, home = self.reader.places.get(self.staff, (0, 1))
        other_row, place = self.reader.places.get(drawn, (row, home))
        if other_row != row:
            place = home
        alter = midi - SEMITONES[step] - 12 * (octave + 1)
        note = RawNote(onset, duration, midi, step, alter, octave, row, place, self.layer, self.bar.index, home=home)
        note.chord = self.reader.chords
        self._signs(head, whole, note)
        self.reader.draft.add_note(note)
        if name := head.get("{http://www.w3.org/XML/1998/namespace}id"):
            note.xml_id = name
            self.reader.by_id[name] = [note]
            self.reader.moment_of[name] = (self.bar.index, onset, self.staff)
        return note

    def _signs(self, head: Any, whole: Any, note: RawNote) -> None:
        """Articulations, ties as attributes."""
        for item in (whole, head) if whole is not head else (head,):
            names = (item.get("artic") or "").split()
            for sign in item.findall("artic"):
                names += (sign.get("artic") or "").split()
            for name in names:
                if name in ARTICULATIONS:
                    note.flags |= ARTICULATIONS[name]
                elif name:
                    self._lose("articulation", f"articulation '{name}'")
            tie = item.get("tie") or ""
            note.tie_start |= "i" in tie or "m" in tie
            note.tie_stop |= "t" in tie or "m" in tie


def _length_of(element: Any, factor: Fraction) -> Fraction:
    """Return the written length of a note, chord, rest or space, in quarters."""
    name = element.get("dur.ges") or element.get("dur") or ""
    if name.endswith("p") and name[:-1].isdecimal():
        raise ValueError("durations in pulses are not read")
    base = {"breve": Fraction(8), "long": Fraction(16), "maxima": Fraction(32), "": Fraction(0)}.get(name)
    if base is None:
        value = number_of(name, 0)
        if value < 1 or value > 4096:
            raise ValueError(f"a duration of {name[:20]!r} is impossible")
        base = Fraction(4, value)
    dots = number_of(element.get("dots.ges") or element.get("dots"), 0)
    if not 0 <= dots <= 8:
        raise ValueError(f"{dots} dots are impossible")
    return base * (2 - Fraction(1, 2**dots)) * factor
