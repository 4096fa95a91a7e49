"""What every step of a spec may say, as checked models: the words a technique's options are built from."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field
from pydantic_core import PydanticCustomError

from base.errors import nearest
from mapping.arrangement import TECHNIQUES
from reading.score import DYNAMICS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from mapping.arrangement import Player

__all__ = [
    "LAYERS",
    "OCTAVES",
    "Bars",
    "Beats",
    "Compass",
    "Dynamic",
    "How",
    "Layer",
    "Name",
    "NaturalOptions",
    "OnOptions",
    "Players",
    "Register",
    "StepOptions",
    "VariantName",
    "one_of",
    "resolve",
    "split_octave",
]

LAYERS = (
    "melody", "bass", "middle", "doubling", "pedal point", "counter-melody",
    "accompaniment", "all", "upper staff", "lower staff", "voice",
)  # fmt: skip
"""Words for layers; from ``accompaniment`` on they are sums; ``voice`` is what is sung."""

OCTAVES = {"unison": 0, "8va": 12, "8vb": -12, "15ma": 24, "15mb": -24}
"""Octave signs in semitones."""

_BAR = r"#?[0-9]+[A-Za-z]?"
_BARS = re.compile(rf"{_BAR}(\s*-\s*{_BAR})?(\s*,\s*{_BAR}(\s*-\s*{_BAR})?)*")
_BEATS = re.compile(r"[0-9]+(\.[0-9]+|/[0-9]+)?(\s*,\s*[0-9]+(\.[0-9]+|/[0-9]+)?)*")
_PITCH = re.compile(r"([A-G])([b#♭♯]?)(-?[0-9])")
_PIANO = "piano"
_LONGEST_NAME = 120
_REGISTERS = ("low", "middle", "high")
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SIGNS = {"": 0, "b": -1, "♭": -1, "#": 1, "♯": 1}


def _bad(message: str, hint: str = "") -> PydanticCustomError:
    """Error the spec reader turns into a problem with its place."""
    return PydanticCustomError("spec", "{message}", {"message": message, "hint": hint})


def one_of(names: Iterable[str], what: str) -> Callable[[Any], str]:
    """Return a validator that takes one of *names* and names the nearest one otherwise.

    Parameters
    ----------
    names : iterable of str
        What may be written.
    what : str
        What it is, for the message (``a dynamic``).
    """
    known = tuple(names)

    def check(value: Any) -> str:
        if isinstance(value, str) and value in known:
            return value
        message = f"'{value}' is not {what}."
        raise _bad(message, nearest(str(value), known))

    return check


def _matching(pattern: re.Pattern[str], example: str) -> Callable[[Any], str]:
    """Return a validator for text (or a bare number) of one shape."""

    def check(value: Any) -> str:
        text = str(value).strip() if isinstance(value, str | int | float) and not isinstance(value, bool) else ""
        if len(text) < 1000 and pattern.fullmatch(text):
            return text
        message = f"'{value}' cannot be read here."
        raise _bad(message, f"Write it like {example}.")

    return check


def _players(value: Any) -> tuple[str, ...]:
    """One name or a list of names, as a tuple."""
    names = [value] if isinstance(value, str) else value
    if not isinstance(names, list | tuple) or not names or not all(isinstance(name, str) and name for name in names):
        message = "a player or a list of players is expected here."
        raise _bad(message, "Write it like [violins 2, violas].")
    return tuple(name.strip() for name in names)


def _compass(value: Any) -> tuple[int, int]:
    """``C4-G6`` as lowest and highest MIDI pitch."""
    if isinstance(value, tuple | list) and len(value) == 2:
        return int(value[0]), int(value[1])
    ends = [_PITCH.fullmatch(part.strip()) for part in re.split(r"(?<=[0-9])\s*-\s*", str(value))]
    if len(ends) != 2 or None in ends:
        message = f"'{value}' is not a compass."
        raise _bad(message, "Write it like C4-G6 (C4 is middle C).")
    low, high = (12 * (int(e[3]) + 1) + _STEPS[e[1]] + _SIGNS[e[2]] for e in ends if e)
    if low > high:
        message = f"the compass '{value}' ends below its beginning."
        raise _bad(message, "Write the lower note first.")
    return low, high


def _register(value: Any) -> str:
    """``low``, ``middle``, ``high``, or a compass such as ``C3-C5``, as written."""
    if value not in _REGISTERS:
        try:
            _compass(value)
        except PydanticCustomError:
            message = f"'{value}' is not a register."
            raise _bad(message, "Write low, middle, high, or a compass such as C3-C5.") from None
    return str(value)


def _name(value: Any) -> str:
    """A name that can be said, printed and asked for."""
    if not isinstance(value, str) or not value.strip() or len(value) > _LONGEST_NAME or not value.isprintable():
        message = "a name is expected here."
        raise _bad(message, f"Write a word or a few, at most {_LONGEST_NAME} letters.")
    return value


def _variant_name(value: Any) -> str:
    """A name that does not stand for the piano itself, which is heard beside the variants."""
    if _name(value).strip().casefold() == _PIANO:
        message = f"'{value}' is the piece itself, which stands beside the variants."
        raise _bad(message, "Choose another name.")
    return str(value)


def split_octave(name: str) -> tuple[str, int]:
    """Return the player's name and the octave it carries in semitones (``basses 8vb``: ``("basses", -12)``)."""
    head, _, tail = name.rpartition(" ")
    if head and tail in OCTAVES:
        return head, OCTAVES[tail]
    return name, 0


