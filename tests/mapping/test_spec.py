"""The spec: one valid file and a table of single mutations, each with the place and the words of its problem."""

from __future__ import annotations

from pathlib import Path

import pytest

from base.errors import SpecError
from mapping import check_against, load_spec
from mapping.spec_yaml import MAX_BYTES, read_yaml

GOOD = """\
piece: {title: Ferry, composer: made here, score: ferry.musicxml}
orchestra: {use: classical full, add: [harp], without: [trumpet 2]}
passages:
  opening: {bars: 1-8}
  all of it: 1-16
layers:
  - {bars: 5-6, staff: 2, voice: 2, role: bass}
variants:
  plain:
    says: every note where the piano has it
    steps:
      - {play: melody, on: violins 1}
      - {play: accompaniment, on: [violins 2, violas]}
      - {play: bass, on: [cellos, basses 8vb]}
  horns held:
    from: plain
    steps:
      - {hold: harmony, on: [horn 1, horn 2], level: p, bars: 3-5}
      - {double: melody, on: flute 1, at: 8va, compass: C4-G6, beats: "1, 2.5", when: f, how: tremolo}
answers:
  - {finding: pedal 3-5, choice: horns held, because: warmth without weight}
"""

MUTATIONS = [
    # what is put for what, line, words of the message, words of the hint
    ("piece: {title", "peice: {title", 1, "'peice' is not known", "'piece'"),
    ("piece: {title: Ferry, composer: made here, score: ferry.musicxml}\n", "", 1, "'piece' is missing", ""),
    ("score: ferry.musicxml", "skore: ferry.musicxml", 1, "'skore' is not known", "'score'"),
    ("use: classical full", "use: classicl full", 2, "unknown ensemble 'classicl full'", "classical full"),
    ("add: [harp]", "add: [harpp]", 2, "unknown player 'harpp'", "harp"),
    ("without: [trumpet 2]", "without: [trumpet 9]", 2, "'trumpet 9' is to be left out", "trumpet"),
    ("opening: {bars: 1-8}", "opening: {bars: one to eight}", 4, "cannot be read here", "3-5"),
    ("opening: {bars: 1-8}", "opening: {bars: 1-8, brs: 2}", 4, "'brs' is not known", "'bars'"),
    ("role: bass", "role: base", 7, "'base' is not a layer", "'bass'"),
    ("staff: 2", "staff: two", 7, "a whole number is expected", ""),
    ("says: every note", "say: every note", 10, "'say' is not known", "'says'"),
    ("play: melody", "plya: melody", 12, "'plya' is not a technique", "'play'"),
    ("play: melody", "play: melodie", 12, "'melodie' is not a layer", "'melody'"),
    ("on: violins 1", "on: violin 3", 12, "the orchestra has no 'violin 3'", "violins"),
    ("on: violins 1", "to: violins 1", 12, "'to' is not known", ""),
    ("{play: melody, on: violins 1}", "{play: melody}", 12, "'on' is missing", ""),
    ("{play: melody, on: violins 1}", "{play: melody, double: bass, on: violins 1}", 12, "has one verb", "two steps"),
    ("{play: melody, on: violins 1}", "play melody", 12, "keys with values are expected", ""),
    ("[violins 2, violas]}", "[violins 2, trumpet 2]}", 13, "no 'trumpet 2'", "trumpet 1"),
    ("[cellos, basses 8vb]", "[cellos, basses 9vb]", 14, "no 'basses 9vb'", ""),
    ("from: plain", "from: plian", 16, "no variant 'plian'", "'plain'"),
    ("from: plain", "from: horns held", 16, "in a circle", "afresh"),
    ("level: p,", "level: piano,", 18, "'piano' is not a dynamic", "p"),
    ("bars: 3-5}\n      - {double", "bars: 3..5}\n      - {double", 18, "cannot be read", "3-5"),
    ("hold: harmony", "hold: harmonie", 18, "'harmony'", ""),
    ("at: 8va", "at: 8vaa", 19, "'8va'", ""),
    ("compass: C4-G6", "compass: C4", 19, "'C4' is not a compass", "C4-G6"),
    ("compass: C4-G6", "compass: G6-C4", 19, "ends below its beginning", "lower note first"),
    ("when: f", "when: loud", 19, "'loud' is not a dynamic", ""),
    ("how: tremolo", "how: tremulo", 19, "'tremulo' is not a way of playing", "'tremolo'"),
    ('beats: "1, 2.5"', "beats: first", 19, "cannot be read", "2.5"),
    ("finding: pedal 3-5", "findings: pedal 3-5", 21, "'findings' is not known", "'finding'"),
    ("passages:\n", "passages: [1]\nmore:\n", 3, "keys with values are expected", ""),
    ("  plain:\n", "  plain:\n    says: twice\n", 11, "'says' is said twice", "Keep one"),
    ("says: every note", "? [a]\n    : every note", 10, "not a plain word", ""),
    ("title: Ferry", "title: !!python/name:os.system Ferry", 1, "has no meaning", "Leave the tag out"),
    ("passages:\n", "passages: {\n", 5, "is not YAML", "brackets"),
]


