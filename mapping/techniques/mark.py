"""``mark``: a dynamic, an articulation or a word for some players."""

from __future__ import annotations

from typing import Annotated

from pydantic import StringConstraints

from mapping.draft import Context, Draft, Mask
from mapping.steps import OnOptions
from reading.score import DYNAMICS, Flag
from reading.score import Mark as Sign

__all__ = ["Mark"]

_FLAGS = {
    "staccato": Flag.STACCATO,
    "staccatissimo": Flag.STACCATISSIMO,
    "tenuto": Flag.TENUTO,
    "accent": Flag.ACCENT,
    "marcato": Flag.MARCATO,
    "sf": Flag.SFORZANDO,
    "sfz": Flag.SFORZANDO,
    "fp": Flag.FP,
}
_SWELLS = {"cresc": "cresc", "crescendo": "cresc", "dim": "dim", "diminuendo": "dim", "decresc": "dim"}


class Mark:
    """Write a dynamic, a swell, an articulation or words into the parts of some players.

    References
    ----------
    Common practice, no source.
    """

    name = "mark"

    class Options(OnOptions):
        """``mark: WORDS``, ``on``."""

        mark: Annotated[str, StringConstraints(min_length=1, max_length=80, strip_whitespace=True)]

    def apply(self, draft: Draft, options: Options, context: Context) -> Draft:
        """Return the draft with the mark on every note it covers."""
        rows = {target.row for target in context.targets(options.on)}
        notes = draft.notes.copy()
        here = context.piece.covers(options, notes["onset"]) & _of(notes["part"], rows)
        word = options.mark
        if word in DYNAMICS:
            notes["dynamic"][here] = DYNAMICS.index(word)
            return draft.with_notes(notes)
        if word in _FLAGS:
            notes["flags"][here] |= int(_FLAGS[word])
            return draft.with_notes(notes)
        marks = []
        for first, last in context.piece.ranges(options.bars):
            start, end = context.score.span(first, last)
            for row in sorted(rows):
                if word.rstrip(".") in _SWELLS:
                    marks.append(Sign("hairpin", start, end, part=row, value=_SWELLS[word.rstrip(".")]))
                else:
                    marks.append(Sign("text", start, start, part=row, value=word))
        return draft.adding(marks=marks)

    def describe(self, options: Options) -> str:
        """Return the step in words."""
        return f"{' and '.join(options.on)} marked {options.mark}"


def _of(parts: Mask, rows: set[int]) -> Mask:
    """Which parts are among the rows."""
    import numpy as np

    return np.isin(parts, sorted(rows))
