"""How fast sound comes, as ratios in one run: ``python bench/rendering.py [--long]``.

One job, eight bars of twelve players, is timed in every way that matters, and the raw command-line synthesiser on the
same notes is the yardstick; so is the fullest variant of the demo, whole piece. Times are the best of several runs,
because cores are shared; only ratios are comparable. New processes find their modules compiled, as an installed
program does.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

import soundfonts
from base.store import Store
from mapping.arrangement import PART_DTYPE, Arrangement, Part
from mapping.orchestra import player
from reading.score import BAR_DTYPE, DYNAMICS, NOTE_DTYPE, TICKS_PER_QUARTER, Mark, PartInfo, Score

TWELVE = {
    "flute 1": 76, "oboe 1": 71, "clarinet 1": 67, "bassoon 1": 50, "horn 1": 57, "horn 2": 53, "trumpet 1": 67,
    "violins 1": 74, "violins 2": 67, "violas": 60, "cellos": 50, "basses": 38,
}  # fmt: skip
TWENTY_FOUR = (
    *TWELVE, "flute 2", "oboe 2", "clarinet 2", "bassoon 2", "horn 3", "horn 4", "trumpet 2", "trombone 1",
    "trombone 2", "tuba", "timpani", "harp",
)  # fmt: skip
ROUNDS = 3


def score_of(bars: int, tempo: float = 108.0) -> Score:
    """A score of empty bars."""
    table = np.zeros(bars, BAR_DTYPE)
    table["index"] = np.arange(1, bars + 1)
    table["duration"] = 4 * TICKS_PER_QUARTER
    table["onset"] = np.arange(bars) * 4 * TICKS_PER_QUARTER
    table["beats"], table["beat_type"] = 4, 4
    marks = (Mark("tempo", 0, 0, value=str(tempo)),)
    return Score("", "", "bench", "0" * 64, (PartInfo("Piano", 2),), np.zeros(0, NOTE_DTYPE), table,
                 tuple(str(row + 1) for row in range(bars)), marks)  # fmt: skip


def part_of(name: str, key: int, bars: int, seed: int) -> Part:
    """A part of quarters, quavers and held notes, the same in every run."""
    chance = np.random.default_rng(seed)
    rows, at = [], 0.0
    while at < 4 * bars:
        length = float(chance.choice([0.5, 0.5, 1.0, 1.0, 2.0, 4.0]))
        rows.append((at, min(length, 4 * bars - at), key + int(chance.integers(-5, 6))))
        at += length
    notes = np.zeros(len(rows), PART_DTYPE)
    onset, length, pitch = np.array(rows).T
    notes["id"], notes["onset"] = np.arange(len(rows)), np.rint(onset * TICKS_PER_QUARTER)
    notes["duration"], notes["pitch"] = np.rint(length * TICKS_PER_QUARTER), pitch
    notes["bar"], notes["source"], notes["velocity"] = onset // 4 + 1, -1, -1
    notes["dynamic"] = chance.choice([DYNAMICS.index(mark) for mark in ("p", "mf", "f")], len(rows))
    return Part(player(name), notes)


def orchestra(bars: int, names=TWELVE) -> Arrangement:
    """An arrangement for the bench."""
    keys = {**dict.fromkeys(names, 60), **TWELVE, "timpani": 45, "tuba": 40, "trombone 1": 55, "trombone 2": 50,
            "bassoon 2": 45, "harp": 62}  # fmt: skip
    parts = tuple(part_of(name, keys[name], bars, seed) for seed, name in enumerate(names))
    return Arrangement("bench", "", score_of(bars), parts)


def edited(arrangement: Arrangement) -> Arrangement:
    """The same with one note of the clarinet moved."""
    parts = list(arrangement.parts)
    notes = parts[2].notes.copy()
    notes["pitch"][3] += 1
    parts[2] = replace(parts[2], notes=notes)
    return replace(arrangement, parts=tuple(parts))


def best(job, rounds: int = ROUNDS) -> tuple[float, float]:
    """Shortest wall and processor time of a job in seconds; the latter counts both cores and child processes."""
    times = []
    for _ in range(rounds):
        before = os.times()
        job()
        after = os.times()
        times.append((after.elapsed - before.elapsed, sum(after[:4]) - sum(before[:4])))
    walls, busy = zip(*times, strict=True)
    return min(walls), min(busy)


def cli_s(arrangement: Arrangement, font: Path, folder: Path) -> tuple[float, float]:
    """Time of the raw command-line synthesiser on the same notes, one core, dry."""
    from mapping.midi import write_midi

    if not shutil.which("fluidsynth"):
        return float("nan"), float("nan")
    midi = folder / "bench.mid"
    write_midi(arrangement, midi)
    command = ["fluidsynth", "-ni", "-R0", "-C0", "-r48000", "-O", "float", "-T", "wav", "-F", str(folder / "raw.wav")]
    return best(lambda: subprocess.run([*command, str(font), str(midi)], check=True, capture_output=True))


COLD = """
import sys; sys.path.insert(0, {here!r})
from pathlib import Path
import render as _
from render import RenderSettings, render_variants, write_audio
from base.leftovers import abandoned
from base.store import Store
import importlib.util
spec = importlib.util.spec_from_file_location("bench_rendering", {file!r})
bench = importlib.util.module_from_spec(spec); spec.loader.exec_module(bench)
made = render_variants([bench.orchestra(8)], (1, 8), passage="bench", settings=RenderSettings(room={room}),
                       store=Store(Path({store!r})), workers={workers})
write_audio(Path({out!r}), made[0].mix)
Store(Path({store!r})).trim()
for rest in Path({out!r}).parent.iterdir():  # as the app does in its output folder
    if abandoned(rest):
        rest.unlink()
