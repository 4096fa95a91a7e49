"""Remarks of the player checks gathered for reading: one entry per kind and player instead of one per stretch."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from klangprobe.console import one_line

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reading.score import Score

__all__ = ["Group", "grouped", "remedy_of"]

MOST_BARS = 8
"""Stretches named before the rest is counted."""
_MORE = re.compile(r" \((\d+) more (?:of the kind, to bar (.+)|in the bar)\)$")


@dataclass(frozen=True)
class Group:
    """Remarks of one severity, kind and player.

    Attributes
    ----------
    severity, kind : str
    player : str
        ``all`` where it concerns the whole orchestra.
    bars : str
        ``bars 3, 7–9 and 12 more``.
    times : int
        Single faults.
    message : str
        The first remark.
    remedy : str
        One step for all bars where a step mends them, else words.
    """

    severity: str
    kind: str
    player: str
    bars: str
    times: int
    message: str
    remedy: str


def grouped(checks: Iterable[dict[str, Any]], score: Score) -> list[Group]:
    """Gather checks, in the order in which kinds and then players first appear; errors come first.

    Parameters
    ----------
    checks : iterable of dict
        As ``klangprobe check --json`` exports them, in the order of the piece.
    score : Score
    """
    kinds: dict[tuple[str, str], dict[str, list[dict[str, Any]]]] = {}
    for check in checks:
        players = kinds.setdefault((check["severity"], check["kind"]), {})
        players.setdefault(check["player"], []).append(check)
    ordered = sorted(kinds.items(), key=lambda item: item[0][0] != "error")  # stable: kinds keep their order
    return [_group(found, score) for _, players in ordered for found in players.values()]


def _group(found: list[dict[str, Any]], score: Score) -> Group:
    """One entry for remarks of one severity, kind and player."""
    first = found[0]
    told = [_MORE.sub("", check["message"]) for check in found]
    times = sum(1 + int(more[1]) if (more := _MORE.search(check["message"])) else 1 for check in found)
    alike = "" if len(set(told)) == 1 else ", and the like"
    stretches = _stretches(found, score)
    player = first["player"] or "all"
    return Group(
        first["severity"], first["kind"], player, _bars(stretches), times, told[0] + alike, _one_remedy(found, score)
    )


def _stretches(found: list[dict[str, Any]], score: Score) -> list[str]:
    """Bars of the remarks as printed, from the first to the last of each; what overlaps is one stretch."""
    spans: list[tuple[int, int]] = []
    for first, last in sorted({_span(check, score) for check in found}):
        if spans and first <= spans[-1][1]:
            spans[-1] = (spans[-1][0], max(last, spans[-1][1]))
        else:
            spans.append((first, last))
    printed = [one_line(number) or f"#{index}" for index, number in enumerate(score.bar_numbers, start=1)]
    return ["–".join(dict.fromkeys((printed[first - 1], printed[last - 1]))) for first, last in spans]


def _span(check: dict[str, Any], score: Score) -> tuple[int, int]:
    """Indices of the first and the last bar of a remark."""
    first = int(check["bar_index"])
    more = _MORE.search(check["message"])
    if not more or not more[2]:
        return first, first
    if more[2].startswith("#"):
        return first, int(more[2][1:])
    return first, next(
        (at for at, number in enumerate(score.bar_numbers[first - 1 :], start=first) if number == more[2]), first
    )


def _bars(stretches: list[str]) -> str:
    """Stretches in a few words; the rest is counted where it is more than one."""
    if len(stretches) == 1:
        return ("bars " if "–" in stretches[0] else "bar ") + stretches[0]
    if len(stretches) <= MOST_BARS + 1:
        return f"bars {', '.join(stretches[:-1])} and {stretches[-1]}"
    return f"bars {', '.join(stretches[:MOST_BARS])} and {len(stretches) - MOST_BARS} more"


def _one_remedy(found: list[dict[str, Any]], score: Score) -> str:
    """The first remark's remedy, with the bars of all remarks that ask for the same step."""
    first = found[0].get("remedy") or ""
    if not isinstance(first, dict) or "bars" not in first:
        return remedy_of(found[0], score)
    same = [one["remedy"] for one in found if isinstance(one.get("remedy"), dict)]
    same = [one for one in same if {**one, "bars": ""} == {**first, "bars": ""}]
    bars = ", ".join(dict.fromkeys(_said(str(one["bars"]), score) for one in same))
    others = "" if len(same) == len(found) else "; for the other bars see --all"
    return _as_step({**first, "bars": bars}) + others


def remedy_of(check: dict[str, Any], score: Score) -> str:
    """Return a remedy as text; a step as it can be pasted into the spec, with printed bars where they are plain.

    Parameters
    ----------
    check : dict
    score : Score
    """
    remedy = check.get("remedy") or ""
    if not isinstance(remedy, dict):
        return str(remedy)
    return _as_step({**remedy, "bars": _said(str(remedy["bars"]), score)} if "bars" in remedy else remedy)


def _said(bars: str, score: Score) -> str:
    """Counted bars as a spec says them; others as they are."""
    from reading import bars_said

    counted = re.fullmatch(r"#(\d+)(?:-#(\d+))?", bars)
    return bars_said(score, int(counted[1]), int(counted[2] or counted[1])) if counted else bars


def _as_step(step: dict[str, Any]) -> str:
    """A step on one line of YAML."""
    return "{" + ", ".join(f"{key}: {_in_yaml(value)}" for key, value in step.items()) + "}"


def _in_yaml(value: Any) -> str:
    """Return a value as YAML; text is bare where that is safe (a bare ``#81`` would be a comment)."""
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(map(_in_yaml, value))}]"
    return str(value) if re.fullmatch(r"\w[\w .-]*", str(value)) else json.dumps(value, ensure_ascii=False)
