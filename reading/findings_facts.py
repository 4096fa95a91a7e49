"""Everything the findings are made from, gathered once: the plain tables of the survey and a few more by bar."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from reading.barwords import bars_said
from reading.findings_options import Offers
from reading.layers_texture import texture_of
from reading.survey_dynamics import DynamicMark, contrasts, swells
from reading.timeline import Timeline

if TYPE_CHECKING:
    from reading.accents import Accent
    from reading.features_whole import WholeBars
    from reading.figuration import Figuration
    from reading.form import Sections
    from reading.gaps import GapRegion, Gaps
    from reading.layers import Layers
    from reading.layers_texture import FloatArray, IntArray, Texture
    from reading.palette import Palette
    from reading.pedal import Pedal
    from reading.register import Dialogue
    from reading.repeats import Repeat
    from reading.score import Score
    from reading.survey_dynamics import Contrast, Swell

__all__ = ["Facts", "counted", "distance", "runs"]


def counted(bars: int) -> str:
    """Return ``1 bar``, ``2 bars``."""
    return f"{bars} bar{'' if bars == 1 else 's'}"


def distance(semitones: int) -> str:
    """Return semitones as a musician says them: ``1 octave and 3 semitones``."""
    octaves, rest = divmod(semitones, 12)
    parts = [f"{octaves} octave{'s' * (octaves > 1)}"] * bool(octaves)
    parts += [f"{rest} semitone{'s' * (rest > 1)}"] * bool(rest or not octaves)
    return " and ".join(parts)


def runs(bars: IntArray | list[int], *, bridge: int = 1) -> list[tuple[int, int]]:
    """Return rising bar indices as stretches ``(first, last)``; *bridge* is the largest step inside one.

    Parameters
    ----------
    bars : ndarray or list of int
    bridge : int
        1 joins only neighbours, 2 forgives one bar between.
    """
    rows = np.unique(np.asarray(bars, dtype=np.int64))
    if not len(rows):
        return []
    return [(int(run[0]), int(run[-1])) for run in np.split(rows, np.flatnonzero(np.diff(rows) > bridge) + 1)]


@dataclass(frozen=True, eq=False)
class Facts:
    """The tables of one piece, on whole bars. See the modules they come from.

    ``score`` is that of ``page``, with divided bars joined, and every bar index counts its bars; ``palette`` names the
    players options may use.
    """

    page: WholeBars
    layers: Layers
    palette: Palette
    gaps: Gaps
    gap_regions: tuple[GapRegion, ...]
    accents: tuple[Accent, ...]
    dynamics: tuple[DynamicMark, ...]
    sections: Sections
    repeats: tuple[Repeat, ...]
    figuration: Figuration
    pedal: Pedal
    dialogues: tuple[Dialogue, ...]

    @property
    def score(self) -> Score:
        """The score with whole bars."""
        return self.page.score

    def words(self, first: int, last: int, *, upbeat: bool = False) -> str:
        """Bars as a spec writes them, in those of the page."""
        return bars_said(self.page.page, *self.page.on_page(first, last, upbeat=upbeat))

    def offers(self, first: int, last: int, *, upbeat: bool = False) -> Offers:
        """Options for these bars."""
        return Offers(self.palette, self.words(first, last, upbeat=upbeat))

    @cached_property
    def texture(self) -> Texture:
        """The notes as arrays."""
        return texture_of(self.score)

    @cached_property
    def timeline(self) -> Timeline:
        """Seconds of written time."""
        return Timeline(self.score)

    @cached_property
    def contrasts(self) -> tuple[Contrast, ...]:
        """Sudden changes of loudness."""
        return contrasts(self.score, self.dynamics)

    @cached_property
    def swells(self) -> tuple[Swell, ...]:
        """Hairpins."""
        return swells(self.score, self.dynamics)

    @cached_property
    def degrees(self) -> IntArray:
        """By bar (row 0 is bar 1): the loudest level in force, as a degree of ``DYNAMICS``; -1 before any mark."""
        result = np.full(len(self.score.bars), -1, dtype=np.int64)
        for row in self.dynamics:
            if row.degree >= 0:
                result[row.bar_index - 1 :] = row.degree
        return result

    @cached_property
    def chords(self) -> tuple[IntArray, IntArray, IntArray]:
        """By onset: bar index, how many notes are struck, how many different pitch classes."""
        texture = self.texture
        moments, first, count = np.unique(texture.onset, return_index=True, return_counts=True)
        _, at = np.unique(texture.onset, return_inverse=True)
        pairs = np.unique(np.stack([at, texture.pitch % 12], axis=1), axis=0)
        classes = np.bincount(pairs[:, 0], minlength=len(moments)).astype(np.int64)
        return texture.bar[first], count.astype(np.int64), classes

    def share_by_bar(self, true: FloatArray, bar: IntArray) -> FloatArray:
        """Share of true rows in each bar (row 0 is bar 1; 0 where a bar has none)."""
        size = len(self.score.bars) + 1
        total = np.bincount(bar, minlength=size)[1:]
        hits = np.bincount(bar, weights=true, minlength=size)[1:]
        return np.asarray(hits / np.maximum(total, 1))
