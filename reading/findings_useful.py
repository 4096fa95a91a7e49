"""The options a finding keeps: none that would change nothing, none unplayed."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.barwords import bars_named
from reading.features import played
from reading.findings_choice import Chooser
from reading.findings_fit import Fit
from reading.layers import LAYER_NAMES, Role, select
from reading.line import Lines
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
_FEWEST, _MOST = 2, 4
_NO_TUNE = ("accent", "full chords", "pedal", "gap", "figuration", "two layers in the left hand")
"""Kinds whose question a colour for the tune would not answer."""
_REALISED = 0.35  # strength from which an accent without a sign is stressed


def useful(facts: Facts, drafts: Iterable[Draft]) -> Iterator[Draft]:
    """Yield the drafts with two to four options each, chosen by what the passage is and by what was offered before.

    Left out are options that would change nothing and those that cannot be played as they say. Where nobody has a
    tune, or too little is left, others are offered.

    Parameters
    ----------
    facts : Facts
    drafts : iterable of Draft
    """
    struck = {one.onset for one in facts.accents if one.marked or one.strength >= _REALISED}
    lines = Lines(facts)
    chooser = Chooser(Fit(lines, facts.palette), lines, facts.palette)
    models = {repeat.later: repeat.first for repeat in facts.repeats}
    rows = list(drafts)
    chosen: dict[int, Draft] = {}
    for row in sorted(range(len(rows)), key=lambda row: (rows[row].first, rows[row].last)):
        draft = rows[row]
        reason = _accent_reason(facts, draft) if draft.kind == "accent" else ""
        model = models.get((draft.first, draft.last))
        kept = chooser.chosen(draft, _kept(facts, struck, draft.options), accent=reason, model=model)
        if len(kept) < _FEWEST:
            offers = facts.offers(draft.first, draft.last, upbeat=draft.upbeat)
            tune = () if draft.kind in _NO_TUNE else (*offers.theme(), *offers.dialogue())
            more = _kept(facts, struck, (*tune, *offers.without_melody(), *offers.anyhow()))
            other = chooser.chosen(draft, more)
            kept = tuple({one.says: one for one in (*kept, *other)}.values())[:_MOST]
        chosen[row] = replace(draft, options=kept)
    yield from (chosen[row] for row in range(len(rows)))


def _accent_reason(facts: Facts, draft: Draft) -> str:
    """Why the strongest moment of an accent is one."""
    inside = [one for one in facts.accents if draft.first <= one.bar_index <= draft.last]
    return max(inside, key=lambda one: one.strength).reasons[0] if inside else ""


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
