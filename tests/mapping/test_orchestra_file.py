"""An orchestra of the user's own in a file beside the spec."""

from __future__ import annotations

from pathlib import Path

import pytest

from base.errors import SpecError
from mapping import arrange, load_spec
from mapping.instruments import instruments
from mapping.spec_check import players_of_spec

SPEC = """\
piece: {score: x}
orchestra: {use: my-band.yaml, without: [bassoon 1]}
variants:
  a:
    steps:
      - {play: melody, on: basset horn 1}
      - {play: accompaniment, on: [violas, cellos]}
      - {play: bass, on: cellos}
"""
BAND = """\
players: [basset horn 1, basset horn 2, bassoon 1, violas, cellos]
sections: {violas: 6, cellos: 5}
instruments:
  basset horn: {like: clarinet, transpose: -7, written: C3-G6, safe: F2-C5}
"""


def written(folder: Path, band: str, spec: str = SPEC) -> Path:
    """The spec's path, with the band's file beside it."""
    (folder / "my-band.yaml").write_text(band, encoding="utf-8")
    path = folder / "spec.yaml"
    path.write_text(spec, encoding="utf-8")
    return path


def test_a_file_beside_the_spec_is_the_orchestra(tmp_path: Path, piece) -> None:
    """Players, sections and an instrument of the file's own are there, in score order, and play."""
    spec = load_spec(written(tmp_path, BAND))
    players = players_of_spec(spec)
    assert [(one.name, one.count) for one in players] == [
        *[("basset horn 1", 1), ("basset horn 2", 1)],
        *[("violas", 6), ("cellos", 5)],
    ]
    assert (players[0].instrument.low, players[0].instrument.transpose) == (41, -7)
    score, layers = piece("mazurka")
    made = arrange(score, layers, spec, "a")
    assert len(made.parts[0].notes) > 50


def test_an_instrument_of_one_file_is_known_to_that_orchestra_only(tmp_path: Path) -> None:
    """Reading the file changes no table: another spec does not know the instrument."""
    load_spec(written(tmp_path, BAND))
    assert "basset horn" not in instruments()


def test_one_ensemble_by_name_does_too(tmp_path: Path) -> None:
    """A file in the form of the built-in table, with one ensemble, is read the same."""
    band = "ensembles:\n  trio: {players: [flute 1, oboe 1, bassoon 1]}\n"
    spec = load_spec(written(tmp_path, band, SPEC.split("variants")[0] + "variants: {a: {steps: []}}\n"))
    assert [one.name for one in players_of_spec(spec)] == ["flute 1", "oboe 1"]


@pytest.mark.parametrize(
    ("was", "now", "place", "message"),
    [
        ("players: [basset horn 1", "playrs: [basset horn 1", "1:1", "'playrs' is not known here"),
        ("bassoon 1,", "bassoom 1,", "1:41", "unknown player 'bassoom 1'"),
        ("violas: 6", "violas: many", "2:20", "a whole number from 1 to 100"),
        ("sections: {violas: 6", "sections: {violins 1: 6", "2:", "'violins 1' is not among the players"),
        ("like: clarinet", "like: klarinet", "4:23", "unknown instrument 'klarinet'"),
        ("written: C3-G6", "written: G6-C3", "4:57", "runs downwards"),
        ("safe: F2-C5", "save: F2-C5", "4:64", "unknown key 'save'"),
        ("players: [", "players: [[", "2:1", "is not YAML"),
    ],
)
def test_mistakes_are_named_with_file_line_and_column(
    tmp_path: Path, was: str, now: str, place: str, message: str
) -> None:
    """A fault in the band's file is reported at the spec's line, with the file's own line, column and words."""
    assert was in BAND
    with pytest.raises(SpecError) as caught:
        load_spec(written(tmp_path, BAND.replace(was, now, 1)))
    text = str(caught.value)
    assert f"{tmp_path / 'spec.yaml'}:2:18" in text
    assert f"my-band.yaml:{place}" in text
    assert message in text


def test_a_file_that_is_not_there_is_said(tmp_path: Path) -> None:
    """A wrong name of the file is a fault at the spec's line."""
    path = tmp_path / "spec.yaml"
    path.write_text(SPEC, encoding="utf-8")
    with pytest.raises(SpecError, match=r"my-band\.yaml: there is no such file") as caught:
        load_spec(path)
    assert caught.value.problems[0].line == 2
