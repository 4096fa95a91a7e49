"""``refigure``: a pianistic accompaniment becomes a figure players would be given."""

from __future__ import annotations

from typing import Literal

import numpy as np
from pydantic import Field

from mapping.draft import Context, Draft
from mapping.figures import figure_notes, refigured, stays
from mapping.sharing import divided, given_up
from mapping.steps import Layer, OnOptions

__all__ = ["Refigure"]


class Refigure:
    """Replace an accompaniment figure by an idiomatic one, keeping harmony and momentum.

    ``as`` says which: ``repeated`` (chord notes repeated in the figure's rhythm), ``held and pulse`` (the first half of
    the players hold, the others repeat), ``tremolo`` (every attack of the figure repeated with the bow), ``shared``
    (the figure itself, dealt beat by beat), ``pizzicato`` (plucked, note by note between players where one would be too
    slow), ``natural`` (the figure in close position where it lies well), ``held`` (chords only; the rhythm is given up
    on purpose). Bars that run in scales or hold a line of their own stay with those who have them.

    References
    ----------
    H. Riemann, *Catechism of Orchestration*, ch. I, p. 13 (running inner motion to repeated notes and tremolo);
    N. Rimsky-Korsakov, *Principles of Orchestration* (1922), ch. I (pizzicato is never as fast as the bow; alternation
    of two notes suits flutes and clarinets); held chord with pulse for an Alberti bass: common practice, no source.
    """

    name = "refigure"

    class Options(OnOptions):
        """``refigure: LAYER``, ``on``, ``as``."""

        refigure: Layer
        figure: Literal["repeated", "held and pulse", "tremolo", "shared", "pizzicato", "held", "natural"] = Field(
            "repeated", alias="as"
        )

    def apply(self, draft: Draft, options: Options, context: Context) -> Draft:
        """Return the draft with the figure replaced."""
        piano = figure_notes(options.refigure, context, options)
        new = refigured(piano, context, options, options.on, options.figure)
        left = piano[stays(piano, context)]
        if options.figure in ("shared", "natural"):  # what the players named cannot take stays as well
            taken = np.concatenate([left["id"], *(notes["source"] for notes in new)])
            left = np.concatenate([left, piano[~np.isin(piano["id"], taken)]])
        nobody = left[~np.isin(left["id"], draft.notes["source"])]
        new += divided(nobody, context.targets(options.on), options, context)
        return given_up(draft, piano[~np.isin(piano["id"], left["id"])]).adding(*new)

    def describe(self, options: Options) -> str:
        """Return the step in words."""
        return f"{options.refigure} as {options.figure} on {' and '.join(options.on)}"
