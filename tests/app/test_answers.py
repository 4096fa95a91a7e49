"""Answers in a spec: checked against the survey and the variants, and counted for what they decide."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "demo"
ANSWER = "  - {finding: pedal 9-12, choice: horns keep the pedal, because: warmth without weight}"


@pytest.fixture
def answered(tmp_path):
    """Return a function that writes the demo's spec with one answer in place of the first, and says its line."""
    shutil.copy(DEMO / "weathercock.musicxml", tmp_path)
    text = (DEMO / "weathercock.yaml").read_text(encoding="utf-8")
    assert ANSWER in text

    def made(answer):
        (tmp_path / "mine.yaml").write_text(text.replace(ANSWER, f"  - {answer}"), encoding="utf-8")
        return text[: text.index(ANSWER)].count("\n") + 1

    return made


@pytest.mark.parametrize(
    "command", [("check", "mine.yaml", "--variants", "strings alone"), ("survey", "--spec", "mine.yaml")]
)
def test_an_answer_to_no_finding_is_told_with_line_and_nearest_name(program, answered, command) -> None:
    """An edit of the score may move a finding: the answer is a warning that cannot be missed, never an error."""
    line = answered("{finding: pedal 9-13, choice: horns keep the pedal}")
    ran = program(*command)
    assert ran.code != 2
    assert f"mine.yaml:{line}:" in ran.err
    assert "no finding 'pedal 9-13'" in ran.err
    assert "The nearest is 'pedal 9-12'" in ran.err


def test_a_misspelt_kind_leads_to_the_finding_meant(program, answered) -> None:
    """The nearest is of the nearest kind, and of these the one nearest in the piece."""
    answered("{finding: new themes 26-33, choice: full daylight}")
    assert "The nearest is 'new theme 25-32'" in program("survey", "--spec", "mine.yaml").err


def test_a_finding_may_be_said_with_counted_bars_and_a_long_dash(program, answered) -> None:
    """``Pedal #9–#12`` is ``pedal 9-12`` in a piece whose first bar is bar 1."""
    answered('{finding: "Pedal #9–#12", choice: horns keep the pedal}')
    ran = program("survey", "--spec", "mine.yaml", "--json")
    assert ran.err == ""
    assert json.loads(ran.out)["answers"][0]["name"] == "pedal 9-12"


def test_a_choice_the_spec_does_not_have_is_an_error(program, answered) -> None:
    """File, line and the nearest variant; the piano itself may be chosen."""
    line = answered("{finding: pedal 9-12, choice: horns keep the pedals}")
    ran = program("check", "mine.yaml")
    assert ran.code == 2
    assert f"mine.yaml:{line}:" in ran.err
    assert "Did you mean 'horns keep the pedal'?" in ran.err
    answered("{finding: pedal 9-12, choice: piano}")
    assert program("survey", "--spec", "mine.yaml").code == 0


def test_an_empty_choice_is_open_and_the_export_says_so(program, answered) -> None:
    """The state of each answer follows the published schema, and only a decided finding is closed."""
    answered('{finding: pedal 9-12, choice: "", because: ""}')
    left = _first_open(program("survey", "--spec", "mine.yaml").out)
    data = json.loads(program("survey", "--spec", "mine.yaml", "--json").out)
    schema = json.loads((ROOT / "docs" / "schema" / "survey.schema.json").read_text(encoding="utf-8"))
    Draft202012Validator(schema).validate(data)
    assert [one["state"] for one in data["answers"]] == ["open", "answered"]
    closed = {finding["name"] for finding in data["findings"] if not finding["open"]}
    assert closed == {"new theme 25-32"}
    answered("{finding: pedal 9-12, choice: horns keep the pedal}")
    assert _first_open(program("survey", "--spec", "mine.yaml").out) == left - 1


def _first_open(out: str) -> int:
    """How many questions of the first rank the headline counts."""
    return int(re.search(r"Still open: (\d+) of", out)[1])


def test_the_score_beside_a_spec_must_be_its_own(program, answered, tmp_path: Path) -> None:
    """A score that is missing or another one is refused; a copy of the spec's own is let pass."""
    answered(ANSWER.removeprefix("  - "))
    (tmp_path / "other.abc").write_text("X:1\nT:Two\nM:2/4\nL:1/8\nK:G\nGA|B2B2|c2A2|G4|]\n")
    for name, said in (("gone.krn", "no such file"), ("other.abc", "is not the score of mine.yaml")):
        ran = program("survey", name, "--spec", "mine.yaml")
        assert ran.code == 2
        assert name in ran.err
        assert said in ran.err
        assert "weathercock.musicxml" in ran.err
    shutil.copy(tmp_path / "weathercock.musicxml", tmp_path / "copy.musicxml")
    assert program("survey", "copy.musicxml", "--spec", "mine.yaml").code == 0


def test_two_pages_need_two_names(program) -> None:
    """The worksheet would take the place of the page: refused, however the path is written."""
    ran = program("survey", DEMO / "weathercock.musicxml", "--html", "a.html", "--worksheet", "./a.html")
    assert ran.code == 2
    assert "two names" in ran.err
    assert not Path("a.html").exists()


def test_what_is_decided_reaches_the_page_by_its_name(answered, tmp_path: Path) -> None:
    """Only answers with a choice and a finding are shown as decided, under the name the survey gives the finding."""
    from klangprobe.workbench import open_spec

    answered('{finding: "pedal #9-#12", choice: horns keep the pedal}')
    assert [one.finding for one in open_spec(tmp_path / "mine.yaml").decided] == ["pedal 9-12", "new theme 25-32"]
    answered('{finding: pedal 9-12, choice: ""}')
    assert [one.finding for one in open_spec(tmp_path / "mine.yaml").decided] == ["new theme 25-32"]