def resolve(wanted: str, players: tuple[Player, ...]) -> list[tuple[int, int]]:
    """Return ``(row, octave in semitones)`` of the players a name stands for; empty where there is none.

    ``horn 1`` is one player, ``horns`` all horns, ``violins`` both sections, ``singers`` all who sing.
    """
    name, octave = split_octave(wanted)
    rows = [row for row, player in enumerate(players) if player.name == name]
    if not rows and name == "singers":
        rows = [row for row, player in enumerate(players) if player.family == "voice"]
    if not rows:
        stems = {name, name.removesuffix("s")}
        rows = [row for row, player in enumerate(players) if player.name.rstrip("0123456789").rstrip() in stems]
    return [(row, octave) for row in rows]


Bars = Annotated[str, BeforeValidator(_matching(_BARS, "3, 3-5 or 3, 7-9 (or #14 for the 14th bar counted)"))]
Beats = Annotated[str, BeforeValidator(_matching(_BEATS, "1, 3 or 2.5"))]
Dynamic = Annotated[str, BeforeValidator(one_of(DYNAMICS, "a dynamic"))]
How = Annotated[str, BeforeValidator(one_of(TECHNIQUES, "a way of playing"))]
Name = Annotated[str, BeforeValidator(_name)]
VariantName = Annotated[str, BeforeValidator(_variant_name)]
Layer = Annotated[str, BeforeValidator(one_of(LAYERS, "a layer"))]
Players = Annotated[tuple[str, ...], BeforeValidator(_players)]
Register = Annotated[str, BeforeValidator(_register)]
Compass = Annotated[tuple[int, int], BeforeValidator(_compass)]


class StepOptions(BaseModel):
    """Options every step has: where it applies, how loud and how played."""

    model_config = ConfigDict(extra="forbid", frozen=True, protected_namespaces=())

    bars: Bars | None = Field(None, description="printed bar numbers; the whole piece where left out")
    beats: Beats | None = Field(None, description="only notes that start there")
    when: Dynamic | None = Field(None, description="only where the piano is marked so")
    level: Dynamic | None = Field(None, description="dynamic of its own; the piano's where left out")
    how: How | None = Field(None, description="way of playing")

    def players_named(self) -> tuple[str, ...]:
        """Return every player the options name (octave signs included), for the spec reader to check."""
        return tuple(getattr(self, "on", ()))


class NaturalOptions(StepOptions):
    """Options of a step that may be confined to the open notes of natural horns and trumpets."""

    notes: Annotated[str, BeforeValidator(one_of(("all", "natural"), "all or natural"))] = "all"
    crook: str | None = Field(None, description="key of the crook (E-flat); from the key signature where left out")


class OnOptions(StepOptions):
    """Options of a step that gives notes to players."""

    on: Players = Field(description="one player or a list; a name may carry 8va, 8vb, 15ma, 15mb")
