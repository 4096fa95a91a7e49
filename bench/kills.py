"""Kill ``klangprobe hear`` at random moments, then run it once: ``python bench/kills.py [--kills N] [--fluid N]``.

The run afterwards must give, file for file, what an undisturbed one gives, and nothing temporary may be left, neither
beside the output folder nor in the cache. Half of the killed runs begin with what earlier ones left in the cache. One
passage is made by the process itself; two are made by forked processes, which outlive their killed parent for a moment.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

DEMO = Path(__file__).parents[1] / "demo" / "weathercock.yaml"
_RANDOM = re.compile(rb'(?:id|href|data-[a-z]*)="[^"]*"|url\(#[^)]*\)')
QUICK = ("--synth", "partials", "--dry")


def command(out: Path, cache: Path, passages: tuple[str, ...], *more: str) -> tuple[list[str], dict[str, str]]:
    """Program and environment of one run: two variants, so that there is something to compare."""
    program = [sys.executable, "-c", "from klangprobe.cli import main; main()", "hear", str(DEMO), *passages]
    program += ["--out", str(out), *more, "--variants", "strings alone", "--variants", "full daylight"]
    return program, {**os.environ, "KLANGPROBE_CACHE": str(cache)}


def run(job: tuple[list[str], dict[str, str]], kill_after_s: float | None = None) -> bool:
    """Run, or kill after a time; tell whether it was killed."""
    program, environment = job
    process = subprocess.Popen(program, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    try:
        _, said = process.communicate(timeout=kill_after_s)
    except subprocess.TimeoutExpired:
        process.send_signal(signal.SIGKILL)
        process.stderr.close()
        process.wait()
        return True
    if process.returncode:
        raise SystemExit(said.decode())
    return False


def fingerprint(folder: Path) -> dict[str, str]:
    """Checksum of every file of an output folder, but for the stamps of times and the engraver's random ids."""
    files = sorted(path for path in folder.rglob("*") if path.is_file() and path.name != ".made.json")
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(_RANDOM.sub(b"", path.read_bytes())).hexdigest()
        for path in files
    }


def leftovers(folder: Path) -> list[str]:
    """Everything temporary below a folder."""
    return [path.name for path in folder.rglob("*") if ".part" in path.name or ".old" in path.name]


def trial(root: Path, kills: int, passages: tuple[str, ...], *more: str) -> tuple[list[str], list[str]]:
    """Kill *kills* runs; return which files differ afterwards, and what is left over."""
    clean, killed = root / "clean", root / "killed"
    job = command(clean / "out", clean / "cache", passages, *more)
    begun = time.monotonic()
    run(job)
    whole_s = time.monotonic() - begun
    chance, hit = np.random.default_rng(7), 0
    job = command(killed / "out", killed / "cache", passages, *more)
    while hit < kills:
        if chance.random() < 0.5:
            shutil.rmtree(killed / "cache", ignore_errors=True)
        # A run that finds everything in the cache is done sooner, and then nobody is killed.
        hit += run(job, float(chance.uniform(0.05, 0.9)) * whole_s)
    run(job)
    before, after = fingerprint(clean / "out"), fingerprint(killed / "out")
    differ = sorted(name for name in {*before, *after} if before.get(name) != after.get(name))
    return differ, leftovers(killed)


def main() -> None:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=200, help="runs with plain partials")
    parser.add_argument("--fluid", type=int, default=10, help="more runs with the soundfont")
    wish = parser.parse_args()
    one, two = ("the shutter",), ("the shutter", "question and answer")
    rows = [
        ("plain partials, one passage", wish.kills * 3 // 4, one, QUICK),
        ("plain partials, two passages", wish.kills - wish.kills * 3 // 4, two, QUICK),
        ("soundfont and room, one passage", wish.fluid, one, ()),
    ]
    for name, count, passages, more in rows:
        if not count:
            continue
        with tempfile.TemporaryDirectory() as folder:
            differ, left = trial(Path(folder), count, passages, *more)
        same = f"differs in {differ}" if differ else "identical"
        print(f"{name:33s} {count:4d} runs killed; output afterwards {same}; left over: {left or 'nothing'}",
              flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
