"""Work done in a process beside the passages: done, told when it fails, ended with the run."""

import os
import time

import pytest

from base.errors import OutputError
from klangprobe import passages


@pytest.mark.parametrize("cores", [1, 2])
def test_it_is_done_when_the_block_is_left(tmp_path, monkeypatch, cores):
    """Whether it ran beside the block or after it."""
    monkeypatch.setattr(passages, "_cores", lambda: cores)
    with passages.beside((tmp_path / "made").touch):
        pass
    assert (tmp_path / "made").exists()


@pytest.mark.parametrize("cores", [1, 2])
def test_its_failure_is_the_runs_failure(monkeypatch, cores):
    """An error is raised here, with its own message."""
    monkeypatch.setattr(passages, "_cores", lambda: cores)

    def fails():
        raise OutputError("no room left")

    with pytest.raises(OutputError, match="no room left"), passages.beside(fails):
        pass


def test_it_ends_with_a_run_that_fails(tmp_path, monkeypatch):
    """No process goes on writing into a folder that is taken away."""
    monkeypatch.setattr(passages, "_cores", lambda: 2)
    note = tmp_path / "process"

    def waits():
        note.write_text(str(os.getpid()))
        time.sleep(60)

    def fails_meanwhile():
        with passages.beside(waits):
            while not (note.exists() and note.read_text()):
                time.sleep(0.01)
            raise KeyError

    with pytest.raises(KeyError):
        fails_meanwhile()
    with pytest.raises(ProcessLookupError):
        os.kill(int(note.read_text()), 0)