"""


WHOLE = """
import sys; sys.path.insert(0, {here!r})
from pathlib import Path
from base.store import Store
from klangprobe.workbench import open_spec
from render import RenderSettings, render_variants, write_audio
bench = open_spec(Path({spec!r}))
made = render_variants(bench.arrange([{variant!r}]), (1, len(bench.score.bars)), passage="bench",
                       settings=RenderSettings(room={room}), store=Store(Path({store!r})), workers=2)
write_audio(Path({out!r}), made[0].mix)
"""


def cold_s(folder: Path, *, workers: int = 2, room: bool = True, keep: bool = False) -> tuple[float, float]:
    """Time of a whole new process from nothing to a finished file."""
    return process_s(folder, cold_code(folder, folder / "store", workers, room), keep=keep)


def process_s(folder: Path, code: str, *, keep: bool = False) -> tuple[float, float]:
    """Time of a new process with its modules compiled, and with nothing in the cache unless it is to *keep* it."""
    plain = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    compiled = {**plain, "KLANGPROBE_CACHE": str(folder / "cache"), "OPENBLAS_NUM_THREADS": "1"}  # as the program does

    def job() -> None:
        if not keep:
            shutil.rmtree(folder / "store", ignore_errors=True)
        subprocess.run([sys.executable, "-c", code], check=True, env=compiled)

    job()
    return best(job)


def whole_variant(folder: Path) -> None:
    """Print the times of a whole variant of the demo, beside the raw synthesiser on its MIDI file."""
    from klangprobe.workbench import open_spec

    spec, variant = Path(__file__).parents[1] / "demo" / "weathercock.yaml", "full daylight"
    raw = cli_s(open_spec(spec).arrange([variant])[0], soundfonts.default().path, folder)
    rows = [("raw command-line synthesiser on the demo's fullest variant", raw)]
    for name, room in (("new process, nothing cached, dry", False), ("new process, nothing cached, with room", True)):
        code = WHOLE.format(here=str(spec.parents[1]), spec=str(spec), variant=variant, room=room,
                            store=str(folder / "store"), out=str(folder / "a.flac"))  # fmt: skip
        rows.append((name, process_s(folder, code)))
    tell(rows, raw)


def tell(rows: list[tuple[str, tuple[float, float]]], raw: tuple[float, float]) -> None:
    """Print wall and processor times, and their ratios to the raw synthesiser's."""
    print(f"{'':58s}    wall   of raw      busy   of raw")
    for name, (wall, busy) in rows:
        print(f"{name:58s} {wall:6.3f} s  {wall / raw[0]:6.2f}  {busy:6.3f} s  {busy / raw[1]:6.2f}")


def cold_code(folder: Path, store: Path, workers: int, room: bool) -> str:
    """Program of the cold run."""
    here = str(Path(__file__).parents[1])
    return COLD.format(
        here=here, file=__file__, store=str(store), out=str(folder / "a.flac"), workers=workers, room=room
    )


def speed(folder: Path) -> None:
    """Print times and ratios of the eight-bar job."""
    from render import RenderSettings, render_variants, write_audio

    music = orchestra(8)
    raw = cli_s(music, soundfonts.default().path, folder)
    rows = [("raw command-line synthesiser, one core, dry", raw)]
    rows.append(("new process, nothing cached, dry, 2 threads", cold_s(folder, room=False)))
    rows.append(("new process, nothing cached, with room, 2 threads", cold_s(folder)))
    rows.append(("new process, nothing cached, with room, 1 thread", cold_s(folder, workers=1)))
    rows.append(("new process, everything cached", cold_s(folder, keep=True)))
    store, settings, out = Store(folder / "warm"), RenderSettings(), folder / "warm.flac"

    def hear(arrangement: Arrangement, cache: Store | None) -> None:
        (made,) = render_variants([arrangement], (1, 8), passage="bench", settings=settings, store=cache)
        write_audio(out, made.mix)

    hear(music, store)
    rows.append(("warm, nothing cached", best(lambda: hear(music, None))))
    changed = edited(music)

    def edit() -> None:
        for path in (folder / "warm").glob("*/*.npz"):
            if path not in kept:
                path.unlink()
        hear(changed, store)

    kept = set((folder / "warm").glob("*/*.npz"))
    rows.append(("warm, one step edited, to a finished file", best(edit)))
    rows.append(("warm, nothing changed, to a finished file", best(lambda: hear(music, store))))
    tell(rows, raw)


def long_piece(folder: Path) -> None:
    """Print time and memory of a 20-minute piece for 24 players in a process of its own."""
    bars = 540  # 20 minutes of 4/4 at 108
    code = f"""
import sys; sys.path.insert(0, {str(Path(__file__).parents[1])!r})
import importlib.util, resource, time
from pathlib import Path
spec = importlib.util.spec_from_file_location("bench_rendering", {__file__!r})
bench = importlib.util.module_from_spec(spec); spec.loader.exec_module(bench)
from render import RenderSettings, stream_mix
begun = time.perf_counter()
music = bench.orchestra({bars}, bench.TWENTY_FOUR)
made = stream_mix(music, Path({str(folder / "long.flac")!r}), settings=RenderSettings())
spent = time.perf_counter() - begun
print(made.samples / 48000 / 60, spent, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    minutes, seconds, megabytes = map(float, done.stdout.split())
    print(f"{minutes:.1f} min for 24 players: {seconds:.0f} s ({minutes * 60 / seconds:.1f} times real time), "
          f"peak memory {megabytes:.0f} MB")  # fmt: skip


def main() -> None:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--long", action="store_true", help="also the 20-minute piece")
    wish = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        speed(folder)
        whole_variant(folder)
        if wish.long:
            long_piece(folder)
    print(f"peak memory of this process {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()
