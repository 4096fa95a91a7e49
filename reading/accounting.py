"""The account of the reading, and the tables other programs may read: plain data, ready for JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from reading.score import Flag, quarters

if TYPE_CHECKING:
    import numpy as np

    from reading.score import Remark, Score

__all__ = ["account", "tables"]

Row = dict[str, Any]


def account(score: Score) -> Row:
    """Return what was found, what was not carried, and what was put right.

    Returns
    -------
    dict
        ``counts`` (kind to number), ``not_carried`` and ``repaired`` (lists of kind, message, bar index, bar number
        as printed, part, staff; index 0 means the whole piece, staff 0 all staves).
    """
    return {
        "counts": dict(score.counts),
        "not_carried": [_remark(score, remark) for remark in score.not_carried],
        "repaired": [_remark(score, remark) for remark in score.repaired],
    }


def _remark(score: Score, remark: Remark) -> Row:
    """One remark with its place."""
    number = score.bar_numbers[remark.bar - 1] if 0 < remark.bar <= len(score.bar_numbers) else ""
    part = score.parts[remark.part].name if remark.part < len(score.parts) else ""
    return {
        "kind": remark.kind,
        "message": remark.message,
        "bar_index": remark.bar,
        "bar": number,
        "part": part,
        "staff": remark.staff,
    }


def tables(
    score: Score, roles: list[str] | None = None, confidence: np.ndarray[Any, Any] | None = None
) -> dict[str, list[Row]]:
    """Return the bars and notes as lists of plain rows.

    Parameters
    ----------
    score : Score
    roles : list of str, optional
        Role of every note, by note id.
    confidence : ndarray, optional
        Confidence of the role, 0 to 1, by note id.

    Returns
    -------
    dict
        ``bars`` (index, number, start_q) and ``notes`` (bar_index, onset_q, duration_q, midi, staff, part, voice,
        grace, role, confidence). Times are exact quarters as fractions in strings, from the start as printed.
    """
    bars = [
        {"index": int(bar["index"]), "number": number, "start_q": str(quarters(bar["onset"]))}
        for bar, number in zip(score.bars, score.bar_numbers, strict=True)
    ]
    notes = [
        {
            "bar_index": int(note["bar"]),
            "onset_q": str(quarters(note["onset"])),
            "duration_q": str(quarters(note["duration"])),
            "midi": int(note["pitch"]),
            "staff": int(note["staff"]),
            "part": int(note["part"]),
            "voice": int(note["voice"]),
            "grace": bool(note["flags"] & Flag.GRACE),
            "role": roles[row] if roles is not None else None,
            "confidence": round(float(confidence[row]), 4) if confidence is not None else None,
        }
        for row, note in enumerate(score.notes)
    ]
    return {"bars": bars, "notes": notes}
