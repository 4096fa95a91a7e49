"""Errors say where, what and what to do; plugins are listed without importing and named when they fail."""

from __future__ import annotations

from importlib.metadata import EntryPoint, EntryPoints, entry_points

import pytest

from base import plugins
from base.errors import InputError, KlangprobeError, PluginFault, Problem, SpecError, nearest


def test_a_problem_reads_like_a_compiler_message() -> None:
    """file:line:column, place, message, hint, in that order."""
    problem = Problem("unknown key 'bras'.", line=3, column=7, place="variants.plain", hint="Did you mean 'bars'?")
    assert problem.text("s.yaml") == "s.yaml:3:7: variants.plain: unknown key 'bras'. Did you mean 'bars'?"


def test_a_spec_error_carries_every_problem() -> None:
    """All problems are printed, a line each."""
    error = SpecError([Problem("one", line=1), Problem("two", line=2)], path="s.yaml")
    assert str(error).splitlines() == ["s.yaml:1: one", "s.yaml:2: two"]


@pytest.mark.parametrize(
    ("word", "known", "hint"),
    [("oboes", ["oboe 1", "horn 1"], "Did you mean 'oboe 1'?"), ("x", ["b", "a"], "Known: a, b."), ("x", [], "")],
)
def test_nearest_names_the_likeliest(word, known, hint) -> None:
    """A near name is offered; otherwise all legal ones."""
    assert nearest(word, known) == hint


def test_every_error_has_an_exit_code() -> None:
    """2: the input is at fault; 3: a part is missing or broken."""

    def below(kind):
        return [kind] + [sub for child in kind.__subclasses__() for sub in below(child)]

    assert {kind.exit_code for kind in below(KlangprobeError)} == {2, 3}


def test_built_in_techniques_come_through_the_entry_points() -> None:
    """The core knows no technique by itself: the group lists them all."""
    names = {entry.name for entry in entry_points(group="klangprobe.techniques")}
    assert {
        "play",
        "double",
        "hold",
        "stress",
        "fill",
        "refigure",
        "answer",
        "build",
        "thin",
        "mark",
        "rest",
        "vary",
    } <= names
    assert set(plugins.find("klangprobe.techniques")) == names


def test_an_unknown_plugin_is_an_input_error() -> None:
    """With the nearest known name."""
    with pytest.raises(InputError, match=r"unknown technique 'doubel'.*Did you mean 'double'"):
        plugins.load("klangprobe.techniques", "doubel")


def test_two_plugins_of_one_name_are_refused(monkeypatch) -> None:
    """The last one never silently wins."""
    entries = [EntryPoint("same", value, "g") for value in ("a:A", "b:B")]
    monkeypatch.setattr(plugins, "_installed", lambda: EntryPoints(entries))
    with pytest.raises(PluginFault, match="two plugins of g are named 'same'"):
        plugins.find.__wrapped__("g")


def test_a_plugin_that_cannot_be_imported_is_named(monkeypatch) -> None:
    """The fault names plugin and group, whatever the import raised."""
    broken = plugins.Plugin("sick", "g", EntryPoint("sick", "no_such_module_here:X", "g"))
    monkeypatch.setattr(plugins, "find", lambda group: {"sick": broken})
    with pytest.raises(PluginFault, match=r"plugin 'sick' of g .*no_such_module_here"):
        plugins.load.__wrapped__("g", "sick")
