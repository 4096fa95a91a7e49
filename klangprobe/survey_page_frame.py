"""What the survey's page and its worksheet share: one file that works offline, by day and night, on paper and phone."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from reading.barwords import COUNTED, counts_bars

if TYPE_CHECKING:
    from collections.abc import Iterable

    from klangprobe.survey_page_engrave import Excerpts
    from reading.findings import Finding
    from reading.score import Score

__all__ = ["bars_heading", "legend", "page", "title_of"]

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:"
_STYLE = """
:root{color-scheme:light dark;
--paper:#fff;--ink:#1c1c1c;--rule:#bbb;--edge:#444;--link:#00458a;--wash:#f3f1ec;--mark:#e0a100;--start:#a06000}
@media screen and (prefers-color-scheme:dark){:root{
--paper:#17181b;--ink:#e9e7e2;--rule:#4a4d52;--edge:#a9abae;--link:#9cc4f0;--wash:#26282c;--mark:#f0b429;--start:#f0b429}}
body{font:1rem/1.45 Georgia,serif;color:var(--ink);background:var(--paper);margin:0 auto;max-width:62rem;padding:1rem;
overflow-wrap:break-word}
h1{font-size:1.6rem;margin:.2rem 0}h2{font-size:1.2rem;margin:1.6rem 0 .4rem}h3{font-size:1.05rem;margin:0 0 .3rem}
table{border-collapse:collapse;width:100%;font-size:.92rem}
th,td{text-align:left;vertical-align:top;padding:.25rem .5rem;border-bottom:1px solid var(--rule)}
th{border-bottom:2px solid var(--edge)}
tbody th{padding-top:.8rem}summary{cursor:pointer;padding:.15rem 0}summary:focus{outline:3px solid var(--link)}
article{border-top:1px solid var(--edge);padding:.8rem 0}article.question{border:0;padding:1rem 0}
.music svg{width:100%;height:auto;display:block;color:var(--ink);fill:currentColor;overflow:visible}
.music svg svg{color:inherit;fill:inherit}.music.signs{position:absolute}
.music :is(ellipse,path,polygon,polyline,rect){stroke:currentColor}
.music g:is(.ending,.fing,.reh,.tempo){font-weight:bold}.music g:is(.dir,.dynam,.mNum){font-style:italic}
.music .found{fill:var(--mark);fill-opacity:.2;stroke:none}
.narrow{display:none}
.bars{font-variant-numeric:tabular-nums;white-space:nowrap}.small{font-size:.9rem}
pre{background:var(--wash);padding:.5rem;overflow-x:auto;font-size:.85rem;margin:.2rem 0 .6rem}
.blank{display:flex;align-items:flex-end;gap:.6rem;height:2.1rem;font-size:.9rem}
.blank::after,.line{content:"";flex:1;border-bottom:1px solid var(--edge)}.line{height:2.1rem}
.curve{width:100%;height:8rem}.curve path{fill:none;stroke:var(--ink);stroke-width:1.5}
.curve line{stroke:var(--start)}.curve text{font:11px Georgia,serif;fill:var(--ink)}
a{color:var(--link)}a:focus{outline:3px solid var(--link)}
@media screen and (max-width:40rem){.wide{display:none}.narrow{display:block}
.list thead{display:none}.list tr{display:block;border-bottom:1px solid var(--rule);padding:.3rem 0}
.list td,.list th{display:block;border:0;padding:.05rem 0}
.list td:nth-child(-n+2){display:inline-block;padding-right:.6rem;font-weight:bold}
.blank{height:auto;min-height:2.1rem;flex-wrap:wrap}.blank::after{min-width:100%;height:1.6rem}}
@media print{@page{margin:14mm}body{max-width:none;padding:0;font-size:10pt}a{color:inherit;text-decoration:none}
article{padding:.4rem 0 .5rem}article.question{padding:.2rem 0 5mm}
article.question,.keep{break-inside:avoid}h2,h3{break-after:avoid}p{margin:.3rem 0}
.blank,.line{height:8mm}}
"""


def page(title: str, parts: Iterable[str], excerpts: Excerpts) -> str:
    """Return the whole page; *parts* are drawn before what their drawings share is asked for.

    Parameters
    ----------
    title : str
    parts : iterable of str
        HTML.
    excerpts : Excerpts
        With which the parts were drawn.
    """
    body = "\n".join(parts)
    fonts, signs = excerpts.shared
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{_STYLE}{fonts}</style></head>\n"
        f"<body>{signs}<main>\n{body}\n</main></body></html>\n"
    )


def title_of(score: Score) -> str:
    """Title and composer, or the file's name.

    Parameters
    ----------
    score : Score
    """
    return (score.title or score.source) + (f" ({score.composer})" if score.composer else "")


def bars_heading(finding: Finding) -> str:
    """The bars of a finding as a heading.

    Parameters
    ----------
    finding : Finding
    """
    several = not finding.bars.lstrip("#").isdecimal()
    return f"Bar{'s' * several} {escape(finding.bars)}"


def legend(texts: Iterable[str]) -> str:
    """What ``#`` means, once, where any of the texts of a page counts bars.

    Parameters
    ----------
    texts : iterable of str
    """
    return f'<p class="small">{escape(COUNTED)}</p>' if any(map(counts_bars, texts)) else ""
