"""The front door: which reader a file needs, and the cache in front of it."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING

from base.errors import ScoreError
from reading.safety import file_bytes, unpacked

if TYPE_CHECKING:
    from base.store import Store
    from reading.draft import Draft
    from reading.score import Score

__all__ = ["SUFFIXES", "read"]

SUFFIXES = (".musicxml", ".xml", ".mxl", ".krn", ".kern", ".abc", ".mei", ".mid", ".midi")
"""File name endings of scores, most usual first; what decides is the content."""


def read(path: Path | str, *, store: Store | None = None) -> Score:
    """Return the score in a file.

    Parameters
    ----------
    path : Path or str
        MusicXML (plain or compressed), Humdrum kern, ABC, MEI or a MIDI file; told apart by content.
    store : Store, optional
        Where tables are kept by content; the second reading of the same bytes comes from there.

    Returns
    -------
    Score
        As written, nothing unfolded.

    Raises
    ------
    ScoreError
        Where the file is missing, hostile, broken, not a score, or cannot be read without losing notes.
    """
    path = Path(path)
    data = file_bytes(path)
    sha256 = hashlib.sha256(data).hexdigest()
    if store is not None:
        from reading.cached import load, save

        found = load(store, sha256, path.name)
        if found is not None:
            return found
    score = _read(data, path, sha256)
    if store is not None:
        save(store, score)
    return score


def _read(data: bytes, path: Path, sha256: str) -> Score:
    """Read without the cache."""
    from reading.finishing import finish

    score = finish(_draft(data, path), path.name, sha256)
    if not len(score.notes):
        raise ScoreError("the score holds no notes", path=path)
    return score


def _draft(data: bytes, path: Path) -> Draft:
    """Choose the reader by what the file begins with."""
    if data[:4] == b"PK\x03\x04":
        data = unpacked(data, path)
    if data[:4] == b"MThd":
        from reading.midi import read_midi

        return read_midi(data, path)
    head = data[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    if head.startswith((b"<", b"\xff\xfe", b"\xfe\xff")):
        if b"music-encoding.org" in head or b"<mei" in head:
            from reading.mei import read_mei

            return read_mei(data, path)
        from reading.musicxml import read_musicxml

        return read_musicxml(data, path)
    return _text_draft(data, path)


def _text_draft(data: bytes, path: Path) -> Draft:
    """Humdrum kern or ABC."""
    if b"**kern" in data[:200_000]:
        from reading.kern import read_kern

        return read_kern(data, path)
    lines = data[:4096].splitlines()
    if any(line[:2] == b"X:" or line[:2] == b"K:" for line in lines):
        from reading.abc import read_abc

        return read_abc(data, path)
    names = ", ".join(SUFFIXES)
    raise ScoreError("not a score this program knows", path=path, hint=f"Formats: {names}.")
