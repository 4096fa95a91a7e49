"""Engraved bars that know when they sound: Verovio draws, the score and the rendering say when.

A note in the drawing is told its moment by bar and place in the bar, not by name: both sides read the same file, so
the n-th bar is the n-th bar, and this holds for every notation Verovio reads.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property, lru_cache
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
        drawn = {}
        for name, width in (("wide", _WIDE), ("narrow", _NARROW)):
            drawn[name] = "".join(self._draw(span, width, clock, rows, label) for span in spans)
        return BarsPage(drawn["wide"], drawn["narrow"], clock.moments_s, bars, self._font)

    def _draw(self, span: tuple[int, int], width: int, clock: _Clock, rows: dict[int, int], label: str) -> str:
        """One stretch of bars at one width."""
        toolkit = self._toolkit
        toolkit.setOptions({"pageWidth": width})
        toolkit.select({"measureRange": f"{span[0]}-{span[1]}"})
        toolkit.redoLayout()
        return _marked(toolkit.renderToSVG(1), self._places, clock, rows, span[0], escape(label, quote=True))

    @cached_property
    def _font(self) -> str:
        """Rule for the notation font (SIL Open Font Licence) that Verovio puts into drawings with a metronome mark."""
        self._toolkit.select({})
        self._toolkit.redoLayout()
        styles = _STYLE.findall(self._toolkit.renderToSVG(1))
        return next((style for style in styles if "@font-face" in style), "")

    @property
    def _toolkit(self) -> Any:
        """Verovio with the file loaded."""
        return _loaded(self.path, self.score.sha256) or _loaded_score(self.score)

    @cached_property
    def _places(self) -> dict[str, tuple[int, int]]:
        """Verovio's note id → (bar index, ticks from the start of the bar)."""
        self._toolkit.select({})
        self._toolkit.redoLayout()
        places: dict[str, tuple[int, int]] = {}
        bar, start = 0, 0.0
        for event in self._toolkit.renderToTimemap({"includeMeasures": True}):
            if "measureOn" in event:
                bar, start = bar + 1, event["qstamp"]
            for note in event.get("on", ()):
                places.setdefault(note, (bar, round((event["qstamp"] - start) * TICKS_PER_QUARTER)))
        return places


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
def _loaded(path: Path, sha256: str) -> Any:  # the hash is part of the key: the file may have changed
    """Load a file into Verovio; None for a format it does not read. The last one is kept: passages come in a row."""
    if path.suffix.lower() not in _READS:
        return None
    toolkit = _new_toolkit()
    toolkit.loadFile(str(path))
    return toolkit


@lru_cache(maxsize=1)
def _loaded_score(score: Score) -> Any:
    """Load the score as read into Verovio."""
    toolkit = _new_toolkit()
    toolkit.loadData(_as_musicxml(score))
    return toolkit


def _new_toolkit() -> Any:
    """Return Verovio set for excerpts: one tall page, no heads, no repeats unfolded."""
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions(
        {
            "scale": 40, "pageHeight": 60_000, "adjustPageHeight": True, "footer": "none", "header": "none",
            "svgViewBox": True, "svgHtml5": True, "svgFormatRaw": True, "expandNever": True,
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
