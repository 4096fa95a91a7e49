"""``hold``: resonance; players hold the harmony, or one member of it, while the figure moves."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from mapping.draft import Context, Draft, Rows
from mapping.open_notes import marks_for, only_open, open_notes
from mapping.resonance import held_bass, held_harmony
from mapping.steps import NaturalOptions, OnOptions, Register

__all__ = ["Hold"]

_MEMBERS = {"harmony": (), "root": ("root",), "third": ("third",), "fifth": ("fifth",)}


class Hold:
    """Hold what the piano's pedal would keep sounding.

    Soft winds, horns or sustained strings hold notes of the harmony in the register of the figure and in a weaker
    colour. Common tones are tied; a note is struck again only where the harmony changes (``restrike: changes``). The
    voices keep above the bass and below the tune, and rest where there is no good note.

    References
    ----------
    N. Rimsky-Korsakov, *Principles of Orchestration* (1922), ch. IV ("Harmonic basis": the bed softer than the figure);
    held winds under a figure: common practice, no source.
    """

    name = "hold"

    class Options(NaturalOptions, OnOptions):
        """``hold: harmony | bass | root | third | fifth``, ``on``, ``register``, ``restrike``, ``notes``, ``crook``."""

        hold: Literal["harmony", "bass", "root", "third", "fifth"]
        region: Register | None = Field(None, alias="register")  # pydantic's own class has a 'register'
        restrike: Literal["changes", "bars", "beats"] = "changes"

    def apply(self, draft: Draft, options: Options, context: Context) -> Draft:
        """Return the draft with the held notes added."""
        found: list[Rows] = []
        natural = options.notes == "natural"
        for first, last in context.piece.ranges(options.bars):
            span = context.score.span(first, last)
            if options.hold == "bass":
                bass = held_bass(context, options, options.on, span, restrike=options.restrike)
                if natural:
                    bass = [only_open(one, context, options.bars, options.crook, same_class=True) for one in bass]
                found += bass
                continue
            found += held_harmony(
                context,
                options,
                options.on,
                span,
                register=options.region,
                restrike=options.restrike,
                only=_MEMBERS[options.hold],
                open_notes=open_notes(context, options.on, first, options.crook) if natural else (),
            )
        return draft.adding(
            *found, marks=marks_for(context, options.on, options.bars, options.crook) if natural else ()
        )

    def describe(self, options: Options) -> str:
        """Return the step in words."""
        where = f" in the {options.region} register" if options.region in ("low", "middle", "high") else ""
        verb = "holds" if len(options.on) == 1 else "hold"
        natural = " in open notes" if options.notes == "natural" else ""
        return f"{' and '.join(options.on)} {verb} the {options.hold}{where}{natural}"
