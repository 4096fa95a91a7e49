"""The guide's plugin is a real one: it is taken from the page, run, and short as promised."""

from __future__ import annotations

import importlib.util
import re
import sys
from pathlib import Path

import numpy as np

from base.plugins import find
from mapping.arranging import apply_step
from mapping.draft import Context, Draft, Piece
from mapping.orchestra import players_of
from mapping.spec import Step

GUIDE = Path(__file__).parents[2] / "docs/techniques.md"
SPEC = Path(__file__).parents[2] / "docs/spec.md"


def test_the_plugin_of_the_guide_works_and_is_short(piece, monkeypatch, tmp_path: Path) -> None:
    """The class printed in the guide has fewer than 30 lines and echoes the melody a bar later."""
    (code,) = re.findall(r"```python\n(.*?)```", GUIDE.read_text(), flags=re.S)
    assert len(code.splitlines()) < 30
    file = tmp_path / "echo_plugin.py"
    file.write_text(code)
    wanted = importlib.util.spec_from_file_location("echo_plugin", file)
    module = importlib.util.module_from_spec(wanted)
    monkeypatch.setitem(sys.modules, "echo_plugin", module)
    wanted.loader.exec_module(module)
    echo = module.Echo
    monkeypatch.setattr("mapping.arranging.load", lambda group, name: echo)
    score, layers = piece("demo")
    context = Context(Piece(score, layers), players_of("classical"), 0)
    options = echo.Options.model_validate({"echo": "melody", "on": "flute 1", "level": "pp", "bars": "1-4"})
    found = apply_step(Draft(), Step("echo", options), context).notes
    tune = context.piano("melody", options)
    assert np.array_equal(found["pitch"], tune["pitch"])
    assert np.array_equal(found["onset"], tune["onset"] + 40_320)


def test_every_verb_is_in_the_guides() -> None:
    """Each technique that is registered has its place in both guides, and the guides name no other."""
    verbs = {verb for verb, plugin in find("klangprobe.techniques").items() if plugin.provider.startswith("klangprobe")}
    headings = set(", ".join(re.findall(r"^### (.*)$", GUIDE.read_text(), flags=re.M)).split(", "))
    assert headings == verbs
    table = set(re.findall(r"^\| `(\w+): ", SPEC.read_text(), flags=re.M))
    assert table == verbs


def test_the_spec_of_the_guide_loads(tmp_path: Path) -> None:
    """The example printed in the guide to the spec is a valid spec."""
    from mapping import load_spec

    (text,) = re.findall(r"```yaml\n(.*?)```", SPEC.read_text(), flags=re.S)
    path = tmp_path / "spec.yaml"
    path.write_text(text)
    assert list(load_spec(path).variants) == ["plain", "horns held"]
