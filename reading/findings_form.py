"""Findings about form: new themes, contrasts of character, repeats, dialogues."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reading.findings import Draft
from reading.findings_facts import distance

if TYPE_CHECKING:
    from reading.findings_facts import Facts
    from reading.form import Section
    from reading.repeats import Repeat

__all__ = ["dialogue_findings", "repeat_findings", "section_findings"]

_THEME = 0.55  # weaker starts are phrases; well below the first rank, so that no theme of that rank loses its name
_LEAST = 0.36  # weaker starts are kept in the table only
_SHOWN_BARS, _LEAST_SHOWN = 8, 4
_PARTS = 0.85  # a start that ends what comes before it
_SAME = 0.995  # likeness that reads 1.00
_PLAIN = 0.85  # likeness below which one may doubt that it is a repeat
_OPENING = 2  # an upbeat may be counted as the first bar
_CLOSING_BARS = 2  # too few to be a theme
_LEAST_LETTERS = 2  # less is part of a sign


def section_findings(facts: Facts) -> list[Draft]:
    """Draft starts: a new theme where the music is new, a return where it comes back, else a contrast.

    The name follows from the notes; how much the start stands out decides the rank. Of two starts within a phrase the
    weaker is passed over; each is shown as far as the next that parts the piece or is of its kind.
    """
    kept: dict[int, tuple[Section, str]] = {}
    for section in sorted(facts.sections.rows + facts.sections.more, key=lambda one: (-one.strength, one.bar_index)):
        name = _name(facts, section)
        if name and all(abs(section.bar_index - bar) >= _LEAST_SHOWN for bar in kept):
            kept[section.bar_index] = (section, name)
    drafts = []
    for bar, (section, name) in kept.items():
        parting = [
            other for other, (one, told) in kept.items() if other > bar and (one.strength >= _PARTS or told == name)
        ]
        following = min(parting, default=len(facts.score.bars) + 1)
        drafts.append(_section_draft(facts, section, name, min(bar + _SHOWN_BARS, following) - 1))
    return drafts


def _name(facts: Facts, section: Section) -> str:
    """Name a start by what follows it; empty for what is no question of its own.

    That is the start of a repeat, which is told with it, what a literal repeat brings again, and the last two bars.
    """
    bar = section.bar_index
    if bar == 1 or section.strength < _LEAST or bar > len(facts.score.bars) - _CLOSING_BARS:
        return ""
    around = [one for one in facts.repeats if one.later[0] - 1 <= bar <= one.later[1]]
    if any(bar - one.later[0] <= 1 for one in around if section.back or _long(one)):
        return ""
    if section.back:
        return "return"
    if any(one.kind == "literal" and _long(one) for one in around):
        return ""
    heard = any(_long(one) for one in around)
    return "new theme" if section.new and not heard and section.strength >= _THEME else "contrast"


def _long(repeat: Repeat) -> bool:
    """Whether a repeat is a phrase at least."""
    return repeat.later[1] - repeat.later[0] + 1 >= _LEAST_SHOWN


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
    words = [word for word in words if sum(letter.isalpha() for letter in word) >= _LEAST_LETTERS]
    tempo = [mark.value for mark in facts.score.marks_of("tempo") if start <= mark.onset < end]
    found = [f"marked “{', '.join(words)}”"] if words else []
    return found + ([f"{float(tempo[0]):.0f} quarters a minute"] if tempo else [])


def repeat_findings(facts: Facts) -> list[Draft]:
    """Passages that come back."""
    drafts = []
    for repeat in facts.repeats:
        first, last = repeat.later
        bars = last - first + 1
        at_once = first == repeat.first[1] + 1
        strength = 0.35 + 0.05 * min(bars, 8) + 0.1 * (repeat.kind == "literal") + 0.16 * at_once
        strength -= 0.5 * max(0.0, _PLAIN - repeat.similarity)
        offers = facts.offers(first, last).repeat()
        question = "The same colour again, or a new one?"
        drafts.append(Draft("repeat", first, last, strength, (_comes_back(facts, repeat),), question, offers))
    return drafts


def _comes_back(facts: Facts, repeat: Repeat) -> str:
    """Say what comes back, where from, how far away and how much alike."""
    moved = repeat.semitones + 12 * repeat.octaves
    interval = f", {distance(abs(moved))} {'up' if moved > 0 else 'down'}" if moved else ""
    model = facts.words(*repeat.first)
    bars = f"bar{'s' * (repeat.first[1] > repeat.first[0])} {model}"
    far = _long(repeat) and repeat.later[0] > repeat.first[1] + 1
    opening = "the opening returns: " if repeat.first[0] <= _OPENING and far else ""
    what = f"the tune of {bars} comes back over other music" if repeat.tune else f"{bars} come back"
    same = repeat.similarity >= _SAME
    kind = {"modal": "in the other mode", "literal": "literal" if same else "literal but for single notes"}
    alike = "" if same else f", likeness {repeat.similarity:.2f} of 1"
    return f"{opening}{what}{interval}: {kind.get(repeat.kind, repeat.kind)}{alike}"


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
