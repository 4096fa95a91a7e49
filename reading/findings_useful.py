"""Options that would change nothing are not offered: their layer is silent there, or no drum has the note."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.barwords import bars_named
from reading.features import played
from reading.layers import LAYER_NAMES, Role, select
from reading.score import TICKS_PER_QUARTER

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from reading.features import Bools
    from reading.findings import Draft, Option
    from reading.findings_facts import Facts
    from reading.score import Score

__all__ = ["useful"]

_ON_LAYER = ("double", "vary", "refigure", "build", "thin", "answer")
_LINES = ("line", "scale")
_FEWEST = 2
_REALISED = 0.35  # strength from which an accent without a sign is stressed
_OCTAVE_ABOVE = (60, 84)  # what lies in C5-C7 an octave higher


def useful(facts: Facts, drafts: Iterable[Draft]) -> Iterator[Draft]:
    """Yield the drafts without the options that would change nothing; where nobody has a tune, with others.

    Parameters
    ----------
    facts : Facts
    drafts : iterable of Draft
    """
    struck = {one.onset for one in facts.accents if one.marked or one.strength >= _REALISED}
    for draft in drafts:
        kept = _kept(facts, struck, draft.options)
        if len(kept) < _FEWEST:
            other = _kept(facts, struck, facts.offers(draft.first, draft.last, upbeat=draft.upbeat).without_melody())
            kept = tuple({one.says: one for one in (*kept, *other)}.values())
        yield replace(draft, options=kept) if len(kept) >= _FEWEST else draft


def _kept(facts: Facts, struck: set[int], options: Iterable[Option]) -> tuple[Option, ...]:
    """The options that would change something."""
    return tuple(one for one in options if any(_has_notes(facts, struck, step) for step in one.steps))


def _has_notes(facts: Facts, struck: set[int], step: dict[str, Any]) -> bool:
    """Whether the layer of a step sounds in its bars, or a drum has a note of the chords it would stress."""
    score = facts.page.page
    notes, here = score.notes, np.zeros(len(score.notes), dtype=bool)
    for first, last in bars_named(score, step["bars"]):
        here |= (notes["bar"] >= first) & (notes["bar"] <= last)
    here &= played(score)
    if step.get("by") == "timpani":
        onsets = np.unique(notes["onset"][here & _on_beat(score, step.get("beats"))]).tolist()
        return any(_drum_has_note(score, at) for at in onsets if step["stress"] == "notes" or at in struck)
    verb = next((verb for verb in _ON_LAYER if step.get(verb) in LAYER_NAMES), None)
    if verb is None:
        return True
    mine = here & select(facts.layers, score, step[verb])
    if verb == "refigure":
        mine &= _in_figure(facts, mine)
    if step.get("at") == "8va":
        mine &= (notes["pitch"] >= _OCTAVE_ABOVE[0]) & (notes["pitch"] <= _OCTAVE_ABOVE[1])
    return bool(mine.any())


def _on_beat(score: Score, beat: str | None) -> Bools:
    """Whether notes are struck on a beat; all where none is named."""
    if beat is None:
        return np.ones(len(score.notes), dtype=bool)
    bars = score.bars[score.notes["bar"] - 1]
    place = (float(beat) - 1) * 4 * TICKS_PER_QUARTER / np.maximum(bars["beat_type"], 1)
    return np.asarray(np.abs(score.notes["onset"] - bars["onset"] - place) <= 1)


def _in_figure(facts: Facts, rows: Bools) -> Bools:
    """Whether notes belong to a figure that could become another one; lines and scales stay as they are."""
    result = np.zeros(len(rows), dtype=bool)
    notes = facts.score.notes
    for row in np.flatnonzero(rows & (facts.layers.roles == int(Role.MIDDLE))).tolist():
        staff = 2 if facts.layers.staff[row] >= max(1, int(facts.layers.staff.max(initial=0))) else 1
        result[row] = facts.figuration.at(int(notes["bar"][row]), staff).family not in _LINES
    return result


def _drum_has_note(score: Score, onset: int) -> bool:
    """Whether tonic or dominant, the usual tuning of two drums (common practice, no source), sounds at an attack."""
    notes, bar = score.notes, score.bars[score.bar_at(onset) - 1]
    tonic = (7 * int(bar["fifths"]) + (9 if bar["minor"] == 1 else 0)) % 12
    sounding = (notes["onset"] <= onset) & (notes["onset"] + notes["duration"] > onset)
    return bool(np.isin(notes["pitch"][sounding] % 12, (tonic, (tonic + 7) % 12)).any())
