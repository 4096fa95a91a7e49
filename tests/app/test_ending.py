"""However a run ends, nothing of it is left: no process, no half-written folder."""

from __future__ import annotations

import os
import pickle
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from base.errors import Problem, SpecError
from klangprobe.hearing import _changed, _stamp

DEMO = Path(__file__).resolve().parents[2] / "demo"
CODE = "import sys; from klangprobe.cli import main; sys.argv[0] = 'klangprobe'; main()"
linux = pytest.mark.skipif(sys.platform != "linux", reason="signals and /proc are read as on Linux")


def _runs(pid: int) -> bool:
    """Tell whether a process lives (a dead one that nobody has collected yet does not)."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in "ZX"
    except OSError:
        return False


def _children(pid: int) -> list[int]:
    return [int(word) for word in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def _until(true, limit_s: float = 60.0):
    """Wait for something that must come; the limit only keeps a failed test from hanging."""
    end = time.monotonic() + limit_s
    while not (found := true()) and time.monotonic() < end:
        time.sleep(0.05)
    return found


@linux
@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGKILL, -9)])
def test_a_run_told_to_end_takes_its_processes_along(number: int, code: int, tmp_path: Path) -> None:
    """Interrupted or ended, a run removes what it was writing; even a killed one leaves no process."""
    for name in ("weathercock.musicxml", "weathercock.yaml"):
        shutil.copy(DEMO / name, tmp_path)
    before = sorted(tmp_path.iterdir())
    command = [sys.executable, "-c", CODE, "hear", "weathercock.yaml", "--synth", "partials", "--dry"]
    cache = {"KLANGPROBE_CACHE": str(tmp_path.parent / f"cache-{number}")}

    def hearing() -> None:
        signal.signal(signal.SIGINT, signal.default_int_handler)

    with subprocess.Popen(
        command,
        cwd=tmp_path,
        env={**os.environ, **cache, "PYTHONPATH": str(DEMO.parent)},
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=hearing,
    ) as run:
        _until(lambda: _children(run.pid) or run.poll() is not None)
        children = _children(run.pid)
        if not children and len(os.sched_getaffinity(0)) > 1:
            pytest.fail(f"the run ended too early: {run.communicate()[1]}")
        run.send_signal(number)
        said = run.communicate()[1]
        assert run.returncode == code
    assert _until(lambda: not any(map(_runs, children)))
    if number == signal.SIGINT:
        assert "interrupted" in said
    if number != signal.SIGKILL:
        assert sorted(tmp_path.iterdir()) == before


def test_a_spec_error_travels_between_processes() -> None:
    """An error found by a process that renders arrives whole where it is told."""
    error = SpecError([Problem("no.", line=3), Problem("neither.", line=4)], path="spec.yaml")
    assert str(pickle.loads(pickle.dumps(error))) == str(error)


def test_a_save_during_the_rendering_is_seen(tmp_path: Path) -> None:
    """Watching compares with the spec as it was when the rendering began, so no save is missed."""
    spec = tmp_path / "spec.yaml"
    spec.write_text("a: 1\n")
    seen = _stamp(spec)
    spec.write_text("a: 1 # saved while the sound was made\n")
    assert _changed(spec, seen) == _stamp(spec)


@linux
def test_a_full_disk_is_no_fault_of_the_program(tmp_path: Path) -> None:
    """Where the output has no room, one message says so; without an output at all the run still ends well."""
    score = str(DEMO / "weathercock.musicxml")
    for words in (["survey", score], ["sounds"]):  # more than a buffer holds, and less
        with Path("/dev/full").open("w") as full:
            command = [sys.executable, "-c", CODE, *words]
            ran = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
        assert ran.returncode == 2
        assert "could not be written" in ran.stderr
        assert "fault" not in ran.stderr
        assert "Exception" not in ran.stderr
    closed = subprocess.run(["sh", "-c", '"$0" -c "$1" survey "$2" >&-', sys.executable, CODE, score], check=False)
    assert closed.returncode == 0
