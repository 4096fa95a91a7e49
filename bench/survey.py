"""Measure the survey: gaps and dynamics against independent tables, two encodings of one piece, time beside reading.

    python bench/survey.py DATA [--options]

DATA is a folder of scores with ``annotations/`` and ``alt/`` beside them; nothing of it is part of the project.
``--options`` also writes every option of every finding into a spec and arranges it (minutes). Form, repeats, figuration
and pedal are measured by ``bench/form.py``, layers by ``bench/layers.py``.
"""

from __future__ import annotations

import csv
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np

if __name__ == "__main__":  # else bench/reading.py would stand in for the package of that name
    sys.path[0] = str(Path(__file__).resolve().parents[1])

from reading.gaps import gaps
from reading.reader import read
from reading.score import Score
from reading.survey import Survey, survey

PIANO = ("V01", "V02", "V03", "V07")
HAIRPINS = {"wedge:crescendo": "cresc", "wedge:diminuendo": "dim", "<": "cresc", ">": "dim"}
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
    """Print how many findings of the first two ranks two encodings share, bars within one."""
    print("two encodings of one piece: findings of the first rank found in the other (kind, bars within one)")
    for piece in ("V01", "V02"):
        one = survey(score_of(data, piece))
        two = survey(read(next((data / "alt").glob(f"{piece}_*"))))
        print(f"  {piece} {shared(one, two)} and back {shared(two, one)}")


def shared(one: Survey, two: Survey) -> str:
    """Share of the first-rank findings of one survey that the other has in any rank; the others by name.

    Places are compared in quarters, to within a bar: one encoding may split the bar of a repeat sign.
    """
    first = [finding for finding in one.findings if finding.rank == 1]
    missing = [
        finding.name
        for finding in first
        if not any(other.kind == finding.kind and near(one, finding, two, other) for other in two.findings)
    ]
    return f"{len(first) - len(missing)}/{len(first)} {missing or ''}"


def near(one: Survey, finding: Any, two: Survey, other: Any) -> bool:
    """Whether both ends of two findings lie within a bar of each other."""
    a = one.score.span(finding.first_bar_index, finding.last_bar_index)
    b = two.score.span(other.first_bar_index, other.last_bar_index)
    bar = float(np.median(one.score.bars["duration"]))
    return all(abs(x - y) <= 1.01 * bar for x, y in zip(a, b, strict=True))


def cost(data: Path) -> None:
    """Print the time of the survey beside that of reading."""
    print("processor time: reading, survey, ratio; seconds for 250 bars of the same density")
    for piece in PIANO:
        path = next(path for path in sorted(data.glob(f"{piece}_*")) if path.is_file())
        start = time.process_time()
        score = read(path)
        read_s = time.process_time() - start
        survey(score)
        start = time.process_time()
        survey(score)
        survey_s = time.process_time() - start
        per_250 = survey_s * 250 / len(score.bars)
        print(
            f"  {piece} {read_s:.2f} {survey_s:.2f} {survey_s / read_s:.2f}; {per_250:.2f} ({len(score.notes)} notes)"
        )


def options(data: Path) -> None:
    """Write every option into a spec and arrange it."""
    import mapping
    from klangprobe.survey_page import step_text

    print("options: arranged without error, of all; those that change nothing")
    for piece in PIANO:
        path = next(path for path in sorted(data.glob(f"{piece}_*")) if path.is_file())
        score = read(path)
        found = survey(score)
        lines = [
            f"piece: {{score: {path.resolve()}}}", "orchestra: {use: classical full}", "variants:", "  plain:",
            "    steps:",
            "      - {play: melody, on: violins 1}", "      - {play: accompaniment, on: [violins 2, violas]}",
            "      - {play: bass, on: [cellos, basses 8vb]}",
        ]  # fmt: skip
        every = [(finding, option) for finding in found.findings for option in finding.options]
        for row, (_, option) in enumerate(every):
            lines += [
                f"  v{row}:",
                "    from: plain",
                "    steps:",
                *(f"      {step_text(step)}" for step in option.steps),
            ]
        with tempfile.TemporaryDirectory() as folder:
            spec_path = Path(folder) / "options.yaml"
            spec_path.write_text("\n".join(lines) + "\n", encoding="utf-8")
            spec = mapping.load_spec(spec_path)
        plain = sounding(mapping.arrange(score, found.layers, spec, "plain"))
        done, idle = 0, Counter[str]()
        for row, (finding, option) in enumerate(every):
            arrangement = mapping.arrange(score, found.layers, spec, f"v{row}")
            done += 1
            if sounding(arrangement) == plain:
                idle[f"{finding.kind}: {option.says}"] += 1
        print(f"  {piece} {done} of {len(every)}; idle {sum(idle.values())}", idle.most_common(4))


def sounding(arrangement: Any) -> tuple[bytes, ...]:
    """What the players have, for comparison."""
    return tuple(part.notes.tobytes() for part in arrangement.parts)


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    folder = Path(sys.argv[1])
    gap_table(folder)
    dynamic_table(folder)
    encodings(folder)
    cost(folder)
    if "--options" in sys.argv:
        options(folder)
