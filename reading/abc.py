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

    from reading.draft import Draft

__all__ = ["read_abc"]

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
    draft = read_mei(through_verovio(tune, "abc", path), path)
    written = len(re.findall(r"[A-Ga-g]", _NO_NOTES.sub("", tune)))
    if written != len(draft.notes):
        msg = f"the tune has {written} notes, the converter found {len(draft.notes)}"
        raise ScoreError(msg, path=path, hint="Convert it to MusicXML and read that.")
    if len(heads) > 1:
        draft.lose("tunes", f"the file holds {len(heads)} tunes; only the first is read")
    draft.title = draft.title or _field(tune, "T")
    draft.composer = draft.composer or _field(tune, "C")
    _tempo(draft, _field(tune, "Q"))
    return draft


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
