"""Bars engraved for the survey's pages, with the bars of a finding marked on them."""

from __future__ import annotations

import re
from collections import Counter
from html import escape
from typing import TYPE_CHECKING, Any

from reading.features_whole import whole_bars

if TYPE_CHECKING:
    from reading.score import Score

__all__ = ["Excerpts"]

WIDE, NARROW = 2000, 1000
"""Page widths in tenths of a millimetre: a book column, a telephone."""
_MOST_BARS, _FEWEST_BARS = 8, 4
_MEASURE = re.compile(r'<g id="[^"]*" class="measure">')
_LINE = re.compile(r'<path d="M(\d+) (\d+) L(\d+) (\d+)" stroke-width')
_IDS = re.compile(r'<g id="(?![A-Z0-9]{4}-)[^"]*" ')
_HEAD = re.compile(r"<svg ")
_GLYPHS = re.compile(r"<defs>(.*?)</defs>", re.DOTALL)
_GLYPH = re.compile(r'<g id="([^"]*)">.*?</g>', re.DOTALL)
_STYLE = re.compile(r"<style[^>]*>(.*?)</style>", re.DOTALL)
_OWN_ID = re.compile(r' id="[^"]*"(?=>)')
_NAME = re.compile(r"<(part-name|part-abbreviation)\b[^>]*>[^<]*</\1>")
_PAD = 300  # above and below the staff lines, in the units of the drawing (180 to a space)


