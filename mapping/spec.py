"""The spec: what piece, which orchestra, which passages, which variants; every problem found, with its place.

:func:`load_spec` checks all that can be checked without the score; :func:`mapping.spec_check.check_against` the rest.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator
from pydantic_core import PydanticCustomError

from base.errors import Problem, SpecError
from mapping.spec_yaml import read_yaml
from mapping.steps import LAYERS, Bars, Name, StepOptions, VariantName, one_of

if TYPE_CHECKING:
    from mapping.spec_yaml import Located

__all__ = ["Answer", "Orchestra", "Passage", "Piece", "Rule", "Spec", "Step", "Variant", "load_spec"]

_ROLES = LAYERS[:6]
_PRUNINGS = 4  # a faulty value goes, then what misses it, then what misses that


class _Model(BaseModel):
    """Unknown keys are refused; nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Piece(_Model):
    """What is orchestrated."""

    score: str
    title: str = ""
    composer: str = ""
    arranger: str = ""
    licence: str = ""


class Orchestra(_Model):
    """Who plays: an ensemble with players added and left out, or a plain list of players."""

    use: str | None = None
    add: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    desks: dict[str, Annotated[int, Field(ge=1, le=20)]] = Field(default_factory=dict)
    players: tuple[str, ...] | None = None

    @model_validator(mode="before")
    @classmethod
    def _list_or_name(cls, value: Any) -> Any:
        """Take a bare list as the players, a bare word as the ensemble."""
        if isinstance(value, list):
            return {"players": value}
        return {"use": value} if isinstance(value, str) else value


class Passage(_Model):
    """Bars to hear side by side."""

    bars: Bars
    says: str = ""

    @model_validator(mode="before")
    @classmethod
    def _bare(cls, value: Any) -> Any:
        """Take bare bars (``opening: 1-8``) as a passage."""
        return {"bars": value} if isinstance(value, str | int) else value


class Rule(_Model):
    """A layer overruled: the notes of these bars (and staff, voice, compass) have this role."""

    bars: Bars
    role: Annotated[str, BeforeValidator(one_of(_ROLES, "a layer a note can have"))]
    staff: int | None = Field(None, ge=1, le=9)
    voice: int | None = Field(None, ge=1, le=99)
    part: int | None = Field(None, ge=1, le=99)
    notes: Annotated[str, BeforeValidator(one_of(("top", "bottom", "all"), "top, bottom or all"))] | None = None


class Answer(_Model):
    """A decision kept with its reason: which variant, or nothing as long as the question is open."""

    finding: str
    choice: str
    because: str = ""


def _singers(value: Any) -> tuple[str, ...]:
    """``none``, one name, or a list of names in the order of the sung parts."""
    names = [value] if isinstance(value, str) else value
    if names == ["none"]:
        return ()
    if not isinstance(names, list | tuple) or not names or not all(isinstance(one, str) and one for one in names):
        message = "a voice, a list of voices, or none is expected here."
        raise PydanticCustomError("spec", "{message}", {"message": message, "hint": "Write it like tenor or none."})
    return tuple(name.strip() for name in names)


class _VariantShape(_Model):
    """A variant as written, its steps still plain."""

    says: str = ""
    start: str | None = Field(None, alias="from")
    steps: list[dict[str, Any]] = Field(default_factory=list)


class _Shape(_Model):
    """The whole file as written."""

    piece: Piece
    orchestra: Orchestra
    singers: Annotated[tuple[str, ...] | None, BeforeValidator(_singers)] = None
    passages: dict[Name, Passage] = Field(default_factory=dict, max_length=500)
    layers: list[Rule] = Field(default_factory=list)
    variants: dict[VariantName, _VariantShape] = Field(min_length=1, max_length=100)
    answers: list[Answer] = Field(default_factory=list)


@dataclass(frozen=True)
class Step:
    """One step: its verb, its checked options, and its place in the file."""

    verb: str
    options: StepOptions
    line: int = 0
    column: int = 0
    place: str = ""


@dataclass(frozen=True)
class Variant:
    """One way of scoring the piece; *steps* are its own, without those of the variant it starts from."""

    name: str
    says: str = ""
    start: str | None = None
    steps: tuple[Step, ...] = ()


@dataclass(frozen=True)
class Spec:
    """A checked spec.

    Attributes
    ----------
    piece, orchestra, passages, layers, answers
        As written.
    variants : dict of str to Variant
        In the order of the file.
    singers : tuple of str or None
        Names for the sung parts in their order; empty where nobody is to sing; None: named after the parts.
    path : Path
        The file; ``piece.score`` is relative to its folder.
    located : Located
        Places of keys and values, for later checks.
    """

    piece: Piece
    orchestra: Orchestra
    passages: dict[str, Passage]
    layers: tuple[Rule, ...]
    variants: dict[str, Variant]
    answers: tuple[Answer, ...] = ()
    singers: tuple[str, ...] | None = None
    path: Path = Path()
    located: Located | None = field(default=None, repr=False, compare=False)

    @property
    def score_path(self) -> Path:
        """The score file, as seen from the spec's folder."""
        return self.path.parent / self.piece.score

    def steps_of(self, variant: str) -> tuple[Step, ...]:
        """Return all steps of a variant, those of the variant it starts from first."""
        found = self.variants[variant]
        before = self.steps_of(found.start) if found.start is not None else ()
        return before + found.steps


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
    from mapping.spec_answers import choice_problems
    from mapping.spec_check import names_problems, start_problems, step_of

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
    from mapping.spec_check import problems_of, without_places

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
