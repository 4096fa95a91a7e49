"""Findings: what an orchestrator must decide, with its evidence, its question and options that run as spec steps."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from reading.barwords import bars_said

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reading.features_whole import WholeBars

__all__ = ["FIRST_RANK", "Draft", "Finding", "Option", "joined", "ranked"]

FIRST_RANK = 0.65
_SHOULD = 0.4
_BARS_PER_MUST = 2.75
_BARS_PER_SHOULD = 1.75
_BARS_PER_KIND = 14
"""Bars for each finding of the first rank, for each of the first two, for each of one kind in the first rank, at least.

Sixty bars then give at most 34 findings in the first two ranks; at nine seconds each that is a list of five minutes.
"""


@dataclass(frozen=True)
class Option:
    """One way to answer: a sentence, and spec steps to add to a variant in which every layer is played."""

    says: str
    steps: tuple[dict[str, Any], ...]

    def to_json(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {"says": self.says, "steps": [dict(step) for step in self.steps]}


@dataclass(frozen=True)
class Draft:
    """A finding before it is ranked: whole bars, strength 0 to 1, and the rest as in :class:`Finding`.

    ``upbeat``: where the page divides the bar before, the part that leads to the first bar belongs to it.
    """

    kind: str
    first: int
    last: int
    strength: float
    evidence: tuple[str, ...]
    question: str
    options: tuple[Option, ...]
    upbeat: bool = False


@dataclass(frozen=True)
class Finding:
    """Something that must be rethought for orchestra.

    Attributes
    ----------
    kind : str
        In the words of the trade: ``accent``, ``pedal``, ``gap``, ``new theme`` …
    first_bar_index, last_bar_index : int
        From 1, both included.
    rank : int
        1 must be answered, 2 should be, 3 is a detail.
    strength : float
        0 to 1, what the rank was made from.
    evidence : tuple of str
        Sentences with numbers.
    question : str
    options : tuple of Option
    bars : str
        The bars as printed, as a spec writes them; without the upbeat that the indices count in.
    """

    kind: str
    first_bar_index: int
    last_bar_index: int
    rank: int
    strength: float
    evidence: tuple[str, ...]
    question: str
    options: tuple[Option, ...]
    bars: str

    @property
    def name(self) -> str:
        """What the spec's ``answers:`` call it: ``pedal 3-5``."""
        return f"{self.kind} {self.bars}"

    def to_json(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            "kind": self.kind,
            "name": self.name,
            "first_bar_index": self.first_bar_index,
            "last_bar_index": self.last_bar_index,
            "bars": self.bars,
            "rank": self.rank,
            "strength": round(self.strength, 3),
            "evidence": list(self.evidence),
            "question": self.question,
            "options": [option.to_json() for option in self.options],
        }


def ranked(page: WholeBars, drafts: Iterable[Draft]) -> tuple[Finding, ...]:
    """Rank the drafts: by strength, the first ranks never longer than one reads in a few minutes.

    Parameters
    ----------
    page : WholeBars
    drafts : iterable of Draft
        Their bars are whole bars.

    Returns
    -------
    tuple of Finding
        By rank, then in the order of the piece, in the bars of the page.
    """
    strongest = sorted(drafts, key=lambda draft: (-draft.strength, draft.first, draft.kind))
    ranks = _ranks(strongest, len(page.score.bars))
    result = []
    for rank, draft in zip(ranks, strongest, strict=True):
        first, last = page.on_page(draft.first, draft.last, upbeat=draft.upbeat)
        bars = bars_said(page.page, *page.on_page(draft.first, draft.last))  # 9-16, though an upbeat leads there
        result.append(
            Finding(
                draft.kind,
                first,
                last,
                rank,
                draft.strength,
                draft.evidence,
                draft.question,
                draft.options,
                bars,
            )
        )
    return tuple(sorted(result, key=lambda one: (one.rank, one.first_bar_index, one.last_bar_index, one.kind)))


def _ranks(drafts: list[Draft], bars: int) -> list[int]:
    """Rank of each draft, strongest first: by strength, as far as the lists stay short."""
    must, should = max(6, round(bars / _BARS_PER_MUST)), max(10, round(bars / _BARS_PER_SHOULD))
    of_kind, kinds = max(3, round(bars / _BARS_PER_KIND)), Counter[str]()
    ranks: list[int] = []
    for draft in drafts:
        first = draft.strength >= FIRST_RANK and ranks.count(1) < must and kinds[draft.kind] < of_kind
        second = draft.strength >= _SHOULD and ranks.count(1) + ranks.count(2) < should
        kinds[draft.kind] += first
        ranks.append(1 if first else 2 if second else 3)
    return ranks


def joined(drafts: Iterable[Draft]) -> list[Draft]:
    """Return one draft for each kind and place; the evidence of twins is kept."""
    known: dict[tuple[str, int, int], Draft] = {}
    for draft in drafts:
        key = (draft.kind, draft.first, draft.last)
        twin = known.get(key)
        if twin is None:
            known[key] = draft
            continue
        strong = max(twin, draft, key=lambda one: one.strength)
        evidence = tuple(dict.fromkeys((*twin.evidence, *draft.evidence)))
        known[key] = replace(strong, evidence=evidence)
    return list(known.values())
