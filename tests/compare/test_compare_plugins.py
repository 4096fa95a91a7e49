"""Measures as plugins: all built-in ones keep the contract, and a broken one takes nothing else down."""

import json

import pytest

from base.errors import InputError
from base.plugins import find, load
from compare import compare_passage
from compare.measuring import GROUP
from compare.quantity import Quantity, Reading

BUILT_IN = {
    "attack", "audibility", "balance", "brightness", "density", "level", "registers", "resonance", "roughness", "width",
}  # fmt: skip


def test_the_built_in_measures_come_through_the_entry_points():
    """Ten measures are registered like anyone's."""
    assert set(find(GROUP)) >= BUILT_IN


@pytest.mark.parametrize("name", sorted(BUILT_IN))
def test_every_quantity_is_defined(name):
    """Each has title, definition, source, a sentence with its value, a threshold with its source, and two phrases."""
    for quantity in load(GROUP, name)().quantities:
        assert quantity.title
        assert quantity.definition
        assert quantity.source
        assert quantity.noticeable > 0.0
        assert quantity.noticeable_from
        assert "{value}" in quantity.meaning
        assert "{amount}" in quantity.more or "{value}" in quantity.more
        assert "{amount}" in quantity.less or "{value}" in quantity.less


def test_names_are_unique_and_readings_are_json(trial):
    """No two quantities share a name; every reading can be written, and every sentence holds its number."""
    names = [item.quantity.name for item in trial.variants[0].measures]
    assert len(set(names)) == len(names)
    for item in trial.variants[0].measures:
        json.dumps(item.to_json(), allow_nan=False)
        assert "{" not in item.sentence
        assert item.value is None or item.quantity.text(item.value) in item.sentence


class Faulty:
    """A measure that fails."""

    name, version = "faulty", 1
    quantities = (Quantity("faulty", "Faulty", "", "d", "s", "{value}", 1.0, "n", "more {amount}", "less {amount}"),)

    def measure(self, sound):
        raise ZeroDivisionError("division by zero")


class Stray(Faulty):
    """A measure that returns what it did not declare."""

    def measure(self, sound):
        return {"other": Reading(1.0)}


class Endless(Faulty):
    """A measure that returns no number."""

    def measure(self, sound):
        return {"faulty": Reading(float("nan"))}


@pytest.mark.parametrize(("plugin", "words"), [(Faulty, "ZeroDivisionError"), (Stray, "'other'"), (Endless, "nan")])
def test_a_broken_measure_names_itself_and_harms_nothing(monkeypatch, variants, plugin, words):
    """Its readings have no value and a note that names it; the other measures read as before."""
    import compare.measuring as module

    real_load, real_find = load, find
    entry = next(iter(real_find(GROUP).values()))
    monkeypatch.setattr(module, "find", lambda group: {**real_find(group), "faulty": entry})
    monkeypatch.setattr(module, "load", lambda group, name: plugin if name == "faulty" else real_load(group, name))
    heard = compare_passage(variants[0][:1], passage="p", measures=["faulty", "width"]).variants[0]
    broken, *others = heard.measures
    assert broken.value is None
    assert "'faulty'" in broken.note
    assert words in broken.note
    assert all(item.value is not None for item in others)


def test_an_unknown_measure_is_refused(variants):
    """The nearest known name is offered."""
    with pytest.raises(InputError, match=r"unknown measure 'brightnes'.*brightness"):
        compare_passage(variants[0][:1], passage="p", measures=["brightnes"])


def test_words_follow_the_threshold():
    """Below the threshold nothing is said; above it the amount is; an empty register is filled, not raised by 30 dB."""
    plain = Quantity(
        "q", "Q", "LUFS", "d", "s", "{value}", 1.0, "n", "has {amount} more", "has {amount} less", step_unit="LU"
    )
    assert plain.difference(-20.0, -20.9) == ""
    assert plain.difference(-20.0, -22.5) == "has 2.5 LU more"
    assert plain.difference(-22.5, -20.0) == "has 2.5 LU less"
    share = Quantity("q", "Q", "", "d", "s", "{value}", 0.17, "n", "rubs {amount} more", "{amount}", relative=True)
    assert share.difference(1.1, 1.0) == ""
    assert share.difference(1.5, 1.0) == "rubs 50 % more"
    rough = Quantity(
        "q", "Q", "", "d", "s", "{value}", 0.17, "n", "{value} after {reference}", "{amount}", True, least=0.3
    )
    assert rough.difference(1.25, 1.0) == ""
    assert rough.difference(1.5, 1.0) == "1.5 after 1.0"
    octave = Quantity(
        "q",
        "Q",
        "",
        "d",
        "s",
        "{value}",
        1.5,
        "n",
        "{amount}",
        "{amount}",
        floor=-60.0,
        from_nothing="fills",
        to_nothing="empties",
    )
    assert octave.difference(-30.0, -60.0) == "fills"
    assert octave.difference(-60.0, -30.0) == "empties"
