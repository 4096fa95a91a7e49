"""What hangs on the notes of an MEI measure: slurs, ties, dynamics, hairpins, pedal, ornaments, tempo, words."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from reading.mei_score import number_of
from reading.musicxml_directions import jump_in
from reading.score import DYNAMICS, TICKS_PER_QUARTER, Flag

if TYPE_CHECKING:
    from reading.draft import RawBar, RawMark, RawNote
    from reading.mei_state import MeiState

__all__ = ["read_control"]

_ACCENT = re.compile(r"s?f+z?p*|r?fz?|s?fp+|rinf\.?|sforz\.?")
_QUIET = {"lb", "pb", "sb", "annot", "staff", "mNum", "reh", "harm", "fing", "expansion", "bracketSpan"}
_LOST = {"harm": "chord names, figures", "fing": "fingering", "bracketSpan": "brackets"}


def read_control(reader: MeiState, element: Any, bar: RawBar) -> None:
    """Carry one control event of *bar*."""
    handler = _HANDLERS.get(element.tag)
    if handler is not None:
        handler(reader, element, bar)
    elif element.tag in _LOST:
        reader.draft.lose(element.tag, _LOST[element.tag], bar.index)
    elif element.tag not in _QUIET and isinstance(element.tag, str):
        reader.draft.lose(element.tag, f"<{element.tag}>", bar.index)


def _onset(reader: MeiState, element: Any, bar: RawBar) -> tuple[int, int]:
    """Bar index and ticks within it where the sign stands."""
    start = (element.get("startid") or "").lstrip("#")
    if start in reader.moment_of:
        index, onset, _ = reader.moment_of[start]
        return index, onset
    if not start and (plist := element.get("plist")):
        for name in plist.replace("#", "").split():
            if name in reader.moment_of:
                return reader.moment_of[name][:2]
    return bar.index, _beat(element.get("tstamp"), bar)


def _beat(text: str | None, bar: RawBar) -> int:
    """Return a tstamp (beats of the metre's unit, from 1) as ticks within the bar."""
    word = (text or "1").strip()
    if not re.fullmatch(r"-?\d{1,6}(\.\d{1,18})?", word):
        raise ValueError(f"{word[:30]!r} is not a beat")
    return max(0, round((Fraction(word) - 1) * 4 / bar.beat_type * TICKS_PER_QUARTER))


def _end(reader: MeiState, element: Any, bar: RawBar, made: RawMark) -> None:
    """Give the mark its end: at a note, or at ``2m+3.5``."""
    end = (element.get("endid") or "").lstrip("#")
    if end in reader.moment_of:
        made.end_bar, made.end = reader.moment_of[end][:2]
        notes = reader.by_id.get(end, [])
        made.end += max((note.duration for note in notes), default=0)
    elif (text := element.get("tstamp2")) and (match := re.fullmatch(r"(?:(\d{1,4})m\s*\+\s*)?(\d+(?:\.\d+)?)", text)):
        index = min(bar.index + int(match[1] or 0), len(reader.draft.bars))
        made.end_bar = index
        made.end = _beat(match[2], reader.draft.bars[index - 1])


def _place(reader: MeiState, element: Any) -> tuple[int, int]:
    """Part row and staff: 0 where it names several staves, or stands between the two of a keyboard."""
    start = (element.get("startid") or "").lstrip("#")
    named = [number_of(word, 0) for word in (element.get("staff") or "").split()]
    if not named and start in reader.moment_of:
        named = [reader.moment_of[start][2]]
    row, staff = reader.places.get(named[0], (0, 0)) if named else (0, 0)
    if row >= len(reader.draft.parts):
        return 0, 0
    staves = reader.draft.parts[row].staves
    where = element.get("place") or ""
    between = where == "between" or (staves == 2 and where != "above" and staff == 1)
    if len(named) > 1 or (between and element.tag in ("dynam", "hairpin", "dir")):
        return row, 0
    return row, staff


def _notes(reader: MeiState, element: Any, name: str = "startid") -> list[RawNote]:
    """Return the notes an attribute points to."""
    return reader.by_id.get((element.get(name) or "").lstrip("#"), [])


def _text(element: Any) -> str:
    """Return printed text, with symbols of note values left out."""
    return " ".join("".join(element.itertext()).split())


def _made(reader: MeiState, element: Any, bar: RawBar, kind: str, value: str) -> RawMark:
    """Append a mark at the sign's place."""
    index, onset = _onset(reader, element, bar)
    row, staff = _place(reader, element)
    return reader.draft.mark(kind, index, onset, row, staff, value)


def _slur(reader: MeiState, element: Any, bar: RawBar) -> None:
    """Carry a slur from note to note."""
    first, last = _notes(reader, element), _notes(reader, element, "endid")
    made = _made(reader, element, bar, "slur" if element.tag in ("slur", "phrase") else "glissando", "")
    _end(reader, element, bar, made)
    if not first or not last:
        reader.draft.repair("slur to nowhere", "a slur without a note at both ends", bar.index, made.part, made.staff)
        return
    made.notes = [first[0], last[-1]]
    if element.tag == "gliss":
        first[0].flags |= Flag.GLISSANDO


def _tie(reader: MeiState, element: Any, bar: RawBar) -> None:
    """Carry a tie; it is joined when all notes are known."""
    start, end = ((element.get(name) or "").lstrip("#") for name in ("startid", "endid"))
    reader.ties.append((start, end, bar.index))


def _dynam(reader: MeiState, element: Any, bar: RawBar) -> None:
    """Carry a dynamic, an accent written like one, or words (cresc.)."""
    text = _text(element)
    word = text.lower().rstrip(".")
    if text in DYNAMICS:
        _made(reader, element, bar, "dynamic", text)
    elif _ACCENT.fullmatch(word):
        _made(reader, element, bar, "accent", {"rinf": "rfz", "sforz": "sfz"}.get(word, word))
    elif text:
        words = text.split()
        for item in words:
            if item in DYNAMICS:
                _made(reader, element, bar, "dynamic", item)
        if len(words) > 1 or text not in DYNAMICS:
            _made(reader, element, bar, "text", text)


def _hairpin(reader: MeiState, element: Any, bar: RawBar) -> None:
    """Carry a hairpin."""
    made = _made(reader, element, bar, "hairpin", "cresc" if element.get("form") == "cres" else "dim")
    _end(reader, element, bar, made)


def _dir(reader: MeiState, element: Any, bar: RawBar) -> None:
    """Words, and the jump they may ask for; the converter's own warnings are not the score's."""
    text = _text(element)
    if element.get("type") in ("problem", "sic") and element.get("label"):
        return
    if not text:
        return
    _made(reader, element, bar, "text", text)
    if jump := jump_in(text):
        _made(reader, element, bar, "jump", jump).staff = 0


def _repeat_mark(reader: MeiState, element: Any, bar: RawBar) -> None:
    """Segno, coda, fine, da capo."""
    names = {"dalSegno": "dal segno", "daCapo": "da capo"}
    func = element.get("func") or ""
    value = names.get(func, func) or jump_in(_text(element))
    full = jump_in(_text(element))
    _made(reader, element, bar, "jump", full if full.startswith(value) and value else value).staff = 0


def _tempo(reader: MeiState, element: Any, bar: RawBar) -> None:
    """Tempo words and metronome figures."""
    text = _text(element)
    made = _made(reader, element, bar, "text", text)
    made.staff = 0
    if not text:
        reader.draft.marks.remove(made)
    speed = _per_minute(element)
    if speed is not None:
        reader.draft.mark("tempo", made.bar, made.onset, 0, 0, f"{speed:g}")


def _per_minute(element: Any) -> float | None:
    """Quarters per minute, where the sign says so."""
    if (text := element.get("midi.bpm")) and re.fullmatch(r"\d{1,4}(\.\d{1,6})?", text):
        return float(text)
    unit, speed = element.get("mm.unit"), element.get("mm")
    if unit and speed and re.fullmatch(r"\d{1,4}(\.\d{1,6})?", speed) and number_of(unit, 0):
        dots = number_of(element.get("mm.dots"), 0)
        return float(speed) * 4 / number_of(unit, 4) * (2 - 0.5**dots)
    return None


def _pedal(reader: MeiState, element: Any, bar: RawBar) -> None:
    """Pedal down and up; joined to one mark."""
    index, onset = _onset(reader, element, bar)
    row, _ = _place(reader, element)
    way, kind = element.get("dir") or "", element.get("func") or "damper"
    key = (row, kind)
    held = reader.pedals.pop(key, None)
    if held is not None:
        held.end_bar, held.end = index, onset
    elif way == "up":
        reader.draft.repair("pedal from nowhere", "the pedal is lifted that was never pressed", bar.index, row)
    if way in ("down", "bounce", "half"):
        reader.pedals[key] = reader.draft.mark("pedal", index, onset, row, 0, kind)


def _fermata(reader: MeiState, element: Any, bar: RawBar) -> None:
    """Carry a fermata over a note, a rest or a bar line."""
    made = _made(reader, element, bar, "fermata", element.get("shape") or "normal")
    made.notes = list(_notes(reader, element))
    for note in made.notes:
        note.flags |= Flag.FERMATA


def _ornament(reader: MeiState, element: Any, bar: RawBar) -> None:
    """Trill, mordent, turn, with accidentals."""
    upper = element.get("form") == "upper"
    flag, value = {
        "trill": (Flag.TRILL, "trill"),
        "mordent": (Flag.INVERTED_MORDENT, "inverted-mordent") if upper else (Flag.MORDENT, "mordent"),
        "turn": (Flag.INVERTED_TURN, "inverted-turn") if element.get("form") == "lower" else (Flag.TURN, "turn"),
    }[element.tag]
    if element.get("delayed") == "true":
        value = "delayed-" + value
    names = {"s": "sharp", "f": "flat", "n": "natural", "x": "double-sharp", "ff": "flat-flat"}
    for side, attribute in (("above", "accidupper"), ("below", "accidlower")):
        if accidental := element.get(attribute):
            value += f":{side} {names.get(accidental, accidental)}"
    made = _made(reader, element, bar, "ornament", value)
    notes = _notes(reader, element)
    if notes:
        top = max(notes, key=lambda note: note.pitch)
        top.flags |= flag
        made.notes = [top]
    if element.get("endid") or element.get("tstamp2"):
        _end(reader, element, bar, made)


def _arpeggio(reader: MeiState, element: Any, bar: RawBar) -> None:
    """Carry an arpeggio sign over one or more chords."""
    order = element.get("order") or "up"
    names = (element.get("plist") or element.get("startid") or "").replace("#", "").split()
    notes = [note for name in names for note in reader.by_id.get(name, [])]
    if order == "nonarp":
        flag = Flag.NON_ARPEGGIO
    else:
        flag = Flag.ARPEGGIO_DOWN if order == "down" else Flag.ARPEGGIO
        made = _made(reader, element, bar, "arpeggio", "down" if order == "down" else "up")
        made.notes = notes
        if notes:
            made.part = notes[0].part
            made.staff = notes[0].staff if len({note.staff for note in notes}) == 1 else 0
    for note in notes:
        note.flags |= flag


def _octave(reader: MeiState, element: Any, bar: RawBar) -> None:
    """Carry an octave line."""
    size = {"8": "8v", "15": "15m", "22": "22m"}.get(element.get("dis") or "8", "8v")
    made = _made(reader, element, bar, "ottava", size + ("b" if element.get("dis.place") == "below" else "a"))
    _end(reader, element, bar, made)


def _breath(reader: MeiState, element: Any, bar: RawBar) -> None:
    """Breath marks and caesuras."""
    _made(reader, element, bar, "text", "caesura" if element.tag == "caesura" else "breath mark")


_HANDLERS = {
    "slur": _slur,
    "phrase": _slur,
    "gliss": _slur,
    "tie": _tie,
    "dynam": _dynam,
    "hairpin": _hairpin,
    "dir": _dir,
    "repeatMark": _repeat_mark,
    "tempo": _tempo,
    "pedal": _pedal,
    "fermata": _fermata,
    "trill": _ornament,
    "mordent": _ornament,
    "turn": _ornament,
    "arpeg": _arpeggio,
    "octave": _octave,
    "breath": _breath,
    "caesura": _breath,
}
