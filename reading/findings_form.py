"""Findings about form: new themes, contrasts of character, repeats, dialogues."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from reading.findings import Draft
from reading.findings_facts import distance
from reading.register import pitch_name

if TYPE_CHECKING:
    from reading.findings_facts import Facts
    from reading.form import Section

__all__ = ["dialogue_findings", "repeat_findings", "section_findings"]

_THEME = 0.65
_NEAR = 0.1  # a start so near to the line may fall on either side
_BACK = ("opening returns", "theme returns")  # reasons of a start, as reading.form words them
_NEW = ("new theme", "starts a passage", "new tempo", "new key signature", "new metre")
_LEAST = 0.36  # weaker starts are kept in the table only
_SHOWN_BARS = 8
_SAME = 0.995  # likeness that reads 1.00


def section_findings(facts: Facts) -> list[Draft]:
    """Draft starts of sections: a new theme where the music is new and stands out, else a contrast."""
    starts = [section for section in facts.sections.rows + facts.sections.more if section.strength >= _LEAST]
    line = _theme_line([section.strength for section in starts])
    main = sorted(section.bar_index for section in starts if section.strength >= line)
    drafts = [_section_draft(facts, section, line, main) for section in starts if section.bar_index > 1]
    told = [repeat.later[0] for repeat in facts.repeats]
    return [draft for draft in drafts if draft.kind != "return" or all(abs(draft.first - bar) > 1 for bar in told)]


def _theme_line(strengths: list[float]) -> float:
    """Return the strength from which a start is a theme: the middle of the widest gap near the usual line.

    A fixed line would call a start a theme in one edition and a contrast in another where it lies on the line; in a gap
    no start does.
    """
    near = [value for value in strengths if abs(value - _THEME) < _NEAR]
    edges = [_THEME - _NEAR, *sorted(near), _THEME + _NEAR]
    low, high = max(pairwise(edges), key=lambda pair: pair[1] - pair[0])
    return (low + high) / 2


def _section_draft(facts: Facts, section: Section, line: float, main: list[int]) -> Draft:
    """One start, with its first bars: as far as the next start that stands out."""
    first, strength = section.bar_index, section.strength
    following = next((bar for bar in main if bar > first), len(facts.score.bars) + 1)
    last = min(first + _SHOWN_BARS - 1, following - 1)
    known = next((repeat for repeat in facts.repeats if abs(repeat.later[0] - first) <= 1), None)
    evidence = (", ".join(section.reasons), *_words(facts, first), f"strength {strength:.2f} of 1")
    offers = facts.offers(first, last, upbeat=True)
    if strength >= line and any(words in reason for reason in section.reasons for words in _BACK):
        question = "What was heard before comes back: in its first colour, or richer?"
        return Draft("return", first, last, 0.2 + 0.5 * strength, evidence, question, offers.repeat(), upbeat=True)
    if strength >= line and known is None and any(words in reason for reason in section.reasons for words in _NEW):
        question = "Which colour belongs to this theme?"
        return Draft("new theme", first, last, 0.35 + 0.6 * strength, evidence, question, offers.theme(), upbeat=True)
    question = "Does the new character bring other players?"
    return Draft("contrast", first, last, 0.2 + 0.55 * strength, evidence, question, offers.contrast(), upbeat=True)


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
    """Phrases that answer each other between registers."""
    drafts = []
    for dialogue in facts.dialogues:
        turns = ", ".join(
            f"bar {facts.words(first, last)} around {pitch_name(middle)}" for first, last, middle in dialogue.turns[:4]
        )
        evidence = (f"{len(dialogue.turns)} turns, at least {distance(dialogue.apart)} apart", turns)
        strength = min(0.95, 0.4 + 0.08 * len(dialogue.turns) + 0.005 * dialogue.apart)
        offers = facts.offers(dialogue.first_bar, dialogue.last_bar).dialogue()
        question = "Which two groups talk to each other?"
        drafts.append(Draft("dialogue", dialogue.first_bar, dialogue.last_bar, strength, evidence, question, offers))
    return drafts
