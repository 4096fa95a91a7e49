"""Every option of every finding pasted into a spec, arranged, and rendered over its bars.

    python bench/options.py [FOLDER] [--only V01 V02] [--no-sound] [--corpus schubert/lindenbaum]

FOLDER holds piano scores (the demo piece where left out). Each option is a variant made from a plain one. Printed are
the options that map, those that give sound, those that change nothing, those to which the player checks object with an
error the plain variant has not, and every failure by name. The sound is the plain synth, two bars at most, so that
hundreds of options take minutes; ``--no-sound`` only arranges. ``--corpus NAME`` takes a piece of the music21 corpus.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections import defaultdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

import mapping
from base.errors import KlangprobeError
from base.store import Store
from klangprobe.survey_page import step_text
from reading.reader import read
from reading.sung import survey_song
from render import RenderSettings, render_variants

if TYPE_CHECKING:
    from mapping.arrangement import Arrangement
    from reading.layers import Layers
    from reading.survey import Finding, Option

DEMO = Path(__file__).parents[1] / "demo"
LONGEST = 2  # bars rendered of each option
MOST = 90  # variants in one spec
PLAIN = """\
orchestra: {use: classical full}
variants:
  plain:
    steps:
      - {play: melody, on: violins 1}
      - {play: accompaniment, on: [violins 2, violas]}
      - {play: bass, on: [cellos, basses 8vb]}
"""


def spec_of(path: Path, options: list[tuple[Finding, Option]]) -> mapping.Spec:
    """A spec with each option as a variant of its own."""
    lines = [f"piece: {{score: {path.resolve()}}}", PLAIN.rstrip()]
    for row, (_, option) in enumerate(options):
        steps = [f"      {step_text(step)}" for step in option.steps]
        lines += [f"  v{row}:", "    from: plain", "    steps:", *steps]
    with tempfile.TemporaryDirectory() as folder:
        spec_path = Path(folder) / "options.yaml"
        spec_path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return mapping.load_spec(spec_path)


def notes_of(arrangement: Arrangement) -> dict[str, bytes]:
    """What the players have, for comparison."""
    return {part.player.name: part.notes.tobytes() for part in arrangement.parts}


def errors_of(arrangement: Arrangement, layers: Layers) -> dict[tuple[str, str, int], str]:
    """What the player checks call an error, by player, kind and bar."""
    found = mapping.check(arrangement, layers)
    return {(one.player, one.kind, one.bar_index): one.message for one in found if one.severity == "error"}


def sound(by_bars: dict[tuple[int, int], list[tuple[str, Arrangement]]], failed: list[str]) -> int:
    """Render every option; return how many gave finite sound that is not silence."""
    sounding = 0
    settings = RenderSettings(synth="partials")
    with tempfile.TemporaryDirectory() as folder:
        store = Store(Path(folder))
        for bars, named in by_bars.items():
            renderings = render_variants([one for _, one in named], bars, passage="p", settings=settings, store=store)
            for (name, _), rendering in zip(named, renderings, strict=True):
                if np.isfinite(rendering.mix).all() and np.abs(rendering.mix).max() > 0:
                    sounding += 1
                else:
                    failed.append(f"{name}: silence or no number")
    return sounding


def measure(path: Path, *, with_sound: bool) -> None:
    """Print the figures of one piece."""
    begin = time.perf_counter()
    score = read(path)
    found = survey_song(score)
    options = [(finding, option) for finding in found.findings for option in finding.options]
    specs = [spec_of(path, options[start : start + MOST]) for start in range(0, len(options), MOST)]
    base = mapping.arrange(score, found.layers, specs[0], "plain")
    plain, known = notes_of(base), errors_of(base, found.layers)
    failed: list[str] = []
    refused: list[str] = []
    idle: dict[str, list[str]] = defaultdict(list)
    by_bars: dict[tuple[int, int], list[tuple[str, Any]]] = defaultdict(list)
    for row, (finding, option) in enumerate(options):
        name = f"{finding.name}: {option.says}"
        try:
            arrangement = mapping.arrange(score, found.layers, specs[row // MOST], f"v{row % MOST}")
        except KlangprobeError as error:
            failed.append(f"{name}: {error}")
            continue
        if notes_of(arrangement) == plain:
            idle[option.says].append(finding.name)
        told = errors_of(arrangement, found.layers)
        if new := sorted(told.keys() - known.keys()):
            refused.append(f"{name}: {new[0][0]}: {told[new[0]]}")
        first, last = finding.first_bar_index, finding.last_bar_index
        by_bars[first, min(last, first + LONGEST - 1)].append((name, arrangement))
    mapped = sum(len(one) for one in by_bars.values())
    sounded = sound(by_bars, failed) if with_sound else 0
    nothing = sum(map(len, idle.values()))
    counts = f"{len(options)} options; {mapped} map, {sounded} sound, {nothing} change nothing"
    print(f"{path.stem[:24]:26}{counts}, {len(refused)} refused by the player checks")
    for text in failed:
        print("   failed:", text)
    for text in refused:
        print("   refused:", text)
    for text, names in idle.items():
        print(f"   idle: {text}: {', '.join(names)}")
    print(f"   {time.perf_counter() - begin:.0f} s")


def main() -> None:
    """Measure the pieces of the folder."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path, nargs="?", default=DEMO)
    parser.add_argument("--only", nargs="*", help="beginnings of file names")
    parser.add_argument("--no-sound", action="store_true")
    parser.add_argument("--corpus", nargs="*", default=(), help="names of the music21 corpus, after the folder")
    options = parser.parse_args()
    kinds = {".musicxml", ".mxl", ".krn"}
    for path in sorted(options.folder.iterdir()):
        if path.suffix in kinds and (not options.only or path.name.startswith(tuple(options.only))):
            measure(path, with_sound=not options.no_sound)
    if options.corpus:
        from music21 import corpus

        for name in options.corpus:
            measure(Path(str(corpus.getWork(name))), with_sound=not options.no_sound)


if __name__ == "__main__":
    main()
