"""``thin``: players leave one by one."""

from __future__ import annotations

import numpy as np

from mapping.draft import Context, Draft
from mapping.sharing import stages
from mapping.steps import Layer, OnOptions

__all__ = ["Thin"]


class Thin:
    """Let players leave a layer one by one through the bars, in the order named.

    The bars are cut into one stage more than there are players; the first player leaves after the first stage. What
    only a leaving player has is lost on purpose, and shown as asked for.

    References
    ----------
    N. Rimsky-Korsakov, *Principles of Orchestration* (1922), ch. IV (diminuendo: the order of a crescendo reversed).
    """

    name = "thin"

    class Options(OnOptions):
        """``thin: LAYER``, ``on``."""

        thin: Layer

    def apply(self, draft: Draft, options: Options, context: Context) -> Draft:
        """Return the draft without the notes of players who have left."""
        chosen = np.flatnonzero(context.piece.layer(options.thin) & context.piece.chosen(options))
        notes = draft.notes
        of_layer = np.isin(notes["source"], chosen) | ((notes["source"] < 0) & (options.thin == "all"))
        of_layer &= context.piece.covers(options, notes["onset"])
        gone = np.zeros(len(notes), dtype=bool)
        targets = context.targets(options.on)
        for ranges in context.piece.ranges(options.bars):
            for target, (start, _) in zip(targets, stages(ranges, len(targets) + 1)[1:], strict=True):
                late = (notes["bar"] >= start) & (notes["bar"] <= ranges[1])
                gone |= of_layer & late & (notes["part"] == target.row)
        return draft.without(gone)

    def describe(self, options: Options) -> str:
        """Return the step in words."""
        return f"{', '.join(options.on)} leave one by one"
