"""The guide to the measures says what the code does."""

import re
from pathlib import Path

from base.plugins import find, load
from compare import compare_passage
from compare.measuring import GROUP

GUIDE = Path(__file__).parents[2] / "docs" / "measures.md"


def test_every_quantity_is_listed_with_its_threshold():
    """Name, title, unit and smallest difference of every built-in quantity stand in the table."""
    text = GUIDE.read_text(encoding="utf-8")
    for name in find(GROUP):
        if not find(GROUP)[name].entry.value.startswith("compare."):
            continue
        for quantity in load(GROUP, name)().quantities:
            step = f"{quantity.noticeable:g} {quantity.step_unit or quantity.unit}".strip()
            step = f"{100 * quantity.noticeable:g} %" if quantity.relative else step
            if quantity.name.startswith("octave_"):
                assert f"| {quantity.unit} | {step} |" in text
                continue
            assert f"| `{quantity.name}` | {quantity.title} | {quantity.unit or '–'} | {step} |" in text


def test_the_example_measure_runs(monkeypatch, variants):
    """The class printed in the guide is a measure: it reads a value and a sentence."""
    import compare.measuring as module

    (code,) = re.findall(r"```python\n(.*?)```", GUIDE.read_text(encoding="utf-8"), flags=re.S)
    space = {}
    exec(code, space)
    entry = next(iter(find(GROUP).values()))
    monkeypatch.setattr(module, "find", lambda group: {"silence": entry})
    monkeypatch.setattr(module, "load", lambda group, name: space["Silence"])
    heard = compare_passage(variants[0][:1], passage="p").variants[0]
    (item,) = heard.measures
    assert 0.0 <= item.value < 20.0
    assert re.fullmatch(r"Of the clip \d+\.\d % is silent\.", item.sentence)
