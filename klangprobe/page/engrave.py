"""Engraved bars that know when they sound: Verovio draws, the score and the rendering say when.

A note in the drawing is told its moment by bar and place in the bar, not by name: both sides read the same file, so
the n-th bar is the n-th bar, and this holds for every notation Verovio reads.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np

from klangprobe.page.model import BarsPage
from reading.score import TICKS_PER_QUARTER

if TYPE_CHECKING:
    from pathlib import Path

    from reading.score import Score
    from render.sound import Rendering

__all__ = ["Engraver"]

_READS = {".musicxml", ".xml", ".mxl", ".krn", ".abc", ".mei"}
_WIDE, _NARROW = 2000, 1000  # page width in tenths of a millimetre: a book column, a telephone
_NEAR = TICKS_PER_QUARTER // 12  # Verovio spreads arpeggios and graces by less than this
_GROUP = re.compile(r'<g data-id="([^"]*)" data-class="([^"]*)"([^>]*)>')
_NAMES = re.compile(r' data-(?:id|class)="[^"]*"')
_STYLE = re.compile(r"<style[^>]*>(.*?)</style>", re.DOTALL)
_HEAD = re.compile(r"<svg viewBox")
_Loaded = tuple[Any, dict[str, tuple[int, int]]]


@dataclass(frozen=True, eq=False)
class Engraver:
    """Draws bars of one score; the file is loaded when the first passage is drawn.

    Attributes
    ----------
    path : Path
        The score file. Formats that Verovio does not read (MIDI) are drawn from *score* instead.
    score : Score
        The same file as read.
    """

    path: Path
    score: Score

    def passage(self, spans: tuple[tuple[int, int], ...], rendering: Rendering, label: str) -> BarsPage:
        """Return the engraved bars of a passage.

        Parameters
        ----------
        spans : tuple of (int, int)
            First and last bar index of each stretch.
        rendering : Rendering
            Any variant: all have the same times.
        label : str
            Read out in place of the drawing.
        """
        starts = dict(rendering.bar_starts_s)
        rows = {bar: row for row, bar in enumerate(starts)}
        bars = tuple((self.score.bar_numbers[bar - 1], float(start)) for bar, start in starts.items())
        clock = _Clock.of(self.score, rendering)
        toolkit, places = self._loaded
        drawn, fonts = [], []
        for width in (_WIDE, _NARROW):
            pieces = [_draw(toolkit, span, width) for span in spans]
            fonts += [style for piece in pieces for style in _STYLE.findall(piece) if "@font-face" in style]
            marked = (
                _marked(piece, places, clock, rows, span[0], escape(label, quote=True))
                for piece, span in zip(pieces, spans, strict=True)
            )
            drawn.append("".join(marked))
        return BarsPage(drawn[0], drawn[1], clock.moments_s, bars, next(iter(fonts), ""))

    @property
    def _loaded(self) -> _Loaded:
        """Verovio with the file, or with the score as read where it does not read the file."""
        if self.path.suffix.lower() in _READS:
            return _load(self.path, self.score.sha256)
        return _load_score(self.score)


@dataclass(frozen=True, eq=False)
class _Clock:
    """When the notes of each place sound.

    Attributes
    ----------
    moments_s : tuple of float
        Distinct onsets, rising.
    places : dict
        Bar index → (ticks from the bar's start, rising; row of ``moments_s`` for each).
    """

    moments_s: tuple[float, ...]
    places: dict[int, tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]]

    @classmethod
    def of(cls, score: Score, rendering: Rendering) -> _Clock:
        """Collect the first onset of every written place."""
        first: dict[tuple[int, int], float] = {}
        starts = score.bars["onset"]
        for note, onset_s in rendering.onsets_s.items():
            bar = int(score.notes["bar"][note])
            place = (bar, int(score.notes["onset"][note] - starts[bar - 1]))
            first[place] = min(onset_s, first.get(place, onset_s))
        moments = sorted(set(first.values()))
        row = {moment: index for index, moment in enumerate(moments)}
        places = {}
        for bar in {bar for bar, _ in first}:
            inside = sorted((ticks, row[onset]) for (at, ticks), onset in first.items() if at == bar)
            places[bar] = (np.array([ticks for ticks, _ in inside]), np.array([index for _, index in inside]))
        return cls(tuple(moments), places)

    def row(self, bar: int, ticks: int) -> int | None:
        """Return the row of ``moments_s`` at a place: the last one written at or just after it."""
        if bar not in self.places:
            return None
        at, rows = self.places[bar]
        index = int(np.searchsorted(at, ticks + _NEAR, side="right")) - 1
        return int(rows[index]) if index >= 0 and ticks - at[index] < _NEAR * 3 else None


def _marked(
    svg: str, places: dict[str, tuple[int, int]], clock: _Clock, rows: dict[int, int], first_bar: int, label: str
) -> str:
    """Strip Verovio's ids and styles; mark bars and notes with their rows."""
    bar = first_bar - 1

    def group(found: re.Match[str]) -> str:
        nonlocal bar
        name, kind, rest = found.groups()
        if kind == "measure":
            bar += 1
            return f'<g{rest} data-bar="{rows[bar]}">' if bar in rows else f"<g{rest}>"
        if kind == "note" and name in places:
            row = clock.row(*places[name])
            return f"<g{rest}>" if row is None else f'<g{rest} data-m="{row}">'
        return f"<g{rest}>"

    plain = _NAMES.sub("", _GROUP.sub(group, _STYLE.sub("", svg)))
    return _HEAD.sub(f'<svg role="img" aria-label="{label}" viewBox', plain, count=1)


@lru_cache(maxsize=1)
def _load(path: Path, sha256: str) -> _Loaded:  # the hash is part of the key: the file may have changed
    """Load a file into Verovio. The last one is kept, because passages come in a row."""
    toolkit = _new_toolkit()
    toolkit.loadFile(str(path))
    return toolkit, _places(toolkit)


@lru_cache(maxsize=1)
def _load_score(score: Score) -> _Loaded:
    """Load the score as read into Verovio."""
    toolkit = _new_toolkit()
    toolkit.loadData(_as_musicxml(score))
    return toolkit, _places(toolkit)


def _places(toolkit: Any) -> dict[str, tuple[int, int]]:
    """Verovio's note id → (bar index, ticks from the start of the bar); before anything is selected."""
    places: dict[str, tuple[int, int]] = {}
    bar, start = 0, 0.0
    for event in toolkit.renderToTimemap({"includeMeasures": True}):
        if "measureOn" in event:
            bar, start = bar + 1, event["qstamp"]
        for note in event.get("on", ()):
            places.setdefault(note, (bar, round((event["qstamp"] - start) * TICKS_PER_QUARTER)))
    return places


def _draw(toolkit: Any, span: tuple[int, int], width: int) -> str:
    """One stretch of bars at one width, as Verovio gives it."""
    toolkit.setOptions({"pageWidth": width})
    toolkit.select({"measureRange": f"{span[0]}-{span[1]}"})
    toolkit.redoLayout()
    return str(toolkit.renderToSVG(1))


def _new_toolkit() -> Any:
    """Return Verovio set for excerpts: one tall page, no heads, no repeats unfolded."""
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions(
        {
            "scale": 40, "pageHeight": 60_000, "adjustPageHeight": True, "footer": "none", "header": "none",
            "svgViewBox": True, "svgHtml5": True, "svgFormatRaw": True, "expandNever": True, "xmlIdSeed": 1,
            "pageMarginLeft": 20, "pageMarginRight": 20, "pageMarginTop": 20, "pageMarginBottom": 20,
        }
    )  # fmt: skip
    return toolkit


def _as_musicxml(score: Score) -> str:
    """Return the piano score as MusicXML, for sources that Verovio cannot draw."""
    from pathlib import Path
    from tempfile import TemporaryDirectory

    import mapping

    with TemporaryDirectory() as folder:
        path = Path(folder) / "piano.musicxml"
        mapping.write_score(mapping.piano(score), path)
        return path.read_text(encoding="utf-8")
