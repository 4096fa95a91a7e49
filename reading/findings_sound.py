"""Findings about loudness and resonance: accents, dynamic contrasts, swells, pedal.

What stands at one moment is one finding: an accent where loudness also changes, and the short hairpin beside it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

from reading.findings import Draft
from reading.findings_accents import accent_rows
from reading.findings_facts import counted, runs
from reading.score import DYNAMICS

if TYPE_CHECKING:
    from reading.findings_facts import Facts
    from reading.pedal import PedalRow
    from reading.survey_dynamics import Contrast, Swell

__all__ = ["accent_findings", "dynamic_findings", "pedal_findings", "swell_findings"]

_OUTBREAK = 0.1
"""What an accent and a sudden step to a louder level at one moment have before the stronger of them."""
_MOMENT_BARS = 2
"""A hairpin of so many bars at most, inside a finding no longer, is part of it."""
_BETWEEN = 3
"""Stretches of one kind of pedal with so many bars between at most are one finding."""


def accent_findings(facts: Facts) -> list[Draft]:
    """Accents, single or in rows, with what else stands at their moments."""
    return [draft for draft in _loudness(facts) if draft.kind == "accent"]


def dynamic_findings(facts: Facts) -> list[Draft]:
    """Sudden changes of loudness and alternations, with what else stands at their moments."""
    return [draft for draft in _loudness(facts) if draft.kind == "dynamic contrast"]


def swell_findings(facts: Facts) -> list[Draft]:
    """Hairpins of two bars or more, and those that lead two degrees or more, but not those inside one moment."""
    return [draft for draft in _loudness(facts) if draft.kind not in ("accent", "dynamic contrast")]


@lru_cache(maxsize=1)
def _loudness(facts: Facts) -> tuple[Draft, ...]:
    """All findings about loudness, one for each moment: what is weaker there becomes evidence of the strongest."""
    rows = accent_rows(facts)
    moments = [draft for draft, _ in rows]
    for contrast in facts.contrasts:
        draft = _contrast_draft(facts, contrast)
        place = next((at for at, (_, onsets) in enumerate(rows) if contrast.onsets[1] in onsets), -1)
        if place < 0 or len(contrast.marks) > 2:
            moments.append(draft)
            continue
        twin = moments[place]
        if twin.strength >= draft.strength or twin.last - twin.first < _MOMENT_BARS:
            louder = DYNAMICS.index(contrast.marks[1]) > DYNAMICS.index(contrast.marks[0])
            louder &= twin.last - twin.first < _MOMENT_BARS
            host, other = sorted((twin, draft), key=lambda one: -one.strength)
            strong = replace(host, strength=min(1.0, round(host.strength + _OUTBREAK * louder, 3)))
            moments[place] = _with(strong, other)
        else:
            moments.append(draft)
    swells = []
    for swell in _swell_drafts(facts):
        inside = [at for at, one in enumerate(moments) if _inside(swell, one)]
        if inside:
            best = max(inside, key=lambda at: moments[at].strength)
            moments[best] = _with(moments[best], swell)
        else:
            swells.append(swell)
    return (*moments, *swells)


def _with(host: Draft, other: Draft) -> Draft:
    """Return a finding with the evidence and the bars of a weaker one at its moment."""
    first, last = min(host.first, other.first), max(host.last, other.last)
    return replace(host, first=first, last=last, evidence=(*host.evidence, *other.evidence))


def _inside(swell: Draft, moment: Draft) -> bool:
    """Whether a swell is short and lies inside a moment."""
    short = max(swell.last - swell.first, moment.last - moment.first) < _MOMENT_BARS
    return short and moment.first <= swell.first and swell.last <= moment.last


def _degrees(count: int) -> str:
    """Return ``1 degree``, ``2 degrees``."""
    return f"{count} degree{'' if count == 1 else 's'}"


def _contrast_draft(facts: Facts, contrast: Contrast) -> Draft:
    """One change, or one alternation of loud and soft."""
    marks, bars = contrast.marks, contrast.bars
    turns = len(marks) - 1
    loud, soft = _sides(facts, contrast)
    offers = facts.offers(contrast.first_bar, contrast.last_bar).loud_and_soft(loud, soft)
    before = f"{marks[0]} (bar {facts.words(bars[0], bars[0])})"
    if turns > 1:
        count = counted(contrast.last_bar - contrast.first_bar + 1)
        evidence = (f"after {before}: {' '.join(marks[1:])} in {count}, {turns} sudden changes",)
        question = "Do loud and soft belong to different groups?"
    else:
        evidence = (f"{before} to {marks[-1]} at once, {_degrees(contrast.degrees)}",)
        question = "Does the change of loudness bring a change of players?"
    strength = min(1.0, 0.16 * contrast.degrees + 0.08 * (turns - 1))
    return Draft("dynamic contrast", contrast.first_bar, contrast.last_bar, strength, evidence, question, offers)


def _sides(facts: Facts, contrast: Contrast) -> tuple[str, str]:
    """Bars under the loud and under the soft marks of a contrast, as a spec writes them."""
    degrees = [row for row in facts.dynamics if row.degree >= 0]
    spans: dict[bool, list[str]] = {True: [], False: []}
    rows = [row for row in degrees if contrast.first_bar <= row.bar_index <= contrast.last_bar]
    middle = (max(row.degree for row in rows) + min(row.degree for row in rows)) / 2 if len(rows) > 1 else 4.5
    for place, row in enumerate(rows):
        until = rows[place + 1].bar_index - 1 if place + 1 < len(rows) else contrast.last_bar
        spans[row.degree > middle].append(facts.words(row.bar_index, max(until, row.bar_index)))
    return ", ".join(dict.fromkeys(spans[True])), ", ".join(dict.fromkeys(spans[False]))


def _swell_drafts(facts: Facts) -> list[Draft]:
    """Hairpins of two bars or more, and those that lead two degrees or more."""
    drafts = []
    for swell in facts.swells:
        bars = swell.last_bar - swell.first_bar + 1
        degrees = abs(swell.after - swell.before) if swell.after >= 0 and swell.before >= 0 else 0
        if (bars < 2 and degrees < 2) or any(_within(swell, other) for other in facts.swells):
            continue
        words = {"cresc": "crescendo", "dim": "diminuendo"}[swell.kind]
        evidence = (f"{words} over {counted(bars)}" + (f", {_degrees(degrees)}" if degrees else ""),)
        question = _swell_question(swell.kind, short=bars <= _MOMENT_BARS)
        strength = min(0.6 if bars <= _MOMENT_BARS else 0.7, 0.2 + 0.03 * bars + 0.09 * degrees)
        offers = facts.offers(swell.first_bar, swell.last_bar).swell(swell.kind)
        drafts.append(Draft(words, swell.first_bar, swell.last_bar, strength, evidence, question, offers))
    return drafts


def _within(swell: Swell, other: Swell) -> bool:
    """Whether a swell only says again what a longer one says: a word and hairpins on the way to one level."""
    inside = other.first_bar <= swell.first_bar and swell.last_bar <= other.last_bar
    longer = other.last_bar - other.first_bar > swell.last_bar - swell.first_bar
    return inside and longer and swell.kind == other.kind


def _swell_question(kind: str, *, short: bool) -> str:
    """Ask about a swell; in one or two bars nobody joins or leaves one by one."""
    if kind == "cresc":
        return "Does each play louder, or do others join?" if short else "Do players join, or does each play louder?"
    return "Does each play softer, or does somebody stop?" if short else "Who falls silent first?"


def pedal_findings(facts: Facts) -> list[Draft]:
    """Passages in which the pedal sustains, marked or implied; one finding as long as the same figure goes on under it.

    The same figure after a few bars without pedal is the same question; the evidence names the stretches.
    """
    drafts = []
    for source in ("marked", "implied"):
        groups: list[_Pedalled] = []
        last: dict[str, _Pedalled] = {}
        rows = [row for row in facts.pedal.rows if row.source == source]
        for family, stretch in _stretches(facts, rows):
            known = last.get(family)
            if known and stretch[0].bar_index - known.stretches[-1][-1].bar_index <= _BETWEEN + 1:
                known.stretches.append(stretch)
            else:
                last[family] = _Pedalled(family, [stretch])
                groups.append(last[family])
        drafts += [_pedal_draft(facts, group) for group in _absorbed(groups)]
    return drafts


def _absorbed(groups: list[_Pedalled]) -> list[_Pedalled]:
    """Put a passage that lies inside another, under a figure of its own, into that one: the pedal only goes on."""
    kept: list[_Pedalled] = []
    for group in groups:  # by their first bars: whatever holds another stands before it
        host = next((one for one in kept if group.stretches[-1][-1].bar_index < one.stretches[-1][-1].bar_index), None)
        if host is None:
            kept.append(group)
        else:
            host.stretches.extend(group.stretches)
            host.stretches.sort(key=lambda rows: rows[0].onset)
    return kept


@dataclass(frozen=True)
class _Pedalled:
    """Stretches of pedal under one kind of figure: its family, and for each stretch its rows."""

    family: str
    stretches: list[list[PedalRow]]


def _stretches(facts: Facts, rows: list[PedalRow]) -> list[tuple[str, list[PedalRow]]]:
    """Rows in bars that follow each other, parted where the left hand's figure changes; each with its figure."""
    cuts = set(facts.figuration.changes[2])
    parts = [part for run in runs([row.bar_index for row in rows], bridge=2) for part in _parted(run, cuts)]
    found = []
    for first, last in parts:
        inside = [row for row in rows if first <= row.bar_index <= last]
        if inside:
            families = [facts.figuration.at(row.bar_index, 2).family for row in inside]
            found.append((max(families, key=families.count), inside))
    return found


