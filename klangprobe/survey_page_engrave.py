"""Bars engraved for the survey's pages, with the bars of a finding marked on them."""

from __future__ import annotations

import re
from html import escape
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reading.score import Score

__all__ = ["Excerpts"]

_MOST_BARS = 8
_MEASURE = re.compile(r'<g id="[^"]*" class="measure">')
_LINE = re.compile(r'<path d="M(\d+) (\d+) L(\d+) (\d+)" stroke-width')
_IDS = re.compile(r'<g id="(?![A-Z0-9]{4}-)[^"]*" ')
_HEAD = re.compile(r"<svg ")
_PAD = 300  # above and below the staff lines, in the units of the drawing (180 to a space)


class Excerpts:
    """Draws bars of one score; Verovio and the score are loaded once, and no stretch is drawn twice.

    Parameters
    ----------
    score : Score
        Drawn as read, so that every source format can be drawn.
    """

    def __init__(self, score: Score) -> None:
        self._score = score
        self._toolkit: Any = None
        self._drawn: dict[tuple[int, int], str] = {}

    def svg(self, first: int, last: int, *, label: str, mark: bool = True) -> str:
        """Return the bars as one drawing, at most eight; one bar before and after is shown if there is room.

        Parameters
        ----------
        first, last : int
            Bar indices of the finding.
        label : str
            Read out in place of the drawing.
        mark : bool
            Whether the finding's bars are tinted.
        """
        last = min(last, first + _MOST_BARS - 1)
        room = _MOST_BARS - (last - first + 1)
        start = first - 1 if first > 1 and room else first
        stop = last + 1 if last < len(self._score.bars) and room - (start < first) > 0 else last
        drawing = self._draw(start, stop)
        if mark:
            drawing = _tinted(drawing, range(first - start, last - start + 1))
        return _HEAD.sub(
            f'<svg role="img" aria-label="{escape(label, quote=True)}" ', _IDS.sub("<g ", drawing), count=1
        )

    def _draw(self, start: int, stop: int) -> str:
        """Let Verovio draw a stretch of bars."""
        if (start, stop) in self._drawn:
            return self._drawn[start, stop]
        if self._toolkit is None:
            self._toolkit = _loaded(self._score)
        self._toolkit.select({"measureRange": f"{start}-{stop}"})
        self._toolkit.redoLayout()
        self._drawn[start, stop] = str(self._toolkit.renderToSVG(1))
        return self._drawn[start, stop]


def _loaded(score: Score) -> Any:
    """Verovio with the score loaded, set for excerpts: no heads, no repeats unfolded."""
    import verovio

    import mapping
    from mapping.fullscore import score_xml

    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions(
        {
            "scale": 40, "pageWidth": 2000, "pageHeight": 60_000, "adjustPageHeight": True, "footer": "none",
            "header": "none", "svgViewBox": True, "svgFormatRaw": True, "expandNever": True, "xmlIdSeed": 1,
            "pageMarginLeft": 20, "pageMarginRight": 20, "pageMarginTop": 20, "pageMarginBottom": 20,
        }
    )  # fmt: skip
    toolkit.loadData(score_xml(mapping.piano(score)))
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
        level = [line for line in lines if line[1] == line[3]]  # staff lines; bar lines and stems stand upright
        if not level:
            continue
        left, right = min(line[0] for line in level), max(line[2] for line in level)
        top, bottom = min(line[1] for line in level) - _PAD, max(line[1] for line in level) + _PAD
        tint = f'<rect class="found" x="{left}" y="{top}" width="{right - left}" height="{bottom - top}"/>'
        drawing = drawing[:begin] + tint + drawing[begin:]
    return drawing
