"""What stands at a note in MusicXML: articulations, ornaments, slurs, tremolos, arpeggios, fermatas."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from reading.score import Flag

if TYPE_CHECKING:
    from collections.abc import Callable

    from reading.draft import RawNote
    from reading.musicxml_marks import MarkKeeper

__all__ = ["read_notations"]

_FLAGS = {
    "accent": Flag.ACCENT,
    "strong-accent": Flag.MARCATO,
    "staccato": Flag.STACCATO,
    "staccatissimo": Flag.STACCATISSIMO,
    "spiccato": Flag.STACCATISSIMO,
    "tenuto": Flag.TENUTO,
    "detached-legato": Flag.TENUTO | Flag.STACCATO,
}
_ORNAMENTS = {
    "trill-mark": Flag.TRILL,
    "shake": Flag.TRILL,
    "wavy-line": Flag(0),
    "mordent": Flag.MORDENT,
    "inverted-mordent": Flag.INVERTED_MORDENT,
    "turn": Flag.TURN,
    "delayed-turn": Flag.TURN,
    "inverted-turn": Flag.INVERTED_TURN,
    "delayed-inverted-turn": Flag.INVERTED_TURN,
}
_TEXTS = {"breath-mark": "breath mark", "caesura": "caesura", "stress": "stress", "unstress": "unstress"}
_WITHOUT_MUSIC = {"tuplet", "tied", "accidental-mark", "footnote", "level"}


def read_notations(reader: MarkKeeper, notations: Any, note: RawNote) -> None:
    """Carry everything in a ``<notations>`` element to *note* and the reader's marks."""
    for element in notations:
        tag = element.tag
        if tag in _CARRIED:
            _CARRIED[tag](reader, element, note)
        elif tag not in _WITHOUT_MUSIC:
            reader.lose(tag, f"<{tag}> at a note")


def _glissando(reader: MarkKeeper, element: Any, note: RawNote) -> None:
    """Carry a glissando or slide."""
    note.flags |= Flag.GLISSANDO
    reader.spanner("glissando", element, note)


def _fermata(reader: MarkKeeper, element: Any, note: RawNote) -> None:
    """Carry a fermata."""
    note.flags |= Flag.FERMATA
    reader.mark("fermata", note.onset, note.staff, (element.text or "normal").strip() or "normal", note)


def _dynamics(reader: MarkKeeper, element: Any, note: RawNote) -> None:
    """Carry dynamics written at the note itself."""
    for mark in element:
        reader.dynamic(mark, note.onset, note.staff, note)


def _non_arpeggio(_reader: MarkKeeper, _element: Any, note: RawNote) -> None:
    """Carry the bracket that forbids breaking a chord."""
    note.flags |= Flag.NON_ARPEGGIO


def _articulations(reader: MarkKeeper, parent: Any, note: RawNote) -> None:
    """Articulation signs; playing techniques are named as lost."""
    for element in parent:
        if element.tag in _FLAGS:
            note.flags |= _FLAGS[element.tag]
        elif element.tag in _TEXTS:
            reader.mark("text", note.onset, note.staff, _TEXTS[element.tag], note)
        else:
            reader.lose(element.tag, f"<{element.tag}> at a note")


def _ornaments(reader: MarkKeeper, parent: Any, note: RawNote) -> None:
    """Ornaments with their accidentals, and tremolos."""
    made = None
    for element in parent:
        tag = element.tag
        if tag == "tremolo":
            _tremolo(reader, element, note)
        elif tag == "accidental-mark":
            side = element.get("placement") or "above"
            if made is not None:
                made.value += f":{side} {(element.text or '').strip()}"
        elif tag == "wavy-line":
            reader.wavy_line(element, note)
        elif tag in _ORNAMENTS:
            note.flags |= _ORNAMENTS[tag]
            made = reader.mark("ornament", note.onset, note.staff, tag.replace("trill-mark", "trill"), note)
        else:
            reader.lose(tag, f"ornament <{tag}>")


def _tremolo(reader: MarkKeeper, element: Any, note: RawNote) -> None:
    """Tremolo on one note, or between two (start and stop at the two notes)."""
    kind = element.get("type") or "single"
    text = (element.text or "3").strip()
    beams = min(8, max(1, int(text))) if text.isdecimal() and len(text) < 3 else 3
    if kind == "start":
        note.flags |= Flag.TREMOLO_BETWEEN
        reader.open_tremolo = reader.mark("tremolo", note.onset, note.staff, f"between:{beams}", note)
    elif kind == "stop":
        note.flags |= Flag.TREMOLO_BETWEEN
        if reader.open_tremolo is not None:
            reader.open_tremolo.notes.append(note)
            reader.open_tremolo = None
    elif kind == "single":
        note.flags |= Flag.TREMOLO
        reader.mark("tremolo", note.onset, note.staff, str(beams), note)
    else:
        reader.lose("tremolo", f"unmeasured tremolo of type '{kind}'")


def _arpeggio(reader: MarkKeeper, element: Any, note: RawNote) -> None:
    """Carry an arpeggio sign: one mark for all notes of one wavy line (same moment, same number)."""
    way = "down" if element.get("direction") == "down" else "up"
    note.flags |= Flag.ARPEGGIO_DOWN if way == "down" else Flag.ARPEGGIO
    key = (note.bar, note.onset, element.get("number") or "1", way)
    if key not in reader.arpeggios:
        reader.arpeggios[key] = reader.mark("arpeggio", note.onset, note.staff, way, note)
    else:
        mark = reader.arpeggios[key]
        mark.notes.append(note)
        if mark.staff != note.staff:
            mark.staff = 0


_CARRIED: dict[str, Callable[[MarkKeeper, Any, RawNote], None]] = {
    "articulations": _articulations,
    "technical": _articulations,
    "ornaments": _ornaments,
    "slur": lambda reader, element, note: reader.spanner("slur", element, note),
    "glissando": _glissando,
    "slide": _glissando,
    "fermata": _fermata,
    "arpeggiate": _arpeggio,
    "non-arpeggiate": _non_arpeggio,
    "dynamics": _dynamics,
}
