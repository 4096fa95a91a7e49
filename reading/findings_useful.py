"""Options that would change nothing are not offered: their layer is silent there, or no drum has the note."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.barwords import bars_named
from reading.features import played
from reading.layers import LAYER_NAMES, select

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from reading.accents import Accent
    from reading.findings import Draft, Option
    from reading.layers import Layers
    from reading.score import Score

__all__ = ["useful"]

_ON_LAYER = ("double", "vary", "refigure", "build", "thin", "answer")
_FEWEST = 2
_REALISED = 0.35  # strength from which an accent without a sign is stressed
_OCTAVE_ABOVE = (60, 84)  # what lies in C5-C7 an octave higher


def useful(score: Score, layers: Layers, accents: tuple[Accent, ...], drafts: Iterable[Draft]) -> Iterator[Draft]:
    """Yield the drafts without the options that would change nothing, two at least left.

    Parameters
    ----------
    score : Score
    layers : Layers
    accents : tuple of Accent
    drafts : iterable of Draft
    """
    struck = {one.onset for one in accents if one.marked or one.strength >= _REALISED}
    for draft in drafts:
        kept = tuple(one for one in draft.options if _changes(score, layers, struck, one))
        yield replace(draft, options=kept) if len(kept) >= _FEWEST else draft


def _changes(score: Score, layers: Layers, struck: set[int], option: Option) -> bool:
    """Whether a step of the option has notes to work on."""
    return any(_has_notes(score, layers, struck, step) for step in option.steps)


def _has_notes(score: Score, layers: Layers, struck: set[int], step: dict[str, Any]) -> bool:
    """Whether the layer of a step sounds in its bars, or a drum has a note of the chords it would stress."""
    here = np.zeros(len(score.notes), dtype=bool)
    for first, last in bars_named(score, step["bars"]):
        here |= (score.notes["bar"] >= first) & (score.notes["bar"] <= last)
    here &= played(score)
    if step.get("by") == "timpani":
        onsets = np.unique(score.notes["onset"][here]).tolist()
        return any(_drum_has_note(score, at) for at in onsets if step["stress"] == "notes" or at in struck)
    verb = next((verb for verb in _ON_LAYER if step.get(verb) in LAYER_NAMES), None)
    if verb is None:
        return True
    mine = here & select(layers, score, "middle" if verb == "refigure" else step[verb])  # lines are not refigured
    if step.get("at") == "8va":
        pitch = score.notes["pitch"]
        mine &= (pitch >= _OCTAVE_ABOVE[0]) & (pitch <= _OCTAVE_ABOVE[1])
    return bool(mine.any())


def _drum_has_note(score: Score, onset: int) -> bool:
    """Whether tonic or dominant, the usual tuning of two drums (common practice, no source), sounds at an attack."""
    notes, bar = score.notes, score.bars[score.bar_at(onset) - 1]
    tonic = (7 * int(bar["fifths"]) + (9 if bar["minor"] == 1 else 0)) % 12
    sounding = (notes["onset"] <= onset) & (notes["onset"] + notes["duration"] > onset)
    return bool(np.isin(notes["pitch"][sounding] % 12, (tonic, (tonic + 7) % 12)).any())
