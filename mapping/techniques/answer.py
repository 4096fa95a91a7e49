"""``answer``: a dialogue; groups of players take turns with a layer."""

from __future__ import annotations

from typing import Literal

import numpy as np
from pydantic import Field, model_validator

from mapping.draft import Context, Draft, Rows
from mapping.sharing import given_up, reaches, whole
from mapping.steps import Layer, Players, StepOptions

__all__ = ["Answer"]


class Answer:
    """Let groups take turns with a layer, every so many bars or by the register the piano is in.

    A turn that lies outside a group's range is taken an octave higher or lower as a whole, so that it stays one phrase.

    References
    ----------
    N. Rimsky-Korsakov, *Principles of Orchestration* (1922), ch. IV (echoes; alternation of groups); turns by register:
    common practice, no source.
    """

    name = "answer"

    class Options(StepOptions):
        """``answer: LAYER``, ``between``, ``every`` or ``by``."""

        answer: Layer
        between: tuple[Players, ...] = Field(min_length=2, max_length=8)
        every: int | None = Field(None, ge=1, le=64)
        by: Literal["register"] | None = None

        @model_validator(mode="after")
        def _one_way(self) -> Answer.Options:
            """Turns are counted in bars or follow the register, not both."""
            if self.every is not None and self.by is not None:
                msg = "say 'every' or 'by', not both"
                raise ValueError(msg)
            return self

        def players_named(self) -> tuple[str, ...]:
            """Return the players of all groups."""
            return tuple(name for group in self.between for name in group)

    def apply(self, draft: Draft, options: Options, context: Context) -> Draft:
        """Return the draft with the layer dealt out in turns."""
        piano = context.piano(options.answer, options)
        turns = _turns(piano, options, context)
        found: list[Rows] = []
        for turn in np.unique(turns).tolist():
            group = context.targets(options.between[turn % len(options.between)])
            mine = piano[turns == turn]
            for target in group:
                shift = _octave(mine["pitch"].astype(int), context.players[target.row])
                moved = context.written(mine, target.row, options, octave=shift)
                found += whole(moved, [target], options, context)
        return given_up(draft, piano).adding(*found)

    def describe(self, options: Options) -> str:
        """Return the step in words."""
        groups = " and ".join(" with ".join(group) for group in options.between)
        how = "by register" if options.by else f"every {options.every or 2} bars"
        return f"{groups} answer each other with the {options.answer}, {how}"


def _turns(piano: Rows, options: Answer.Options, context: Context) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Number of the turn each note belongs to; by register, the higher bars go to the higher group."""
    bars = piano["bar"].astype(np.int64)
    turns = np.zeros(len(piano), dtype=np.int64)
    groups = len(options.between)
    if options.by == "register":
        if not len(piano):
            return turns
        heights = {bar: float(np.mean(piano["pitch"][bars == bar])) for bar in np.unique(bars).tolist()}
        edges = np.quantile(list(heights.values()), np.arange(1, groups) / groups)
        from_low = sorted(range(groups), key=lambda place: _height(options.between[place], context))
        for place, bar in enumerate(sorted(heights)):
            turns[bars == bar] = place * groups + from_low[int(np.searchsorted(edges, heights[bar], side="left"))]
        return turns
    done = 0
    for first, last in context.piece.ranges(options.bars):
        here = (bars >= first) & (bars <= last)
        turns[here] = done + (bars[here] - first) // (options.every or 2)
        done += -(-(last - first + 1) // (options.every or 2))
    return turns


def _height(group: tuple[str, ...], context: Context) -> float:
    """Middle of what lies well for a group, MIDI."""
    players = [context.players[target.row].instrument for target in context.targets(group)]
    return float(np.mean([(one.safe_low + one.safe_high) / 2 for one in players]))


def _octave(pitches: np.ndarray[tuple[int], np.dtype[np.int64]], player: object) -> int:
    """Shift in semitones (whole octaves) that brings most of a turn into a player's range; the smallest such."""
    shifts = sorted((0, 12, -12, 24, -24), key=lambda shift: (abs(shift), -shift))
    return max(shifts, key=lambda shift: int(np.count_nonzero(reaches(player, pitches + shift))))  # type: ignore[arg-type]
