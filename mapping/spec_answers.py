"""Checks the answers of a spec: what is chosen is one of its variants, or the piano itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from base.errors import Problem, nearest

if TYPE_CHECKING:
    from mapping.spec_types import Spec

__all__ = ["choice_problems"]

_PIECE = "piano"


def choice_problems(spec: Spec) -> list[Problem]:
    """Return the answers that choose what the spec does not have; an empty choice is a question still open.

    Parameters
    ----------
    spec : Spec
    """
    known = [*spec.variants, _PIECE]
    problems = []
    for row, answer in enumerate(spec.answers):
        choice = answer.choice.strip()
        if choice and choice not in known:
            line, column = spec.located.place(("answers", row, "choice"), value=True) if spec.located else (None, None)
            message = f"there is no variant '{choice}' to choose."
            problems.append(Problem(message, line, column, f"answers[{row + 1}].choice", nearest(choice, known)))
    return problems
