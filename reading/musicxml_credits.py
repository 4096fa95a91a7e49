"""Title and composer as a MusicXML file gives them, or as its first page prints them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

__all__ = ["composer_of", "title_of"]

_NO_NAME = re.compile(r"[\W\d_]*|.*(©|\(c\)|copyright|all rights|https?:).*", re.IGNORECASE | re.DOTALL)
"""A page number or a notice of rights."""


@dataclass(frozen=True)
class _Credit:
    """Words of the first page: what they are said to be, their side of the page, their size in points."""

    words: str
    kind: str
    side: str
    size: float


def title_of(root: Any) -> str:
    """Return work and movement title; where there are none, the title as printed on the first page.

    That is the words called a title, or the largest ones that do not stand at a side.

    Parameters
    ----------
    root : element
        ``score-partwise`` or ``score-timewise``.

    References
    ----------
    MusicXML 4.0 (W3C Music Notation Community Group): ``<credit>``, ``<credit-type>``, ``<credit-words>``.
    """
    work = (root.findtext("work/work-title") or "").strip()
    movement = (root.findtext("movement-title") or "").strip()
    if work or movement:
        return ", ".join(dict.fromkeys(item for item in (work, movement) if item))
    found = _credits(root)
    middle = [one for one in found if not one.kind and one.side not in ("left", "right")]
    largest = sorted(middle, key=lambda one: -one.size)[:1]
    return next((one.words for one in [*(one for one in found if one.kind == "title"), *largest]), "")


def composer_of(root: Any) -> str:
    """Return the creator of type composer; where none is named, the words at the right of the first page.

    Parameters
    ----------
    root : element
    """
    for creator in root.iterfind("identification/creator"):
        if creator.get("type") in (None, "composer") and (creator.text or "").strip():
            return str(creator.text).strip()
    found = _credits(root)
    said = [one for one in found if one.kind == "composer"]
    return next((one.words for one in [*said, *(one for one in found if not one.kind and one.side == "right")]), "")


def _credits(root: Any) -> list[_Credit]:
    """What the first page prints beside the music, page numbers and rights apart."""
    found = []
    for credit in root.iterfind("credit"):
        pieces = credit.findall("credit-words")
        words = " ".join(" ".join((piece.text or "") for piece in pieces).split())
        if credit.get("page", "1") != "1" or _NO_NAME.fullmatch(words):
            continue
        first = pieces[0]
        side = first.get("justify") or first.get("halign") or ""
        found.append(_Credit(words, (credit.findtext("credit-type") or "").strip(), side, _size(first)))
    return found


def _size(words: Any) -> float:
    """Font size in points; 0 where none is given in figures."""
    text = words.get("font-size") or ""
    return float(text) if re.fullmatch(r"\d{1,4}(\.\d{1,4})?", text) else 0.0
