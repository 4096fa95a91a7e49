"""MusicXML 2 to 4, partwise and timewise, straight into the draft.

Read directly because the general parser at hand drops dynamics written at notes and all but the first pedal sign, and
takes some twenty times as long.

References
----------
MusicXML 4.0, W3C Community Group Final Report, 2021.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from base.errors import ScoreError
from reading.draft import MAX_BARS, Draft, RawBar
from reading.musicxml_credits import composer_of, title_of
from reading.musicxml_marks import BadPlace
from reading.musicxml_part import PartReader
from reading.safety import parse_xml
from reading.score import PartInfo

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["read_musicxml"]

_MAX_PARTS = 256


def read_musicxml(data: bytes, path: Path) -> Draft:
    """Return what a MusicXML document holds.

    Parameters
    ----------
    data : bytes
        The document, unpacked.
    path : Path
        For messages.

    Raises
    ------
    ScoreError
        Where it is not MusicXML, holds no notes, or says something impossible (with part and bar).
    """
    root = parse_xml(data, path)
    _strip_namespaces(root)
    if root.tag == "score-timewise":
        root = _partwise(root)
    if root.tag != "score-partwise":
        raise ScoreError(f"an XML file, but not a score: its root is <{root.tag}>", path=path)
    draft = Draft(title=title_of(root), composer=composer_of(root))
    names = _part_names(root)
    parts = root.findall("part")
    if not parts:
        raise ScoreError("the score has no parts", path=path)
    if len(parts) > _MAX_PARTS:
        raise ScoreError(f"{len(parts)} parts are more than {_MAX_PARTS}", path=path)
    for row, part in enumerate(parts):
        draft.parts.append(PartInfo(names.get(part.get("id") or "", "") or f"part {row + 1}"))
        _read_part(draft, row, part, path)
    draft.settle_metres()
    draft.settle_keys()
    _check_bars(draft)
    draft.place()
    return draft


def _read_part(draft: Draft, row: int, part: Any, path: Path) -> None:
    """Read one part; its bars line up with those of the first by their order."""
    reader = PartReader(draft, row)
    draft.open_volta = 0
    measures = part.findall("measure")
    if row and len(measures) != len(draft.bars):
        draft.repair("bars", f"has {len(measures)} bars where the first part has {len(draft.bars)}", 0, row)
    for index, element in enumerate(measures, start=1):
        if index > MAX_BARS:
            raise ScoreError(f"more than {MAX_BARS} bars", path=path)
        if index > len(draft.bars):
            draft.add_bar(_next_bar(index, element))
        bar = draft.bars[index - 1]
        bar.volta |= draft.open_volta
        try:
            reader.read_bar(element, bar)
        except (BadPlace, ValueError, OverflowError, AttributeError) as error:
            place = f"part '{draft.parts[row].name}', bar {bar.number} (line {element.sourceline})"
            raise ScoreError(str(error), path=path, place=place, hint="Mend it in the score program.") from error
    reader.finish()


def _next_bar(index: int, element: Any) -> RawBar:
    """Return a new bar."""
    number = (element.get("number") or str(index)).strip()[:16]
    return RawBar(index, 0, number, implicit=element.get("implicit") == "yes")


def _check_bars(draft: Draft) -> None:
    """Say which bars do not add up: fuller than their metre, or short where nothing explains it."""
    last = len(draft.bars)
    for bar in draft.bars:
        if bar.filled > bar.nominal:
            text = f"holds {bar.filled / 10_080:g} quarters where its metre asks for {bar.nominal / 10_080:g}; kept"
            draft.repair("long bar", text, bar.index)
        elif 0 < bar.filled < bar.nominal and not _may_be_short(draft, bar, last):
            text = f"holds {bar.filled / 10_080:g} quarters where its metre asks for {bar.nominal / 10_080:g}; kept"
            draft.repair("short bar", text, bar.index)


def _may_be_short(draft: Draft, bar: RawBar, last: int) -> bool:
    """Whether a short bar is explained: a pickup, the end, half a bar at a repeat, or one of two halves."""
    if bar.index in (1, last) or bar.implicit or bar.repeat_start or bar.repeat_end or bar.double_bar or bar.volta:
        return True
    before, after = draft.bars[bar.index - 2], draft.bars[bar.index]
    if bar.nominal in (before.filled + bar.filled, bar.filled + after.filled):
        return True  # one bar written as two
    return bool(before.repeat_end or before.double_bar or after.repeat_start or after.volta or after.implicit)


def _strip_namespaces(root: Any) -> None:
    """Names without namespace, so that files that carry one read the same."""
    if "}" not in root.tag:
        return
    for element in root.iter():
        if isinstance(element.tag, str):
            element.tag = element.tag.rpartition("}")[2]


def _partwise(root: Any) -> Any:
    """Turn a timewise score into a partwise one: the same measures, grouped by part."""
    from lxml import etree

    made = etree.Element("score-partwise")
    parts: dict[str, Any] = {}
    for child in list(root):
        if child.tag != "measure":
            made.append(child)
            continue
        for piece in child.findall("part"):
            name = piece.get("id") or ""
            if name not in parts:
                parts[name] = etree.Element("part", id=name)
            measure = etree.SubElement(parts[name], "measure", dict(child.attrib))
            measure.extend(list(piece))
    made.extend(parts.values())
    return made


def _part_names(root: Any) -> dict[str, str]:
    """Part names by id."""
    return {
        item.get("id") or "": " ".join((item.findtext("part-name") or "").split())
        for item in root.iterfind("part-list/score-part")
    }
