"""``rest``: players are silent for some bars."""

from __future__ import annotations

import numpy as np

from mapping.draft import Context, Draft
from mapping.steps import Players, StepOptions

__all__ = ["Rest"]


class Rest:
    """Silence players: the notes that start in the bars are taken out, longer ones end where the bars begin.

    References
    ----------
    Common practice, no source: a colour that has rested is fresh when it comes back.
    """

    name = "rest"

    class Options(StepOptions):
        """``rest: PLAYERS``."""

        rest: Players

        def players_named(self) -> tuple[str, ...]:
            """Return the players that rest."""
            return self.rest

    def apply(self, draft: Draft, options: Options, context: Context) -> Draft:
        """Return the draft without the players' notes in the bars."""
        rows = sorted({target.row for target in context.targets(options.rest)})
        notes = draft.notes.copy()
        mine = np.isin(notes["part"], rows)
        if options.beats is None:
            for first, last in context.piece.ranges(options.bars):
                start, _ = context.score.span(first, last)
                over = mine & (notes["onset"] < start) & (notes["onset"] + notes["duration"] > start)
                notes["duration"][over] = start - notes["onset"][over]
        return draft.with_notes(notes).without(mine & context.piece.covers(options, notes["onset"]))

    def describe(self, options: Options) -> str:
        """Return the step in words."""
        return f"{' and '.join(options.rest)} rest"
