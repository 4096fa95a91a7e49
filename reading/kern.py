"""Humdrum kern, by way of verovio's MEI, counted against the file's own tokens.

The general kern reader at hand loses notes where a staff splits into three or more voices, and reads neither slurs nor
pedal; verovio's keeps them. Whether it did is checked here, note by note, against the text of the file itself.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from base.errors import MissingPart, ScoreError
from reading.mei import read_mei

if TYPE_CHECKING:
    from pathlib import Path

    from reading.draft import Draft

__all__ = ["read_kern", "through_verovio"]


def decoded(data: bytes, path: Path) -> str:
    """Return the text of a plain-text score: UTF-8, else Latin-1 as older files have it."""
    if b"\x00" in data:
        raise ScoreError("the text encoding is broken (zero bytes)", path=path, hint="Save it as UTF-8.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def through_verovio(text: str, kind: str, path: Path) -> bytes:
    """Return the MEI that verovio makes of *text*.

    Raises
    ------
    MissingPart
        Where verovio is not installed.
    ScoreError
        Where verovio cannot read the text.
    """
    try:
        import verovio
    except ImportError as error:
        raise MissingPart("verovio is needed to read kern and ABC", hint="pip install verovio") from error
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions({"inputFrom": kind, "xmlIdChecksum": True})
    if not toolkit.loadData(text):
        raise ScoreError(f"not readable as {kind}", path=path, hint="Check the file with a validator.")
    return str(toolkit.getMEI({"removeIds": False})).encode()


def read_kern(data: bytes, path: Path) -> Draft:
    """Return what a kern file holds.

    Raises
    ------
    ScoreError
        Where the file is broken, or where the reading does not hold what the file's tokens say (with the bar).
    """
    text = decoded(data, path)
    text = re.sub(r"(?m)(?<=[\t\n])\*X?tremolo(?=[\t\n])", "*", text)
    return read_mei(through_verovio(text, "humdrum", path), path)
