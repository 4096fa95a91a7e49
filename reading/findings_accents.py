"""Accents as findings: single ones, rows in neighbouring bars, and rows of like accents with a bar between."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from reading.findings import Draft
from reading.findings_facts import counted

if TYPE_CHECKING:
    from reading.accents import Accent
    from reading.findings_facts import Facts

__all__ = ["accent_rows"]

_RARE = 8  # one arpeggio sign for so many bars or fewer is an accent; more are a way of playing
_ROLLED = 0.3  # what such a sign adds
_STRONG_SIGN = 0.65  # sforzando and forte-piano have 0.7
_WEAK = 0.3  # an accent below this strength is kept in the table only
_APART = 2  # like accents on one beat, so many bars apart, are one row


def accent_rows(facts: Facts) -> list[tuple[Draft, frozenset[int]]]:
    """Return accents, single or in rows, each with the moments (ticks) it stands on.

    A row counts as much as its strongest moment and a little more.

    Parameters
    ----------
    facts : Facts
    """
    strong = [
        accent for accent in facts.accents if accent.strength >= _WEAK and (accent.marked or accent.strength > 0.4)
    ]
    rare = sum(map(_rolled, strong)) <= len(facts.score.bars) / _RARE
    groups = _joined([part for group in _neighbours(strong) for part in _parted_by_kind(group)])
    return [(_draft(facts, group, rare=rare), frozenset(one.onset for one in group)) for group in groups]


def _rolled(accent: Accent) -> bool:
    """Whether an arpeggio sign stands there."""
    return any(reason.startswith("arpeggio sign") for reason in accent.reasons)


def _neighbours(accents: list[Accent]) -> list[list[Accent]]:
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
    strong = [accent.bar_index for accent in group if _strong(accent)]
    if not strong:
        return [group]
    before = [accent for accent in group if accent.bar_index < strong[0]]
    after = [accent for accent in group if accent.bar_index > strong[-1]]
    core = [accent for accent in group if strong[0] <= accent.bar_index <= strong[-1]]
    return [part for part in (before, core, after) if part]


def _strong(accent: Accent) -> bool:
    """Whether a strong sign stands there."""
    return accent.marked and accent.strength >= _STRONG_SIGN


def _joined(groups: list[list[Accent]]) -> list[list[Accent]]:
    """Join rows of like accents with one bar between: the same sign on the same beat."""
    result: list[list[Accent]] = []
    last: dict[tuple[str, float], list[Accent]] = {}
    for group in groups:
        kind = _kind(group)
        before = last.get(kind)
        if kind[0] and before and group[0].bar_index - before[-1].bar_index <= _APART:
            before += group
        else:
            last[kind] = list(group)
            result.append(last[kind])
    return [sorted(group, key=lambda one: one.onset) for group in result]


def _kind(group: list[Accent]) -> tuple[str, float]:
    """The sign of a row (nothing where it is only heard) and the beat on which it mostly stands."""
    signs = [accent for accent in group if _strong(accent)] or [accent for accent in group if accent.marked]
    if not signs:
        return "", 0.0
    beats = Counter(accent.beat for accent in signs)
    beat = min(beats, key=lambda one: (-beats[one], one))
    return "strong" if _strong(signs[0]) else signs[0].reasons[0].split(" over ")[0], beat


def _draft(facts: Facts, group: list[Accent], *, rare: bool) -> Draft:
    """One accent or one row of accents."""
    first, last = group[0].bar_index, group[-1].bar_index
    best = max(group, key=lambda accent: accent.strength)
    strength = best.strength + _ROLLED * (rare and _rolled(best))
    if len(group) == 1:
        said = f"beat {best.beat:g}: {', '.join(best.reasons)}"
        exact = best.beat * 12 == round(best.beat * 12) and len(set(facts.page.on_page(first, last))) == 1
        offers = facts.offers(first, last).accent(f"{best.beat:g}" if exact else "")
        question = "What gives this moment its stress?"
        return Draft("accent", first, last, min(1.0, round(strength, 3)), (said,), question, offers)
    often = [beat for beat, count in Counter(f"{one.beat:g}" for one in group).most_common(3) if count > 1]
    on = sorted(beat for beat in often[:2] if beat.isdigit())
    where = f", mostly on beat{'s' * (len(on) > 1)} {' and '.join(on)}" if on else ", mostly off the beat" * bool(often)
    evidence = (
        f"{len(group)} accents in {counted(last - first + 1)}{where}",
        f"strongest: {', '.join(best.reasons)}",
    )
    strength = min(1.0, round(strength + 0.02 * min(15, len(group)), 3))
    question = "Who marks these accents, all of them or only the strongest?"
    return Draft("accent", first, last, strength, evidence, question, facts.offers(first, last).accent())
