"""The survey as a worksheet for class: the bars and the questions, the answers blank; made to be printed on A4."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from klangprobe.survey_page_engrave import Excerpts
from klangprobe.survey_page_frame import bars_heading, legend, page, title_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reading.findings import Finding
    from reading.score import Score
    from reading.survey import Survey

__all__ = ["MOST_QUESTIONS", "asked", "worksheet_html"]

MOST_QUESTIONS = 20
"""Asked where nobody says how many: ten sheets at most, or a double lesson."""
_WIDE = 2500  # printed 18 cm wide: staves of 5 mm, and two or three questions to a page
_STAVES = 4


def asked(findings: Sequence[Finding], most: int | None = None) -> list[Finding]:
    """Return the findings a worksheet asks about, in the order of the piece.

    Parameters
    ----------
    findings : sequence of Finding
    most : int, optional
        The strongest of all ranks, the first rank first. Left out: of the first rank the twenty strongest.
    """
    among = [one for one in findings if most is not None or one.rank == 1]
    strongest = sorted(among, key=lambda one: (one.rank, -one.strength))[: MOST_QUESTIONS if most is None else most]
    return sorted(strongest, key=lambda one: (one.first_bar_index, one.last_bar_index))


def worksheet_html(score: Score, found: Survey, most: int | None = None) -> str:
    """Return a worksheet: bars and questions without evidence and options.

    Parameters
    ----------
    score : Score
    found : Survey
    most : int, optional
        As for :func:`asked`.

    Returns
    -------
    str
        HTML.
    """
    excerpts, chosen = Excerpts(score, _WIDE, _STAVES), asked(found.findings, most)
    parts = [
        f"<h1>{escape(title_of(score))}</h1>",
        "<p>Name: ____________________ &nbsp; Date: ______________</p>",
        "<p>For each passage: what makes you think so, what would you write, and why?</p>",
        legend(text for one in chosen for text in (one.name, one.question)),
        *(_question(number, finding, excerpts) for number, finding in enumerate(chosen, 1)),
    ]
    return page(f"Worksheet: {title_of(score)}", parts, excerpts)


def _question(number: int, finding: Finding, excerpts: Excerpts) -> str:
    """One question: its bars, then lines for what shows it, what to write, and why."""
    drawing = excerpts.figure(finding.first_bar_index, finding.last_bar_index, label=f"bars {finding.bars}")
    return (
        f'<article class="question"><h3>{number}. {bars_heading(finding)}</h3>'
        f"<p>{escape(finding.question)}</p>{drawing}"
        '<div class="blank">What in the notes shows it?</div>'
        '<div class="blank">Which instruments, which technique?</div><div class="line"></div>'
        '<div class="blank">Because:</div></article>'
    )
