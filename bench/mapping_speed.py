"""How long mapping takes, as ratios to reading the same score: four variants for twelve players, and how it grows.

Run ``python bench/mapping_speed.py [SCORE]``; without a score the demo piece is repeated to 250 bars. Processor time,
so that a busy machine does not matter.
"""

from __future__ import annotations

import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from mapping import arrange_all, load_spec
from mapping.fullscore import score_xml
from mapping.midi import midi_bytes
from reading import Score, find_layers, read

SPEC = """piece: {score: x}
orchestra: [flute 1, oboe 1, clarinet 1, bassoon 1, horn 1, horn 2, trumpet 1,
            violins 1, violins 2, violas, cellos, basses]
variants:
  plain:
    steps:
      - {play: melody, on: violins 1}
      - {play: accompaniment, on: [violins 2, violas, cellos, basses]}
      - {play: bass, on: [cellos, basses], share: divide}
  held: {from: plain, steps: [{hold: harmony, on: [horn 1, horn 2]}]}
  octaves:
    from: plain
    steps:
      - {double: melody, on: flute 1, at: 8va}
      - {double: bass, on: basses, at: 8vb}
      - {stress: accents, on: [horn 1, horn 2, trumpet 1], by: chord}
  figures:
    from: plain
    steps:
      - {refigure: accompaniment, on: [violins 2, violas], as: repeated}
      - {fill: gap, on: [clarinet 1, horn 1]}
"""


def repeated(score: Score, times: int) -> Score:
    """The score played *times* over, as one longer score without marks."""
    length, bars, notes = score.end, [], []
    for turn in range(times):
        copy, own = score.bars.copy(), score.notes.copy()
        copy["onset"] += turn * length
        copy["index"] += turn * len(score.bars)
        own["onset"] += turn * length
        own["bar"] += turn * len(score.bars)
        bars.append(copy)
        notes.append(own)
    all_notes = np.concatenate(notes)
    all_notes["id"] = np.arange(len(all_notes))
    all_bars = np.concatenate(bars)
    return replace(
        score, notes=all_notes, bars=all_bars, bar_numbers=tuple(str(bar) for bar in all_bars["index"]), marks=()
    )


def took(work) -> float:
    """Processor seconds of a call."""
    start = time.process_time()
    work()
    return time.process_time() - start


def main() -> None:
    """Print the figures."""
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parents[1] / "demo/weathercock.musicxml"
    read(path)  # once, so that imports are not counted
    reading_s = took(lambda: read(path, store=None))
    score = read(path)
    base = len(score.bars)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "spec.yaml"
        file.write_text(SPEC)
        spec = load_spec(file)
    find_layers(score)
    arrange_all(score, find_layers(score), spec)
    print(f"reading {base} bars, {len(score.notes)} notes: {reading_s:.3f} s")
    for times in (1, 2, max(3, -(-250 // base))):
        longer = repeated(score, times)
        layers = find_layers(longer)
        mapping_s = took(lambda longer=longer, layers=layers: arrange_all(longer, layers, spec))
        again_s = took(lambda longer=longer, layers=layers: arrange_all(longer, layers, spec))
        one = arrange_all(longer, layers, spec)[-1]
        midi_s, xml_s = took(lambda one=one: midi_bytes(one)), took(lambda one=one: score_xml(one))
        print(
            f"{len(longer.bars):4d} bars, 12 players, 4 variants: {mapping_s:.2f} s "
            f"({mapping_s / (reading_s * times):.2f} of reading; {1e3 * mapping_s / len(longer.bars):.2f} ms a bar); "
            f"after an edit {again_s:.2f} s; MIDI {midi_s:.2f} s; full score {xml_s:.2f} s"
        )


if __name__ == "__main__":
    main()
