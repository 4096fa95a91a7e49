"""Writing aside: whole files or none."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from base.errors import OutputError
from base.leftovers import abandoned
from base.writing import replacing, write_text


def test_a_failure_leaves_the_old_file_and_nothing_else(tmp_path) -> None:
    """An exception midway keeps what was there and removes the file aside."""
    path = tmp_path / "a.txt"
    write_text(path, "old")

    def fail_midway() -> None:
        with replacing(path) as aside:
            aside.write_text("half")
            raise RuntimeError("midway")

    with pytest.raises(RuntimeError, match="midway"):
        fail_midway()
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_the_name_aside_keeps_the_suffix(tmp_path) -> None:
    """Encoders choose the format by suffix, so the file aside has the same one."""
    with replacing(tmp_path / "a.flac") as aside:
        assert aside.suffix == ".flac"
        aside.write_bytes(b"x")


def test_a_folder_that_cannot_be_made_is_an_output_error(tmp_path) -> None:
    """The message names the folder and the way out; the exit code is 2."""
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(OutputError, match="cannot write here") as caught:
        write_text(tmp_path / "file" / "a.txt", "x")
    assert caught.value.exit_code == 2


def test_what_a_killed_run_left_of_this_file_goes(tmp_path) -> None:
    """The next writing of the file clears what a dead process left aside, and only that."""
    dead = subprocess.Popen([sys.executable, "-c", ""])
    dead.wait()
    (tmp_path / f".a-{dead.pid}-x1.part.txt").write_text("half")
    (tmp_path / f".b-{dead.pid}-x1.part.txt").write_text("another file's")
    write_text(tmp_path / "a.txt", "whole")
    assert sorted(path.name for path in tmp_path.iterdir()) == [f".b-{dead.pid}-x1.part.txt", "a.txt"]


def test_a_process_that_ended_but_was_not_waited_for_is_dead(tmp_path) -> None:
    """What a killed child left goes at once, even before its parent has taken note of the end."""
    child = subprocess.Popen([sys.executable, "-c", ""])
    os.waitid(os.P_PID, child.pid, os.WEXITED | os.WNOWAIT)
    rest = tmp_path / f".a-{child.pid}-x1.part.txt"
    assert abandoned(rest)
    child.wait()
