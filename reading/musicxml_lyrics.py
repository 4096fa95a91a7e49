"""Sung text of a MusicXML note: syllables, hyphens, elisions, verses.

References
----------
MusicXML 4.0, elements ``lyric``, ``syllabic``, ``text``, ``elision``, ``extend``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reading.draft import RawNote
    from reading.musicxml_marks import MarkKeeper

__all__ = ["read_lyric"]

_MOST_PIECES = 8


def read_lyric(reader: MarkKeeper, element: Any, note: RawNote, verses: int) -> None:
    """Put the syllable of a ``<lyric>`` under *note*; one that only goes on a melisma says nothing new.

    Several ``text`` elements with an ``elision`` between them are sung on the one note; *verses* are those it has.
    """
    if element.get("print-object") == "no":
        reader.lose("lyric", "sung text that is not printed", note.staff)
        return
    pieces: list[tuple[str, str]] = []
    kind, joined, extend = "single", False, False
    for child in element:
        if child.tag == "syllabic":
            kind = (child.text or "").strip()
        elif child.tag == "text":
            text = child.text or ""
            if joined and pieces:
                pieces[-1] = (pieces[-1][0], pieces[-1][1] + text)  # a second font within one syllable
            else:
                pieces.append((kind, text))
            joined, kind = True, "single"
        elif child.tag == "elision":
            joined = False
        elif child.tag == "extend":
            extend = True
        elif child.tag in ("humming", "laughing"):
            reader.lose("lyric", f"<{child.tag}> in place of sung text", note.staff)
    verse = element.get("number") or element.get("name") or str(verses + 1)
    reader.draft.sing(note, verse, pieces[:_MOST_PIECES], extend=extend, sung=verses)
