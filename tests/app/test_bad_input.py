"""Bad input: one clear message, exit code 2 or 3, no traceback, nothing left behind."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

HEAR = ("hear", "spec.yaml")
NOTE = "<note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration><type>whole</type></note>"
REST = '<note><rest measure="yes"/><duration>4</duration></note>'


def _musicxml(content: str) -> str:
    """One bar for piano."""
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Piano</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions><key><fifths>0</fifths></key>
<time><beats>4</beats><beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef></attributes>
{content}</measure></part></score-partwise>"""


SPEC = """\
piece: {title: One Note, score: score.musicxml}
orchestra: {use: strings}
passages:
  all: {bars: 1}
variants:
  plain:
    steps:
      - {play: all, on: violins 1}
"""


@dataclass(frozen=True)
class Case:
    """One mistake: what is on disk, what is called, what the message must say."""

    name: str
    says: tuple[str, ...]
    score: str | bytes | None = _musicxml(NOTE)
    spec: str = SPEC
    arguments: tuple[str, ...] = HEAR
    code: int = 2


def _spec(old: str, new: str) -> str:
    assert old in SPEC
    return SPEC.replace(old, new)


CASES = [
    Case("missing spec", ("nothing.yaml",), arguments=("hear", "nothing.yaml")),
    Case("missing score", ("score.musicxml",), score=None),
    Case("not a score", ("score.musicxml",), score="Dear diary, today I wrote no music."),
    Case("empty file", ("score.musicxml",), score=b""),
    Case("score without notes", ("score.musicxml", "no notes"), score=_musicxml(REST)),
    Case("broken zip", ("score.mxl",), score=b"PK\x03\x04 and then nothing", spec=_spec("score.musicxml", "score.mxl")),
    Case("unknown ensemble", ("spec.yaml:2:", "Did you mean 'strings'"), spec=_spec("use: strings", "use: strigns")),
    Case("unknown instrument", ("spec.yaml:2:", "kazoo"), spec=_spec("use: strings", "use: strings, add: [kazoo]")),
    Case("unknown player", ("spec.yaml:8:", "violins 1"), spec=_spec("on: violins 1", "on: voilins 1")),
    Case("unknown key", ("spec.yaml:4:", "bras", "bars"), spec=_spec("{bars: 1}", "{bras: 1}")),
    Case("unknown step", ("spec.yaml:8:", "pley", "play"), spec=_spec("play:", "pley:")),
    Case("bar out of range", ("spec.yaml:4:", "7"), spec=_spec("{bars: 1}", "{bars: 1-7}")),
    Case("inheritance loop", ("spec.yaml", "plain"), spec=_spec("  plain:\n", "  plain:\n    from: plain\n")),
    Case("not YAML", ("spec.yaml:",), spec="piece: [unclosed"),
    Case("unknown passage", ("no passage 'al'", "Did you mean 'all'"), arguments=("hear", "spec.yaml", "al")),
    Case("unknown variant", ("plane", "plain"), arguments=("write", "spec.yaml", "plane")),
    Case("not a soundfont", ("score.musicxml", "not a soundfont"), arguments=(*HEAR, "--soundfont", "score.musicxml")),
    Case("no folder to write", ("score.musicxml",), arguments=(*HEAR, "--out", "score.musicxml/out")),
    Case("output is a file", ("score.musicxml", "not a folder"), arguments=(*HEAR, "--out", "score.musicxml")),
    Case("spec exists", ("spec.yaml", "exists already"), arguments=("start", "score.musicxml", "--out", "spec.yaml")),
    Case("not a listening folder", (".",), arguments=("blind", ".")),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_mistake_gets_one_clear_message(case: Case, program, tmp_path: Path) -> None:
    """It names file and place, leaves nothing behind, and is no traceback."""
    name = "score.mxl" if "score.mxl" in case.spec else "score.musicxml"
    if case.score is not None:
        (tmp_path / name).write_bytes(case.score if isinstance(case.score, bytes) else case.score.encode())
    (tmp_path / "spec.yaml").write_text(case.spec)
    before = {path: path.read_bytes() for path in tmp_path.rglob("*")}
    ran = program(*case.arguments)
    message = ran.err
    assert ran.code == case.code, message
    assert all(words in message for words in case.says), message
    assert "Traceback" not in message
    assert {path: path.read_bytes() for path in tmp_path.rglob("*")} == before


def test_no_soundfont_says_how_to_get_one(program, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Exit code 3 and the name of the package; nothing is rendered as silence."""
    monkeypatch.setattr("soundfonts.installed.search_folders", tuple)
    monkeypatch.setattr("soundfonts.installed._bundled", lambda: None)
    (tmp_path / "score.musicxml").write_text(_musicxml(NOTE))
    (tmp_path / "spec.yaml").write_text(SPEC)
    ran = program("hear", "spec.yaml")
    assert ran.code == 3
    assert "fluid-soundfont-gm" in ran.err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["score.musicxml", "spec.yaml"]


LIMITS = [
    ("{use: strings}", "{use: strings, desks: {violins 1: 1000000000}}", "a number up to 20 is expected here."),
    ("{use: strings}", "{use: strings, desks: {violins 1: -1}}", "a number from 1 on is expected here."),
    ("  plain:", '  "  ":', "a name is expected here."),
    ("  plain:", '  "a\\nb":', "a name is expected here."),
    ("  plain:", f"  {'n' * 300}:", "a name is expected here."),
    ("  plain:", "  Piano:", "'Piano' is the piece itself"),
    ("  all: {bars: 1}", '  "": {bars: 1}', "a name is expected here."),
    ("play: all, on", "play: all, share: some, on", "'divide' or 'all' is expected here."),
    ("{play: all, on: violins 1}", "{fill: gap, on: violas, over: -5}", "a number from 3 on is expected here."),
]


@pytest.mark.parametrize(("old", "new", "says"), LIMITS)
def test_a_spec_has_limits_told_in_plain_words(old: str, new: str, says: str, program, tmp_path: Path) -> None:
    """Numbers, names and choices out of bounds are refused in words that are not a programmer's."""
    (tmp_path / "score.musicxml").write_text(_musicxml(NOTE))
    (tmp_path / "spec.yaml").write_text(_spec(old, new))
    ran = program("check", "spec.yaml")
    assert ran.code == 2
    assert says in ran.err
    assert "Input should" not in ran.err


def test_a_long_chain_of_variants_is_refused(program, tmp_path: Path) -> None:
    """A spec holds at most a hundred variants, so that a chain of them cannot exhaust the program."""
    (tmp_path / "score.musicxml").write_text(_musicxml(NOTE))
    links = "".join(f"  v{row}: {{from: {f'v{row - 1}' if row else 'plain'}}}\n" for row in range(2000))
    (tmp_path / "spec.yaml").write_text(SPEC + links)
    ran = program("check", "spec.yaml")
    assert ran.code == 2
    assert "variants: 100 or fewer are expected here." in ran.err


def test_a_page_never_takes_the_place_of_a_score_or_spec(program, tmp_path: Path) -> None:
    """A slip of the hand with --html or --worksheet is refused; a page of an earlier run is replaced."""
    (tmp_path / "score.musicxml").write_text(_musicxml(NOTE))
    for option in ("--html", "--worksheet"):
        ran = program("survey", "score.musicxml", option, "score.musicxml")
        assert ran.code == 2
        assert "is no page" in ran.err
    assert (tmp_path / "score.musicxml").read_text() == _musicxml(NOTE)
    for _ in range(2):
        assert program("survey", "score.musicxml", "--worksheet", "sheet.html").code == 0


@pytest.mark.filterwarnings("default::base.store.StoreWarning")
def test_a_cache_that_is_no_folder_costs_time_only(program, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where nothing can be kept the work is done all the same, and one plain line says so."""
    (tmp_path / "score.musicxml").write_text(_musicxml(NOTE))
    (tmp_path / "cache").write_text("a file")
    monkeypatch.setenv("KLANGPROBE_CACHE", str(tmp_path / "cache"))
    with pytest.warns(UserWarning, match="nothing is kept for the next run"):
        ran = program("survey", "score.musicxml")
    assert ran.code == 0
    assert "1 bar" in ran.out


def test_warnings_are_plain_and_said_once() -> None:
    """No path of the program, no line of code; of the cache's many warnings of one kind only the first."""
    from base.store import StoreWarning
    from klangprobe.cli import _plainly, _told

    _told.clear()
    said = [_plainly(StoreWarning(f"cache entry {row} is unreadable"), StoreWarning, "store.py", 7) for row in range(3)]
    assert said == ["klangprobe: cache entry 0 is unreadable\n", "", ""]
    assert _plainly(StoreWarning("the cache cannot be written"), StoreWarning) != ""
    _told.clear()


def test_a_spec_may_follow_its_variants(program, tmp_path: Path) -> None:
    """``check --variants plain spec.yaml`` means what it says."""
    (tmp_path / "score.musicxml").write_text(_musicxml(NOTE))
    (tmp_path / "spec.yaml").write_text(SPEC)
    assert program("check", "--variants", "plain", "spec.yaml").out.startswith("plain")


def test_what_start_says_can_be_typed(program, tmp_path: Path) -> None:
    """A name with spaces comes quoted."""
    (tmp_path / "Hahn & Wächter (1).musicxml").write_text(_musicxml(NOTE))
    assert "hear 'Hahn & Wächter (1).yaml'" in program("start", "Hahn & Wächter (1).musicxml").out


def test_scores_worked_on_are_not_written_over(program, tmp_path: Path) -> None:
    """``write`` again is fine, but not over a score that another program has saved since."""
    (tmp_path / "score.musicxml").write_text(_musicxml(NOTE))
    (tmp_path / "spec.yaml").write_text(SPEC)
    for _ in range(2):
        assert program("write", "spec.yaml", "plain").code == 0
    edited = tmp_path / "spec-plain/plain.musicxml"
    edited.write_text(edited.read_text().replace("<software>Klangprobe</software>", "<software>Another</software>"))
    kept = edited.read_text()
    ran = program("write", "spec.yaml", "plain")
    assert ran.code == 2
    assert "plain.musicxml" in ran.err
    assert edited.read_text() == kept
