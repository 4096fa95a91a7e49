"""Results of listening tests as small open files: JSON for a session, CSV for a table of many.

JSON::

    {"format": "klangprobe listening", "version": 1, "kind": "matching", "listener": "…", "planned": 16,
     "answers": [{"trial": 1, "passage": "opening", "first": "plain", "second": "horns held",
                  "hidden": "plain", "answer": "plain", "seconds": 12.4}, …]}
    {"format": "klangprobe listening", "version": 1, "kind": "rating", "listener": "…", "question": "…",
     "ratings": [{"passage": "opening", "variant": "hidden reference", "mark": 96.0}, …]}

CSV has one line per answer or rating, with the listener in the first column and the same names as headings.
"""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from base.errors import InputError
from base.writing import write_text
from compare.listening.matching import MatchingAnswer, MatchingTrial
from compare.listening.rating import Rating

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

__all__ = ["Session", "as_csv", "read_session", "write_session"]

FORMAT, VERSION = "klangprobe listening", 1
_LARGEST_BYTES = 5_000_000
_ANSWER_FIELDS = ("trial", "passage", "first", "second", "hidden", "answer", "seconds")


@dataclass(frozen=True)
class Session:
    """One listener's sitting.

    Attributes
    ----------
    kind : str
        ``matching`` or ``rating``.
    listener : str
    planned : int
        Trials planned (matching).
    answers : tuple of MatchingAnswer
    question : str
        What was to be marked (rating).
    ratings : tuple of Rating
    """

    kind: str
    listener: str
    planned: int = 0
    answers: tuple[MatchingAnswer, ...] = ()
    question: str = ""
    ratings: tuple[Rating, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the session as JSON-ready data."""
        head: dict[str, Any] = {"format": FORMAT, "version": VERSION, "kind": self.kind, "listener": self.listener}
        if self.kind == "matching":
            return head | {"planned": self.planned, "answers": [_answer_json(answer) for answer in self.answers]}
        marks = [{"passage": item.passage, "variant": item.variant, "mark": item.mark} for item in self.ratings]
        return head | {"question": self.question, "ratings": marks}


def _answer_json(answer: MatchingAnswer) -> dict[str, Any]:
    """One answer."""
    trial = answer.trial
    values = (trial.number, trial.passage, trial.first, trial.second, trial.hidden, answer.answer, answer.seconds)
    return dict(zip(_ANSWER_FIELDS, values, strict=True))


def write_session(session: Session, path: Path) -> None:
    """Write a session as JSON, in one step."""
    write_text(path, json.dumps(session.to_json(), ensure_ascii=False, indent=1) + "\n")


def read_session(path: Path) -> Session:
    """Read a session from JSON (ours or one the page saved).

    Raises
    ------
    InputError
        Where the file is none, with what was expected.
    """
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise ValueError("it is larger than any session")
        data = json.loads(path.read_text(encoding="utf-8"))
        return _session(data)
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        msg = f"not a listening session ({error})."
        raise InputError(msg, path=path, hint="Give a file that a listening test has saved.") from error


def _session(data: Any) -> Session:
    """Check and convert parsed JSON; raises ValueError, KeyError or TypeError."""
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        msg = f"'format' must be '{FORMAT}'"
        raise ValueError(msg)
    if data.get("version") != VERSION:
        msg = f"'version' must be {VERSION}"
        raise ValueError(msg)
    listener = _text(data["listener"])
    if data["kind"] == "matching":
        answers = tuple(_answer(item, listener) for item in data["answers"])
        return Session("matching", listener, int(data["planned"]), answers)
    if data["kind"] == "rating":
        ratings = tuple(
            Rating(listener, _text(item["passage"]), _text(item["variant"]), _mark(item["mark"]))
            for item in data["ratings"]
        )
        return Session("rating", listener, question=_text(data["question"]), ratings=ratings)
    msg = "'kind' must be 'matching' or 'rating'"
    raise ValueError(msg)


def _answer(item: Any, listener: str) -> MatchingAnswer:
    """One answer, checked."""
    first, second, hidden, answer = (_text(item[key]) for key in ("first", "second", "hidden", "answer"))
    if hidden not in (first, second) or answer not in (first, second) or first == second:
        msg = f"trial {item['trial']}: 'hidden' and 'answer' must be one of two different variants"
        raise ValueError(msg)
    trial = MatchingTrial(int(item["trial"]), _text(item["passage"]), first, second, hidden)
    return MatchingAnswer(listener, trial, answer, float(item.get("seconds", 0.0)))


def _text(value: Any) -> str:
    """Return a string or complain."""
    if not isinstance(value, str):
        msg = f"expected text, found {value!r}"
        raise TypeError(msg)
    return value


def _mark(value: Any) -> float:
    """Return a mark from 0 to 100 or complain."""
    mark = float(value)
    if not (math.isfinite(mark) and 0.0 <= mark <= 100.0):
        msg = f"a mark must lie between 0 and 100, found {value!r}"
        raise ValueError(msg)
    return mark


def as_csv(sessions: Sequence[Session]) -> str:
    """Return sessions of one kind as one table.

    Text that a spreadsheet would take for a formula is preceded by an apostrophe.

    Raises
    ------
    ValueError
        Where kinds are mixed.
    """
    if len({session.kind for session in sessions}) > 1:
        msg = "matching trials and ratings do not go into one table"
        raise ValueError(msg)
    stream = io.StringIO()
    table = csv.writer(stream, lineterminator="\n")
    if sessions and sessions[0].kind == "matching":
        table.writerow(("listener", *_ANSWER_FIELDS, "right"))
        for session in sessions:
            for answer in session.answers:
                row = _answer_json(answer).values()
                table.writerow([_harmless(session.listener), *map(_harmless, row), int(answer.right)])
    else:
        table.writerow(("listener", "passage", "variant", "mark"))
        for session in sessions:
            for item in session.ratings:
                table.writerow(
                    [_harmless(session.listener), _harmless(item.passage), _harmless(item.variant), item.mark]
                )
    return stream.getvalue()


def _harmless(value: Any) -> Any:
    """Text that no spreadsheet runs."""
    return f"'{value}" if isinstance(value, str) and value[:1] in "=+-@\t\r" and value else value
