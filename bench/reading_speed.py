"""Reading, as ratios in one run: ``python bench/reading_speed.py [SCORE …] [--agreement]``.

Per file: cold and cached time per 1 000 notes, beside music21's own parse of the same file (its cache not used). Cores
are shared: read the ratios. With ``--agreement`` every MusicXML file of music21's corpus below a size is read by
verovio, too, and differences in (onset, pitch) are counted (slow; the test keeps a sample with reasons). ``--against``
compares with note tables made by another reader.
"""

from __future__ import annotations

import argparse
import csv
import importlib.util
import tempfile
import time
from collections import Counter
from fractions import Fraction
from pathlib import Path

from base.errors import KlangprobeError
from base.store import Store
from reading.reader import read
from reading.score import ticks

CORPUS = Path(importlib.util.find_spec("music21").origin).parent / "corpus"
FILES = (
    "joplin/maple_leaf_rag.mxl",
    "bach/bwv846.mxl",
    "schumann_clara/polonaise_op1n1.mxl",
    "chopin/mazurka06-2.krn",
    "schumann_robert/opus41no1/movement1.mxl",
    "beethoven/opus132.mxl",
)


def timed(action, times=3):
    """Best of several runs in seconds, and the last result."""
    best, result = float("inf"), None
    for _ in range(times):
        start = time.perf_counter()
        result = action()
        best = min(best, time.perf_counter() - start)
    return best, result


def music21_parse(path):
    """Parse with music21, past its cache."""
    from music21 import converter

    return converter.parse(path, forceSource=True)


def speed(paths):
    """Print cold, cached and music21 time per 1 000 notes."""
    print(f"{'file':44}{'notes':>7}{'cold':>9}{'cached':>9}{'music21':>9}   ms per 1 000 notes, and the ratios")
    print(f"{'':78}   music21 / cold, cold / cached")
    with tempfile.TemporaryDirectory() as folder:
        store = Store(Path(folder))
        for path in paths:
            cold, score = timed(lambda path=path: read(path))
            read(path, store=store)
            cached, _ = timed(lambda path=path: read(path, store=store))
            other, _ = timed(lambda path=path: music21_parse(path), 1)
            per = 1e6 / len(score.notes)
            ratios = f"{other / cold:8.1f} {cold / cached:8.1f}"
            figures = f"{cold * per:9.1f}{cached * per:9.2f}{other * per:9.1f}"
            print(f"{str(path)[-42:]:44}{len(score.notes):7}{figures}   {ratios}")
            if len(score.notes) > 5000:
                print(f"{'':44}second reading of {len(score.notes)} notes: {cached * 1000:.1f} ms")


def agreement(limit_bytes):
    """Count differences to verovio's reading over the corpus."""
    place = Path(__file__).resolve().parents[1] / "tests" / "outside" / "test_reading_agreement.py"
    spec = importlib.util.spec_from_file_location("agreement", place)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    same = total = 0
    for path in sorted(CORPUS.rglob("*")):
        if path.suffix not in (".mxl", ".xml", ".musicxml") or path.stat().st_size > limit_bytes:
            continue
        total += 1
        try:
            score = read(path)
            struck = score.notes[score.notes["duration"] > 0]
            ours = module.Counter(zip(struck["onset"].tolist(), struck["pitch"].tolist(), strict=True))
            found = module.differences(ours, module.second_reading(path))
        except (KlangprobeError, AssertionError) as error:
            print(f"{path.relative_to(CORPUS)}: {error}")
            continue
        same += found == (0, 0)
        if found != (0, 0):
            print(f"{path.relative_to(CORPUS)}: {len(score.notes)} notes, only ours {found[0]}, only theirs {found[1]}")
    print(f"{same} of {total} files the same")


def against(folder):
    """Compare notes (quarter, pitch) with the independent tables beside a folder of scores, to within a tick."""
    for table in sorted(folder.glob("annotations/*/norm_notes.tsv")):
        path = next(one for one in folder.glob(f"{table.parent.name[:3]}_*") if one.is_file())
        notes = read(path).notes
        ours = Counter(
            (at, pitch)
            for at, pitch, length in zip(
                *(notes[name].tolist() for name in ("onset", "pitch", "duration")), strict=True
            )
            if length
        )
        with table.open(encoding="utf-8") as file:
            rows = [row for row in csv.DictReader(file, delimiter="\t") if row["tie"] != "tie"]
        pitch_column = next(name for name in rows[0] if name.startswith("midi"))
        theirs = Counter((ticks(Fraction(row["onset_q"])), int(row[pitch_column])) for row in rows)
        for (at, pitch), count in list((theirs - ours).items()):
            near = next((step for step in (-1, 1) if ours[at + step, pitch] > theirs[at + step, pitch]), 0)
            if near:  # a tuplet no tick can hold
                theirs[at, pitch] -= count
                theirs[at + near, pitch] += count
        both = sum((ours & theirs).values())
        print(f"{table.parent.name}: ours {sum(ours.values())}, theirs {sum(theirs.values())}, in both {both}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scores", nargs="*", type=Path)
    parser.add_argument("--agreement", action="store_true")
    parser.add_argument("--limit", type=int, default=12_000, help="largest file in bytes for --agreement")
    parser.add_argument("--against", type=Path, help="folder of scores with annotations/*/norm_notes.tsv")
    options = parser.parse_args()
    if options.against:
        against(options.against)
    elif options.agreement:
        agreement(options.limit)
    else:
        speed(options.scores or [CORPUS / name for name in FILES])
