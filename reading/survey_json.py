"""The survey as plain data: every table, musical time as exact quarters in text."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from reading.accounting import tables
from reading.layers import Role
from reading.score import quarters

if TYPE_CHECKING:
    from reading.survey_tables import Survey

__all__ = ["ROLE_WORDS", "survey_json"]

ROLE_WORDS = {
    Role.MELODY: "melody",
    Role.BASS: "bass",
    Role.MIDDLE: "middle",
    Role.DOUBLING: "doubling",
    Role.PEDAL_POINT: "pedal point",
    Role.COUNTER: "counter-melody",
}


def survey_json(found: Survey) -> dict[str, Any]:
    """Return every table of a survey as plain data.

    Parameters
    ----------
    found : Survey
    """
    words = {int(role): text for role, text in ROLE_WORDS.items()}
    return {
        **tables(found.score, [words[role] for role in found.layers.roles.tolist()], found.layers.confidence),
        "layers": {
            "evidence": [asdict(one) for one in found.layers.evidence],
            "contrapuntal": list(found.layers.contrapuntal),
        },
        "gaps": [
            {"bar_index": row.bar_index, "semitones": row.semitones, "median": row.median, "inside": row.inside}
            for row in found.gaps.bars
        ],
        "dynamics": [
            {
                "bar_index": row.bar_index,
                "mark": row.mark,
                "kind": row.kind,
                "onset_q": _q(row.onset),
                "end_q": _q(row.end),
            }
            for row in found.dynamics
        ],
        **_moments(found),
        **_form(found),
        "figuration": [asdict(row) for row in found.figuration.rows],
        "register": [asdict(row) for row in found.register],
        "findings": [finding.to_json() for finding in found.findings],
    }


def _q(ticks: int) -> str:
    """Ticks as quarters in text."""
    return str(quarters(ticks))


def _moments(found: Survey) -> dict[str, Any]:
    """Export what stands at one moment: accents and pedal."""
    return {
        "accents": [
            {
                "bar_index": row.bar_index,
                "onset_q": _q(row.onset),
                "beat": row.beat,
                "strength": row.strength,
                "marked": row.marked,
                "reasons": list(row.reasons),
            }
            for row in found.accents
        ],
        "pedal": [
            {
                "bar_index": row.bar_index,
                "onset_q": _q(row.onset),
                "end_q": _q(row.end),
                "source": row.source,
                "notes": len(row.notes),
                "reason": row.reason,
            }
            for row in found.pedal.rows
        ],
    }


def _form(found: Survey) -> dict[str, Any]:
    """Export starts of sections (strongest first), the curve they were read from, and repeats."""
    sections = found.sections
    return {
        "sections": [
            {"bar_index": row.bar_index, "strength": round(row.strength, 3), "reasons": list(row.reasons)}
            for row in (*sections.rows, *sections.more)
        ],
        "curve": [
            {"bar_index": int(bar), "strength": round(float(value), 4)}
            for bar, value in zip(sections.bars, sections.curve, strict=True)
        ],
        "repeats": [
            {
                "first_bar_index": row.first[0],
                "last_bar_index": row.first[1],
                "later_first_bar_index": row.later[0],
                "later_last_bar_index": row.later[1],
                "kind": row.kind,
                "semitones": row.semitones,
                "similarity": row.similarity,
            }
            for row in found.repeats
        ],
    }
