"""Which steps of a variant act in a passage: the others would only fill the account of it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from base.errors import InputError

if TYPE_CHECKING:
    from mapping.arrangement import Arrangement, StepWords

__all__ = ["steps_here"]

_BARS = re.compile(r"\bbars? ((?:#?\d+[a-z]?(?:[-–]#?\d+[a-z]?)?(?:, )?)+)")


def steps_here(arrangement: Arrangement, spans: tuple[tuple[int, int], ...]) -> tuple[str, ...]:
    """Return the words of the steps that act in the bars of *spans*, in order.

    A step acts where it wrote a note. One that wrote none anywhere (it marks, thins, silences) acts wherever it does
    not name other bars.
    """
    rows = range(len(arrangement.steps))
    anywhere, here = set[int](), set[int]()
    for part in arrangement.parts:
        cause, onset = part.notes["cause"], part.notes["onset"]
        anywhere.update(np.unique(cause).tolist())
        for first, last in spans:
            start, end = arrangement.score.span(first, last)
            here.update(np.unique(cause[(onset >= start) & (onset < end)]).tolist())
    acts = [row in here or (row not in anywhere and _named(arrangement, row, spans)) for row in rows]
    return tuple(arrangement.steps[row].words for row in rows if acts[row])


def _named(arrangement: Arrangement, row: int, spans: tuple[tuple[int, int], ...]) -> bool:
    """Whether a step names bars of the passage, or none at all."""
    step: StepWords = arrangement.steps[row]
    found = _BARS.search(step.words)
    if not found:
        return True
    import reading

    try:
        bars = reading.bars_named(arrangement.score, found[1].rstrip(", ").replace("–", "-"))
    except InputError:
        return True
    return any(first <= last_here and first_here <= last for first, last in bars for first_here, last_here in spans)
