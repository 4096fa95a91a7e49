"""Parts, metre, key, transposition and titles of an MEI document."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from reading.score import PartInfo

if TYPE_CHECKING:
    from reading.mei_state import MeiState

__all__ = ["number_of", "parts_of", "read_score_def", "title_of"]


def number_of(text: str | None, default: int) -> int:
    """Return a small whole number, or *default*."""
    word = (text or "").strip()
    return int(word) if re.fullmatch(r"-?\d{1,6}", word) else default


def title_of(root: Any) -> tuple[str, str]:
    """Return title and composer as the header says them."""
    work = root.find(".//workList/work")
    parts = [] if work is None else ["".join(item.itertext()).strip() for item in work.iter("titlePart")]
    title = ", ".join(dict.fromkeys(part for part in parts[:2] if part))
    if not title:
        found = root.find(".//title")
        title = "" if found is None else " ".join("".join(found.itertext()).split())
    composer = root.find(".//composer")
    return title, "" if composer is None else " ".join("".join(composer.itertext()).split())


def parts_of(reader: MeiState, score: Any) -> None:
    """Work out which staves make one part: those a brace joins, or two staves without names of their own."""
    definition = score.find("scoreDef")
    if definition is None:
        return
    staves = list(definition.iter("staffDef"))
    groups = _groups(definition, staves)
    for row, members in enumerate(groups):
        name = _label(members[0]) or next((_label(item) for item in members if _label(item)), "") or f"part {row + 1}"
        reader.draft.parts.append(PartInfo(name, len(members)))
        for place, item in enumerate(members, start=1):
            reader.places[number_of(item.get("n"), place)] = (row, place)
    read_score_def(reader, definition)


def _groups(definition: Any, staves: list[Any]) -> list[list[Any]]:
    """Staves by part."""
    labels = {_label(item) for item in staves}
    if len(staves) == 2 and len(labels - {""}) < 2:
        return [staves]
    groups: list[list[Any]] = []
    taken: set[Any] = set()
    for group in definition.iter("staffGrp"):
        inner = group.findall("staffGrp")
        alone = not group.findall("staffDef") and len(inner) == 1  # the brace may stand around the group of the part
        members = (inner[0] if alone else group).findall("staffDef")
        if _braced(group) and 1 < len(members) <= 4 and not taken.intersection(members):
            groups.append(members)
            taken.update(members)
    groups.extend([item] for item in staves if item not in taken)
    return sorted(groups, key=lambda members: staves.index(members[0]))


def _braced(group: Any) -> bool:
    """Whether a brace joins the staves of a group, as its attribute or as a sign of its own."""
    sign = group.find("grpSym")
    return "brace" in (group.get("symbol"), None if sign is None else sign.get("symbol"))


def _label(item: Any) -> str:
    """Name of a staff, or of the group it alone stands in."""
    found = item.find("label")
    text = item.get("label") or ("" if found is None else " ".join("".join(found.itertext()).split()))
    parent = item.getparent()
    above = None if parent is None else parent.getparent()
    if not text and parent is not None and (_braced(parent) or (above is not None and _braced(above))):
        found = parent.find("label")
        text = "" if found is None else " ".join("".join(found.itertext()).split())
    return str(text)


def read_score_def(reader: MeiState, definition: Any) -> None:
    """Carry metre, key, tempo and transposition from here on."""
    first = True
    speed = definition.get("midi.bpm") or ""
    if re.fullmatch(r"\d{1,4}(\.\d{1,6})?", speed) and 1 <= float(speed) <= 2000:
        reader.speed = f"{float(speed):g}"
    for item in (definition, *definition.iter("staffDef")):
        if item.tag == "staffDef":
            _transposition(reader, item)
        for sign in (item, item.find("meterSig")):
            if sign is not None:
                _metre(reader, sign)
        transposed = reader.transpose.get(number_of(item.get("n"), 0), (0, 0)) != (0, 0)
        if first and not transposed:
            first = not _key(reader, item)


def _transposition(reader: MeiState, item: Any) -> None:
    """Return steps and semitones from written to sounding."""
    staff = number_of(item.get("n"), 0)
    if item.get("trans.semi") is not None:
        reader.transpose[staff] = (number_of(item.get("trans.diat"), 0), number_of(item.get("trans.semi"), 0))


def _metre(reader: MeiState, sign: Any) -> None:
    """Carry a metre as attributes of a definition or of a ``<meterSig>``."""
    count = sign.get("meter.count") or (sign.get("count") if sign.tag == "meterSig" else None)
    unit = sign.get("meter.unit") or (sign.get("unit") if sign.tag == "meterSig" else None)
    symbol = sign.get("meter.sym") or (sign.get("sym") if sign.tag == "meterSig" else None)
    if count and unit:
        figures = [int(figure) for figure in re.findall(r"\d{1,3}", count)]
        lower = number_of(unit, 4)
        if not figures or sum(figures) < 1 or lower not in (1, 2, 4, 8, 16, 32, 64, 128):
            raise ValueError(f"a metre of {count}/{unit} is impossible")
        reader.metre = (sum(figures), lower)
    elif symbol in ("common", "cut"):
        reader.metre = (4, 4) if symbol == "common" else (2, 2)


def _key(reader: MeiState, item: Any) -> bool:
    """Carry a key signature; return whether there was one."""
    sign = item.find("keySig")
    text = item.get("key.sig") or item.get("keysig") or ("" if sign is None else sign.get("sig") or "")
    mode = item.get("key.mode") or ("" if sign is None else sign.get("mode") or "")
    match = re.fullmatch(r"(\d)([sf])?", text)
    if match is None:
        return False
    fifths = int(match[1]) * (-1 if match[2] == "f" else 1)
    reader.key = (fifths, {"minor": 1, "major": 0}.get(mode, -1))
    return True
