"""``double``: the layer once more, at the unison, in octaves or in thirds."""

from __future__ import annotations

from typing import Literal

from mapping.draft import Context, Draft
from mapping.sharing import reaches
from mapping.steps import OCTAVES, Compass, Layer, OnOptions

__all__ = ["Double"]


class Double:
    """Add a doubling to a layer.

    Octave doubling gains more power in the winds than unison doubling, because parts in octaves strengthen each
    other's overtones. Notes the player cannot reach (or outside ``compass``) are left to the layer itself.

    References
    ----------
    C. V. Stanford, *Musical Composition* (1911), p. 107; N. Rimsky-Korsakov, *Principles of Orchestration* (1922),
    ch. II (doubling of melody in octaves), ch. III (parts in octaves).
    """

    name = "double"

    class Options(OnOptions):
        """``double: LAYER``, ``on``, ``at``, ``compass``."""

        double: Layer
        at: Literal["unison", "8va", "8vb", "15ma", "15mb", "thirds"] = "unison"
        compass: Compass | None = None

    def apply(self, draft: Draft, options: Options, context: Context) -> Draft:
        """Return the draft with the doubling added."""
        piano = context.piano(options.double, options)
        found = []
        for target in context.targets(options.on):
            shift = target.octave + OCTAVES.get(options.at, 0)
            notes = context.written(piano, target.row, options, octave=shift)
            keep = reaches(context.players[target.row], notes["pitch"])
            if options.compass is not None:
                keep &= (notes["pitch"] >= options.compass[0]) & (notes["pitch"] <= options.compass[1])
            found.append(notes[keep])
        return draft.adding(*found)

    def describe(self, options: Options) -> str:
        """Return the step in words."""
        where = "in unison" if options.at == "unison" else "in thirds" if options.at == "thirds" else options.at
        return f"{options.double} doubled {where} by {' and '.join(options.on)}"
