"""Measure the survey: gaps and dynamics against independent tables, two encodings of one piece, time beside reading.

    python bench/survey.py [DATA]

DATA is a folder of scores with ``annotations/`` and ``alt/`` beside them; nothing of it is part of the project. Without
it only the time is measured, on the demo piece. Form, repeats, figuration and pedal are measured by ``bench/form.py``,
layers by ``bench/layers.py``, the options of the findings by ``bench/options.py``.
"""

from __future__ import annotations

import csv
import sys
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from reading.gaps import gaps
from reading.reader import read
from reading.score import Flag, Score
from reading.survey import Finding, Survey, survey

PIANO = ("V01", "V02", "V03", "V07")
STARTS = {"new theme", "contrast", "return", "repeat"}  # names for the place where something begins
HAIRPINS = {"wedge:crescendo": "cresc", "wedge:diminuendo": "dim", "<": "cresc", ">": "dim"}
ON_NOTES = int(
    Flag.ACCENT | Flag.MARCATO | Flag.STACCATO | Flag.STACCATISSIMO | Flag.TENUTO | Flag.SFORZANDO | Flag.FP
    | Flag.FERMATA | Flag.ARPEGGIO | Flag.ARPEGGIO_DOWN | Flag.NON_ARPEGGIO
)  # fmt: skip
ENDS = {"wedge:stop", "[", "]", "[[", "]]", "(", ")"}


def score_of(data: Path, piece: str) -> Score:
    """Read a piece by its short name."""
    return read(next(path for path in sorted(data.glob(f"{piece}_*")) if path.is_file()))


def table(data: Path, piece: str, name: str) -> list[dict[str, str]]:
    """Read one annotation table."""
    path = next(data.glob(f"annotations/{piece}_*/{name}.tsv"))
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(file, delimiter="\t"))


def bar_keys(score: Score, rows: list[dict[str, str]]) -> list[str]:
    """What the tables call each bar: the printed number where every name of theirs is one, else the index."""
    names = {row["bar"] for row in rows}
    printed = list(score.bar_numbers)
    by_index = [str(index + 1) for index in range(len(printed))]
    return by_index if names <= set(by_index) and not score.source.endswith(".krn") else printed


def gap_table(data: Path) -> None:
    """Print how many bars agree exactly with the independent gap table."""
    print("gaps: bars equal in largest distance, median and number of onsets")
    for piece in PIANO:
        score, rows = score_of(data, piece), table(data, piece, "norm_gaps")
        keys = bar_keys(score, rows)
        truth = {
            row["bar"]: (float(row["max_gap_semitones"]), float(row["median_gap"]), int(row["n_onsets"]))
            for row in rows
        }
        found = gaps(score).bars
        mine = {keys[bar.bar_index - 1]: (bar.semitones, bar.median, bar.onsets) for bar in found}
        equal = sum(mine.get(bar) == row for bar, row in truth.items())
        wide = np.mean([bar.semitones >= 24 for bar in found])
        print(f"  {piece} {equal} of {len(truth)}; two octaves or more in {wide:.0%} of bars")


def dynamic_table(data: Path) -> None:
    """Print how many printed dynamics are in the survey's table, in their bar."""
    print("dynamics: marks found in their bar, of those printed (hairpins by their start)")
    for piece in PIANO:
        score = score_of(data, piece)
        rows = [row for row in table(data, piece, "norm_dynamics") if row["token"] not in ENDS]
        keys = bar_keys(score, rows)
        wanted = Counter((row["bar"], HAIRPINS.get(row["token"], row["token"])) for row in rows)
        mine = Counter((keys[row.bar_index - 1], row.mark) for row in survey(score).dynamics)
        missed = wanted - mine
        print(f"  {piece} {sum(wanted.values()) - sum(missed.values())} of {sum(wanted.values())}", dict(missed) or "")


def encodings(data: Path) -> None:
    """Print how many first-rank findings two encodings share, as they are and with the same marks in both."""
    print("two encodings of one piece: findings of the first rank found in the other (kind, bars within one)")
    for piece in ("V01", "V02"):
        one, two = score_of(data, piece), read(next((data / "alt").glob(f"{piece}_*")))
        for label, first, second in (
            ("", one, two),
            ("marks of the first in both", one, marked_like(two, one)),
            ("marks of the second in both", marked_like(one, two), two),
        ):
            a, b = survey(first), survey(second)
            print(f"  {piece} {label:27s} {shared(a, b)} and back {shared(b, a)}")


def marked_like(score: Score, model: Score) -> Score:
    """Return the score with the marks, signs on notes and bar lines of another encoding.

    What then still differs is in the notes, in how they are noted, or in the survey. Both are joined by bar and place
    in the bar where they have as many bars, else by quarters; a bar line of the model inside a bar of the score goes to
    the bar that follows.
    """
    notes, bars = score.notes.copy(), score.bars.copy()
    signs: dict[tuple[int, int], int] = {}
    for onset, note in zip(moved(model.notes["onset"], model, score), model.notes, strict=True):
        key = (int(onset), int(note["pitch"]))
        signs[key] = signs.get(key, 0) | int(note["flags"]) & ON_NOTES
    keys = zip(notes["onset"].tolist(), notes["pitch"].tolist(), strict=True)
    given = np.array([signs.get(key, 0) for key in keys], dtype=np.uint32)
    notes["flags"] = (notes["flags"] & ~np.uint32(ON_NOTES)) | given
    draw_bar_lines(bars, model, score)
    spans = [moved([getattr(mark, at) for mark in model.marks], model, score).tolist() for at in ("onset", "end")]
    marks = tuple(
        replace(mark, onset=start, end=end, notes=()) for mark, start, end in zip(model.marks, *spans, strict=True)
    )
    return replace(score, sha256="", notes=notes, bars=bars, marks=marks)


