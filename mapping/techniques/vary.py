"""``vary``: a layer goes from whoever has it to others, for instance where a phrase is repeated."""

from __future__ import annotations

from typing import Literal

from mapping.draft import Context, Draft
from mapping.sharing import divided, given_up, whole
from mapping.steps import Layer, OnOptions

__all__ = ["Vary"]


class Vary:
    """Re-score a layer: whoever has it in these bars gives it up, the players named take it.

    References
    ----------
    C. V. Stanford, *Musical Composition* (1911), chapter on colour, p. 107; that a repeated phrase wants a new colour:
    common practice, no source.
    """

    name = "vary"

    class Options(OnOptions):
        """``vary: LAYER``, ``on``, ``share``."""

        vary: Layer
        share: Literal["divide", "all"] | None = None

    def apply(self, draft: Draft, options: Options, context: Context) -> Draft:
        """Return the draft with the layer moved to its new players."""
        piano = context.piano(options.vary, options)
        targets = context.targets(options.on)
        line = options.vary in {"melody", "bass", "voice"}
        divides = options.share == "divide" or (options.share is None and not line)
        give = divided if divides and len(targets) > 1 else whole
        return given_up(draft, piano).adding(*give(piano, targets, options, context))

    def describe(self, options: Options) -> str:
        """Return the step in words."""
        return f"{options.vary} moves to {' and '.join(options.on)}"
