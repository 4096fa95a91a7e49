"""What `klangprobe hear` costs, in one run: cold, nothing changed, one edited step, beside the bare synth; and what the
other commands cost, beside the start of Python with NumPy.

Run from the project folder: ``.venv/bin/python bench/hearing.py [SPEC]``. Every row is a command of its own, as one
types it; the bare synth is the ``fluidsynth`` command line on the MIDI files of the same variants, whole piece, to WAV.
Ratios are of one run on one machine; the processor times say how much of the wall time other programs took.
"""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path[0] = str(Path(__file__).resolve().parents[1])

DEMO = Path(__file__).resolve().parents[1] / "demo" / "weathercock.yaml"
STEP = "{fill: gap, on: [clarinet 1, clarinet 2, horn 1], bars: 37-40}"


def timed(what: str, command: list[str], folder: Path) -> float:
    """Run a command; print and return its wall time."""
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    environment["KLANGPROBE_CACHE"] = str(folder / "cache")
    subprocess.run(command, check=True, env=environment, capture_output=True)
    spent, after = time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
    busy = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    print(f"{what:44} {spent:7.2f} s  ({busy:.2f} s of processor)")
    return spent


def commands(program: str, spec: Path, folder: Path) -> None:
    """Print what the commands without sound take, as multiples of a bare start."""
    from klangprobe.workbench import open_spec

    timed("(modules compiled)", [program, "check", str(spec)], folder)
    bare = timed("bare start: Python and NumPy", [sys.executable, "-c", "import numpy"], folder)
    score = str(open_spec(spec).spec.score_path)
    for words in (["--help"], ["check", str(spec)], ["survey", score], ["sounds"]):
        spent = timed(f"klangprobe {words[0]}", [program, *words], folder)
        print(f"{'':44} {spent / bare:7.2f} times the bare start")


def main() -> None:
    """Print the times and their ratios to the bare synth."""
    import soundfonts

    spec = Path(sys.argv[1]) if len(sys.argv) > 1 else DEMO
    program = str(Path(sys.executable).with_name("klangprobe"))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for file in spec.parent.iterdir():
            if file.suffix in {".yaml", ".musicxml", ".mxl", ".krn", ".mid"}:
                shutil.copy(file, folder)
        own, heard = folder / spec.name, folder / "heard"
        commands(program, own, folder)
        hear = [program, "hear", str(own), "--out", str(heard)]
        spent = {"cold": timed("cold: every passage", hear, folder)}
        spent["unchanged"] = timed("nothing changed", hear, folder)
        text = own.read_text(encoding="utf-8")
        if STEP in text:
            own.write_text(text.replace(STEP, STEP.replace("horn 1", "horn 2")), encoding="utf-8")
            spent["one step"] = timed("one step edited, one passage touched", hear, folder)
        size = sum(file.stat().st_size for file in heard.rglob("*") if file.is_file())
        print(f"{'the folder':44} {size / 1e6:7.0f} MB")
        font, fluidsynth = soundfonts.default(), shutil.which("fluidsynth")
        if fluidsynth:
            bare = 0.0
            for midi in sorted((heard / "midi").glob("*.mid")):
                command = [fluidsynth, "-niq", "-r", "48000", "-F", str(folder / "bare.wav"), str(font.path), str(midi)]
                bare += timed(f"bare synth, {midi.stem}", command, folder)
            for what, seconds in spent.items():
                print(f"{what:44} {seconds / bare:7.2f} times the bare synth")


if __name__ == "__main__":
    main()
