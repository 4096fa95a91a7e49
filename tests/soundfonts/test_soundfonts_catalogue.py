"""Fonts found, known, ranked; calibration read and kept."""

import json

import numpy as np
import pytest

import soundfonts
from base.errors import InputError
from soundfonts import installed
from soundfonts.balance import POWER, balance_tables, overruling_path, power_db
from soundfonts.calibration import (
    LAYERS,
    Calibration,
    Preset,
    calibrated,
    calibration_of,
    from_json,
    to_json,
    user_path,
)
from soundfonts.catalogue import KNOWN

HEAD = b"RIFF\x00\x00\x00\x00sfbk"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """An empty machine: one folder to look in, no bundled font."""
    monkeypatch.setattr(installed, "search_folders", lambda: (tmp_path,))
    monkeypatch.setattr(installed, "_bundled", lambda: None)
    monkeypatch.setenv("KLANGPROBE_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    return tmp_path


def test_a_font_is_known_by_its_bytes_not_its_name(folder):
    """A stranger under a known name is a stranger, and one file under two names is one font."""
    (folder / "FluidR3_GM.sf2").write_bytes(HEAD + b"other")
    (folder / "link.sf2").symlink_to(folder / "FluidR3_GM.sf2")
    (folder / "copy.sf2").write_bytes(HEAD + b"other")
    (found,) = soundfonts.find()
    assert found.about is None
    assert "licence not known" in found.attribution


def test_the_small_font_comes_last_and_says_so(folder, monkeypatch):
    """A full font is preferred to the small one; where the small one serves, the advice names a better one."""
    for row, known in enumerate(KNOWN):
        monkeypatch.setattr(installed, "known", lambda sha: {"a": KNOWN[0], "b": KNOWN[1]}.get(sha))
        (folder / f"{row}{known.file_names[0]}").write_bytes(HEAD + bytes([row]))
    monkeypatch.setattr(installed, "file_digest", lambda path: "a" if "Fluid" in path.name else "b")
    assert [font.name for font in soundfonts.find()] == ["FluidR3 GM", "TimGM6mb"]
    assert not soundfonts.default().advice
    (folder / "0FluidR3_GM.sf2").unlink()
    assert "fluid-soundfont-gm" in soundfonts.default().advice


def test_looking_for_fonts_imports_no_music_library(folder):
    """The bundled font is found without importing the package it lies in."""
    import subprocess
    import sys

    code = "import sys, soundfonts; soundfonts.find(); print('pretty_midi' in sys.modules, 'scipy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]


def test_a_damaged_memory_of_checksums_is_no_harm(folder):
    """An unreadable memory is an empty one."""
    (folder / "cache").mkdir()
    (folder / "cache" / "soundfonts.json").write_text("{broken")
    (folder / "a.sf2").write_bytes(HEAD)
    assert len(soundfonts.find()) == 1
    assert json.loads((folder / "cache" / "soundfonts.json").read_text())


@pytest.mark.parametrize("content", [b"", b"RIFF0000WAVE", HEAD[:8]])
def test_what_is_no_soundfont_is_refused(tmp_path, content):
    """The first bytes must be those of a soundfont."""
    (tmp_path / "a.sf2").write_bytes(content)
    with pytest.raises(InputError, match="not a soundfont"):
        soundfonts.open_font(tmp_path / "a.sf2")
    with pytest.raises(InputError, match="cannot be read"):
        soundfonts.open_font(tmp_path / "none.sf2")


def preset(low=60, count=5):
    """A made-up preset with one silent key."""
    levels = np.linspace(-30, -10, count * len(LAYERS)).reshape(count, len(LAYERS))
    levels[2] = np.nan
    return Preset(low, levels, np.full(count, 0.05), np.arange(count) * 2.0, -1200.0, np.linspace(-1, 0, 6), False)


def test_calibration_survives_writing_and_reading():
    """What is written comes back, silent keys included; one key stands on one line."""
    text = to_json(Calibration({(0, 60): preset()}), name="x", sha256="y")
    back = from_json(json.loads(text)).preset(0, 60)
    assert np.allclose(back.level_db, preset().level_db, atol=0.005, equal_nan=True)
    assert back.sounding.tolist() == [60, 61, 63, 64]
    assert text.count("\n") >= 5


def test_silent_keys_are_played_from_their_neighbours():
    """A key without a sample, inside or beyond the compass, goes to the nearest one that sounds."""
    known = Calibration({(0, 60): preset()})
    assert known.keys_for(0, 60, np.array([60, 62, 70])).tolist() == [60, 61, 64]


def test_every_catalogue_font_comes_measured():
    """The fonts in the catalogue have their measurements with them, for all instruments of the orchestra."""
    from mapping.instruments import instruments

    programs = {number for one in instruments().values() for number in one.programs.values()}
    for font in KNOWN:
        for sha256 in font.sha256:
            found = calibration_of(installed.Font(None, sha256, font))
            assert found.measured
            assert programs <= {program for _, program in found.presets}


def test_the_users_own_measurements_come_first(folder):
    """A calibration in the data folder is used, a broken one is passed over."""
    font = installed.Font(folder / "x.sf2", "f" * 64, None)
    assert not calibrated(font)
    user_path(font.sha256).parent.mkdir(parents=True)
    user_path(font.sha256).write_text(to_json(Calibration({(0, 60): preset()}), name="x", sha256=font.sha256))
    assert calibrated(font)
    assert calibration_of(font).measured
    user_path(font.sha256).write_text("{")
    assert not calibration_of(font).measured


def test_louder_marks_are_louder_for_everyone():
    """Power rises from pppp to ffff for every instrument, under both tables."""
    for balance in ("sound power", "orchestration rule"):
        for name in POWER:
            assert np.all(np.diff([power_db(name, level, balance=balance) for level in range(10)]) > 0)


def test_rows_of_the_power_table_can_be_overruled(folder):
    """A user's row replaces what it names and leaves the rest; nonsense is refused with its place."""
    path = overruling_path()
    path.parent.mkdir(parents=True)
    path.write_text('{"horn": {"f": 96}}')
    assert power_db("horn", 6) == pytest.approx(96.0)
    assert power_db("horn", 7) == pytest.approx(POWER["horn"].ff)
    assert [row[0] for row in balance_tables()[0]["rows"] if row[-1] == "yours"] == ["horn"]
    for text, message in (("{", "not JSON"), ('{"horm": {}}', "horn"), ('{"horn": {"f": "x"}}', "numbers"),
                          ('{"horn": {"fff": 1}}', "unknown key"), ('{"horn": {"f": 20}}', "must rise")):  # fmt: skip
        path.write_text(text)
        with pytest.raises(InputError, match=message):
            power_db("horn", 6)


def test_the_tables_shown_name_their_sources_and_doubts():
    """Both tables are rectangular and say where they come from."""
    for table in balance_tables():
        assert {len(row) for row in table["rows"]} == {len(table["head"])}
        assert any("memory" in note or "1922" in note for note in table["notes"])
