"""``klangprobe survey``: the account of the reading, then what must be rethought."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from base.errors import InputError
from base.writing import write_text
from klangprobe.console import say, say_json, table
from klangprobe.workbench import open_spec, read_score

if TYPE_CHECKING:
    from pathlib import Path

    from reading.score import Score
    from reading.survey import Finding, Survey

__all__ = ["run"]

_FIRST_RANKS = 2


def run(
    path: Path | None,
    *,
    spec: Path | None,
    as_json: bool,
    html: Path | None,
    worksheet: Path | None,
    every: bool,
) -> None:
    """Survey a score, or the score of a spec, and show or write what was found."""
    score, found, answers = _surveyed(path, spec)
    if html:
        from klangprobe.survey_page import survey_html

        write_text(html, survey_html(score, found))
    if worksheet:
        from klangprobe.survey_page import worksheet_html

        write_text(worksheet, worksheet_html(score, found))
    if as_json:
        say_json(_exported(score, found))
        return
    _tell(score, found, answers=answers, every=every)
    for written in (html, worksheet):
        if written:
            say(f"Written: {written}")


def _surveyed(path: Path | None, spec: Path | None) -> tuple[Score, Survey, tuple[Any, ...] | None]:
    """Return score, survey and, where a spec is given, its answers."""
    import reading

    if spec:
        bench = open_spec(spec)
        return bench.score, bench.survey, tuple(bench.spec.answers)
    if path is None:
        msg = "nothing to survey: name a score, or a spec with --spec"
        raise InputError(msg)
    score = read_score(path)
    return score, reading.survey(score), None


def _exported(score: Score, found: Survey) -> dict[str, Any]:
    """Return the documented export: the reading, then the survey's tables."""
    import reading

    return {"reading": reading.account(score), **found.to_json()}


def _tell(score: Score, found: Survey, *, answers: tuple[Any, ...] | None, every: bool) -> None:
    """Print the account of the reading and the findings."""
    import reading

    account = reading.account(score)
    say(f"{score.title or score.source}{f' ({score.composer})' if score.composer else ''}: {len(score.bars)} bars")
    say("Read: " + ", ".join(f"{count} {kind}" for kind, count in account["counts"].items() if count))
    for head, rows in (("Not carried", account["not_carried"]), ("Repaired", account["repaired"])):
        for row in rows:
            say(f"{head}: {_placed(row)}")
    say()
    shown = [finding for finding in found.findings if every or finding.rank <= _FIRST_RANKS]
    if answers is not None:
        shown = _still_open(found, answers)
        say(f"{len(shown)} of {len(found.findings)} findings have no answer yet.")
    table(("bars", "kind", "evidence", "question"), (_row(score, finding) for finding in shown))
    hidden = len(found.findings) - len(shown)
    if hidden and answers is None:
        say(f"{hidden} findings of lower rank are not shown: --all shows them.")


def _still_open(found: Survey, answers: tuple[Any, ...]) -> list[Finding]:
    """Return the findings that the spec does not answer."""
    from reading.survey import open_findings

    return list(open_findings(found, answers))


def _row(score: Score, finding: Finding) -> tuple[str, str, str, str]:
    """Return a finding as a row, with bar numbers as printed."""
    first = score.bar_numbers[finding.first_bar_index - 1]
    last = score.bar_numbers[finding.last_bar_index - 1]
    evidence = finding.evidence if isinstance(finding.evidence, str) else "; ".join(finding.evidence)
    return (first if first == last else f"{first}-{last}", finding.kind, evidence, finding.question)


def _placed(row: dict[str, Any]) -> str:
    """Return a remark with its bar, where it has one."""
    return f"bar {row['bar_index']}: {row['message']}" if row.get("bar_index") else str(row["message"])
