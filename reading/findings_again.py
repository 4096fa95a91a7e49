"""Findings that a literal repeat brings a second time: asked once, with both places."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from reading.findings import joined

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from reading.findings import Draft
    from reading.repeats import Repeat

__all__ = ["asked_once"]

_DETAIL = 0.39  # the strength of what has been asked before: below the second rank
_LIKENESS = 0.95
_OWN = ("repeat", "return")  # what a repeat itself asks


def asked_once(drafts: Iterable[Draft], repeats: Iterable[Repeat], words: Callable[[int, int], str]) -> list[Draft]:
    """Return the drafts, one of each kind and place, with those of a literal repeat made details and their models told.

    Whether the repeat gets another colour is asked by the finding of that name; the same accents, figures and gaps are
    no new questions.

    Parameters
    ----------
    drafts : iterable of Draft
    repeats : iterable of Repeat
        In whole bars, as the drafts.
    words : callable
        First and last whole bar to bars as a spec writes them.

    Returns
    -------
    list of Draft
    """
    result = {(one.kind, one.first, one.last): one for one in joined(drafts)}
    for repeat in sorted(repeats, key=lambda one: one.later):
        if repeat.kind != "literal" or repeat.similarity < _LIKENESS:
            continue
        lag = repeat.later[0] - repeat.first[0]
        for key, draft in list(result.items()):
            inside = repeat.later[0] <= draft.first and draft.last <= repeat.later[1]
            model = result.get((draft.kind, draft.first - lag, draft.last - lag))
            if not inside or model is None or draft.kind in _OWN or draft.strength <= _DETAIL:
                continue
            told = f"as in {_bars(words(model.first, model.last))}"
            result[key] = replace(draft, strength=_DETAIL, evidence=(*draft.evidence, told))
            again = f"again in {_bars(words(draft.first, draft.last))}"
            result[(model.kind, model.first, model.last)] = replace(model, evidence=(*model.evidence, again))
    return list(result.values())


def _bars(words: str) -> str:
    """Bars with the noun before them."""
    return f"bars {words}" if "-" in words else f"bar {words}"