def draw_bar_lines(bars: Any, model: Score, score: Score) -> None:
    """Put the double bars and repeat signs of the model into a table of bars."""
    bars["double_bar"], bars["repeat_start"], bars["repeat_end"] = False, False, 0
    starts = moved(model.bars["onset"], model, score).tolist()
    onsets, ends = bars["onset"].tolist(), (bars["onset"] + bars["duration"]).tolist()
    for bar, start, end in zip(model.bars, starts, starts[1:] + ends[-1:], strict=True):
        row = min(int(np.searchsorted(ends, end)), len(ends) - 1)
        if bar["repeat_start"]:
            bars["repeat_start"][min(int(np.searchsorted(onsets, start)), len(onsets) - 1)] = True
        if ends[row] == end:
            bars["double_bar"][row] |= bar["double_bar"]
            bars["repeat_end"][row] = max(bars["repeat_end"][row], bar["repeat_end"])


def moved(onset: Any, model: Score, score: Score) -> Any:
    """Places of the model as places of the score."""
    onset = np.asarray(onset, dtype=np.int64)
    if len(model.bars) != len(score.bars):
        return onset
    row = np.maximum(np.searchsorted(model.bars["onset"], onset, side="right") - 1, 0)
    return onset - model.bars["onset"][row] + score.bars["onset"][row]


def shared(one: Survey, two: Survey) -> str:
    """Share of the first-rank findings of one survey that the other has in any rank; the others by name.

    The second figure lets the start of a passage go by another name (a theme, a contrast, a return).
    """
    first, missing, nameless = shared_findings(one, two)
    names = [finding.name for finding in nameless]
    return f"{len(first) - len(missing)}/{len(first)} ({len(first) - len(names)}) {names or ''}"


def shared_findings(one: Survey, two: Survey) -> tuple[list[Finding], list[Finding], list[Finding]]:
    """First-rank findings of one survey; those the other has not in any rank; those it has not by any name of a start.

    Places are compared in quarters, to within a bar: one encoding may split the bar of a repeat sign.
    """
    first = [finding for finding in one.findings if finding.rank == 1]
    missing = [finding for finding in first if not any(same(one, finding, two, other) for other in two.findings)]
    nameless = [finding for finding in missing if not any(starts(one, finding, two, other) for other in two.findings)]
    return first, missing, nameless


def same(one: Survey, finding: Finding, two: Survey, other: Finding) -> bool:
    """Whether two findings are of one kind and place."""
    return finding.kind == other.kind and near(one, finding, two, other)


def starts(one: Survey, finding: Finding, two: Survey, other: Finding) -> bool:
    """Whether both say that something begins within a bar of the same place."""
    return finding.kind in STARTS and other.kind in STARTS and apart(one, finding, two, other)[0] <= 1.01


def near(one: Survey, finding: Finding, two: Survey, other: Finding) -> bool:
    """Whether both ends of two findings lie within a bar of each other."""
    return max(apart(one, finding, two, other)) <= 1.01


def apart(one: Survey, finding: Finding, two: Survey, other: Finding) -> tuple[float, float]:
    """Bars between the starts and between the ends of two findings.

    Bars are counted where both scores have as many; else one has divided some, and places are compared in quarters, a
    bar of either score being its usual one.
    """
    if len(one.score.bars) == len(two.score.bars):
        first, last = (
            abs(getattr(finding, end) - getattr(other, end)) for end in ("first_bar_index", "last_bar_index")
        )
        return float(first), float(last)
    a = one.score.span(finding.first_bar_index, finding.last_bar_index)
    b = two.score.span(other.first_bar_index, other.last_bar_index)
    bars = [float(np.median(found.score.bars["duration"])) for found in (one, two)]
    return abs(a[0] / bars[0] - b[0] / bars[1]), abs(a[1] / bars[0] - b[1] / bars[1])


def cost(paths: list[Path]) -> None:
    """Print the time of the survey beside that of reading."""
    print("processor time: reading, survey, ratio; seconds for 250 bars of the same density")
    for path in paths:
        start = time.process_time()
        score = read(path)
        read_s = time.process_time() - start
        survey(score)
        start = time.process_time()
        survey(score)
        survey_s = time.process_time() - start
        per_250 = survey_s * 250 / len(score.bars)
        ratio = survey_s / read_s
        print(f"  {path.stem[:20]} {read_s:.2f} {survey_s:.2f} {ratio:.2f}; {per_250:.2f} ({len(score.notes)} notes)")


if __name__ == "__main__":
    if len(sys.argv) == 2:
        gap_table(Path(sys.argv[1]))
        dynamic_table(Path(sys.argv[1]))
        encodings(Path(sys.argv[1]))
        cost([path for piece in PIANO for path in sorted(Path(sys.argv[1]).glob(f"{piece}_*")) if path.is_file()])
    else:
        cost([Path(__file__).parents[1] / "demo" / "weathercock.musicxml"])
