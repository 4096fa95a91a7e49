"""From score, layers and spec to arrangements: each step in turn through its technique, checked after every call."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

import numpy as np

from base.errors import InputError, KlangprobeError, PluginFault, nearest
from base.plugins import find, load
from mapping.arrangement import PART_DTYPE, TECHNIQUES, Arrangement, Part, StepWords
from mapping.draft import Context, Draft, Piece
from mapping.settling import settled
from mapping.singing import singing_of
from mapping.spec_check import GROUP, players_of_spec
from reading.score import DYNAMICS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from mapping.arrangement import Player
    from mapping.spec import Spec, Step
    from reading.layers import Layers
    from reading.score import Mark, Score

__all__ = ["apply_step", "arrange", "arrange_all", "arranged"]


def arrange(score: Score, layers: Layers, spec: Spec, variant: str) -> Arrangement:
    """Return one variant of a piece as orchestral parts.

    Parameters
    ----------
    score : Score
        The piano piece.
    layers : Layers
        As read; the spec's ``layers`` are applied here.
    spec : Spec
    variant : str

    Raises
    ------
    InputError
        For an unknown variant.
    PluginFault
        Where a technique breaks its contract.
    """
    return arrange_all(score, layers, spec, [variant])[0]


def arrange_all(
    score: Score, layers: Layers, spec: Spec, variants: Iterable[str] | None = None
) -> tuple[Arrangement, ...]:
    """Return several variants; steps they share through ``from`` are taken once.

    Parameters
    ----------
    variants : iterable of str, optional
        All of the spec, in its order, where left out.
    """
    from reading.layers import overruled

    wanted = list(spec.variants) if variants is None else list(variants)
    for name in wanted:
        if name not in spec.variants:
            raise InputError(f"there is no variant '{name}'.", path=spec.path, hint=nearest(name, spec.variants))
    rules = [rule.model_dump() for rule in spec.layers]
    singing = singing_of(players_of_spec(spec), score, spec.singers)
    piece = Piece(score, overruled(layers, score, rules) if rules else layers, singing)
    players = singing.players
    drafts: dict[str, Draft] = {}
    return tuple(
        arranged(
            name,
            spec.variants[name].says,
            score,
            players,
            _draft(name, spec, piece, players, drafts),
            spec.steps_of(name),
        )
        for name in wanted
    )


def _draft(name: str, spec: Spec, piece: Piece, players: tuple[Player, ...], drafts: dict[str, Draft]) -> Draft:
    """Draft of a variant: that of the variant it starts from, then its own steps."""
    if name not in drafts:
        variant = spec.variants[name]
        draft, done = Draft(piece.singing.notes) if piece.singing else Draft(), 0
        if variant.start is not None:
            draft = _draft(variant.start, spec, piece, players, drafts)
            done = len(spec.steps_of(variant.start))
        for row, step in enumerate(variant.steps, start=done):
            draft = apply_step(draft, step, Context(piece, players, row))
        drafts[name] = draft
    return drafts[name]


def apply_step(draft: Draft, step: Step, context: Context) -> Draft:
    """Return the draft after one step.

    Raises
    ------
    PluginFault
        Where the technique fails or returns what cannot be a draft; it names the plugin and the step.
    """
    technique = load(GROUP, step.verb)()
    try:
        result = technique.apply(draft, step.options, context)
    except KlangprobeError:
        raise
    except Exception as error:  # a plugin may fail in any way; the message must name it
        raise PluginFault(f"{_blame(step)} failed: {error!r}", place=_where(step)) from error
    fault = _fault(result, context)
    if fault:
        raise PluginFault(f"{_blame(step)} returned {fault}.", place=_where(step))
    return cast("Draft", result)


def _blame(step: Step) -> str:
    """The technique and who provides it."""
    return f"technique '{step.verb}' ({find(GROUP)[step.verb].provider})"


def _where(step: Step) -> str:
    """Place of the step in the spec."""
    return f"line {step.line}, {step.place}" if step.line else step.place


def _fault(result: Any, context: Context) -> str:
    """What is wrong with a draft a technique returned; empty where it is sound."""
    if not isinstance(result, Draft) or not isinstance(result.notes, np.ndarray) or result.notes.dtype != PART_DTYPE:
        return "no draft (a Draft whose notes have PART_DTYPE is expected)"
    notes = result.notes
    limits = {
        "part": (0, len(context.players) - 1),
        "source": (-1, len(context.score.notes) - 1),
        "cause": (-1, context.cause),
        "technique": (0, len(TECHNIQUES) - 1),
        "dynamic": (-1, len(DYNAMICS) - 1),
        "pitch": (0, 127),
        "onset": (0, max(0, context.score.end)),
        "duration": (0, 1 << 40),
        "bar": (1, max(1, len(context.score.bars))),
    }
    for name, (low, high) in limits.items():
        if len(notes) and not low <= int(notes[name].min()) <= int(notes[name].max()) <= high:
            return f"notes whose '{name}' lies outside {low} to {high}"
    if any(not 0 <= mark.part < len(context.players) for mark in result.marks):
        return "marks for players that are not there"
    return ""


def arranged(
    variant: str, says: str, score: Score, players: tuple[Player, ...], draft: Draft, steps: Iterable[Step]
) -> Arrangement:
    """Return a draft as an arrangement: notes by player, in order, with ids of their own."""
    order = np.lexsort((draft.notes["voice"], draft.notes["pitch"], draft.notes["onset"], draft.notes["part"]))
    notes = draft.notes[order]
    edges = np.searchsorted(notes["part"], np.arange(len(players) + 1))
    parts = []
    for row, player in enumerate(players):
        mine = settled(notes[edges[row] : edges[row + 1]], player).copy()
        mine["bar"] = np.maximum(1, np.searchsorted(score.bars["onset"], mine["onset"], side="right"))
        mine["id"] = np.arange(len(mine))
        parts.append(Part(player, mine, _marks_of(draft.marks, row)))
    return Arrangement(variant, says, score, tuple(parts), tuple(_words(step) for step in steps))


def _marks_of(marks: tuple[Mark, ...], row: int) -> tuple[Mark, ...]:
    """Marks of one player, by onset."""
    return tuple(
        sorted((mark for mark in marks if mark.part == row), key=lambda mark: (mark.onset, mark.kind, mark.value))
    )


def _words(step: Step) -> StepWords:
    """The step as the page says it."""
    options = step.options
    try:
        words = str(load(GROUP, step.verb)().describe(options))
    except Exception as error:  # a plugin may fail in any way; the message must name it
        raise PluginFault(f"{_blame(step)} could not describe itself: {error!r}", place=_where(step)) from error
    words += f", bars {options.bars}" if options.bars else ""
    words += f", beats {options.beats}" if options.beats else ""
    words += f", where the piano is {options.when}" if options.when else ""
    words += f", {options.level}" if options.level else ""
    words += f", {options.how}" if options.how and options.how not in words else ""
    return StepWords(step.verb, words, step.line)
