"""How long mapping takes beside reading: 12 players, 4 variants, growing numbers of bars. Prints seconds and ratios.

    python bench/arranging.py [SCORE]          SCORE: a piano piece; Mozart K. 545 of the music21 corpus where left out

The piece is laid end to end until it has the number of bars asked for, so that cost per bar can be compared.
"""

from __future__ import annotations

import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

SPEC = """\
piece: {{title: Bench, score: {score}}}
orchestra: {{players: [flute 1, oboe 1, clarinet 1, bassoon 1, horn 1, horn 2, trumpet 1,
             violins 1, violins 2, violas, cellos, basses]}}
variants:
  strings:
    says: strings alone
    steps:
      - {{play: melody, on: violins 1}}
      - {{play: accompaniment, on: [violins 2, violas]}}
      - {{play: bass, on: [cellos, basses 8vb]}}
  horns held:
    says: with resonance
    from: strings
    steps:
      - {{hold: harmony, on: [horn 1, horn 2], level: p}}
  filled:
    says: with a filled middle
    from: strings
    steps:
      - {{fill: gap, on: [clarinet 1, bassoon 1]}}
  winds:
    says: winds double
    from: horns held
    steps:
      - {{double: melody, on: [flute 1], at: 8va}}
      - {{double: melody, on: [oboe 1], at: unison}}
      - {{stress: accents, on: [trumpet 1]}}
"""


def lengthened(score, bars):
    """The piece end to end until it has *bars* bars."""
    times = -(-bars // len(score.bars))
    notes = np.concatenate([score.notes] * times)
    table = np.concatenate([score.bars] * times)
    for turn in range(times):
        part = slice(turn * len(score.notes), (turn + 1) * len(score.notes))
        notes["onset"][part] += turn * score.end
        notes["bar"][part] += turn * len(score.bars)
        part = slice(turn * len(score.bars), (turn + 1) * len(score.bars))
        table["onset"][part] += turn * score.end
    table = table[:bars].copy()
    table["index"] = np.arange(1, bars + 1)
    table["pickup"][1:] = False
    end = int(table["onset"][-1] + table["duration"][-1])
    notes = notes[notes["onset"] + notes["duration"] <= end]
    notes["id"] = np.arange(len(notes))
    numbers = tuple(str(row + 1) for row in range(bars))
    return replace(score, notes=notes, bars=table, bar_numbers=numbers, sha256=f"{bars}", marks=score.marks)


def timed(call):
    """Result and seconds of a call."""
    start = time.perf_counter()
    result = call()
    return result, time.perf_counter() - start


def main():
    """Print the table."""
    import music21

    import mapping
    import reading

    corpus = Path(music21.__file__).parent / "corpus"
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else corpus / "mozart/k545/movement1_exposition.mxl"
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "spec.yaml"
        file.write_text(SPEC.format(score=path), encoding="utf-8")
        spec = mapping.load_spec(file)
    score, read_s = timed(lambda: reading.read(path))
    per_bar = read_s / len(score.bars)
    print(f"reading {path.name}: {len(score.bars)} bars in {read_s:.2f} s")
    print(
        f"{'bars':>5} {'notes':>6} {'layers s':>9} {'4 variants s':>13} {'x reading':>10} {'check s':>8} {'kept s':>7} "
        f"{'back s':>7}"
    )
    for bars in (62, 125, 250, 500):
        long = lengthened(score, bars)
        layers, layers_s = timed(lambda long=long: reading.find_layers(long))
        made, arrange_s = timed(lambda long=long, layers=layers: mapping.arrange_all(long, layers, spec))
        _, check_s = timed(lambda made=made, layers=layers: [mapping.check(one, layers) for one in made])
        _, kept_s = timed(lambda made=made, layers=layers: [mapping.faithfulness(one, layers) for one in made])
        _, back_s = timed(lambda made=made: [mapping.reduced(one) for one in made])
        ratio = arrange_s / (per_bar * bars)
        seconds = f"{layers_s:9.2f} {arrange_s:13.2f} {ratio:10.2f} {check_s:8.2f} {kept_s:7.2f} {back_s:7.2f}"
        print(f"{bars:5d} {len(long.notes):6d} {seconds}")


if __name__ == "__main__":
    main()
