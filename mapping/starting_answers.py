"""The survey's first suggestions as steps that can be added to a variant: none in another's way, none unplayable."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from base.errors import KlangprobeError
from mapping.starting_trial import step_from
from mapping.steps import LAYERS, resolve

if TYPE_CHECKING:
    from mapping.arrangement import Player
    from mapping.starting_trial import Trial
    from reading.score import Score
    from reading.survey import Finding, Survey

__all__ = ["MOST_STEPS", "Suggestion", "first_answers"]

MOST_STEPS = 8
_MOST_TRIED = 24
"""Suggestions arranged and checked at most: each costs as much as a variant."""
_SUMS = frozenset(LAYERS[6:])


@dataclass(frozen=True)
class Suggestion:
    """A finding with the steps of its first option."""

    finding: Finding
    steps: tuple[dict[str, Any], ...]


@dataclass(frozen=True)
class _Claim:
    """What a suggestion lays its hand on: bars, rows of players, layers."""

    bars: frozenset[int]
    rows: frozenset[int]
    layers: frozenset[str]

    def meets(self, other: _Claim) -> bool:
        """Say whether both want the same players or notes in the same bars."""
        if not self.bars & other.bars:
            return False
        sums = (self.layers | other.layers) & _SUMS and self.layers and other.layers
        return bool(self.rows & other.rows or self.layers & other.layers or sums)


def first_answers(survey: Survey, players: tuple[Player, ...], trial: Trial) -> list[Suggestion]:
    """Return first options of the findings of the first rank that go together and that players can play.

    The strongest finding of each kind comes first, then the second of each kind, and so on, so that the few steps show
    several kinds of question. An option is left out where another has its players or its layer in the same bars, where
    it changes nothing, and where it adds an error of :func:`mapping.check`.

    Parameters
    ----------
    survey : Survey
    players : tuple of Player
    trial : Trial
        The variant the suggestions are added to.

    Returns
    -------
    list of Suggestion
        In the order of the piece, at most ``MOST_STEPS`` steps together.
    """
    chosen: list[Suggestion] = []
    claims: list[_Claim] = []
    tried = 0
    for one in _candidates(survey.findings):
        claim = _claim(survey.score, players, one)
        room = sum(len(taken.steps) for taken in chosen) + len(one.steps) <= MOST_STEPS
        if claim is None or not room or any(claim.meets(other) for other in claims):
            continue
        tried += 1
        if tried > _MOST_TRIED:
            break
        together = sorted([*chosen, one], key=_place)
        if trial.takes([data for taken in together for data in taken.steps]):
            chosen, claims = together, [*claims, claim]
    return chosen


def _candidates(findings: tuple[Finding, ...]) -> list[Suggestion]:
    """First options of the first rank: the strongest of each kind, then the second of each."""
    seen = Counter[str]()
    turns: list[tuple[int, float, Finding]] = []
    for finding in sorted((one for one in findings if one.rank == 1 and one.options), key=lambda one: -one.strength):
        turns.append((seen[finding.kind], -finding.strength, finding))
        seen[finding.kind] += 1
    turns.sort(key=lambda turn: turn[:2])
    return [Suggestion(finding, finding.options[0].steps) for _, _, finding in turns if finding.options[0].steps]


def _place(one: Suggestion) -> tuple[int, int]:
    """Order of the piece."""
    return one.finding.first_bar_index, one.finding.last_bar_index


def _claim(score: Score, players: tuple[Player, ...], one: Suggestion) -> _Claim | None:
    """What the steps lay their hand on; None where a step has no bars, is faulty, or a player is missing."""
    from reading import bars_named

    bars: set[int] = set()
    rows: set[int] = set()
    layers: set[str] = set()
    for data in one.steps:
        try:
            step = step_from(data)
            spans = bars_named(score, step.options.bars or "")
        except (KlangprobeError, ValueError):
            return None
        for name in step.options.players_named():
            found = resolve(name, players)
            if not found:
                return None
            rows |= {row for row, _ in found}
        bars |= {bar for first, last in spans for bar in range(first, last + 1)}
        layers |= {data[step.verb]} if isinstance(data[step.verb], str) else set()
    return _Claim(frozenset(bars), frozenset(rows), frozenset(layers))
