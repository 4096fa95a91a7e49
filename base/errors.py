"""Every error a user can meet, by what they should do about it.

::

    KlangprobeError           exit code, where, what was found, what to do
    ├── InputError      (2)   the input is at fault
    │   ├── ScoreError        mend the score file
    │   ├── SpecError         mend the spec (carries every problem found, with line and column)
    │   └── OutputError       choose another place to write
    ├── MissingPart     (3)   install something (library, soundfont)
    └── PluginFault     (3)   a plugin broke its contract; names the plugin
"""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, ClassVar

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

__all__ = [
    "InputError",
    "KlangprobeError",
    "MissingPart",
    "OutputError",
    "PluginFault",
    "Problem",
    "ScoreError",
    "SpecError",
    "nearest",
]


@dataclass(frozen=True)
class Problem:
    """One thing wrong at one place.

    Attributes
    ----------
    message : str
        What was found and what was expected, one sentence.
    line, column : int or None
        Place in the file, counted from 1; None where the place is not a line of text.
    place : str
        The place in words or as a path (``variants.horns held.steps[2]``, ``bar 12, beat 3``); may be empty.
    hint : str
        What to do; may be empty.
    """

    message: str
    line: int | None = None
    column: int | None = None
    place: str = ""
    hint: str = ""

    def text(self, file: str = "") -> str:
        """Return ``file:line:column: place: message. hint`` with the parts that are known."""
        where = ":".join(str(part) for part in (file or None, self.line, self.column) if part is not None)
        parts = [part for part in (where, self.place, self.message) if part]
        return _with_hint(": ".join(parts), self.hint)


def _with_hint(text: str, hint: str) -> str:
    """Return *text* and *hint* as two sentences."""
    if not hint:
        return text
    return f"{text if text.endswith(('.', '!', '?')) else text + '.'} {hint}"


class KlangprobeError(Exception):
    """Base of all errors meant for the user.

    Parameters
    ----------
    message : str
        What was found and what was expected.
    path : Path, optional
        The file at fault.
    place : str, optional
        Bar and beat, or the path inside the file.
    hint : str, optional
        What to do about it.
    """

    exit_code: ClassVar[int] = 2

    def __init__(self, message: str, *, path: Path | str | None = None, place: str = "", hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.path = path
        self.place = place
        self.hint = hint

    def __str__(self) -> str:
        parts = [str(part) for part in (self.path, self.place, self.message) if part]
        return _with_hint(": ".join(parts), self.hint)


class InputError(KlangprobeError):
    """The input is at fault: mend it and run again."""


class ScoreError(InputError):
    """The score file cannot be read truthfully."""


class OutputError(InputError):
    """The place to write to cannot take the result."""


class SpecError(InputError):
    """The spec has one or more problems; all of them are carried.

    Parameters
    ----------
    problems : sequence of Problem
        At least one.
    path : Path, optional
        The spec file.
    """

    def __init__(self, problems: Sequence[Problem], *, path: Path | str | None = None) -> None:
        super().__init__(problems[0].message, path=path)
        self.problems = tuple(problems)

    def __reduce__(self) -> tuple[Any, ...]:
        """Travel whole from a process that renders to the one that speaks."""
        return SpecError, (self.problems,), self.__dict__

    def __str__(self) -> str:
        return "\n".join(problem.text(str(self.path or "")) for problem in self.problems)


class MissingPart(KlangprobeError):
    """A needed part (library, soundfont) is not installed; the hint says how to get it."""

    exit_code: ClassVar[int] = 3


class PluginFault(KlangprobeError):
    """A plugin broke its contract; the message names plugin, distribution and version."""

    exit_code: ClassVar[int] = 3


def nearest(word: str, known: Iterable[str]) -> str:
    """Return a hint naming the nearest legal name, or the legal names where none is near.

    Parameters
    ----------
    word : str
        What was written.
    known : iterable of str
        What could have been written.
    """
    names = sorted(known)
    close = get_close_matches(word, names, n=1, cutoff=0.6)
    if close:
        return f"Did you mean '{close[0]}'?"
    return f"Known: {', '.join(names)}." if names else ""
