"""Which finding an answer of the spec means, and what is still open."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, Literal

from base.errors import InputError
from reading.barwords import bars_named

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reading.findings import Finding
    from reading.survey_tables import Survey

__all__ = ["Given", "finding_named", "given_answers", "nearest_finding", "open_findings", "still_open"]


@dataclass(frozen=True)
class Given:
    """An answer of the spec beside the survey.

    Attributes
    ----------
    row : int
        Which answer of the spec, from 0.
    said : str
        The finding as the spec names it.
    choice, because : str
        As written; an empty choice decides nothing.
    finding : Finding or None
        None where the survey has no such finding, as after an edit of the score.
    nearest : str
        Name of the finding nearest to what was said, where there is none of that name.
    """

    row: int
    said: str
    choice: str
    because: str
    finding: Finding | None
    nearest: str = ""

    @property
    def state(self) -> Literal["answered", "open", "no such finding"]:
        """What the answer does: decide its finding, leave it open, or name none."""
        if self.finding is None:
            return "no such finding"
        return "answered" if self.choice else "open"

    def to_json(self) -> dict[str, Any]:
        """Return it as plain data."""
        named = {"name": self.finding.name} if self.finding else {"nearest": self.nearest}
        return {
            "finding": self.said,
            "choice": self.choice,
            "because": self.because,
            "state": self.state,
            **named,
        }


def given_answers(found: Survey, answers: Iterable[Any]) -> tuple[Given, ...]:
    """Return every answer with the finding it means.

    Parameters
    ----------
    found : Survey
    answers : iterable
        Each has ``finding`` and ``choice``, and may have ``because`` (attributes or keys).
    """
    given = []
    for row, answer in enumerate(answers):
        said, choice, because = (_text(answer, key) for key in ("finding", "choice", "because"))
        finding = finding_named(found, said)
        near = "" if finding else nearest_finding(found, said)
        given.append(Given(row, said, choice, because, finding, near))
    return tuple(given)


def open_findings(found: Survey, answers: Iterable[Any]) -> tuple[Finding, ...]:
    """Return the findings that no answer decides; an answer without a choice decides nothing.

    Parameters
    ----------
    found : Survey
    answers : iterable
        As for :func:`given_answers`.
    """
    return still_open(found, given_answers(found, answers))


def still_open(found: Survey, given: Iterable[Given]) -> tuple[Finding, ...]:
    """Return the findings that none of these answers decides.

    Parameters
    ----------
    found : Survey
    given : iterable of Given
    """
    decided = {id(one.finding) for one in given if one.state == "answered"}
    return tuple(finding for finding in found.findings if id(finding) not in decided)


def finding_named(found: Survey, said: str) -> Finding | None:
    """Return the finding of that kind at those bars, whether its bars are said as printed or counted.

    Parameters
    ----------
    found : Survey
    said : str
        Kind and bars, such as ``pedal 3-5``.
    """
    kind, span = _taken_apart(found, said)
    for finding in found.findings:
        same = span == (finding.first_bar_index, finding.last_bar_index) and kind == finding.kind.lower()
        if same or _plain(finding.name) == _plain(said):
            return finding
    return None


def nearest_finding(found: Survey, said: str) -> str:
    """Return the name of the finding nearest to *said*: of the nearest kind the one nearest in the piece.

    Parameters
    ----------
    found : Survey
    said : str

    Returns
    -------
    str
        Empty where nothing was found in the piece.
    """
    kind, span = _taken_apart(found, said)
    kinds = {finding.kind.lower(): finding.kind for finding in found.findings}
    close = get_close_matches(kind, kinds, n=1, cutoff=0.5)
    among = [finding for finding in found.findings if not close or finding.kind.lower() == close[0]]
    if span is None or not among:
        names = [finding.name for finding in among]
        return next(iter(get_close_matches(said, names, n=1, cutoff=0.0)), "")
    first, last = span
    return min(among, key=lambda one: abs(one.first_bar_index - first) + abs(one.last_bar_index - last)).name


def _taken_apart(found: Survey, said: str) -> tuple[str, tuple[int, int] | None]:
    """Kind in small letters, and bars where the words name one stretch of the piece."""
    kind, _, bars = _plain(said).rpartition(" ")
    try:
        spans = bars_named(found.score, bars)
    except InputError:
        return kind, None
    return kind, spans[0] if len(spans) == 1 else None


def _plain(said: str) -> str:
    """Words with single spaces, in small letters; a range has no space in it."""
    return " ".join(said.lower().split()).replace(" - ", "-").replace("–", "-")


def _text(answer: Any, key: str) -> str:
    """One key of an answer as text."""
    value = answer.get(key, "") if isinstance(answer, dict) else getattr(answer, key, "")
    return str(value).strip()
