"""Percussion without pitch in a MusicXML part: marks of kind ``stroke``, because the note table holds pitches."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reading.draft import RawMark
    from reading.musicxml_marks import MarkKeeper

__all__ = ["read_stroke"]

_SIGNS = {"accent": "accent", "strong-accent": "marcato", "staccato": "staccato", "staccatissimo": "staccatissimo"}


def read_stroke(reader: MarkKeeper, element: Any, onset: int, end: int) -> None:
    """Read a ``<note>`` with ``<unpitched>``: where it stands on the staff, how long it is written, what stands at it.

    Parameters
    ----------
    reader : MarkKeeper
    element : lxml element
    onset, end : int
        Ticks from the start of the bar; equal for a grace note.
    """
    staff = reader.number(element.findtext("staff"), 1)
    place = _place(element)
    key = (staff, (element.findtext("voice") or "1").strip()[:16], place)
    ties = {tie.get("type") for tie in element.iterfind("tie")}
    waiting: RawMark | None = reader.strokes.pop(key, None)
    if "stop" in ties and waiting is not None:
        waiting.end, waiting.end_bar, made = end, reader.bar.index, waiting
    else:
        made = reader.mark("stroke", onset, staff, " ".join([place, *_words(element)]))
        made.end, made.end_bar = end, reader.bar.index
    if "start" in ties:
        reader.strokes[key] = made
    reader.lose("unpitched", "percussion without pitch: kept as strokes, which no step plays", staff)


def _place(element: Any) -> str:
    """Where a stroke stands on the staff, as if in treble clef; the middle line where the file does not say."""
    step = (element.findtext("unpitched/display-step") or "B").strip().upper()
    octave = (element.findtext("unpitched/display-octave") or "4").strip()
    return f"{step}{octave}" if step in tuple("ABCDEFG") and octave in tuple("0123456789") else "B4"


def _words(element: Any) -> list[str]:
    """Roll, grace note and articulations, in words."""
    found = ["grace"] if element.find("grace") is not None else []
    found += ["roll"] if element.find("notations/ornaments/tremolo") is not None else []
    return found + [word for tag, word in _SIGNS.items() if element.find(f"notations/articulations/{tag}") is not None]
