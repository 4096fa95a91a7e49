"""ABC, by way of verovio's MEI, counted against the file's own notes.

References
----------
The ABC music standard 2.1, December 2011: sections 3 (fields), 4.1 (pitch), 4.12 (graces), 4.18 (chord symbols).
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING

from base.errors import ScoreError
from reading.converting import through_verovio
from reading.kern import decoded
from reading.mei import read_mei

if TYPE_CHECKING:
    from pathlib import Path

    from reading.draft import Draft, RawNote

__all__ = ["read_abc"]

_ALTERS = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}
_TOKEN = re.compile(r"([_^=]{0,2})([A-Ga-g])[,']*[0-9/]*(-?)|\|")
_LINE_END = re.compile(rb'(<syl\b[^>]*?) con="d"(?![^>]* wordpos)')  # verovio 6 puts a hyphen after every line of text
_FREE = re.compile(r"^M:[ \t]*none[ \t]*\n", re.MULTILINE)
_NO_NOTES = re.compile(r'%.*|^[A-Za-z]:.*|\[[A-Za-z]:[^\]]*\]|"[^"]*"|![^!\n]*!|\+[^+\n]*\+', re.MULTILINE)


def read_abc(data: bytes, path: Path) -> Draft:
    """Return what an ABC file holds: its first tune.

    Raises
    ------
    ScoreError
        Where verovio cannot read it, or finds another number of notes than the text has.
    """
    text = decoded(data, path)
    heads = [tune for tune in re.split(r"(?m)^(?=X:)", text) if tune.startswith("X:")]
    tune = heads[0] if heads else text
    free = _FREE.search(tune) is not None
    tune = _FREE.sub("", tune)
    draft = read_mei(_LINE_END.sub(rb"\1", through_verovio(_ended(tune), "abc", path)), path)
    plain = _NO_NOTES.sub("", tune)
    written = len(re.findall(r"[A-Ga-g]", plain))
    if written != len(draft.notes):
        msg = f"the tune has {written} notes, the converter found {len(draft.notes)}"
        raise ScoreError(msg, path=path, hint="Convert it to MusicXML and read that.")
    _accidentals(draft, plain, path)
    _number(draft)
    if free:
        draft.lose("metre", "free metre (M: none); bars are as long as what stands in them")
    if len(heads) > 1:
        draft.lose("tunes", f"the file holds {len(heads)} tunes; only the first is read")
    draft.title = draft.title or _field(tune, "T")
    draft.composer = draft.composer or _field(tune, "C")
    _tempo(draft, _field(tune, "Q"))
    return draft


def _ended(tune: str) -> str:
    """Return the tune with a bar line at its end: without one the converter drops the last bar."""
    rows = tune.rstrip().splitlines()
    for row in range(len(rows) - 1, -1, -1):
        line = rows[row].partition("%")[0].rstrip()
        if line and not re.match(r"[A-Za-z]:", line):
            rows[row] = line if line.endswith(("|", "]", ":")) else f"{line} |"
            break
    return "\n".join(rows) + "\n"


def _accidentals(draft: Draft, plain: str, path: Path) -> None:
    """Let an accidental hold to the end of its bar in its octave, which the converter leaves out.

    As in common notation (the standard lets files choose other ways, section 4.2; tunes at hand mean this one). Over a
    bar line it holds only for a note tied to.
    """
    notes = iter(draft.notes)
    held: dict[tuple[str, int], int] = {}
    tied: dict[tuple[str, int], RawNote] = {}
    for match in _TOKEN.finditer(plain):
        if match[2] is None:
            held = {}
            continue
        note, letter = next(notes), match[2].upper()
        if "CDEFGAB"[note.step] != letter:
            raise ScoreError(f"the converter read another note than {match[0]}", path=path)
        if match[1]:
            held[letter, note.octave] = _ALTERS.get(match[1], 0)
        before = None if match[1] else tied.pop((letter, note.octave), None)
        wanted = held.get((letter, note.octave), note.alter if before is None else before.alter)
        note.pitch += wanted - note.alter
        note.alter = wanted
        if before is not None and before.pitch == note.pitch:
            before.tie_start = note.tie_stop = True
        if match[3]:
            tied[letter, note.octave] = note


def _number(draft: Draft) -> None:
    """Number the bars, which ABC leaves unnumbered: from 0 where the first is an upbeat, else from 1."""
    if len({bar.number for bar in draft.bars}) > 1:
        return
    upbeat = len(draft.bars) > 1 and draft.bars[0].filled < draft.bars[0].nominal
    for bar in draft.bars:
        bar.number = str(bar.index - upbeat)


def _field(tune: str, letter: str) -> str:
    """Return the first field of that letter in the head of a tune."""
    match = re.search(rf"(?m)^{letter}:[ \t]*(.*?)[ \t]*(?:%.*)?$", tune)
    return match[1].strip()[:200] if match else ""


def _tempo(draft: Draft, field: str) -> None:
    """Carry a tempo field: ``1/4=90``, with or without words in quotes."""
    if any(mark.kind == "tempo" for mark in draft.marks) or not draft.bars:
        return
    match = re.search(r"(\d{1,3})/(\d{1,3})\s*=\s*(\d{1,4})", field)
    if match and int(match[2]):
        speed = float(Fraction(int(match[1]), int(match[2])) * 4 * int(match[3]))
        if 1 <= speed <= 2000:
            draft.mark("tempo", 1, 0, value=f"{speed:g}")
    if words := re.search(r'"([^"]+)"', field):
        draft.mark("text", 1, 0, value=words[1])
