"""Pieces nobody here wrote (the music21 corpus) and our own demo, read once for all mapping tests."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from mapping import arrange_all, load_spec
from reading import Layers, Score, find_layers, read

CORPUS = Path(importlib.util.find_spec("music21").submodule_search_locations[0]) / "corpus"
PIECES = {
    "rag": CORPUS / "joplin/maple_leaf_rag.mxl",
    "prelude": CORPUS / "bach/bwv846.mxl",
    "mazurka": CORPUS / "chopin/mazurka06-2.krn",
    "polonaise": CORPUS / "schumann_clara/polonaise_op1n1.mxl",
    "opus 19": CORPUS / "schoenberg/opus19/movement2.mxl",
    "sonata": CORPUS / "mozart/k545/movement1_exposition.mxl",
    "solfeggio": CORPUS / "cpebach/h186.mxl",
    "demo": Path(__file__).parents[2] / "demo/weathercock.musicxml",
}


@cache
def piece_named(name: str) -> tuple[Score, Layers]:
    """Score and layers of a piece, read once."""
    score = read(PIECES[name])
    return score, find_layers(score)


@pytest.fixture(scope="session")
def piece() -> Callable[[str], tuple[Score, Layers]]:
    """Give score and layers of a piece by its short name."""
    return piece_named


@pytest.fixture
def variants(tmp_path: Path) -> Callable[..., dict[str, Any]]:
    """Arrange a piece by steps written as YAML lines; give the arrangements by variant."""

    def make(name: str, steps: dict[str, list[str]], orchestra: str = "classical full") -> dict[str, Any]:
        text = f"piece: {{score: x}}\norchestra: {orchestra}\nvariants:\n"
        for variant, lines in steps.items():
            own = [line for line in lines if not line.startswith("from")]
            start = [f"    {line}\n" for line in lines if line.startswith("from")]
            text += f"  {variant}:\n{''.join(start)}    steps:\n" + "".join(f"      - {line}\n" for line in own)
        path = tmp_path / "spec.yaml"
        path.write_text(text)
        score, layers = piece_named(name)
        return {found.variant: found for found in arrange_all(score, layers, load_spec(path))}

    return make
