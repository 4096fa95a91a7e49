"""Presets of the user's choice, from several fonts."""

import importlib.util
import json
from pathlib import Path

import numpy as np
import pytest

import render
import soundfonts
from base.errors import InputError, MissingPart
from render import RenderSettings
from render.lines import choices_of
from soundfonts.presets import FONT_BANKS, INSTRUMENTS_OWN, presets_path, user_presets

_SPEC = importlib.util.spec_from_file_location("make_music", Path(__file__).parents[1] / "render" / "make_music.py")
music = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(music)

NAMES, WAYS = ("violin", "oboe"), ("plain", "pizzicato")
SETTINGS = {"room": False, "spread": False, "stage": "centre"}


@pytest.fixture
def two(tmp_path, monkeypatch):
    """The first two installed fonts, and a data folder of our own to choose in."""
    try:
        found = soundfonts.find()
    except MissingPart:
        found = []
    if len(found) < 2:
        pytest.skip("fewer than two soundfonts installed")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    presets_path().parent.mkdir(parents=True)
    return found[0], next(font for font in found if font.name != found[0].name)


def chosen(table):
    """Write the user's file."""
    presets_path().write_text(table if isinstance(table, str) else json.dumps(table), encoding="utf-8")


@pytest.mark.sound
def test_two_fonts_play_together_each_at_its_level(two):
    """An oboe from the second font sounds as that font alone would sound it, and the flute stays with the first."""
    first, second = two
    made = music.arrangement_of({"flute 1": music.notes_of((0, 3, 76)), "oboe 1": music.notes_of((0, 3, 72))})

    def stems(font):
        (found,) = render.render_variants([made], (1, 1), passage="x", settings=RenderSettings(font.path, **SETTINGS))
        return found

    one, other = stems(first), stems(second)
    before = choices_of(RenderSettings(first.path))
    chosen({"oboe": {"any": {"font": second.name}}})
    mixed = stems(first)
    length = min(len(found.mix) for found in (one, other, mixed))
    assert np.array_equal(mixed.stems[0].samples[:length], one.stems[0].samples[:length])
    rest = mixed.stems[1].samples[:length].astype(float) - other.stems[1].samples[:length]
    assert music.level_db(rest) - music.level_db(other.stems[1].samples) < -60
    assert mixed.about["further_fonts"] == {second.name: second.sha256}
    assert second.attribution in mixed.about["attribution"]
    assert mixed.stems[1].key != one.stems[1].key
    assert choices_of(RenderSettings(first.path)) != before


@pytest.mark.sound
def test_ways_and_sections_are_told_apart(two):
    """A choice holds for its way of playing only; several players are a section; what is not named stays."""
    _, second = two
    path = str(second.path)
    chosen({"violin": {"section": {"font": path, "program": 49}, "pizzicato": {"program": 46}}})
    found = user_presets(NAMES, WAYS)
    assert found.fonts == (second,)
    assert found.preset("violin", "plain", 12, 48) == (FONT_BANKS, 49)
    assert found.preset("violin", "plain", 1, 40) == (0, 40)
    assert found.preset("violin", "pizzicato", 12, 45) == (0, 46)
    assert found.preset("oboe", "plain", 1, 68) == (0, 68)


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ("{", "not JSON"),
        ([], "expected instruments"),
        ({"violine": {"any": {}}}, "no instrument is called 'violine'"),
        ({"violin": {"pizz": {}}}, "no way of playing is called 'pizz'"),
        ({"violin": {"any": 3}}, "expected font, bank or program"),
        ({"violin": {"any": {"prog": 3}}}, "unknown key 'prog'"),
        ({"violin": {"any": {"program": 128}}}, "from 0 to 127"),
        ({"violin": {"any": {"bank": True}}}, "from 0 to 128"),
        ({"violin": {"any": {"font": 3}}}, "a name or a path"),
        ({"violin": {"any": {"font": "nobody's"}}}, "no soundfont is called"),
        ({"violin": {"any": {"font": "not/there.sf2"}}}, "cannot be read"),
    ],
)
def test_a_wrong_choice_is_an_error(tmp_path, monkeypatch, table, says):
    """A file that is no table of choices names what is wrong in it; no file is no choice."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert user_presets(NAMES, WAYS) is INSTRUMENTS_OWN
    presets_path().parent.mkdir(parents=True)
    chosen(table)
    with pytest.raises(InputError, match=says):
        user_presets(NAMES, WAYS)
