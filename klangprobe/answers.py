"""The answers of a spec beside the survey: what they decide, and those that name nothing found."""

from __future__ import annotations

from typing import TYPE_CHECKING

from base.errors import Problem
from klangprobe.console import one_line, warn

if TYPE_CHECKING:
    from klangprobe.workbench import Workbench
    from reading.answering import Given

__all__ = ["answers_of", "warn_of_strays"]


def answers_of(bench: Workbench) -> tuple[Given, ...]:
    """Return every answer of the spec with the finding it means; without answers no survey is made."""
    if not bench.spec.answers:
        return ()
    from reading.answering import given_answers

    return given_answers(bench.survey, bench.spec.answers)


def warn_of_strays(bench: Workbench) -> None:
    """Say which answers name no finding, with line and the nearest name; after an edit of the score they may."""
    for one in answers_of(bench):
        if one.finding is not None:
            continue
        path = ("answers", one.row, "finding")
        line, column = bench.spec.located.place(path, value=True) if bench.spec.located else (None, None)
        hint = f"The nearest is '{one.nearest}'." if one.nearest else "Nothing was found in this piece."
        message = f"warning: the survey has no finding '{one_line(one.said)}' (any more); this answer decides nothing."
        warn(Problem(message, line, column, f"answers[{one.row + 1}].finding", hint).text(str(bench.path)))
