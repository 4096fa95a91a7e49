"""What ``check`` says in the terminal: advice gathered by kind and player, errors one by one, nothing lost."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from klangprobe.remarks import grouped
from mapping.spec_yaml import read_yaml
from reading import Score, read

DEMO = Path(__file__).resolve().parents[2] / "demo"


@pytest.fixture(scope="module")
def score() -> Score:
    """The demo, whose bars are numbered from 1."""
    return read(DEMO / "weathercock.musicxml")


def _check(bar: int, message: str = "too low", **more: Any) -> dict[str, Any]:
    return {"player": "", "bar_index": bar, "severity": "advice", "kind": "low", "message": message, **more}


def test_bars_of_a_group_are_said_compactly(score: Score) -> None:
    """Single bars, stretches, and how many more; every single fault is counted."""
    (one,) = grouped([_check(3), _check(7, "too low (4 more of the kind, to bar 9)")], score)
    assert (one.bars, one.times, one.message, one.player) == ("bars 3 and 7–9", 6, "too low", "all")
    (low_and_high,) = grouped(
        [_check(1, "x (2 more of the kind, to bar 14)"), _check(9, "y (1 more of the kind, to bar 12)")], score
    )
    assert low_and_high.bars == "bars 1–14"
    (many,) = grouped([_check(bar) for bar in range(2, 42, 2)], score)
    assert many.bars == "bars 2, 4, 6, 8, 10, 12, 14, 16 and 12 more"
    assert grouped([_check(5, "too low (1 more in the bar)")], score)[0].bars == "bar 5"


def test_groups_keep_kinds_and_players_apart(score: Score) -> None:
    """Errors first, then kinds as they appear, the players of one kind together; none is lost."""
    checks = [
        _check(1, player="flute 1"),
        _check(2, kind="breath", player="oboe 1"),
        _check(3, player="oboe 1"),
        _check(4, kind="speed", severity="error"),
        _check(5, player="flute 1"),
    ]
    found = [(one.severity, one.kind, one.player, one.times) for one in grouped(checks, score)]
    assert found == [
        ("error", "speed", "all", 1),
        ("advice", "low", "flute 1", 2),
        ("advice", "low", "oboe 1", 1),
        ("advice", "breath", "oboe 1", 1),
    ]


def test_one_step_mends_all_bars_of_a_group(score: Score, tmp_path: Path) -> None:
    """The remedy can be pasted and names the bars of all remarks that ask for it; it says if some do not."""
    step = {"fill": "gap", "on": ["violas"]}
    checks = [_check(bar, remedy={**step, "bars": f"#{bar}-#{bar + 1}"}) for bar in (3, 9)]
    (one,) = grouped(checks, score)
    path = tmp_path / "pasted.yaml"
    path.write_text(f"- {one.remedy}\n")
    assert read_yaml(path).data == [{**step, "bars": "3-4, 9-10"}]
    (mixed,) = grouped([*checks, _check(20, remedy={"mark": "p", "on": ["violas"], "bars": "#20"})], score)
    assert mixed.remedy == f"{one.remedy}; for the other bars see --all"


def test_the_terminal_shows_groups_and_all_shows_remarks(program) -> None:
    """Every kind and player of the export is named once, within 80 columns; ``--all`` has a row for each."""
    arguments = ("check", DEMO / "weathercock.yaml", "--variants", "strings alone")
    (variant,) = json.loads(program(*arguments, "--json").out)["variants"]
    checks = [one for one in variant["checks"] if one["severity"] == "advice"]
    assert checks
    out = program(*arguments).out
    heads = re.findall(r"^  - (.+?), (.+?): bar", out, re.MULTILINE)
    assert sorted(heads) == sorted({(one["kind"], one["player"] or "all") for one in checks})
    assert len(heads) < len(checks)
    assert f"--all shows all {len(checks)}" in out
    assert max(map(len, out.splitlines())) <= 80
    assert program(*arguments, "--all").out.count("\n advice ") == len(checks)


def test_errors_are_told_one_by_one(program, tmp_path: Path) -> None:
    """A part that nobody can play: each error has its row with bar and beat, and the exit code is 1."""
    text = "piece: {score: weathercock.musicxml}\norchestra: [piccolo, violas]\nvariants:\n  too low:\n    steps:\n"
    (tmp_path / "low.yaml").write_text(text + "      - {play: bass, on: piccolo}\n")
    (tmp_path / "weathercock.musicxml").write_bytes((DEMO / "weathercock.musicxml").read_bytes())
    exported = json.loads(program("check", "low.yaml", "--json").out)["variants"][0]["checks"]
    errors = [one for one in exported if one["severity"] == "error"]
    ran = program("check", "low.yaml")
    assert ran.code == 1
    assert ran.out.count("\n error ") == len(errors) > 0
