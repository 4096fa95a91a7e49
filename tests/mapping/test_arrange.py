"""Arranging: every note once, inheritance, out-of-range notes, faulty plugins, cost."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import mapping
from base.errors import InputError, PluginFault, SpecError
from mapping import arrange, first_spec, load_spec, piano
from mapping.arrangement import PART_DTYPE
from mapping.arranging import apply_step, arrange_all
from mapping.draft import Context, Draft, Piece
from mapping.orchestra import players_of
from mapping.spec import Step
from mapping.steps import OnOptions

NAMES = ["rag", "prelude", "mazurka", "polonaise", "opus 19", "sonata", "solfeggio", "demo"]


def plain_of(name: str, piece, tmp_path: Path, orchestra: str = "classical full"):
    """The plain variant of the first spec."""
    score, layers = piece(name)
    path = tmp_path / "spec.yaml"
    path.write_text(first_spec(score, orchestra=orchestra))
    return arrange(score, layers, load_spec(path), "plain")


@pytest.mark.parametrize("orchestra", ["classical full", "wind quintet"])
@pytest.mark.parametrize("name", NAMES)
def test_plain_plays_every_note_once(name: str, orchestra: str, piece, tmp_path: Path) -> None:
    """In the plain variant each piano note (grace notes too) is played once, at its time and pitch; none is lost."""
    score, _ = piece(name)
    notes = np.concatenate([part.notes for part in plain_of(name, piece, tmp_path, orchestra).parts])
    assert np.array_equal(np.sort(notes["source"]), np.arange(len(score.notes)))
    mine = notes[np.argsort(notes["source"])]
    for field in ("onset", "duration", "pitch", "step", "alter", "octave", "flags", "bar"):
        assert np.array_equal(mine[field], score.notes[field]), field


@pytest.mark.parametrize("name", NAMES)
def test_plain_stays_in_range_where_anyone_can_reach(name: str, piece, tmp_path: Path) -> None:
    """No note of the plain variant lies outside its player's compass while another player has it inside."""
    arrangement = plain_of(name, piece, tmp_path)
    reach = [(part.player.instrument.low, part.player.instrument.high) for part in arrangement.parts]
    for part in arrangement.parts:
        for pitch in part.notes["pitch"].tolist():
            inside = part.player.instrument.in_range(pitch)
            assert inside or not any(low <= pitch <= high for low, high in reach)


def test_a_note_nobody_reaches_is_kept(piece, tmp_path: Path) -> None:
    """Bass notes below a flute's compass stay in its part, to be reported, when the orchestra has nobody else."""
    score, layers = piece("polonaise")
    path = tmp_path / "spec.yaml"
    step = "{play: all, on: [flute 1, flute 2]}"
    path.write_text(f"piece: {{score: x}}\norchestra: [flute 1, flute 2]\nvariants: {{a: {{steps: [{step}]}}}}\n")
    parts = arrange(score, layers, load_spec(path), "a").parts
    assert sum(len(part.notes) for part in parts) == len(score.notes)
    assert min(int(part.notes["pitch"].min()) for part in parts) < 60


def test_variants_share_what_they_inherit(variants) -> None:
    """A variant made from another has its notes plus its own, in whatever order they are asked for."""
    found = variants(
        "demo",
        {
            "plain": ["{play: melody, on: violins 1}"],
            "more": ["from: plain", "{double: melody, on: flute 1, at: 8va}"],
            "most": ["from: more", "{rest: violins 1, bars: 1-8}"],
        },
    )
    count = {name: {part.player.name: len(part.notes) for part in a.parts} for name, a in found.items()}
    assert count["plain"]["violins 1"] == count["more"]["violins 1"] > count["most"]["violins 1"] > 0
    assert count["plain"]["flute 1"] == 0 < count["more"]["flute 1"] == count["most"]["flute 1"]
    assert [step.verb for step in found["most"].steps] == ["play", "double", "rest"]


