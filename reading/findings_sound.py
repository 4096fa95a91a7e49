"""Findings about loudness and resonance: accents, dynamic contrasts, swells, pedal."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from reading.findings import Draft
from reading.findings_facts import counted, runs

if TYPE_CHECKING:
    from reading.accents import Accent
    from reading.findings_facts import Facts
    from reading.pedal import PedalRow
    from reading.survey_dynamics import Contrast

__all__ = ["accent_findings", "dynamic_findings", "pedal_findings", "swell_findings"]

_RARE = 8  # one arpeggio sign for so many bars or fewer is an accent; more are a way of playing
_STRONG_SIGN = 0.65  # sforzando and forte-piano have 0.7
_WEAK = 0.3  # an accent below this strength is kept in the table only


def accent_findings(facts: Facts) -> list[Draft]:
    """Accents, single or in a run of bars; a run counts as much as its strongest moment and a little more."""
    strong = [
        accent for accent in facts.accents if accent.strength >= _WEAK and (accent.marked or accent.strength > 0.4)
    ]
    often = Counter(accent.reasons[0].split(" over ")[0] for accent in strong)
    rolls = often["arpeggio sign"] <= len(facts.score.bars) / _RARE
    groups = [part for group in _accent_groups(strong) for part in _parted_by_kind(group)]
    return [_accent_draft(facts, group, rolls=rolls) for group in groups]


def _accent_groups(accents: list[Accent]) -> list[list[Accent]]:
    """Accents in bars that follow each other."""
    groups: list[list[Accent]] = []
    for accent in accents:
        if groups and accent.bar_index - groups[-1][-1].bar_index <= 1:
            groups[-1].append(accent)
        else:
            groups.append([accent])
    return groups


def _parted_by_kind(group: list[Accent]) -> list[list[Accent]]:
    """Part a row of accents where the strong signs (sforzando, forte-piano) begin and end.

    Editors add accents around the composer's sforzandos; what stands before or after them is a row of its own.
    """
    strong = [accent.bar_index for accent in group if accent.marked and accent.strength >= _STRONG_SIGN]
    if not strong:
        return [group]
    before = [accent for accent in group if accent.bar_index < strong[0]]
    after = [accent for accent in group if accent.bar_index > strong[-1]]
    core = [accent for accent in group if strong[0] <= accent.bar_index <= strong[-1]]
    return [part for part in (before, core, after) if part]


def _accent_draft(facts: Facts, group: list[Accent], *, rolls: bool) -> Draft:
    """One accent or one passage of accents."""
    first, last = group[0].bar_index, group[-1].bar_index
    best = max(group, key=lambda accent: accent.strength)
    if len(group) == 1:
        said = f"beat {best.beat:g}: {', '.join(best.reasons)}"
        exact = best.beat * 12 == round(best.beat * 12) and len(set(facts.page.on_page(first, last))) == 1
        beats = f"{best.beat:g}" if exact else ""
        return Draft(
            "accent", first, last, best.strength + 0.3 * (rolls and "arpeggio" in best.reasons[0]), (said,),
            "What gives this moment its stress?", facts.offers(first, last).accent(beats),
        )  # fmt: skip
    often = [beat for beat, count in Counter(f"{one.beat:g}" for one in group).most_common(3) if count > 1]
    where = f", mostly on beat {' and '.join(sorted(often[:2]))}" if often else ""
    evidence = (
        f"{len(group)} accents in {last - first + 1} bar{'s' * (last > first)}{where}",
        f"strongest: {', '.join(best.reasons)}",
    )
    strength = min(1.0, best.strength + 0.02 * min(15, len(group)))
    return Draft(
        "accent", first, last, strength, evidence, "Who marks these accents, all of them or only the strongest?",
        facts.offers(first, last).accent(),
    )  # fmt: skip


def dynamic_findings(facts: Facts) -> list[Draft]:
    """Sudden changes of loudness and alternations."""
    return [_contrast_draft(facts, contrast) for contrast in facts.contrasts]


def _contrast_draft(facts: Facts, contrast: Contrast) -> Draft:
    """One change, or one alternation of loud and soft."""
    marks, bars = contrast.marks, contrast.bars
    turns = len(marks) - 1
    loud, soft = _sides(facts, contrast)
    offers = facts.offers(contrast.first_bar, contrast.last_bar).loud_and_soft(loud, soft)
    if turns > 2:
        evidence = (
            f"{' '.join(marks[1:])} in {contrast.last_bar - contrast.first_bar + 1} bars, {turns} sudden changes",
        )
        question = "Do loud and soft belong to different groups?"
    else:
        before = f"{marks[0]} (bar {facts.words(bars[0], bars[0])})"
        if marks[0] == marks[-1]:  # what a hairpin left behind is not printed
            evidence = (f"{marks[-1]} at once where a hairpin has led away from {before}, {contrast.degrees} degrees",)
        else:
            evidence = (f"{before} to {marks[-1]} at once, {contrast.degrees} degrees",)
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


def swell_findings(facts: Facts) -> list[Draft]:
    """Hairpins of two bars or more, and those that lead two degrees or more."""
    drafts = []
    for swell in facts.swells:
        bars = swell.last_bar - swell.first_bar + 1
        degrees = abs(swell.after - swell.before) if swell.after >= 0 and swell.before >= 0 else 0
        if bars < 2 and degrees < 2:
            continue
        words = {"cresc": "crescendo", "dim": "diminuendo"}[swell.kind]
        evidence = (f"{words} over {bars} bar{'s' * (bars > 1)}" + (f", {degrees} degrees" if degrees else ""),)
        question = "Do players join, or does each play louder?" if swell.kind == "cresc" else "Who falls silent first?"
        strength = min(0.7, 0.2 + 0.03 * bars + 0.09 * degrees)
        offers = facts.offers(swell.first_bar, swell.last_bar).swell(swell.kind)
        drafts.append(Draft(words, swell.first_bar, swell.last_bar, strength, evidence, question, offers))
    return drafts


def pedal_findings(facts: Facts) -> list[Draft]:
    """Passages in which the pedal sustains, marked or implied; parted where a section starts or the figure changes."""
    cuts = {section.bar_index for section in facts.sections.rows} | set(facts.figuration.changes[2])
    drafts = []
    for source in ("marked", "implied"):
        rows = [row for row in facts.pedal.rows if row.source == source]
        parts = runs([row.bar_index for row in rows], bridge=2)
        for first, last in (part for run in parts for part in _parted(run, cuts)):
            inside = [row for row in rows if first <= row.bar_index <= last]
            if inside:
                drafts.append(_pedal_draft(facts, (inside[0].bar_index, inside[-1].bar_index), inside))
    return drafts


def _parted(run: tuple[int, int], cuts: set[int]) -> list[tuple[int, int]]:
    """Part a stretch of bars before each bar of *cuts*."""
    starts = sorted({run[0]} | {bar for bar in cuts if run[0] < bar <= run[1]})
    return [(start, after - 1) for start, after in zip(starts, [*starts[1:], run[1] + 1], strict=True)]


def _pedal_draft(facts: Facts, bars: tuple[int, int], rows: list[PedalRow]) -> Draft:
    """One passage under one kind of pedal; a broken figure needs the resonance more than chords do."""
    first, last = bars
    source, count = rows[0].source, last - first + 1
    mean = sum(len(row.notes) for row in rows) / len(rows)
    evidence = [f"pedal {source} in {len({row.bar_index for row in rows})} of {counted(count)}"]
    evidence.append(f"it keeps {mean:.0f} notes sounding on average")
    evidence += [rows[0].reason] if source == "implied" and rows[0].reason else []
    broken = facts.figuration.at(first, 2).family == "broken"
    if source == "marked" or rows[0].reason.startswith("simile"):
        strength = 0.45 + 0.08 * count
    else:
        strength = 0.35 + 0.07 * count if broken else min(0.55, 0.3 + 0.05 * count)
    question = "What gives the resonance: held winds, sustained strings, nothing?"
    offers = facts.offers(first, last).pedal()
    return Draft("pedal", first, last, min(0.95, strength), tuple(evidence), question, offers)
