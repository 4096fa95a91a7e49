"""The output folder appears whole or not at all, and nothing of the user's is overwritten."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from base.errors import OutputError
from klangprobe.folder import replacing_folder


def _write(out, text: str = "x") -> None:
    with replacing_folder(out) as staging:
        (staging / "report.json").write_text(json.dumps({"program": "klangprobe", "text": text}))


def test_a_failed_run_keeps_the_old_folder(tmp_path) -> None:
    """An exception midway changes nothing and leaves nothing beside it."""
    out = tmp_path / "out"
    _write(out, "old")

    def fail_midway() -> None:
        with replacing_folder(out) as staging:
            (staging / "half").write_text("half")
            raise RuntimeError("midway")

    with pytest.raises(RuntimeError, match="midway"):
        fail_midway()
    assert json.loads((out / "report.json").read_text())["text"] == "old"
    assert list(tmp_path.iterdir()) == [out]


def test_a_second_run_replaces_the_first_whole(tmp_path) -> None:
    """No file of the first run survives in the second's folder."""
    out = tmp_path / "out"
    _write(out)
    (out / "clip").write_text("of the first run")
    _write(out, "new")
    assert [path.name for path in out.iterdir()] == ["report.json"]
    assert list(tmp_path.iterdir()) == [out]


@pytest.mark.parametrize("name", ["thesis.doc", "report.json"])
def test_a_folder_that_is_not_ours_is_refused(tmp_path, name) -> None:
    """A folder with other things in it, even with a report of another program, stays as it is."""
    (tmp_path / name).write_text('{"program": "other"}')
    with pytest.raises(OutputError, match="did not write"):
        _write(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_what_a_killed_run_left_is_cleared(tmp_path) -> None:
    """Leftovers of processes that no longer live go with the next run."""
    dead = subprocess.Popen([sys.executable, "-c", ""])
    dead.wait()
    (tmp_path / f".out-{dead.pid}.part").mkdir()
    _write(tmp_path / "out")
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_folder_caught_mid_swap_comes_back(tmp_path) -> None:
    """A run killed between the two renames has lost nothing."""
    _write(tmp_path / "out", "first")
    (tmp_path / "out").rename(tmp_path / ".out-1.old")

    def look_only() -> None:
        with replacing_folder(tmp_path / "out"):
            raise RuntimeError("no matter")

    with pytest.raises(RuntimeError, match="no matter"):
        look_only()
    assert json.loads((tmp_path / "out" / "report.json").read_text())["text"] == "first"
