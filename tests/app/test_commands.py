"""The other commands: quick to answer, documented, and saying what they found."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "demo"
HEAVY = {"music21", "matplotlib", "verovio", "scipy", "pretty_midi", "soundfile", "pydantic", "numpy"}


def _valid(name: str, data: object) -> None:
    Draft202012Validator(json.loads((ROOT / "docs" / "schema" / f"{name}.schema.json").read_text())).validate(data)


def test_help_starts_without_heavy_libraries() -> None:
    """``klangprobe --help`` imports no library that takes long."""
    code = (
        "import sys; sys.argv = ['klangprobe', '--help']\n"
        "from klangprobe.cli import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        f"print(sorted({HEAVY!r} & set(sys.modules)), file=sys.stderr)"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stderr.strip() == "[]"
    for command in ("survey", "start", "check", "hear", "write", "blind", "sounds"):
        assert command in ran.stdout


def test_check_exports_what_is_documented(program) -> None:
    """Player checks and faithfulness of every variant, by the schema."""
    ran = program("check", DEMO / "weathercock.yaml", "--json")
    data = json.loads(ran.out)
    _valid("check", data)
    errors = [check for variant in data["variants"] for check in variant["checks"] if check["severity"] == "error"]
    assert ran.code == (1 if errors else 0)


def test_check_speaks_to_people(program) -> None:
    """Without --json a variant's name, what was kept and every remark are readable."""
    ran = program("check", DEMO / "weathercock.yaml", "--variants", "strings alone")
    assert "strings alone" in ran.out
    assert "melody 100%" in ran.out


def test_survey_exports_what_is_documented(program) -> None:
    """Reading, bars, notes and findings, by the schema."""
    ran = program("survey", DEMO / "weathercock.musicxml", "--json")
    assert ran.code == 0, ran.err
    data = json.loads(ran.out)
    _valid("survey", data)
    assert {"reading", "bars", "notes", "gaps", "dynamics", "pedal", "sections", "findings"} <= set(data)


def test_survey_writes_page_and_worksheet(program) -> None:
    """Two HTML files that load nothing from elsewhere."""
    ran = program("survey", DEMO / "weathercock.musicxml", "--html", "page.html", "--worksheet", "sheet.html")
    assert ran.code == 0, ran.err
    assert "--questions N asks more or fewer" in ran.out
    for name in ("page.html", "sheet.html"):
        text = Path(name).read_text()
        assert "<svg" in text
        assert 'src="http' not in text


def test_a_worksheet_has_as_many_questions_as_wanted(program) -> None:
    """``--questions`` asks the strongest, and says how many it asks; none at all is refused."""
    ran = program("survey", DEMO / "weathercock.musicxml", "--worksheet", "sheet.html", "--questions", "3")
    assert "sheet.html (3 questions; " in ran.out
    assert Path("sheet.html").read_text().count("<article") == 3
    assert program("survey", DEMO / "weathercock.musicxml", "--worksheet", "sheet.html", "--questions", "0").code == 2


def test_survey_of_a_spec_says_what_is_open(program) -> None:
    """The questions without an answer, the first rank before the second and the details."""
    ran = program("survey", "--spec", DEMO / "weathercock.yaml")
    assert re.search(r"Still open: \d+ of \d+ questions of the first rank; \d+ of \d+ of the second; \d+ of", ran.out)


def test_write_gives_score_parts_and_midi(program) -> None:
    """A full score, its reduction, a MIDI file and one part for every player who plays."""
    ran = program("write", DEMO / "weathercock.yaml", "strings alone", "--out", "w")
    assert ran.code == 0, ran.err
    assert Path("w/strings-alone.musicxml").exists()
    assert "<staves>2</staves>" in Path("w/strings-alone.reduced.musicxml").read_text(encoding="utf-8")
    assert Path("w/strings-alone.mid").read_bytes()[:4] == b"MThd"
    assert {path.stem for path in Path("w/parts").iterdir()} >= {"violins-1", "violins-2", "violas", "cellos", "basses"}


def test_sounds_lists_licence_and_calibration(program) -> None:
    """Every soundfont found, with its licence."""
    rows = json.loads(program("sounds", "--json").out)
    assert rows
    assert all(set(row) == {"name", "licence", "calibrated", "path", "sha256"} for row in rows)


def test_the_cache_can_be_looked_at_and_emptied(program) -> None:
    """Folder, entries, size; --clear leaves none."""
    assert json.loads(program("sounds", "cache", "--json").out)["limit_bytes"] > 0


def test_the_balance_table_shows_its_sources(program) -> None:
    """Figures with their sources and doubts, in words."""
    ran = program("sounds", "balance")
    assert ran.code == 0, ran.err
    assert "from memory" in ran.out


def test_a_blind_test_is_held_and_judged(heard: Path, program, monkeypatch: pytest.MonkeyPatch) -> None:
    """A listener who always answers 1 is told what that shows; the session is kept and can be judged again."""
    import io

    monkeypatch.setattr(sys, "stdin", io.StringIO("1\n" * 16))
    ran = program("blind", heard / "out", "--results", "me.json", "--listener", "me")
    assert ran.code == 0, ran.err
    assert "of 16 answers are right" in ran.out
    assert len(json.loads(Path("me.json").read_text())["answers"]) == 16
    assert "of 16 answers are right" in program("blind", "--judge", "me.json", "--csv", "all.csv").out
    assert Path("all.csv").read_text().count("\n") == 17


def test_a_rating_is_held(heard: Path, program, monkeypatch: pytest.MonkeyPatch) -> None:
    """Marks for every letter, the hidden reference and the anchor among them."""
    import io

    monkeypatch.setattr(sys, "stdin", io.StringIO("50\n" * 20))
    ran = program("blind", heard / "out", "--rate", "How well does the tune come through?", "--results", "r.json")
    assert ran.code == 0, ran.err
    variants = {rating["variant"] for rating in json.loads(Path("r.json").read_text())["ratings"]}
    assert {"hidden reference", "anchor"} <= variants


def test_the_lesson_pack_holds_what_a_lesson_needs(heard: Path) -> None:
    """Page, lossless and compressed clips, spec, and the word on licence and attribution."""
    names = zipfile.ZipFile(heard / "out" / "lesson.zip").namelist()
    for ending in ("index.html", ".flac", ".yaml"):
        assert any(name.endswith(ending) for name in names), ending
    assert any("licen" in name.lower() or "attribution" in name.lower() for name in names)
    assert all(not name.startswith("/") and ".." not in name for name in names)


def test_the_spec_overrules_the_layers(program, tmp_path) -> None:
    """With ``layers:`` in the spec ``check``, ``survey --spec`` and ``write`` take the user's word for a role."""
    spec = tmp_path / "mine.yaml"
    text = (DEMO / "weathercock.yaml").read_text(encoding="utf-8")
    text = text.replace("score: weathercock.musicxml", f"score: {DEMO / 'weathercock.musicxml'}")
    spec.write_text(text + "\nlayers:\n  - {bars: 1-8, staff: 2, role: counter-melody}\n", encoding="utf-8")
    ran = program("survey", DEMO / "weathercock.musicxml", "--spec", spec, "--json")
    assert ran.code == 0, ran.err
    notes = [note for note in json.loads(ran.out)["notes"] if note["bar_index"] <= 8 and note["staff"] == 2]
    assert {note["role"] for note in notes} == {"counter-melody"}
    assert program("check", spec, "--variants", "strings alone").code in (0, 1)
    assert program("write", spec, "strings alone", "--out", tmp_path / "written").code == 0
