"""What the program says can be read by a musician and pasted into a spec."""

from __future__ import annotations

import shlex
import shutil
from pathlib import Path

from base.errors import Problem, ScoreError
from klangprobe.remarks import remedy_of
from mapping.spec_yaml import read_yaml

DEMO = Path(__file__).resolve().parents[2] / "demo"
TUNE = "X:1\nT:Two Strains\nM:2/4\nL:1/8\nK:G\nGA|B2B2|c2A2|G4|d2d2|e2c2|d4|\n"
SONG = """<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="3.0"><work><work-title>Two\nLines</work-title></work>
<identification><creator type="composer">A. Nobody\nOp. 7\x1b[31m</creator></identification>
<part-list><score-part id="P1"><part-name>Piano</part-name></score-part></part-list>
<part id="P1"><measure number="0" implicit="yes"><attributes><divisions>1</divisions><key><fifths>0</fifths></key>
<time><beats>4</beats><beat-type>4</beat-type></time></attributes>{note}</measure>
<measure number="1">{note}{note}{note}{note}</measure></part></score-partwise>"""
NOTE = (
    "<note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration><type>quarter</type>"
    "<notations><technical><fingering>3</fingering></technical></notations>"
    "<lyric><syllabic>single</syllabic><text>la</text></lyric></note>"
)


def test_a_hint_is_a_sentence_of_its_own() -> None:
    """Message and hint never run into each other, whether or not the message has its full stop."""
    assert str(ScoreError("the file is broken", hint="Export it again.")) == "the file is broken. Export it again."
    assert Problem("is empty.", hint="Write one.").text() == "is empty. Write one."


def test_remedies_can_be_pasted_into_the_spec(program, tmp_path: Path) -> None:
    """A remedy in words of the spec is YAML; a counted bar, which a bare ``#`` would make a comment, is quoted."""
    from reading import read

    score = read(DEMO / "weathercock.musicxml")
    for bars, said in (("#3-#5", "3-5"), ("#7", "7"), ("3, 9", "3, 9")):
        remedy = remedy_of({"remedy": {"mark": "div.", "on": ["violins 1", "violas"], "bars": bars}}, score)
        assert remedy.startswith("{mark: div., on: [violins 1, violas], bars: ")
        path = tmp_path / "pasted.yaml"
        path.write_text(f"- {remedy}\n")
        pasted = read_yaml(path)
        assert str(pasted).count(said)


def test_the_account_of_a_score_is_one_line_each(program, tmp_path: Path) -> None:
    """Titles and names cannot break the line or reach the terminal as commands; bars are named as printed."""
    (tmp_path / "song.musicxml").write_text(SONG.format(note=NOTE).replace("\x1b", ""))
    out = program("survey", "song.musicxml").out.splitlines()
    assert out[0] == "Two Lines (A. Nobody Op. 7[31m): 2 bars"
    assert out[1] == "Read: 1 part, 5 notes, 5 note heads, syllables 5, verses 1"
    assert out[2] == "Not carried: <fingering> at a note: 5 times, in bars 0, 1"


def test_a_tune_has_numbered_bars_and_no_left_hand(program, tmp_path: Path) -> None:
    """ABC leaves bars unnumbered (standard 2.1): they are counted from the upbeat, which is bar 0."""
    from reading import read

    (tmp_path / "tune.abc").write_text(TUNE)
    assert read(tmp_path / "tune.abc").bar_numbers == ("0", "1", "2", "3", "4", "5", "6")
    assert "left hand" not in program("survey", "tune.abc", "--all").out


def test_the_survey_says_what_comes_first(program, tmp_path: Path) -> None:
    """Findings stand in groups by rank, each in the order of the piece."""
    shutil.copy(DEMO / "weathercock.musicxml", tmp_path)
    out = program("survey", "weathercock.musicxml").out
    assert out.index("Must be answered:") < out.index("Should be answered:")


def test_the_readme_commands_run_as_written(program, tmp_path: Path) -> None:
    """The commands for a piece of one's own, in their order (``hear`` is heard elsewhere)."""
    lines = (DEMO.parent / "README.md").read_text(encoding="utf-8").splitlines()
    commands = [line.split("#")[0].strip() for line in lines if line.startswith("    klangprobe ")]
    shutil.copytree(DEMO, tmp_path / "demo", ignore=shutil.ignore_patterns("out"))
    assert len(commands) == 5
    for command in commands:
        program_, *arguments = shlex.split(command)
        assert program_ == "klangprobe"
        if arguments[0] != "hear":
            ran = program(*arguments)
            assert ran.code == 0, ran.err


def test_a_tune_without_last_bar_line_or_metre_is_read_whole(tmp_path: Path) -> None:
    """ABC 2.1 allows ``M: none`` (section 3.1.6, number from memory); the corpus has tunes without a last bar line."""
    from reading import read

    tune = "X:1\nT:Free\nM: none\nL:1/4\nK:F\nA A2 G A | c2 B A | G2 A B |\nF3 z % the end\nw: la la\n"
    (tmp_path / "tune.abc").write_text(tune)
    score = read(tmp_path / "tune.abc")
    assert len(score.notes) == 11
    assert any("free metre" in remark.message for remark in score.not_carried)
