"""Metre, key, transposition and bar lines of MusicXML."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from reading.musicxml_marks import BadPlace

if TYPE_CHECKING:
    from reading.musicxml_marks import MarkKeeper

__all__ = ["read_attributes", "read_barline"]

_QUIET = {"clef", "staves", "part-symbol", "instruments", "staff-details", "measure-style", "directive", "for-part"}
_MAX_DIVISIONS = 1 << 24


def read_attributes(reader: MarkKeeper, element: Any) -> None:
    """Carry an ``<attributes>`` element."""
    for child in element:
        tag = child.tag
        if tag == "divisions":
            _divisions(reader, child)
        elif tag == "key":
            _key(reader, child)
        elif tag == "time":
            _time(reader, child)
        elif tag == "staves":
            reader.staves = max(1, min(64, reader.number(child.text, 1)))
        elif tag == "transpose":
            octaves = reader.number(child.findtext("octave-change"), 0)
            reader.chromatic = reader.number(child.findtext("chromatic"), 0) + 12 * octaves
            reader.diatonic = _diatonic(reader, child) + 7 * octaves
        elif tag not in _QUIET:
            reader.lose(tag, f"attribute <{tag}>")


def _diatonic(reader: MarkKeeper, child: Any) -> int:
    """Return steps of a transposition; where the file leaves them out, the usual interval of that many semitones."""
    if child.find("diatonic") is not None:
        return reader.number(child.findtext("diatonic"), 0)
    semitones = reader.number(child.findtext("chromatic"), 0)
    steps = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)
    octaves, rest = divmod(abs(semitones), 12)
    return (7 * octaves + steps[rest]) * (1 if semitones >= 0 else -1)


def _divisions(reader: MarkKeeper, child: Any) -> None:
    """Change the unit of duration, keeping the place in the bar."""
    new = reader.length(child.text)
    if not 0 < new <= _MAX_DIVISIONS:
        raise BadPlace(f"{child.text!r} divisions to the quarter are impossible")
    reader.position = Fraction(reader.position) * new / reader.divisions if reader.position else 0
    reader.divisions = new


def _key(reader: MarkKeeper, child: Any) -> None:
    """Carry a key signature, as written in this part."""
    if child.find("fifths") is None:
        reader.lose("key", "a key signature that is not a row of fifths")
        return
    fifths = reader.number(child.findtext("fifths"), 0)
    if -8 <= fifths <= 8 and (child.get("number") or "1") == "1":
        mode = (child.findtext("mode") or "").strip()
        reader.key = (fifths, {"minor": 1, "major": 0}.get(mode, -1))


def _time(reader: MarkKeeper, child: Any) -> None:
    """Metre; additive metres are summed (3+2/8 is 5/8)."""
    beats, kinds = child.findall("beats"), child.findall("beat-type")
    if not beats or child.find("senza-misura") is not None:
        return
    total = Fraction(0)
    for upper, lower in zip(beats, kinds, strict=False):
        figures = [int(figure) for figure in re.findall(r"\d{1,4}", upper.text or "")]
        unit = reader.number(lower.text, 4)
        if not figures or unit not in (1, 2, 4, 8, 16, 32, 64, 128) or sum(figures) < 1:
            raise BadPlace(f"a metre of {(upper.text or '')[:12]}/{(lower.text or '')[:12]} is impossible")
        total += Fraction(sum(figures), unit)
    unit = max(total.denominator, reader.number(kinds[0].text, 4))
    reader.metre = (int(total * unit), unit)


def read_barline(reader: MarkKeeper, element: Any) -> None:
    """Repeats, endings, double bars, fermatas and signs at a bar line."""
    left = element.get("location") == "left"
    style = (element.findtext("bar-style") or "").strip()
    if not left and style in ("light-light", "light-heavy", "heavy-light", "heavy-heavy", "heavy"):
        reader.bar.double_bar = True
    repeat = element.find("repeat")
    if repeat is not None:
        if repeat.get("direction") == "forward":
            reader.bar.repeat_start = True
        else:
            reader.bar.repeat_end = max(2, min(99, reader.number(repeat.get("times"), 2)))
    ending = element.find("ending")
    if ending is not None:
        _ending(reader, ending)
    for sign in element:
        if sign.tag in ("segno", "coda"):
            reader.jump(sign.tag, reader.now)
        elif sign.tag == "fermata":
            reader.mark("fermata", reader.now, 0, (sign.text or "normal").strip() or "normal")


def _ending(reader: MarkKeeper, ending: Any) -> None:
    """Which times the bars under a bracket are played."""
    numbers = [int(number) for number in re.findall(r"\d{1,2}", ending.get("number") or "")]
    bits = sum({1 << (number - 1) for number in numbers if 1 <= number <= 32})
    if ending.get("type") == "start":
        reader.draft.open_volta = bits
        reader.bar.volta |= bits
    else:
        reader.draft.open_volta = 0
        reader.bar.volta |= bits
