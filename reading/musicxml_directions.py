"""What stands beside the notes in MusicXML: dynamics, hairpins, tempo, words, pedal, octave lines, jumps."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable

    from reading.musicxml_marks import MarkKeeper

__all__ = ["jump_in", "read_direction", "read_sound"]

_BEATS = {"whole": 4.0, "half": 2.0, "quarter": 1.0, "eighth": 0.5, "16th": 0.25, "32nd": 0.125, "breve": 8.0}
_QUIET = {"bracket", "dashes", "principal-voice", "staff-divide", "image"}
_JUMPS = (
    (re.compile(r"\bD\.?\s*C\.?(?=\W|$)|\bda\s+capo\b", re.IGNORECASE), "da capo"),
    (re.compile(r"\bD\.?\s*S\.?(?=\W|$)|\bdal\s+segno\b", re.IGNORECASE), "dal segno"),
    (re.compile(r"^\s*(al\s+|to\s+)coda\b", re.IGNORECASE), "to coda"),
    (re.compile(r"^\s*fine\.?\s*$", re.IGNORECASE), "fine"),
)


def jump_in(words: str) -> str:
    """Return the jump that *words* ask for (``da capo al fine``, ``fine`` …), or an empty string."""
    for pattern, name in _JUMPS:
        if pattern.search(words):
            if name in ("da capo", "dal segno"):
                if re.search(r"al\s+fine", words, re.IGNORECASE):
                    return f"{name} al fine"
                if re.search(r"coda", words, re.IGNORECASE):
                    return f"{name} al coda"
            return name
    return ""


def read_direction(reader: MarkKeeper, element: Any) -> None:
    """Carry a ``<direction>``; its place is the current position plus its offset."""
    staff = reader.number(element.findtext("staff"), 0)
    offset = element.find("offset")
    onset = reader.now
    if offset is not None:
        onset = max(0, reader.ticks_at(reader.position + reader.length(offset.text)))
    staff = _meant_for(element, staff, reader)
    said_tempo = False
    for kind in element.findall("direction-type"):
        for sign in kind:
            said_tempo |= _sign(reader, sign, onset, staff)
    sound = element.find("sound")
    if sound is not None:
        read_sound(reader, sound, onset, tempo=not said_tempo or sound.get("tempo") is not None)


def _meant_for(element: Any, staff: int, reader: MarkKeeper) -> int:
    """Staff a sign holds for; 0 (both) where it stands between the two staves of a keyboard.

    Common practice in keyboard engraving, no source: what stands between the staves is for both hands.
    """
    if reader.staves != 2:
        return staff
    below = element.get("placement") != "above"
    return 0 if (staff in (0, 1) and below) or (staff == 2 and not below) else staff


def _sign(reader: MarkKeeper, sign: Any, onset: int, staff: int) -> bool:
    """Carry one sign; return whether it is a metronome mark."""
    tag = sign.tag
    if tag == "metronome":
        return _metronome(reader, sign, onset)
    if tag == "dynamics":
        for mark in sign:
            reader.dynamic(mark, onset, staff, None)
    elif tag in _RANGED:
        _RANGED[tag](reader, sign, onset, staff)
    elif tag == "words":
        _words(reader, (sign.text or "").strip(), onset, staff)
    elif tag in ("segno", "coda"):
        reader.jump(tag, onset)
    elif tag == "rehearsal":
        reader.mark("rehearsal", onset, 0, (sign.text or "").strip())
    elif tag not in _QUIET:
        reader.lose(tag, f"direction <{tag}>")
    return False


_RANGED: dict[str, Callable[[MarkKeeper, Any, int, int], None]] = {
    "wedge": lambda reader, sign, onset, staff: reader.wedge(sign, onset, staff),
    "pedal": lambda reader, sign, onset, staff: reader.pedal(sign, onset, staff),
    "octave-shift": lambda reader, sign, onset, staff: reader.ottava(sign, onset, staff),
}


def _words(reader: MarkKeeper, words: str, onset: int, staff: int) -> None:
    """Words, and the jump they may ask for."""
    if not words:
        return
    reader.mark("text", onset, staff, words)
    if jump := jump_in(words):
        reader.jump(jump, onset)


def _metronome(reader: MarkKeeper, sign: Any, onset: int) -> bool:
    """Carry a metronome mark in quarters per minute; equations between note values are kept as text."""
    unit, per_minute = sign.findtext("beat-unit"), sign.findtext("per-minute")
    number = re.search(r"\d+(\.\d+)?", per_minute or "")
    if unit not in _BEATS or number is None:
        units = [item.text or "" for item in sign.iter("beat-unit")]
        reader.mark("text", onset, 0, " = ".join(units) or "metronome")
        return False
    dots = len(sign.findall("beat-unit-dot"))
    beat = _BEATS[unit] * (2 - 0.5**dots)
    reader.tempo(onset, float(number[0]) * beat)
    return True


def read_sound(reader: MarkKeeper, sound: Any, onset: int, *, tempo: bool = True) -> None:
    """Carry a ``<sound>``: tempo and jumps."""
    if tempo and (text := sound.get("tempo")):
        reader.tempo(onset, reader.decimal(text))
    for name, value in (("dacapo", "da capo"), ("dalsegno", "dal segno"), ("tocoda", "to coda"), ("fine", "fine")):
        if sound.get(name):
            reader.jump(value, onset)
    for name in ("segno", "coda"):
        if sound.get(name):
            reader.jump(name, onset)
