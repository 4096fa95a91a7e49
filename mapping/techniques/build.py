"""``build``: players join one by one."""

from __future__ import annotations

from mapping.draft import Context, Draft, Rows
from mapping.sharing import stages, strand_for
from mapping.steps import Layer, OnOptions
from mapping.unpitched import apart, roll

__all__ = ["Build"]


class Build:
    """Let players join one by one through the bars, in the order named, and stay to the end.

    The bars are cut into as many equal stages as there are players. Each takes the line of the layer that lies best for
    it and is least doubled so far. Strings first, then woodwind, then brass is the usual order of a long crescendo.
    Percussion without pitch rolls from its entry to the end, as loud as the piano is (common practice, no source).

    References
    ----------
    N. Rimsky-Korsakov, *Principles of Orchestration* (1922), ch. IV (crescendo by entries of strings, woodwind, brass).
    """

    name = "build"

    class Options(OnOptions):
        """``build: LAYER``, ``on``."""

        build: Layer

    def apply(self, draft: Draft, options: Options, context: Context) -> Draft:
        """Return the draft with the joining players' notes added."""
        piano = context.piano(options.build, options)
        targets = context.targets(options.on)
        noisy = apart(targets, context)[1]
        found: list[Rows] = []
        for ranges in context.piece.ranges(options.bars):
            taken: dict[int, int] = {}
            for target, (start, _) in zip(targets, stages(ranges, len(targets)), strict=True):
                if target in noisy:
                    begin, end = context.score.span(start, ranges[1])
                    found.append(roll(begin, end, target.row, options, context))
                    continue
                mine = piano[(piano["bar"] >= start) & (piano["bar"] <= ranges[1])]
                found.append(strand_for(mine, target, options, context, taken))
        return draft.adding(*found)

    def describe(self, options: Options) -> str:
        """Return the step in words."""
        return f"{', '.join(options.on)} join one by one"
