"""Where the marks of one MusicXML part go: opened, closed, and told apart; with the numbers they need."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Any

from reading.draft import RawBar, RawMark, RawNote
from reading.score import DYNAMICS, TICKS_PER_QUARTER, Flag

if TYPE_CHECKING:
    from reading.draft import Draft

__all__ = ["BadPlace", "MarkKeeper"]

_ACCENTS = {"sf", "sfz", "sff", "sffz", "sfffz", "fz", "ffz", "rf", "rfz", "fp", "sfp", "sfpp", "sfzp", "pf", "ffp"}
_MAX_OPEN = 64
_PLAIN = 64  # a fraction of a quarter up to this denominator may be meant
_TUPLETS = (3, 6, 12, 24, 5, 10, 20, 7, 14, 28, 9, 18, 15, 21)


class BadPlace(ValueError):
    """Something in the file is impossible; the reader adds the bar."""


class MarkKeeper:
    """State of one part that the readers of its elements share: place, metre, key, numbers and marks.

    Attributes
    ----------
    position : int or Fraction
        In divisions from the start of the bar.
    divisions : int or Fraction
        To the quarter.
    chromatic, diatonic : int
        Semitones and steps from written to sounding pitch.
    """

    def __init__(self, draft: Draft, row: int) -> None:
        self.draft, self.row = draft, row
        self.divisions: Fraction | int = 1
        self.position: Fraction | int = 0
        self.bar = RawBar(0, 0, "")
        self.staves = 1
        self.chromatic, self.diatonic = 0, 0
        self.metre = (4, 4)
        self.key = (0, -1)
        self.open: dict[tuple[str, str], RawMark] = {}
        self.slurs: dict[tuple[str, str], list[RawMark]] = {}
        self.ranges: dict[tuple[str, str], list[RawMark]] = {}
        self.implied: set[tuple[str, str]] = set()
        self.early: dict[tuple[str, str], RawNote] = {}
        self.open_tremolo: RawMark | None = None
        self.arpeggios: dict[tuple[Any, ...], RawMark] = {}
        self.strokes: dict[tuple[int, str, str], RawMark] = {}  # tied on, by staff, voice and place

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

        Where a slur goes from one voice or staff to another, its end may stand before its start in the file; and many
        files use one number in several voices at a time.
        """
        key = (kind, element.get("number") or "1")
        waiting = self.slurs.setdefault(key, [])
        way = element.get("type")
        if way == "start":
            for made in [made for made in waiting if made.notes[0].voice == note.voice]:
                waiting.remove(made)
                self.unclosed(made)
            made = self.mark(kind, note.onset, note.staff, "", note)
            early = self.early.get(key)
            if early is not None and early.onset >= note.onset:
                self._span(made, self.early.pop(key))
            elif sum(map(len, self.slurs.values())) >= _MAX_OPEN:
                raise BadPlace(f"more than {_MAX_OPEN} slurs at one time")
            else:
                waiting.append(made)
        elif way == "stop" and waiting:
            found = min(waiting, key=lambda made: (made.notes[0].voice != note.voice, made.staff != note.staff))
            waiting.remove(found)
            self._span(found, note)
        elif way == "stop":
            self.early[key] = note

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
        """Open a mark with a length that hangs on no note (hairpin, octave line); one staff has one at a time."""
        waiting = self.ranges.setdefault((kind, element.get("number") or "1"), [])
        for made in [
            made for made in waiting if made.staff == staff and (made.bar, made.onset) != (self.bar.index, onset)
        ]:
            waiting.remove(made)
            self.close(made, onset)  # a new one ends the one before, whose own end may follow late
            self.implied.add((kind, element.get("number") or "1"))
        waiting.append(self.mark(kind, onset, staff, value))

    def wedge(self, element: Any, onset: int, staff: int) -> None:
        """Carry a hairpin."""
        way = element.get("type")
        if way in ("crescendo", "diminuendo"):
            self.ranged("hairpin", element, onset, staff, "cresc" if way == "crescendo" else "dim")
        elif way == "stop":
            self._stop("hairpin", element.get("number") or "1", onset, staff)

    def ottava(self, element: Any, onset: int, staff: int) -> None:
        """Carry an octave line; MusicXML pitches are sounding already."""
        way = element.get("type")
        if way in ("up", "down"):
            size = {"8": "8v", "15": "15m", "22": "22m"}.get(element.get("size") or "8", "8v")
            self.ranged("ottava", element, onset, staff, size + ("a" if way == "down" else "b"))
        elif way == "stop":
            self._stop("ottava", element.get("number") or "1", onset, staff)

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

    def _stop(self, kind: str, number: str, onset: int, staff: int) -> None:
        """Close the mark of that number on that staff, or the first one open."""
        waiting = self.ranges.get((kind, number), [])
        if not waiting and (kind, number) in self.implied:
            self.implied.discard((kind, number))
            return
        if not waiting:
            self.draft.repair(f"{kind} from nowhere", f"{kind} ends that never began", self.bar.index, self.row)
            return
        made = next((item for item in waiting if item.staff == staff), waiting[0])
        waiting.remove(made)
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
        known = self.draft.tempos.get((self.bar.index, onset))
        if known is not None:
            known.value = f"{per_minute:g}"
        else:
            made = self.mark("tempo", onset, 0, f"{per_minute:g}")
            self.draft.tempos[self.bar.index, onset] = made

    def jump(self, value: str, onset: int) -> None:
        """Carry a jump sign, once per place however often the file says it."""
        known = self.draft.jumps.setdefault(self.bar.index, [])
        for mark in known:
            if mark.value.startswith(value):
                return
            if value.startswith(mark.value):
                mark.value = value
                return
        known.append(self.mark("jump", onset, 0, value))
