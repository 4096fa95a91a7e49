"""Score tables kept by the hash of the file: a second reading costs a hash and one small archive."""

from __future__ import annotations

from dataclasses import astuple
from typing import TYPE_CHECKING, Any

import numpy as np

from base.identity import digest
from reading.score import BAR_DTYPE, NOTE_DTYPE, Mark, PartInfo, Remark, Score

if TYPE_CHECKING:
    from base.store import Store

__all__ = ["READER_VERSION", "load", "save"]

READER_VERSION = 13
"""Raised whenever the same file would be read differently."""


def _key(sha256: str) -> str:
    """Name of the tables of a file."""
    return digest("reading", READER_VERSION, sha256)


def save(store: Store, score: Score) -> None:
    """Keep *score* in *store* under the hash of its file."""
    meta = {
        "title": score.title,
        "composer": score.composer,
        "parts": [astuple(part) for part in score.parts],
        "bar_numbers": list(score.bar_numbers),
        "marks": [[*astuple(mark)[:-1], list(mark.notes)] for mark in score.marks],
        "not_carried": [astuple(remark) for remark in score.not_carried],
        "repaired": [astuple(remark) for remark in score.repaired],
        "counts": score.counts,
    }
    store.put(_key(score.sha256), {"notes": score.notes, "bars": score.bars}, meta)


def load(store: Store, sha256: str, source: str) -> Score | None:
    """Return the score kept for a file of that hash, or None."""
    found = store.get(_key(sha256))
    if found is None:
        return None
    arrays, meta = found
    if not _sound(arrays, meta):
        return None
    return Score(
        title=meta["title"],
        composer=meta["composer"],
        source=source,
        sha256=sha256,
        parts=tuple(PartInfo(*part) for part in meta["parts"]),
        notes=arrays["notes"],
        bars=arrays["bars"],
        bar_numbers=tuple(meta["bar_numbers"]),
        marks=tuple(_mark(mark) for mark in meta["marks"]),
        not_carried=tuple(Remark(*remark) for remark in meta["not_carried"]),
        repaired=tuple(Remark(*remark) for remark in meta["repaired"]),
        counts=dict(meta["counts"]),
    )


def _sound(arrays: dict[str, np.ndarray], meta: Any) -> bool:
    """Whether an entry has the shape this version writes."""
    notes, bars = arrays.get("notes"), arrays.get("bars")
    return (
        notes is not None
        and bars is not None
        and notes.dtype == NOTE_DTYPE
        and bars.dtype == BAR_DTYPE
        and isinstance(meta, dict)
        and len(meta.get("bar_numbers", ())) == len(bars)
    )


def _mark(row: list[Any]) -> Mark:
    """Return a mark from its row."""
    kind, onset, end, part, staff, value, notes = row
    return Mark(kind, onset, end, part, staff, value, tuple(notes))
