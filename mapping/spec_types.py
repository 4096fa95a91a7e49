"""What a spec holds once it is checked: the plain types, apart from the checks on them."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from mapping.steps import LAYERS, Bars, StepOptions, one_of

if TYPE_CHECKING:
    from mapping.spec_yaml import Located

__all__ = ["Answer", "Orchestra", "Passage", "Piece", "Rule", "Spec", "Step", "StrictModel", "Variant"]

_ROLES = LAYERS[:6]


class StrictModel(BaseModel):
    """Unknown keys are refused; nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Piece(StrictModel):
    """What is orchestrated."""

    score: str
    title: str = ""
    composer: str = ""
    arranger: str = ""
    licence: str = ""


class Orchestra(StrictModel):
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


class Passage(StrictModel):
    """Bars to hear side by side."""

    bars: Bars
    says: str = ""

    @model_validator(mode="before")
    @classmethod
    def _bare(cls, value: Any) -> Any:
        """Take bare bars (``opening: 1-8``) as a passage."""
        return {"bars": value} if isinstance(value, str | int) else value


class Rule(StrictModel):
    """A layer overruled: the notes of these bars (and staff, voice, compass) have this role."""

    bars: Bars
    role: Annotated[str, BeforeValidator(one_of(_ROLES, "a layer a note can have"))]
    staff: int | None = Field(None, ge=1, le=9)
    voice: int | None = Field(None, ge=1, le=99)
    part: int | None = Field(None, ge=1, le=99)
    notes: Annotated[str, BeforeValidator(one_of(("top", "bottom", "all"), "top, bottom or all"))] | None = None


class Answer(StrictModel):
    """A decision kept with its reason: which variant, or nothing as long as the question is open."""

    finding: str
    choice: str
    because: str = ""


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
