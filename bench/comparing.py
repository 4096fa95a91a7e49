"""What comparing costs against rendering: eight bars, three variants of twelve players each, with every plot.

Run from the project folder: ``.venv/bin/python bench/comparing.py``. Ratios are of one run on one machine; the
processor times say how much of the wall time other programs took.
"""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

SPEC = """
piece: {{title: Bench, score: {score}}}
orchestra: {{use: classical, add: [clarinet 1]}}
passages:
  opening: {{bars: 5-12}}
variants:
  strings and winds:
    says: twelve players
    steps:
      - {{play: melody, on: [violins 1, flute 1, oboe 1, clarinet 1]}}
      - {{play: middle, on: [violins 2, violas, horn 1, horn 2]}}
      - {{play: bass, on: [cellos, basses 8vb, bassoon 1, bassoon 2]}}
  octave higher:
    says: the winds an octave higher
    steps:
      - {{play: melody, on: [violins 1, flute 1 8va, oboe 1 8va, clarinet 1 8va]}}
      - {{play: middle, on: [violins 2, violas, horn 1, horn 2]}}
      - {{play: bass, on: [cellos, basses 8vb, bassoon 1 8vb, bassoon 2]}}
  turned:
    says: the tune below
    steps:
      - {{play: melody, on: [cellos, bassoon 1, horn 1, horn 2]}}
      - {{play: middle, on: [violins 1, violins 2, oboe 1, clarinet 1]}}
      - {{play: bass, on: [basses 8vb, bassoon 2, violas, flute 1]}}
"""


def timed(what, call):
    """Run a call; print and return its wall time with what it gave."""
    wall, busy = time.perf_counter(), time.process_time()
    given = call()
    wall, busy = time.perf_counter() - wall, time.process_time() - busy
    print(f"{what:34} {wall:7.2f} s  ({busy:.2f} s of processor)")
    return given, wall


def main() -> None:
    """Print the times and the ratio."""
    from music21 import corpus

    import reading
    from base.store import Store
    from mapping.arranging import arrange
    from mapping.spec import load_spec
    from reading.layers import find_layers
    from render import RenderSettings, render_variants

    path = Path(str(corpus.getWork("joplin/maple_leaf_rag")))
    score = reading.read(path)
    layers = find_layers(score)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "spec.yaml").write_text(SPEC.format(score=path))
        spec = load_spec(folder / "spec.yaml")
        variants = [arrange(score, layers, spec, variant) for variant in spec.variants]

        def render():
            return render_variants(
                variants, (5, 12), passage="opening", settings=RenderSettings(), store=Store(folder / "store")
            )

        renderings, rendering_s = timed("render, nothing cached", render)
        stems = sum(len(one.stems) for one in renderings)
        seconds = len(renderings[0].mix) / 48_000
        print(f"{len(renderings)} variants, {stems} stems, {seconds:.1f} s each")
        compare_all(renderings, variants, layers, folder, rendering_s)


def compare_all(renderings, variants, layers, folder, rendering_s):
    """Compare, draw and write, the libraries not yet loaded, as a command line has it."""
    from compare import Fronts, compare_passage, plots, write_clips

    fronts = Fronts()

    def compare():
        return compare_passage(renderings, arrangements=variants, layers=layers, passage="opening", fronts=fronts)

    trial, comparing_s = timed("compare (libraries loaded now)", compare)
    _, drawing_s = timed("every plot, SVG (libraries too)", lambda: plots.draw_all(trial, folder / "plots"))
    _, writing_s = timed("seven clips, FLAC", lambda: write_clips(trial, folder / "clips"))
    both_s = comparing_s + drawing_s
    print(f"{'figures and plots':34} {both_s:7.2f} s = {both_s / rendering_s:.2f} of the render")
    print(f"{'with clips':34} {both_s + writing_s:7.2f} s")
    _, again_s = timed("compare again, stems known", compare)
    print(f"{'again':34} {again_s / comparing_s:7.2f} of the first time")


if __name__ == "__main__":
    main()
