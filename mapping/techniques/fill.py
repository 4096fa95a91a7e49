"""``fill``: well-spaced harmony between hands that lie far apart."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from mapping.draft import Context, Draft, Rows
from mapping.resonance import filled_gap
from mapping.steps import OnOptions

__all__ = ["Fill"]


class Fill:
    """Fill the gap between the hands with harmony: wide below, close above, no leading note doubled.

    Wherever neighbouring notes lie more than ``over`` semitones apart, the players take notes of the harmony between
    them, by the same rules of good voice leading as ``hold``.

    References
    ----------
    N. Rimsky-Korsakov, *Principles of Orchestration* (1922), ch. III, "Distribution of notes in chords", p. 67.
    """

    name = "fill"

    class Options(OnOptions):
        """``fill: gap``, ``on``, ``over``."""

        fill: Literal["gap"]
        over: int = Field(12, ge=3, le=60)

    def apply(self, draft: Draft, options: Options, context: Context) -> Draft:
        """Return the draft with the filling notes added."""
        found: list[Rows] = []
        for first, last in context.piece.ranges(options.bars):
            found += filled_gap(context, options, options.on, context.score.span(first, last), options.over)
        return draft.adding(*found)

    def describe(self, options: Options) -> str:
        """Return the step in words."""
        verb = "fills" if len(options.on) == 1 else "fill"
        return f"{' and '.join(options.on)} {verb} the gap between the hands"
