"""Names of products: a hash of all that is heard, shown or written in one, and of nothing else."""

from __future__ import annotations

from dataclasses import asdict
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

import numpy as np

from base.identity import digest
from render.lines import choices_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from klangprobe.workbench import Workbench
    from mapping.arrangement import Arrangement, Part
    from reading.score import Mark
    from render.settings import RenderSettings
    from soundfonts import Font

__all__ = ["passage_key", "same_here", "written_key"]

_VERSION = 20
"""Raised whenever render, compare, the page, the full score or the MIDI file make something else of the same input."""


def passage_key(
    bench: Workbench,
    name: str,
    spans: tuple[tuple[int, int], ...],
    arrangements: Sequence[Arrangement],
    settings: RenderSettings,
    font: Font | None,
    *,
    stems: bool = False,
) -> str:
    """Return the name of passage *name*.

    Notes and marks outside its bars do not count, but for the marks before it that still hold; so an edit elsewhere
    in the piece leaves the name alone.
    """
    ticks = [bench.score.span(first, last) for first, last in spans]
    return digest(
        "passage",
        _VERSION,
        version("klangprobe"),
        name,
        _namesakes(bench, name),
        spans,
        bench.score.sha256,
        [_variant(arrangement, spans, ticks) for arrangement in arrangements],
        _roles(bench, ticks),
        {key: value for key, value in asdict(settings).items() if key != "soundfont"},
        font.sha256 if font else None,
        choices_of(settings),
        stems,
        _words(bench, spans),
    )


def written_key(arrangement: Arrangement) -> str:
    """Return the name of a variant's full score and MIDI file: all that is written in them."""
    steps = [step.verb for step in arrangement.steps]  # neither their words nor their lines are written
    written = arrangement.variant, arrangement.says, arrangement.score, arrangement.parts, steps
    return digest("score and MIDI", _VERSION, version("klangprobe"), *written)


def same_here(arrangements: Sequence[Arrangement], ticks: list[tuple[int, int]]) -> list[int]:
    """Return for every arrangement the row of the first one that is the same in these bars (mostly its own).

    Parameters
    ----------
    arrangements : sequence of Arrangement
    ticks : list of (int, int)
        Start and end of each stretch.
    """
    rows: dict[str, int] = {}
    parts = ([_part(part, ticks) for part in arrangement.parts] for arrangement in arrangements)
    return [rows.setdefault(digest("here", 1, one), row) for row, one in enumerate(parts)]


def _namesakes(bench: Workbench, name: str) -> list[str]:
    """Passages before *name* whose names lead to the same file name, which then gets a number."""
    from compare import slug

    before = list(bench.spec.passages)
    return [other for other in before[: before.index(name)] if slug(other).lower() == slug(name).lower()]


def _variant(arrangement: Arrangement, spans: tuple[tuple[int, int], ...], ticks: list[tuple[int, int]]) -> Any:
    """What a variant is in these bars: its parts, and the words of the steps that act here."""
    from compare.acting import steps_here

    parts = [_part(part, ticks) for part in arrangement.parts]
    return arrangement.variant, arrangement.says, steps_here(arrangement, spans), parts


def _part(part: Part, ticks: list[tuple[int, int]]) -> Any:
    """A player's notes and marks in these bars; numbers of notes and steps shift with an edit elsewhere."""
    notes = part.notes
    inside = np.zeros(len(notes), dtype=bool)
    for start, end in ticks:
        inside |= (notes["onset"] < end) & (notes["onset"] + np.maximum(notes["duration"], 1) > start)
    here = notes[inside]
    here["id"] = 0
    here["cause"] = 0
    last = max(end for _, end in ticks)
    return part.player.name, part.player.count, here, [_mark(mark) for mark in part.marks if mark.onset < last]


def _mark(mark: Mark) -> Any:
    """A mark without the note ids, which shift when a note is added elsewhere."""
    return mark.kind, mark.onset, mark.end, mark.staff, mark.value


def _roles(bench: Workbench, ticks: list[tuple[int, int]]) -> Any:
    """Roles of the piano's notes in these bars."""
    onset = bench.score.notes["onset"]
    return [bench.layers.roles[(onset >= start) & (onset < end)] for start, end in ticks]


def _words(bench: Workbench, spans: tuple[tuple[int, int], ...]) -> Any:
    """Questions to these bars and their answers."""
    here = [
        finding
        for finding in bench.survey.findings
        if any(first <= finding.first_bar_index <= last for first, last in spans)
    ]
    names = {finding.name for finding in here}
    answers = [answer.model_dump() for answer in bench.decided if answer.finding in names]
    return [(finding.name, finding.question, finding.rank) for finding in here], answers