def _parted(run: tuple[int, int], cuts: set[int]) -> list[tuple[int, int]]:
    """Part a stretch of bars before each bar of *cuts*."""
    starts = sorted({run[0]} | {bar for bar in cuts if run[0] < bar <= run[1]})
    return [(start, after - 1) for start, after in zip(starts, [*starts[1:], run[1] + 1], strict=True)]


def _pedal_draft(facts: Facts, group: _Pedalled) -> Draft:
    """One passage under one kind of pedal; a broken figure needs the resonance more than chords do."""
    rows = [row for stretch in group.stretches for row in stretch]
    first, last, source = rows[0].bar_index, rows[-1].bar_index, rows[0].source
    spans: list[tuple[int, int]] = []
    for stretch in group.stretches:
        follows = spans and stretch[0].bar_index <= spans[-1][1] + 1
        begin = spans.pop()[0] if follows else stretch[0].bar_index
        spans.append((begin, stretch[-1].bar_index))
    bars, count = len({row.bar_index for row in rows}), sum(b - a + 1 for a, b in spans)
    where = ", ".join(facts.words(a, b) for a, b in spans)
    evidence = [f"pedal {source} in {bars} of {counted(last - first + 1)}" + f": {where}" * (len(spans) > 1)]
    evidence += _kept(facts, rows)
    evidence += [rows[0].reason] if source == "implied" and rows[0].reason else []
    if source == "marked" or rows[0].reason.startswith("simile"):
        strength = 0.45 + 0.08 * count
    else:
        strength = 0.35 + 0.07 * count if group.family == "broken" else min(0.55, 0.3 + 0.05 * count)
    question = "What gives the resonance: held winds, sustained strings, nothing?"
    offers = replace(facts.offers(first, last), bars=where).pedal()
    return Draft("pedal", first, last, min(0.95, strength), tuple(evidence), question, offers)


def _kept(facts: Facts, rows: list[PedalRow]) -> list[str]:
    """How many pitches the pedal keeps sounding at once, the most in each bar; nothing where there are none."""
    pitch = facts.score.notes["pitch"]
    most: dict[int, int] = {}
    for row in rows:
        count = len({int(pitch[note]) for note in row.notes})
        most[row.bar_index] = max(count, most.get(row.bar_index, 0))
    mean = round(sum(most.values()) / len(most))
    if not mean:
        return []
    return [f"it keeps {mean} pitch{'' if mean == 1 else 'es'} sounding" + " on average" * (len(most) > 1)]
