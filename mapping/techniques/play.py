"""``play``: a layer goes to players as the piano has it."""

from __future__ import annotations

from typing import Literal

from mapping.draft import Context, Draft
from mapping.sharing import divided, whole
from mapping.steps import Layer, OnOptions
from mapping.unpitched import apart, rhythm

__all__ = ["Play"]


class Play:
    """Give a layer to players as the piano has it.

    Chords are spread over the players from the highest down (``share: divide``), or every player has every note
    (``share: all``). A note nobody named can reach goes to the nearest player who can; none is dropped. Percussion
    without pitch takes the layer's rhythm, one stroke for each attack, whatever the others have.

    References
    ----------
    H. Riemann, *Catechism of Orchestration* (Augener 9209), ch. I, p. 13: a piano sonata given to strings.
    """

    name = "play"

    class Options(OnOptions):
        """``play: LAYER``, ``on``, ``share``."""

        play: Layer
        share: Literal["divide", "all"] | None = None

    def apply(self, draft: Draft, options: Options, context: Context) -> Draft:
        """Return the draft with the layer's notes added."""
        piano = context.piano(options.play, options)
        targets, noisy = apart(context.targets(options.on), context)
        give = divided if _divides(options) and len(targets) > 1 else whole
        found = give(piano, targets, options, context) if targets else []
        return draft.adding(*found, *(rhythm(piano, target.row, options, context) for target in noisy))

    def describe(self, options: Options) -> str:
        """Return the step in words."""
        shared = ", divided" if _divides(options) and len(options.on) > 1 else ""
        return f"{options.play} on {' and '.join(options.on)}{shared}"


def _divides(options: Play.Options) -> bool:
    """Whether chords are spread: said, or the layer is not one line."""
    if options.share is not None:
        return options.share == "divide"
    return options.play not in {"melody", "bass", "voice"}
