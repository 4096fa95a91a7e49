"""Findings about form: new themes, contrasts of character, repeats, dialogues."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reading.findings import Draft
from reading.findings_facts import distance

if TYPE_CHECKING:
    from reading.findings_facts import Facts
    from reading.form import Section

__all__ = ["dialogue_findings", "repeat_findings", "section_findings"]

_THEME = 0.55  # weaker starts are phrases; well below the first rank, so that no theme of that rank loses its name
_PARTS = 0.85  # a start that ends what comes before it
_LEAST = 0.36  # weaker starts are kept in the table only
_SHOWN_BARS, _LEAST_SHOWN = 8, 4
_SAME = 0.995  # likeness that reads 1.00


def section_findings(facts: Facts) -> list[Draft]:
    """Draft starts: a new theme where the music is new, a return where it comes back, else a contrast.

    The name follows from the notes; how much the start stands out decides the rank.
    """
    starts = [section for section in facts.sections.rows + facts.sections.more if section.strength >= _LEAST]
    parting = sorted(section.bar_index for section in starts if section.strength >= _PARTS)
    told = [repeat.later[0] for repeat in facts.repeats]
    drafts = []
    for section in starts:
        following = next((bar for bar in parting if bar >= section.bar_index + _LEAST_SHOWN), len(facts.score.bars) + 1)
        name = _name(section)
        if section.bar_index > 1 and (name != "return" or all(abs(section.bar_index - bar) > 1 for bar in told)):
            drafts.append(_section_draft(facts, section, name, min(section.bar_index + _SHOWN_BARS, following) - 1))
    return drafts


def _name(section: Section) -> str:
    """Name a start by what follows it."""
    if section.back:
        return "return"
    return "new theme" if section.new and section.strength >= _THEME else "contrast"


def _section_draft(facts: Facts, section: Section, name: str, last: int) -> Draft:
    """One start, with its first bars: as far as the next that parts the piece."""
    first, strength = section.bar_index, section.strength
    evidence = (", ".join(section.reasons), *_words(facts, first), f"strength {strength:.2f} of 1")
    offers = facts.offers(first, last, upbeat=True)
    question, base, weight, options = {
        "new theme": ("Which colour belongs to this theme?", 0.2, 0.7, offers.theme),
        "return": ("What was heard before comes back: in its first colour, or richer?", 0.2, 0.5, offers.repeat),
        "contrast": ("Does the new character bring other players?", -0.07, 0.85, offers.contrast),  # many are phrases
    }[name]
    return Draft(name, first, last, base + weight * strength, evidence, question, options(), upbeat=True)


def _words(facts: Facts, bar: int) -> list[str]:
    """Words and tempo that stand at a bar."""
    start, end = facts.score.span(bar, bar)
    words = list(dict.fromkeys(mark.value for mark in facts.score.marks_of("text") if start <= mark.onset < end))
    tempo = [mark.value for mark in facts.score.marks_of("tempo") if start <= mark.onset < end]
    found = [f"marked “{', '.join(words)}”"] if words else []
    return found + ([f"{float(tempo[0]):.0f} quarters a minute"] if tempo else [])


def repeat_findings(facts: Facts) -> list[Draft]:
    """Passages that come back."""
    drafts = []
    for repeat in facts.repeats:
        first, last = repeat.later
        bars = last - first + 1
        way = "up" if repeat.semitones > 0 else "down"
        interval = f", {distance(abs(repeat.semitones))} {way}" if repeat.semitones else ""
        model = facts.words(*repeat.first)
        alike = "" if repeat.similarity >= _SAME else f", likeness {repeat.similarity:.2f} of 1"
        evidence = (f"bars {model} come back{interval}: {repeat.kind}{alike}",)
        at_once = first == repeat.first[1] + 1
        strength = 0.35 + 0.05 * min(bars, 8) + 0.1 * (repeat.kind == "literal") + 0.12 * at_once
        offers = facts.offers(first, last).repeat()
        drafts.append(Draft("repeat", first, last, strength, evidence, "The same colour again, or a new one?", offers))
    return drafts


def dialogue_findings(facts: Facts) -> list[Draft]:
    """Phrases or motifs that answer each other between registers or hands."""
    drafts = []
    for dialogue in facts.dialogues:
        turns = ", ".join(
            f"bar{'s' * (last > first)} {facts.words(first, last)} around {name}"
            for (first, last, _), name in zip(dialogue.turns[:4], dialogue.names, strict=False)
        )
        evidence = (f"{len(dialogue.turns)} turns, at least {distance(dialogue.apart)} apart", turns)
        strength = min(0.95, 0.4 + 0.08 * len(dialogue.turns) + 0.005 * dialogue.apart)
        offers = facts.offers(dialogue.first_bar, dialogue.last_bar).dialogue()
        question = "Which two groups talk to each other?"
        drafts.append(Draft("dialogue", dialogue.first_bar, dialogue.last_bar, strength, evidence, question, offers))
    return drafts
