"""The first spec: it runs, keeps every note in its plain variant, and differs in its alternatives."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from mapping import arrange_all, check, check_against, first_spec, load_spec
from mapping.orchestra import ensembles
from mapping.starting_passages import parts
from reading import bars_named, survey


@pytest.mark.parametrize("orchestra", sorted(ensembles()))
def test_it_runs_with_every_ensemble(orchestra: str, piece, tmp_path: Path) -> None:
    """For each ensemble the spec loads, fits the score, and its variants sound different from the plain one."""
    score, layers = piece("polonaise")
    path = tmp_path / "spec.yaml"
    path.write_text(first_spec(score, orchestra=orchestra))
    spec = load_spec(path)
    check_against(spec, score)
    plain, *others = arrange_all(score, layers, spec)
    assert plain.variant == "plain"
    assert len(others) >= 2
    sources = np.concatenate([part.notes["source"] for part in plain.parts])
    assert np.array_equal(np.sort(sources), np.arange(len(score.notes)))
    for other in others:
        assert sum(len(part.notes) for part in other.parts) > len(score.notes), other.variant


@pytest.mark.parametrize("name", ["rag", "mazurka", "demo", "opus 19"])
@pytest.mark.parametrize("surveyed", [True, False])
def test_passages_cover_the_piece_once(name: str, surveyed: bool, piece, tmp_path: Path) -> None:
    """Passages follow one another from the first bar to the last, whether a survey sees the form or not."""
    score, layers = piece(name)
    path = tmp_path / "spec.yaml"
    path.write_text(first_spec(score, survey(score, layers) if surveyed else None))
    spec = load_spec(path)
    bars = [
        bar for passage in spec.passages.values() for a, b in bars_named(score, passage.bars) for bar in range(a, b + 1)
    ]
    assert bars == list(range(1, len(score.bars) + 1))


def test_titles_with_signs_and_quotes_stay_text(piece, tmp_path: Path) -> None:
    """A title full of YAML's own signs does not break the file, and comes back as it was."""
    from dataclasses import replace

    score, _ = piece("opus 19")
    title = "No: 1 #2 'the \"last\" {song}' – [op. 3], *&%@`\n\tx"
    path = tmp_path / "spec.yaml"
    path.write_text(first_spec(replace(score, title=title), file="a b/näme #1.mid"), encoding="utf-8")
    spec = load_spec(path)
    assert spec.piece.title == "No: 1 #2 'the \"last\" {song}' – [op. 3], *&%@` x"
    assert spec.piece.score == "a b/näme #1.mid"


def test_it_is_short_and_speaks_to_a_newcomer(piece) -> None:
    """The spec has comments and is no longer than two printed pages."""
    score, layers = piece("demo")
    text = first_spec(score, survey(score, layers))
    assert text.count("#") >= 4
    assert len(text.splitlines()) <= 80


@pytest.mark.parametrize("name", ["rag", "polonaise", "opus 19", "demo", "prelude"])
def test_every_variant_of_it_can_be_played(name: str, piece, tmp_path: Path) -> None:
    """A newcomer's first check finds nothing that no player can do."""
    score, layers = piece(name)
    path = tmp_path / "spec.yaml"
    path.write_text(first_spec(score, survey(score, layers)))
    for arrangement in arrange_all(score, layers, load_spec(path)):
        assert not [one.message for one in check(arrangement, layers) if one.severity == "error"], arrangement.variant


def test_passages_can_be_kept_in_the_ear(piece, tmp_path: Path) -> None:
    """No passage is longer than 24 bars, however long the piece goes on without a contrast."""
    score, layers = piece("rag")
    path = tmp_path / "spec.yaml"
    path.write_text(first_spec(score, survey(score, layers)))
    spans = [bars_named(score, passage.bars)[0] for passage in load_spec(path).passages.values()]
    assert max(last - first + 1 for first, last in spans) <= 24
    assert parts(147, 241) == [(147, 169), (170, 193), (194, 217), (218, 241)]
