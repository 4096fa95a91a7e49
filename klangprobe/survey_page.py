"""The survey as a page with engraved bars: one file that works offline, prints on A4 and runs no script."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any

from klangprobe.survey_page_engrave import Excerpts
from klangprobe.survey_page_frame import legend, page, title_of
from reading.barwords import bars_said

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reading.findings import Finding, Option
    from reading.score import Score
    from reading.survey import Survey

__all__ = ["step_text", "survey_html"]

_DRAWN_RANKS = 2
_DRAWN = 40  # findings of the second rank are drawn as long as there are no more in all
_SURE = 0.8
_RANKS = {1: "must be answered", 2: "should be answered", 3: "details"}


def survey_html(score: Score, found: Survey) -> str:
    """Return the survey as a page: the list, then each finding with its bars, evidence and options.

    Parameters
    ----------
    score : Score
    found : Survey

    Returns
    -------
    str
        HTML. Bars are engraved for the first rank, and for the second up to forty in all.
    """
    excerpts = Excerpts(score)
    parts = [
        f"<h1>{escape(title_of(score))}</h1>",
        f"<p>{len(score.bars)} bars, {len(found.findings)} findings. What must be rethought for orchestra: first"
        " what must be answered, then what should be, then details, each in the order of the piece. Each option opens"
        " on its spec steps, ready to paste into a variant.</p>",
        legend(text for one in found.findings for text in _texts(one)),
        _list(found.findings),
        "<h2>Where passages begin</h2>",
        _curve(score, found),
        _registers(score, found),
        _layers(score, found),
    ]
    room = _DRAWN
    for rank, words in _RANKS.items():
        inside = [finding for finding in found.findings if finding.rank == rank]
        if inside:
            drawn = len(inside) if rank == 1 else room if rank <= _DRAWN_RANKS else 0
            made = [_article(finding, excerpts if row < drawn else None) for row, finding in enumerate(inside)]
            parts += _folded(words, made) if rank > _DRAWN_RANKS else [f"<h2>{words.capitalize()}</h2>", *made]
            room = max(0, room - len(inside))
    parts.append(
        "<p>Before an arrangement of a work in copyright is performed or shared, its rights must be cleared; that is"
        " the arranger's duty.</p>"
    )
    return page(f"Survey: {title_of(score)}", parts, excerpts)


def step_text(step: dict[str, Any]) -> str:
    """Return one spec step as YAML in one line.

    Parameters
    ----------
    step : dict
        As in :class:`reading.findings.Option`.
    """
    return "- {" + ", ".join(f"{key}: {_yaml(value)}" for key, value in step.items()) + "}"


def _yaml(value: Any) -> str:
    """A value in YAML's flow style; text that YAML would take for something else is quoted."""
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_yaml(one) for one in value) + "]"
    text = str(value)
    plain = text and text[0].isalnum() and not set(text) & set(",#:{}[]&*!|>'\"%@`")
    return text if plain else '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _texts(finding: Finding) -> Iterable[str]:
    """Whatever the page says of a finding that may name bars."""
    steps = (step for option in finding.options for step in option.steps)
    return finding.name, finding.question, *finding.evidence, *(str(step.get("bars", "")) for step in steps)


def _folded(words: str, articles: list[str]) -> list[str]:
    """The findings of the last rank, shown when asked for."""
    head = f"<h2>{words.capitalize()}</h2><details><summary>{len(articles)} more findings</summary>"
    return [head, *articles, "</details>"]


def _anchor(finding: Finding) -> str:
    """A name for links inside the page."""
    return f"{finding.kind}-{finding.first_bar_index}-{finding.last_bar_index}".replace(" ", "-")


def _list(findings: Iterable[Finding]) -> str:
    """The list of the first two ranks, each under its caption."""
    shown = [finding for finding in findings if finding.rank <= _DRAWN_RANKS]
    rows = ""
    for rank, words in _RANKS.items():
        inside = [finding for finding in shown if finding.rank == rank]
        if inside:
            rows += f'<tr><th colspan="4" scope="rowgroup">{words.capitalize()}</th></tr>'
            rows += "".join(map(_listed, inside))
    head = "<tr><th>Bars</th><th>What</th><th>Evidence</th><th>Question</th></tr>"
    return f'<table class="list"><thead>{head}</thead><tbody>{rows}</tbody></table>'