class Excerpts:
    """Draws bars of one score; Verovio and the score are loaded once, and no stretch is drawn twice.

    Signs and fonts that all drawings need are kept once, in :attr:`shared`.

    Parameters
    ----------
    score : Score
        Drawn as read, so that every source format can be drawn.
    wide : int
        Width of the wide drawings in tenths of a millimetre: the wider, the smaller the notes.
    staves : int, optional
        Bars are left out at the end until a wide drawing has no more staves than this, one below the other, or only
        one system; four bars stay in any case.
    """

    def __init__(self, score: Score, wide: int = WIDE, staves: int | None = None) -> None:
        self._score, self._wide = score, wide
        self._systems = max(1, staves // max(1, sum(part.staves for part in score.parts))) if staves else None
        self._toolkit: Any = None
        self._drawn: dict[tuple[int, int, int], str] = {}
        self._glyphs: dict[str, str] = {}
        self._fonts: dict[str, None] = {}

    def figure(self, first: int, last: int, *, label: str) -> str:
        """Return the bars drawn twice, for a wide page and for a telephone, of which the page shows one.

        Parameters
        ----------
        first, last : int
            Bar indices of the finding.
        label : str
            Read out in place of the drawing.
        """
        span = self._span(first, last)
        drawings = (
            f'<div class="{name}">{self._bare(self.svg(first, last, label=label, width=width, span=span))}</div>'
            for name, width in (("wide", self._wide), ("narrow", NARROW))
        )
        shown, count = self._whole(first, min(last, span[1])), self._whole(first, last)
        note = f'<p class="small">The first {shown} of {count} bars.</p>' if shown < count else ""
        return f'<div class="music">{"".join(drawings)}{note}</div>'

    def _span(self, first: int, last: int) -> tuple[int, int]:
        """Bars to draw, so that they take up no more systems than wanted; bars around them fill no system alone."""
        span = self._with_neighbours(first, last, _MOST_BARS)
        for most in range(_MOST_BARS, _FEWEST_BARS - 1, -1) if self._systems else ():
            start, stop = self._with_neighbours(first, last, most)
            own = min(last, stop)
            span = min(((start, stop), (start, own), (first, own)), key=self._systems_of)
            if self._systems_of(span) <= (self._systems or 0):
                break
        return span

    def _with_neighbours(self, first: int, last: int, most: int) -> tuple[int, int]:
        """First and last bar drawn: at most *most* whole bars, one before and one after where there is room."""
        while self._whole(first, last) > most:
            last -= 1
        room = most - self._whole(first, last)
        start = first - 1 if first > 1 and room else first
        stop = last + 1 if last < len(self._score.bars) and room - (start < first) > 0 else last
        return start, stop

    def _whole(self, first: int, last: int) -> int:
        """How many whole bars are meant: the parts of a divided bar are one, an upbeat before them is none."""
        row = whole_bars(self._score).row
        upbeat = 1 < first < last and row[first - 1] == row[first - 2] != row[first]
        return int(row[last - 1] - row[first - 1]) + 1 - int(upbeat)

    def _systems_of(self, span: tuple[int, int]) -> int:
        """Systems of a wide drawing."""
        return self._draw(*span, self._wide).count('class="system"')

    @property
    def shared(self) -> tuple[str, str]:
        """Style sheet and hidden drawing that the figures made so far need on their page."""
        glyphs = "".join(self._glyphs.values())
        hidden = f'<svg class="music signs" width="0" height="0" aria-hidden="true"><defs>{glyphs}</defs></svg>'
        return "".join(self._fonts), hidden if glyphs else ""

    def svg(
        self,
        first: int,
        last: int,
        *,
        label: str,
        mark: bool = True,
        width: int = WIDE,
        span: tuple[int, int] | None = None,
    ) -> str:
        """Return the bars as one drawing, at most eight; one bar before and after is shown if there is room.

        Parameters
        ----------
        first, last : int
            Bar indices of the finding.
        label : str
            Read out in place of the drawing.
        mark : bool
            Whether the finding's bars are tinted.
        width : int
            Of the page drawn on, in tenths of a millimetre.
        span : tuple of int, optional
            First and last bar drawn, where other bars are wanted.
        """
        start, stop = span or self._with_neighbours(first, last, _MOST_BARS)
        drawing = self._draw(start, stop, width)
        if mark:
            drawing = _tinted(drawing, range(first - start, min(last, stop) - start + 1))
        return _HEAD.sub(
            f'<svg role="img" aria-label="{escape(label, quote=True)}" ', _IDS.sub("<g ", drawing), count=1
        )

    def _draw(self, start: int, stop: int, width: int) -> str:
        """Let Verovio draw a stretch of bars."""
        key = (start, stop, width)
        if key not in self._drawn:
            if self._toolkit is None:
                self._toolkit = _loaded(self._score)
            self._toolkit.setOptions({"pageWidth": width})
            self._toolkit.select({"measureRange": f"{start}-{stop}"})
            self._toolkit.redoLayout()
            self._drawn[key] = str(self._toolkit.renderToSVG(1))
        return self._drawn[key]

    def _bare(self, drawing: str) -> str:
        """A drawing without what it shares with all others; that is kept."""
        for glyphs in _GLYPHS.findall(drawing):
            self._glyphs |= {found[1]: found[0] for found in _GLYPH.finditer(glyphs)}
        self._fonts |= {style: None for style in _STYLE.findall(drawing) if "@font-face" in style}
        drawing = _STYLE.sub("", _GLYPHS.sub("", drawing))
        return _OWN_ID.sub("", drawing, count=1)


def _loaded(score: Score) -> Any:
    """Verovio with the score loaded, set for excerpts: no heads, no repeats unfolded, one part without its name."""
    import verovio

    import mapping
    from mapping.fullscore import score_xml

    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions(
        {
            "scale": 40, "pageWidth": WIDE, "pageHeight": 60_000, "adjustPageHeight": True, "footer": "none",
            "header": "none", "svgViewBox": True, "svgFormatRaw": True, "expandNever": True, "xmlIdSeed": 1,
            "pageMarginLeft": 20, "pageMarginRight": 20, "pageMarginTop": 20, "pageMarginBottom": 20,
        }
    )  # fmt: skip
    xml = score_xml(mapping.piano(score))
    toolkit.loadData(_NAME.sub(r"<\1/>", xml) if len(score.parts) == 1 else xml)
    return toolkit


def _tinted(drawing: str, rows: range) -> str:
    """Lay a tint behind the bars of *rows* (counted in the drawing)."""
    starts = list(_MEASURE.finditer(drawing))
    for row in reversed(range(len(starts))):
        if row not in rows:
            continue
        begin = starts[row].end()
        end = starts[row + 1].start() if row + 1 < len(starts) else len(drawing)
        lines = [tuple(map(int, found.groups())) for found in _LINE.finditer(drawing, begin, end)]
        level = [line for line in lines if line[1] == line[3]]  # bar lines and stems stand upright
        if not level:
            continue
        (left, right), _ = Counter((line[0], line[2]) for line in level).most_common(1)[0]
        heights = [
            line[1] for line in level if (line[0], line[2]) == (left, right)
        ]  # staff lines: no bracket, no leger
        top, bottom = min(heights) - _PAD, max(heights) + _PAD
        tint = f'<rect class="found" x="{left}" y="{top}" width="{right - left}" height="{bottom - top}"/>'
        drawing = drawing[:begin] + tint + drawing[begin:]
    return drawing
