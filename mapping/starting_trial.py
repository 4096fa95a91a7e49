"""Trying steps on top of a variant before they are written into a first spec: what do they change, who objects."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from base.errors import KlangprobeError
from base.plugins import find, load
from mapping.spec_check import GROUP

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from mapping.arrangement import Player
    from mapping.draft import Draft
    from mapping.spec import Step
    from reading.layers import Layers
    from reading.score import Score

__all__ = ["Trial", "step_from"]

Steps = list[dict[str, Any]]
Errors = set[tuple[str, str, int]]

_ROUNDS = 12
"""Times a step is cut back: the first round takes away the first bar of every faulty stretch, each later one more."""
_SHORTEST = 4
"""Bars a doubling stays at least; one that comes and goes sooner would be a colour of its own."""


def step_from(data: dict[str, Any]) -> Step:
    """Return a step from plain data.

    Raises
    ------
    ValueError
        Where no technique knows it.
    """
    from mapping.spec import Step

    verb = next((key for key in data if key in find(GROUP)), "")
    if not verb:
        msg = f"no technique among {', '.join(map(str, data))}"
        raise ValueError(msg)
    return Step(verb, load(GROUP, verb).Options.model_validate(data))


class Trial:
    """A variant to which steps are added to see what comes of them.

    Parameters
    ----------
    score : Score
    layers : Layers
    players : tuple of Player
        The orchestra; the singers of a song join it.
    start : iterable of dict
        Steps of the variant; its own errors are held against no step.
    """

    def __init__(
        self, score: Score, layers: Layers, players: tuple[Player, ...], start: Iterable[dict[str, Any]]
    ) -> None:
        from mapping.draft import Draft, Piece
        from mapping.singing import singing_of

        singing = singing_of(players, score)
        self._layers, self._players, self._score = layers, singing.players, score
        self._piece = Piece(score, layers, singing)
        steps = list(start)
        self._done = len(steps)
        self._start = self._after(Draft(singing.notes), steps, 0)
        self._known = self._errors(self._start)
        self._best = self._start

    def takes(self, steps: Steps) -> bool:
        """Say whether the steps change more than those taken before and add no error; then they are taken."""
        try:
            draft = self._after(self._start, steps, self._done)
            if _same(draft, self._best) or self._errors(draft) - self._known:
                return False
        except KlangprobeError:
            return False  # what cannot be applied is no first suggestion
        self._best = draft
        return True

    def playable(self, step: dict[str, Any]) -> dict[str, Any] | None:
        """Return the step, kept out of the bars where it adds an error; None where too little of it would be left."""
        kept = set(range(1, len(self._score.bars) + 1))
        limited = step
        for more in range(_ROUNDS):
            faulty = self._errors(self._after(self._start, [limited], self._done)) - self._known
            if not faulty:
                return limited
            kept = _long_enough(kept - {bar + away for _, _, bar in faulty for away in range(more + 1)})
            if not kept:
                break
            limited = {**step, "bars": self._said(kept)}
        return None

    def _said(self, bars: set[int]) -> str:
        """Bars as a spec says them."""
        from reading import bars_said

        return ", ".join(bars_said(self._score, *span) for span in _runs(bars))

    def _after(self, draft: Draft, steps: Sequence[dict[str, Any]], done: int) -> Draft:
        """The draft after the steps."""
        from mapping.arranging import apply_step
        from mapping.draft import Context

        for row, data in enumerate(steps, start=done):
            draft = apply_step(draft, step_from(data), Context(self._piece, self._players, row))
        return draft

    def _errors(self, draft: Draft) -> Errors:
        """Errors a player would name, as player, kind and bar."""
        from mapping.arranging import arranged
        from mapping.checks import check

        found = check(arranged("", "", self._score, self._players, draft, ()), self._layers)
        return {(one.player, one.kind, one.bar_index) for one in found if one.severity == "error"}


def _same(one: Draft, other: Draft) -> bool:
    """Whether both hold the same notes and marks; which step wrote a note is no difference."""
    if len(one.notes) != len(other.notes) or one.marks != other.marks:
        return False
    names = [name for name in one.notes.dtype.names or () if name != "cause"]
    return all(bool((one.notes[name] == other.notes[name]).all()) for name in names)


def _runs(bars: set[int]) -> list[tuple[int, int]]:
    """Stretches of neighbouring bars."""
    runs: list[tuple[int, int]] = []
    for bar in sorted(bars):
        if runs and bar == runs[-1][1] + 1:
            runs[-1] = (runs[-1][0], bar)
        else:
            runs.append((bar, bar))
    return runs


def _long_enough(bars: set[int]) -> set[int]:
    """Bars without stretches too short for a colour to settle."""
    return {bar for first, last in _runs(bars) if last - first + 1 >= _SHORTEST for bar in range(first, last + 1)}