def _listed(finding: Finding) -> str:
    """One row of the list, with the first words of the evidence."""
    return (
        f'<tr><td class="bars"><a href="#{_anchor(finding)}">{escape(finding.bars)}</a></td>'
        f"<td>{escape(finding.kind)}</td><td>{escape(finding.evidence[0] if finding.evidence else '')}</td>"
        f"<td>{escape(finding.question)}</td></tr>"
    )


def _article(finding: Finding, excerpts: Excerpts | None) -> str:
    """One finding with its bars."""
    drawing = ""
    if excerpts is not None:
        label = f"bars {finding.bars}, {finding.kind}"
        drawing = excerpts.figure(finding.first_bar_index, finding.last_bar_index, label=label)
    evidence = "".join(f"<li>{escape(line)}</li>" for line in finding.evidence)
    options = "".join(_option(option) for option in finding.options)
    return (
        f'<article id="{_anchor(finding)}"><div class="keep"><h3>{escape(finding.name)}</h3>{drawing}</div>'
        f"<ul>{evidence}</ul>"
        f"<p><strong>{escape(finding.question)}</strong></p>{options}</article>"
    )


def _option(option: Option) -> str:
    """One option with its steps."""
    steps = "\n".join(step_text(step) for step in option.steps)
    return f"<details><summary>{escape(option.says)}</summary><pre>{escape(steps)}</pre></details>"


def _curve(score: Score, found: Survey) -> str:
    """How strongly a passage begins at each bar, as a curve; the starts listed carry their bar number."""
    sections, count = found.sections, max(2, len(score.bars))
    xs = [10 + 780 * (int(bar) - 1) / (count - 1) for bar in sections.bars]
    ys = [110 - 90 * float(value) for value in sections.curve]
    path = "M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in zip(xs, ys, strict=True))
    marks = "".join(
        f'<line x1="{x:.1f}" x2="{x:.1f}" y1="20" y2="110"/><text x="{x + 2:.1f}" y="18">'
        f"{escape(score.bar_numbers[row.bar_index - 1])}</text>"
        for row in sections.rows
        for x in [10 + 780 * (row.bar_index - 1) / (count - 1)]
    )
    label = "strength of a new start at each bar, from 0 to 1, with the strongest starts marked"
    return f'<svg class="curve" viewBox="0 0 800 120" role="img" aria-label="{label}"><path d="{path}"/>{marks}</svg>'


def _layers(score: Score, found: Survey) -> str:
    """Why the notes have their roles, and how many of them should be checked."""
    unsure = float((found.layers.confidence < _SURE).mean()) if len(found.layers.confidence) else 0.0
    rows = "".join(
        f'<tr><td class="bars">{escape(bars_said(score, one.first_bar, one.last_bar))}</td>'
        f"<td>{escape(one.text)}</td></tr>"
        for one in found.layers.evidence
    )
    return (
        "<h2>Which line is the melody, and why</h2>"
        f"<p>{unsure:.0%} of the notes have a confidence below {_SURE}: please check. The spec overrules any role.</p>"
        "<details><summary>Evidence by bars</summary><table><thead><tr><th>Bars</th><th>Evidence</th></tr></thead>"
        f"<tbody>{rows}</tbody></table></details>"
    )


def _registers(score: Score, found: Survey) -> str:
    """Compass of each layer."""
    from reading.register import note_name

    def place(pitch: int, bar: int) -> str:
        return f"{note_name(score, pitch, bar, bar)} (bar {escape(score.bar_numbers[bar - 1])})"

    rows = "".join(
        f"<tr><td>{escape(row.layer)}</td><td>{place(row.low, row.low_bar)}</td>"
        f"<td>{note_name(score, row.middle, 1, len(score.bars))}</td>"
        f"<td>{place(row.high, row.high_bar)}</td></tr>"
        for row in found.register
    )
    head = "<tr><th>Layer</th><th>Lowest</th><th>Middle</th><th>Highest</th></tr>"
    return f"<h2>Compass of the layers</h2><table><thead>{head}</thead><tbody>{rows}</tbody></table>"
