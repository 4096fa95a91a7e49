"""``klangprobe survey``: the account of the reading, then what must be rethought."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from base.errors import InputError, OutputError
from base.identity import file_digest
from base.writing import write_text
from klangprobe.answers import answers_of, warn_of_strays
from klangprobe.console import one_line, say, say_json, table
from klangprobe.workbench import open_spec, read_score
from reading.barwords import COUNTED, counts_bars

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from klangprobe.workbench import Workbench
    from reading.answering import Given
    from reading.score import Score
    from reading.survey import Finding, Survey

__all__ = ["run"]

_FIRST_RANKS = 2
_PAGE = b"<!doctype html>"
_CAPTIONS = {1: "Must be answered:", 2: "Should be answered:", 3: "Details:"}


def run(
    path: Path | None,
    *,
    spec: Path | None,
    as_json: bool,
    html: Path | None,
    worksheet: Path | None,
    every: bool,
    questions: int | None = None,
) -> None:
    """Survey a score, or the score of a spec, and show or write what was found.

    The worksheet asks the number of *questions* wanted, else at most twenty of the first rank.
    """
    for target in (html, worksheet):
        _refuse_what_is_no_page(target)
    _refuse_one_file_for_two(html, worksheet)
    score, found, given = _surveyed(path, spec)
    if html:
        from klangprobe.survey_page import survey_html

        write_text(html, survey_html(score, found))
    if worksheet:
        from klangprobe.survey_worksheet import worksheet_html

        write_text(worksheet, worksheet_html(score, found, questions))
    if as_json:
        say_json(_exported(score, found, given))
        return
    _tell(score, found, given=given, every=every)
    if html:
        say(f"Written: {html}")
    if worksheet:
        say(f"Written: {worksheet} ({_how_many(found, questions)})")


def _how_many(found: Survey, questions: int | None) -> str:
    """How many questions the worksheet asks, and how to have others."""
    from klangprobe.survey_worksheet import asked

    count = len(asked(found.findings, questions))
    first = sum(finding.rank == 1 for finding in found.findings)
    more = f", the strongest of {first} of the first rank" if questions is None and count < first else ""
    return f"{_number(count, 'question')}{more}; --questions N asks more or fewer"


def _refuse_what_is_no_page(target: Path | None) -> None:
    """A slip of the hand must not cost a score or a spec: only a page is replaced by a page."""
    if target is None or not target.is_file():
        return
    with target.open("rb") as stream:
        if stream.read(len(_PAGE)).lower() != _PAGE:
            msg = "exists already and is no page"
            raise OutputError(msg, path=target, hint="Choose another name, such as survey.html.")


def _refuse_one_file_for_two(html: Path | None, worksheet: Path | None) -> None:
    """The second page would take the place of the first."""
    if html and worksheet and html.resolve() == worksheet.resolve():
        msg = "is named for the page and for the worksheet"
        raise OutputError(msg, path=worksheet, hint="Give --html and --worksheet two names.")


def _surveyed(path: Path | None, spec: Path | None) -> tuple[Score, Survey, tuple[Given, ...] | None]:
    """Return score, survey and, where a spec is given, its answers beside the findings."""
    from reading.sung import survey_song

    if spec:
        bench = open_spec(spec)
        _refuse_other_score(path, bench)
        warn_of_strays(bench)
        return bench.score, bench.survey, answers_of(bench)
    if path is None:
        msg = "nothing to survey: name a score, or a spec with --spec"
        raise InputError(msg)
    score = read_score(path)
    return score, survey_song(score), None


def _refuse_other_score(path: Path | None, bench: Workbench) -> None:
    """A score named beside a spec must be the spec's own: answers to another piece would say nothing."""
    if path is None:
        return
    own = bench.spec.piece.score
    if not path.is_file():
        msg = "there is no such file"
        raise InputError(msg, path=path, hint=f"{bench.path} has its own score, {own}: leave the score out.")
    if file_digest(path) != bench.score.sha256:
        msg = f"is not the score of {bench.path}, which is {own}"
        raise InputError(msg, path=path, hint="Leave the score out, or survey it without --spec.")


def _exported(score: Score, found: Survey, given: tuple[Given, ...] | None) -> dict[str, Any]:
    """Return the documented export: the reading, the survey's tables and, with a spec, the state of its answers."""
    import reading
    from reading.answering import still_open
    from reading.survey_json import survey_json

    data = {"reading": reading.account(score), **survey_json(found)}
    if given is None:
        return data
    names = {finding.name for finding in still_open(found, given)}
    for finding in data["findings"]:
        finding["open"] = finding["name"] in names
    return {**data, "answers": [one.to_json() for one in given]}