def test_arranging_is_deterministic(piece, tmp_path: Path) -> None:
    """The same score and spec give the same bytes twice."""
    score, layers = piece("demo")
    path = Path(__file__).parents[2] / "demo/weathercock.yaml"
    first, second = (arrange_all(score, layers, load_spec(path)) for _ in range(2))
    for a, b in zip(first, second, strict=True):
        for x, y in zip(a.parts, b.parts, strict=True):
            assert x.notes.tobytes() == y.notes.tobytes()
            assert x.marks == y.marks


def test_an_unknown_variant_is_named(piece, tmp_path: Path) -> None:
    """Asking for a variant the spec does not have names the nearest one."""
    score, layers = piece("opus 19")
    path = tmp_path / "spec.yaml"
    path.write_text(first_spec(score))
    with pytest.raises(InputError, match=r"plian.*Did you mean 'plain'"):
        arrange(score, layers, load_spec(path), "plian")


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("part", 99, "'part'"),
        ("source", 10**6, "'source'"),
        ("onset", -1, "'onset'"),
        ("pitch", 200, "'pitch'"),
        (None, 0, "no draft"),
    ],
)
def test_a_technique_that_breaks_its_contract_is_named(field, value, words, piece, monkeypatch) -> None:
    """A technique that returns notes that cannot be is stopped, with its name, who provides it and the fault."""
    score, layers = piece("opus 19")
    context = Context(Piece(score, layers), players_of("classical"), 0)

    class Broken:
        Options = OnOptions

        def apply(self, draft: Draft, options, context: Context):
            notes = np.zeros(1, PART_DTYPE)
            notes["bar"] = 1
            if field is None:
                return notes
            notes[field] = value
            return draft.adding(notes)

    monkeypatch.setattr("mapping.arranging.load", lambda group, name: Broken)
    with pytest.raises(PluginFault, match=f"technique 'play' \\(klangprobe .*{words}"):
        apply_step(Draft(), Step("play", OnOptions(on="flute 1"), 3), context)


def test_a_technique_that_fails_is_named(piece, monkeypatch) -> None:
    """An exception inside a technique becomes a fault of that technique, with the line of its step."""
    score, layers = piece("opus 19")
    context = Context(Piece(score, layers), players_of("classical"), 0)

    class Failing:
        def apply(self, draft, options, context):
            raise RuntimeError("out of rosin")

    monkeypatch.setattr("mapping.arranging.load", lambda group, name: Failing)
    with pytest.raises(PluginFault, match=r"line 7.*technique 'double'.*out of rosin"):
        apply_step(Draft(), Step("double", OnOptions(on="flute 1"), 7), context)


def test_the_piano_is_an_arrangement_of_itself(piece) -> None:
    """The piano as reference has one player with the very notes of the score."""
    score, _ = piece("demo")
    (part,) = piano(score).parts
    assert part.player.name == "piano"
    assert np.array_equal(part.notes["pitch"], score.notes["pitch"])
    assert np.array_equal(part.notes["source"], score.notes["id"])


def test_solo_players_play_one_added_note_at_a_time(variants) -> None:
    """A horn that holds and strikes in the same bars is never asked for two added notes at once."""
    found = variants(
        "demo",
        {
            "a": [
                "{hold: harmony, on: [horn 1, horn 2]}",
                "{stress: notes, on: [horn 1, horn 2], by: short over held}",
            ]
        },
    )
    for part in found["a"].parts:
        ends = part.notes["onset"] + part.notes["duration"]
        assert np.all(part.notes["onset"][1:] >= ends[:-1])
        assert part.player.name not in ("horn 1", "horn 2") or len(part.notes) > 20


def test_public_names_are_functions_whatever_was_imported_first() -> None:
    """Every public name of the package is what it promises, not a module of the same name."""
    for name in mapping.__all__:
        assert callable(getattr(mapping, name)), name


def test_spec_errors_carry_the_path(tmp_path: Path) -> None:
    """A problem's text begins with file, line and column."""
    path = tmp_path / "spec.yaml"
    path.write_text("piece: {score: x}\norchestra: strings\nvariants: {a: {steps: [{play: tune, on: violas}]}}\n")
    with pytest.raises(SpecError) as caught:
        load_spec(path)
    assert str(caught.value).startswith(f"{path}:3:31: variants.a.steps[1].play: 'tune' is not a layer.")
