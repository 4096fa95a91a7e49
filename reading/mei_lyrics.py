"""Sung text of an MEI note or chord: verses, syllables, hyphens, elisions.

References
----------
Music Encoding Initiative Guidelines 5, chapter 11 (Vocal Text): ``verse``, ``syl`` with ``wordpos`` and ``con``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reading.draft import RawNote
    from reading.mei_state import MeiState

__all__ = ["read_verses"]


def read_verses(reader: MeiState, element: Any, heads: list[RawNote], place: tuple[int, str]) -> None:
    """Put the text of a note, or of a chord and its notes, under it.

    Parameters
    ----------
    reader : MeiState
    element : Element
        Note or chord.
    heads : list of RawNote
        As read from it; the text of a chord goes to its highest note.
    place : (int, str)
        Staff and layer.
    """
    lines = list(element.findall("verse")) + [
        verse for head in element.findall("note") for verse in head.findall("verse")
    ]
    singer = max(heads, key=lambda note: note.pitch)
    for count, verse in enumerate(lines):
        number = verse.get("n") or str(count + 1)
        key = (*place, number)
        pieces, extend = [], False
        for syllable in verse.findall("syl"):
            before = reader.dashed.get(key, False)
            dashed = syllable.get("con") == "d" or syllable.get("wordpos") in ("i", "m")
            text = "".join(syllable.itertext())
            if text.strip():
                pieces.append((_KINDS[before, dashed], text))
                reader.dashed[key] = dashed
                extend = syllable.get("con") == "u"
        reader.draft.sing(singer, number, pieces, extend=extend, sung=count)


_KINDS = {(False, False): "single", (False, True): "begin", (True, True): "middle", (True, False): "end"}
