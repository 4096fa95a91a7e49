"""What the page of an 8-bar passage costs beside its render: encoding, engraving, writing (one run, as ratios)."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
DEMO = HERE.parent / "demo" / "weathercock.yaml"


def timed(name, call, times):
    """Run *call*, keep its seconds under *name*, return what it gives."""
    begun = time.perf_counter()
    result = call()
    times[name] = time.perf_counter() - begun
    return result


def main() -> None:
    """Print the ratios."""
    import render
    from base.store import Store
    from compare import compare_passage
    from klangprobe.page import Engraver, PageInfo, passage_page, player_sounds, write_page, write_single
    from klangprobe.workbench import open_spec

    bench = open_spec(DEMO)
    arrangements = bench.arrange(bench.names(()))[:3]
    spans = ((9, 16),)
    times: dict[str, float] = {}
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        settings = render.RenderSettings()
        store = Store(folder / "cache")
        renderings = timed(
            "render",
            lambda: render.render_variants(arrangements, spans, passage="river", settings=settings, store=store),
            times,
        )
        trial = timed(
            "compare",
            lambda: compare_passage(renderings, arrangements=arrangements, layers=bench.layers, passage="river"),
            times,
        )
        engraver = Engraver(bench.spec.score_path, bench.score)
        timed("engrave", lambda: engraver.passage(spans, renderings[0], "bars"), times)

        def players():
            return {heard.variant: player_sounds(heard, trial.sample_rate_hz, store) for heard in trial.variants}

        sounds = timed("encode the players", players, times)
        timed("find them again", players, times)
        page = timed("gather", lambda: passage_page(trial, arrangements, spans, sounds=sounds), times)
        timed("write folder", lambda: write_page(folder / "page", [page], info=PageInfo("bench")), times)
        timed("write one file", lambda: write_single(folder / "all.html", [page], info=PageInfo("bench")), times)
    stems = sum(len(variant.stems) for variant in page.variants)
    print(f"3 variants, {stems} sounding stems, {page.duration_s:.1f} s; times the render:")
    for name, seconds in times.items():
        print(f"  {name:24} {seconds / times['render']:6.2f}")


if __name__ == "__main__":
    main()
