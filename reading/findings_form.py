"""Findings about form: new themes, contrasts of character, repeats, dialogues."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reading.findings import Draft
from reading.register import pitch_name

if TYPE_CHECKING:
    from reading.findings_facts import Facts
    from reading.form import Section

__all__ = ["dialogue_findings", "repeat_findings", "section_findings"]

_THEME = 0.55
_SHOWN_BARS = 8


def section_findings(facts: Facts) -> list[Draft]:
    """Draft starts of sections: a new theme where the music is new and stands out, else a contrast."""
    starts = sorted(facts.sections.rows, key=lambda section: section.bar_index)
    return [
        _section_draft(facts, section, starts[place + 1].bar_index if place + 1 < len(starts) else None)
        for place, section in enumerate(starts)
        if section.bar_index > 1
    ]


def _section_draft(facts: Facts, section: Section, following: int | None) -> Draft:
    """One start, with the bars of its first phrase."""
    bars = len(facts.score.bars)
    last = min(bars, section.bar_index + _SHOWN_BARS - 1, (following or bars + 1) - 1)
    known = next((repeat for repeat in facts.repeats if abs(repeat.later[0] - section.bar_index) <= 1), None)
    evidence = [f"strength {section.strength:.2f}: {', '.join(section.reasons)}"]
    evidence += _changes(facts, section.bar_index)
    offers = facts.offers(section.bar_index, last)
    if section.strength >= _THEME and known is None:
        question = "Which colour belongs to this theme?"
        strength = min(0.98, 0.35 + 0.6 * section.strength)
        return Draft("new theme", section.bar_index, last, strength, tuple(evidence), question, offers.theme())
    question = "Does the new character bring other players?"
    return Draft(
        "contrast", section.bar_index, last, 0.2 + 0.55 * section.strength, tuple(evidence), question, offers.contrast()
    )


def _changes(facts: Facts, bar: int) -> list[str]:
    """Say what changes by sign at a bar: key, metre, tempo, words."""
    now, before = facts.score.bars[bar - 1], facts.score.bars[bar - 2]
    found = []
    if now["fifths"] != before["fifths"] or now["minor"] != before["minor"]:
        found.append("new key signature")
    if (now["beats"], now["beat_type"]) != (before["beats"], before["beat_type"]):
        found.append("new metre")
    start, end = facts.score.span(bar, bar)
    words = [mark.value for mark in facts.score.marks_of("text") if start <= mark.onset < end]
    tempo = [mark.value for mark in facts.score.marks_of("tempo") if start <= mark.onset < end]
    found += [f"marked “{', '.join(words)}”"] if words else []
    found += [f"new tempo, {float(tempo[0]):.0f} quarters a minute"] if tempo else []
    return found


def repeat_findings(facts: Facts) -> list[Draft]:
    """Passages that come back."""
    drafts = []
    for repeat in facts.repeats:
        first, last = repeat.later
        bars = last - first + 1
        interval = f", {abs(repeat.semitones)} semitones {'up' if repeat.semitones > 0 else 'down'}" * bool(
            repeat.semitones
        )
        model = facts.words(*repeat.first)
        evidence = (f"bars {model} come back{interval}: {repeat.kind}, likeness {repeat.similarity:.2f}",)
        strength = min(0.9, 0.35 + 0.05 * min(bars, 8) + 0.1 * (repeat.kind == "literal"))
        offers = facts.offers(first, last).repeat()
        drafts.append(Draft("repeat", first, last, strength, evidence, "The same colour again, or a new one?", offers))
    return drafts


def dialogue_findings(facts: Facts) -> list[Draft]:
    """Phrases that answer each other between registers."""
    drafts = []
    for dialogue in facts.dialogues:
        turns = ", ".join(
            f"bar {facts.words(first, last)} around {pitch_name(middle)}" for first, last, middle in dialogue.turns[:4]
        )
        evidence = (f"{len(dialogue.turns)} turns, at least {dialogue.apart} semitones apart", turns)
        strength = min(0.95, 0.4 + 0.08 * len(dialogue.turns) + 0.005 * dialogue.apart)
        offers = facts.offers(dialogue.first_bar, dialogue.last_bar).dialogue()
        question = "Which two groups talk to each other?"
        drafts.append(Draft("dialogue", dialogue.first_bar, dialogue.last_bar, strength, evidence, question, offers))
    return drafts