def _tell(score: Score, found: Survey, *, given: tuple[Given, ...] | None, every: bool) -> None:
    """Print the account of the reading and the findings."""
    import reading
    from reading.answering import still_open

    account = reading.account(score)
    title, composer = one_line(score.title or score.source), one_line(score.composer)
    say(f"{title}{f' ({composer})' if composer else ''}: {_number(len(score.bars), 'bar')}")
    for line in _counted(account["counts"]):
        say(line)
    for row in account["not_carried"]:
        say(f"Not carried: {row['message']}")
    for line in _repaired(account["repaired"]):
        say(f"Put right: {line}")
    asked = found.findings if given is None else still_open(found, given)
    shown = [finding for finding in asked if every or finding.rank <= _FIRST_RANKS]
    if given is not None:
        say(f"\n{_headline(found, asked)}")
    for rank, caption in _CAPTIONS.items():
        if of_rank := [finding for finding in shown if min(finding.rank, max(_CAPTIONS)) == rank]:
            say(f"\n{caption}")
            table(("bars", "kind", "evidence"), [_row(one, options=every or rank == 1) for one in of_rank])
    if shown:
        say("What to ask:")
        table(("kind", "question"), _questions(shown))
        say("The spec steps of every option: --html PAGE, or --json.")
    if any(counts_bars(text) for finding in shown for text in _row(finding, options=True)):
        say(COUNTED)
    if hidden := len(asked) - len(shown):
        say(f"{_number(hidden, 'finding')} of lower rank: --all shows {'it' if hidden == 1 else 'them'} too.")


def _headline(found: Survey, left: tuple[Finding, ...]) -> str:
    """What is open, rank by rank."""
    words = []
    for rank, what in ((1, "questions of the first rank"), (2, "of the second"), (3, "details")):
        of = sum(one.rank == rank for one in found.findings)
        words.append(f"{sum(one.rank == rank for one in left)} of {of} {what}")
    return f"Still open: {'; '.join(words)}."


def _number(count: int, what: str) -> str:
    """``1 bar``, ``2 bars``."""
    return f"{count} {what}{'' if count == 1 else 's'}"


def _counted(counts: dict[str, int]) -> list[str]:
    """Return what was read in three lines: the piece, the signs beside the notes, the signs on them."""
    said = {"parts": "part", "notes": "note", "note heads": "note head"}
    piece = [_number(counts[kind], what) for kind, what in said.items() if counts.get(kind)]
    marks = [
        f"{kind.removesuffix(' marks')} {count}" for kind, count in counts.items() if kind.endswith(" marks") and count
    ]
    on_notes = [
        f"{kind.removeprefix('notes with ')} {count}"
        for kind, count in counts.items()
        if kind.startswith("notes with ") and count
    ]
    rest = [
        f"{kind} {count}"
        for kind, count in counts.items()
        if count and kind not in (*said, "bars") and not kind.endswith(" marks") and not kind.startswith("notes with ")
    ]
    lines = {"Read": piece + rest, "Signs": marks, "Notes with signs": on_notes}
    return [f"{head}: {', '.join(words)}" for head, words in lines.items() if words]


def _repaired(rows: list[dict[str, Any]]) -> list[str]:
    """Return what was put right, each kind once with its bars as printed."""
    places: dict[str, list[str]] = {}
    for row in sorted(rows, key=lambda row: int(row["bar_index"])):
        told = row["message"] if row["kind"] in row["message"] else f"{row['kind']}, {row['message']}"
        places.setdefault(told, []).append(row["bar"])
    lines = []
    for message, bars in places.items():
        numbers = ", ".join(dict.fromkeys(bar for bar in bars if bar))
        lines.append(f"bar{'s' if ',' in numbers else ''} {numbers}: {message}" if numbers else message)
    return lines


def _row(finding: Finding, *, options: bool) -> tuple[str, str, str]:
    """Return a finding as a row; with its options, which can be heard."""
    says = [f"hear: {'; '.join(option.says for option in finding.options)}"] if options and finding.options else []
    return finding.bars, finding.kind, "\n".join(["; ".join(finding.evidence), *says])


def _questions(findings: Sequence[Finding]) -> list[tuple[str, str]]:
    """Return each question once, with the kinds of findings that ask it."""
    kinds: dict[str, list[str]] = {}
    for finding in findings:
        kinds.setdefault(finding.question, []).append(finding.kind)
    return [(", ".join(dict.fromkeys(of)), question) for question, of in kinds.items()]
