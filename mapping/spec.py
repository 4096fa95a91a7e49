"""The spec: what piece, which orchestra, which passages, which variants; every problem found, with its place.

:func:`load_spec` checks all that can be checked without the score; :func:`mapping.spec_check.check_against` the rest.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BeforeValidator, Field, ValidationError
from pydantic_core import PydanticCustomError

from base.errors import Problem, SpecError
from mapping.spec_answers import choice_problems
from mapping.spec_check import names_problems, start_problems, step_of
from mapping.spec_faults import problems_of, without_places
from mapping.spec_types import Answer, Orchestra, Passage, Piece, Rule, Spec, Step, StrictModel, Variant
from mapping.spec_yaml import read_yaml
from mapping.steps import Name, VariantName

if TYPE_CHECKING:
    from mapping.spec_yaml import Located

__all__ = ["Answer", "Orchestra", "Passage", "Piece", "Rule", "Spec", "Step", "Variant", "load_spec"]

_PRUNINGS = 4  # a faulty value goes, then what misses it, then what misses that


def _singers(value: Any) -> tuple[str, ...]:
    """``none``, one name, or a list of names in the order of the sung parts."""
    names = [value] if isinstance(value, str) else value
    if names == ["none"]:
        return ()
    if not isinstance(names, list | tuple) or not names or not all(isinstance(one, str) and one for one in names):
        message = "a voice, a list of voices, or none is expected here."
        raise PydanticCustomError("spec", "{message}", {"message": message, "hint": "Write it like tenor or none."})
    return tuple(name.strip() for name in names)


class _VariantShape(StrictModel):
    """A variant as written, its steps still plain."""

    says: str = ""
    start: str | None = Field(None, alias="from")
    steps: list[dict[str, Any]] = Field(default_factory=list)


class _Shape(StrictModel):
    """The whole file as written."""

    piece: Piece
    orchestra: Orchestra
    singers: Annotated[tuple[str, ...] | None, BeforeValidator(_singers)] = None
    passages: dict[Name, Passage] = Field(default_factory=dict, max_length=500)
    layers: list[Rule] = Field(default_factory=list)
    variants: dict[VariantName, _VariantShape] = Field(min_length=1, max_length=100)
    answers: list[Answer] = Field(default_factory=list)


def load_spec(path: Path | str) -> Spec:
    """Return the spec of a file.

    Parameters
    ----------
    path : Path or str
        A YAML file of at most 200 kB.

    Raises
    ------
    SpecError
        With every problem found, in the order of the file.
    """
    path = Path(path)
    located = read_yaml(path)
    if located.problems:
        raise SpecError(_in_order(located.problems), path=path)
    shape, problems = _shape(located)
    if shape is None:
        raise SpecError(_in_order(problems), path=path)
    pruned, variants = bool(problems), {}
    for name, written in shape.variants.items():
        steps = []
        for row, data in enumerate(written.steps):
            step, found = step_of(data, ("variants", name, "steps", row), located)
            problems += found
            steps += [step] if step else []
        variants[name] = Variant(name, written.says, written.start, tuple(steps))
    spec = Spec(
        shape.piece,
        shape.orchestra,
        shape.passages,
        tuple(shape.layers),
        variants,
        tuple(shape.answers),
        shape.singers,
        path,
        located,
    )
    problems += start_problems(spec) + names_problems(spec)
    problems += [] if pruned else choice_problems(spec)  # a variant that was pruned may well be chosen
    if problems:
        raise SpecError(_in_order(problems), path=path)
    return spec


def _shape(located: Located) -> tuple[_Shape | None, list[Problem]]:
    """Check keys and values; a spec with a bad part still has its other parts checked."""
    data = located.data
    problems: list[Problem] = []
    for _ in range(_PRUNINGS):
        try:
            return _Shape.model_validate(data), problems
        except ValidationError as error:
            problems = problems or problems_of(error, _Shape, (), located)
            data = without_places(data, error)
    return None, problems


def _in_order(problems: list[Problem]) -> list[Problem]:
    """Problems in the order of the file, each once."""
    unique = dict.fromkeys(problems)
    return sorted(unique, key=lambda problem: (problem.line or 0, problem.column or 0))
