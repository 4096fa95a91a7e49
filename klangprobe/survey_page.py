"""The survey as a page with engraved bars, and as a worksheet with blank answers for class.

Both are one file that works offline and prints on A4; neither runs a script.
"""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any

from klangprobe.survey_page_engrave import Excerpts

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reading.findings import Finding, Option
    from reading.score import Score
    from reading.survey import Survey

__all__ = ["step_text", "survey_html", "worksheet_html"]

_DRAWN_RANKS = 2
_DRAWN = 40  # findings of the second rank are drawn as long as there are no more in all
_SURE = 0.8
_RANKS = {1: "must be answered", 2: "should be answered", 3: "details"}
_STYLE = """
:root{color-scheme:light}
body{font:1rem/1.45 Georgia,serif;color:#1c1c1c;background:#fff;margin:0 auto;max-width:62rem;padding:1rem}
h1{font-size:1.6rem;margin:.2rem 0}h2{font-size:1.2rem;margin:1.6rem 0 .4rem}h3{font-size:1.05rem;margin:0 0 .3rem}
table{border-collapse:collapse;width:100%;font-size:.92rem}
th,td{text-align:left;vertical-align:top;padding:.25rem .5rem;border-bottom:1px solid #bbb}
th{border-bottom:2px solid #444}
tbody th{padding-top:.8rem}summary{cursor:pointer;padding:.15rem 0}summary:focus{outline:3px solid #00458a}
article{border-top:1px solid #888;padding:.8rem 0;break-inside:avoid}
article svg{width:100%;height:auto;display:block}
.found{fill:#e0a100;fill-opacity:.2}
.bars{font-variant-numeric:tabular-nums;white-space:nowrap}
pre{background:#f3f1ec;padding:.5rem;overflow-x:auto;font-size:.85rem;margin:.2rem 0 .6rem}
.blank{border-bottom:1px solid #555;height:2.1rem}.blanks p{margin:.4rem 0 0;font-size:.9rem}
.curve{width:100%;height:8rem}.curve path{fill:none;stroke:#1c1c1c;stroke-width:1.5}.curve line{stroke:#a06000}
.curve text{font:11px Georgia,serif}
a{color:#00458a}a:focus{outline:3px solid #00458a}
@media (max-width:40rem){.list thead{display:none}.list tr{display:block;border-bottom:1px solid #bbb;padding:.3rem 0}
.list td,.list th{display:block;border:0;padding:.05rem 0}
.list td:nth-child(-n+2){display:inline-block;padding-right:.6rem;font-weight:bold}}
@media print{body{max-width:none;padding:0;font-size:10pt}a{color:inherit;text-decoration:none}}
"""
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:"


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
        f"<h1>{escape(_title(score))}</h1>",
        f"<p>{len(score.bars)} bars, {len(found.findings)} findings. What must be rethought for orchestra, the most"
        " urgent first. Each option opens on its spec steps, ready to paste into a variant.</p>",
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
    return _page(f"Survey: {_title(score)}", parts)


def worksheet_html(score: Score, found: Survey) -> str:
    """Return a worksheet for class: the bars and the questions, the answers blank.

    Parameters
    ----------
    score : Score
    found : Survey

    Returns
    -------
    str
        HTML, made to be printed. It holds the findings of the first rank, without evidence and options.
    """
    excerpts = Excerpts(score)
    parts = [
        f"<h1>{escape(_title(score))}</h1>",
        "<p>Name: ____________________ &nbsp; Date: ______________</p>",
        "<p>For each passage: what makes you think so, what would you write, and why?</p>",
    ]
    chosen = [finding for finding in found.findings if finding.rank == 1]
    for number, finding in enumerate(sorted(chosen, key=lambda one: one.first_bar_index), 1):
        label = _bars(finding)
        blanks = "".join(
            f'<p>{words}</p><div class="blank"></div>'
            for words in ("What in the notes shows it?", "Which instruments, which technique?", "Because:")
        )
        parts.append(
            f"<article><h3>{number}. {_bars(finding)}</h3>"
            f"{excerpts.svg(finding.first_bar_index, finding.last_bar_index, label=label)}"
            f'<p>{escape(finding.question)}</p><div class="blanks">{blanks}</div></article>'
        )
    return _page(f"Worksheet: {_title(score)}", parts)


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


def _folded(words: str, articles: list[str]) -> list[str]:
    """The findings of the last rank, shown when asked for."""
    head = f"<h2>{words.capitalize()}</h2><details><summary>{len(articles)} more findings</summary>"
    return [head, *articles, "</details>"]


def _title(score: Score) -> str:
    """Title and composer, or the file's name."""
    return (score.title or score.source) + (f" ({score.composer})" if score.composer else "")


def _page(title: str, parts: Iterable[str]) -> str:
    """The whole page."""
    body = "\n".join(parts)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{_STYLE}</style></head>\n<body><main>\n{body}\n</main></body></html>\n"
    )


def _bars(finding: Finding) -> str:
    """The bars of a finding as a heading."""
    return f"Bar{'s' * (finding.first_bar_index != finding.last_bar_index)} {escape(finding.bars)}"


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
        drawing = excerpts.svg(finding.first_bar_index, finding.last_bar_index, label=label)
    evidence = "".join(f"<li>{escape(line)}</li>" for line in finding.evidence)
    options = "".join(_option(option) for option in finding.options)
    return (
        f'<article id="{_anchor(finding)}"><h3>{escape(finding.name)}</h3>{drawing}<ul>{evidence}</ul>'
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
        f'<tr><td class="bars">{escape(score.bar_numbers[one.first_bar - 1])}'
        f"{'' if one.first_bar == one.last_bar else '-' + escape(score.bar_numbers[one.last_bar - 1])}</td>"
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
    from reading.register import pitch_name

    def place(pitch: int, bar: int) -> str:
        return f"{pitch_name(pitch)} (bar {escape(score.bar_numbers[bar - 1])})"

    rows = "".join(
        f"<tr><td>{escape(row.layer)}</td><td>{place(row.low, row.low_bar)}</td><td>{pitch_name(row.middle)}</td>"
        f"<td>{place(row.high, row.high_bar)}</td></tr>"
        for row in found.register
    )
    head = "<tr><th>Layer</th><th>Lowest</th><th>Middle</th><th>Highest</th></tr>"
    return f"<h2>Compass of the layers</h2><table><thead>{head}</thead><tbody>{rows}</tbody></table>"