def problems_of(text: str, folder: Path) -> list:
    """Problems of a spec written as text."""
    path = folder / "spec.yaml"
    path.write_text(text)
    with pytest.raises(SpecError) as caught:
        load_spec(path)
    return list(caught.value.problems)


def test_the_valid_spec_is_read_as_written(tmp_path: Path) -> None:
    """A valid spec gives its passages, steps in order with those inherited first, and the score beside it."""
    path = tmp_path / "spec.yaml"
    path.write_text(GOOD)
    spec = load_spec(path)
    assert [step.verb for step in spec.steps_of("horns held")] == ["play", "play", "play", "hold", "double"]
    assert spec.passages["all of it"].bars == "1-16"
    assert spec.score_path == tmp_path / "ferry.musicxml"
    assert spec.steps_of("horns held")[4].options.compass == (60, 91)
    assert spec.variants["horns held"].steps[0].line == 18


@pytest.mark.parametrize(("old", "new", "line", "message", "hint"), MUTATIONS, ids=range(len(MUTATIONS)))
def test_one_fault_gives_one_problem_at_its_place(
    tmp_path: Path, old: str, new: str, line: int, message: str, hint: str
) -> None:
    """Each single mutation of a valid spec is reported once, at its line, with words and a hint that help."""
    assert old in GOOD
    found = problems_of(GOOD.replace(old, new, 1), tmp_path)
    at_line = [problem for problem in found if message in problem.message]
    assert at_line, [problem.text() for problem in found]
    assert at_line[0].line == line
    assert hint in at_line[0].hint
    assert len(found) <= 2, [problem.text() for problem in found]


def test_all_faults_are_reported_at_once_in_order(tmp_path: Path) -> None:
    """Four faults in one file give four problems, sorted by line."""
    text = (
        GOOD.replace("role: bass", "role: base").replace("on: violins 1", "on: kazoo").replace("level: p,", "level: x,")
    )
    text = text.replace("because:", "becuase:")
    lines = [problem.line for problem in problems_of(text, tmp_path)]
    assert lines == [7, 12, 18, 21]


def test_longer_circles_are_found(tmp_path: Path) -> None:
    """Three variants that start from each other are each named as part of a circle, and nothing hangs."""
    text = GOOD.replace("  plain:\n", "  plain:\n    from: third\n") + "\n"
    text = text.replace("answers:", "  third:\n    from: horns held\nanswers:")
    found = problems_of(text, tmp_path)
    assert len(found) == 3
    assert all("circle" in problem.message for problem in found)


def test_hostile_yaml_is_stopped_before_it_is_built(tmp_path: Path) -> None:
    """Alias bombs, endless nesting, self-reference and oversized files are problems, found with bounded work."""
    path = tmp_path / "bomb.yaml"
    rows = ["a0: &a0 [x, x, x, x, x, x, x, x, x]"]
    rows += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]" for n in range(1, 9)]
    path.write_text("\n".join(rows))
    found = read_yaml(path)
    assert any("repeat too much" in problem.message for problem in found.problems)
    assert len(found.values) < 60_000
    for text, words in (("a: &a [*a]", "nested in itself"), ("[" * 3000, "nested too deeply"), ("", "is empty")):
        path.write_text(text)
        assert words in read_yaml(path).problems[0].message
    path.write_bytes(b"a: 1\n" * (MAX_BYTES // 4))
    assert "at most" in read_yaml(path).problems[0].message
    path.write_bytes(b"\xff\xfe\xfa")
    assert "UTF-8" in read_yaml(path).problems[0].message


def test_a_missing_file_is_one_problem(tmp_path: Path) -> None:
    """A spec that is not there is reported as such."""
    with pytest.raises(SpecError, match="cannot be read"):
        load_spec(tmp_path / "none.yaml")


def test_bars_must_be_in_the_score(tmp_path: Path, piece) -> None:
    """Bars beyond the end are refused wherever they stand, each with its line; bars inside pass."""
    path = tmp_path / "spec.yaml"
    score, _ = piece("opus 19")
    path.write_text(GOOD.replace("1-16", "1-9").replace("1-8", "1-4"))
    check_against(load_spec(path), score)
    path.write_text(GOOD)
    with pytest.raises(SpecError) as caught:
        check_against(load_spec(path), score)
    assert [problem.line for problem in caught.value.problems] == [5]
