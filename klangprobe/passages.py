"""The passages of one run, each from the cache or made; several at once where several must be made.

A passage is made by a process of its own, because drawing and engraving hold one core each. Every process starts from
the forked state of this one, so that nothing is read or mapped twice.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import time
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, replace
from threading import Thread
from typing import TYPE_CHECKING

from base.errors import InputError
from klangprobe.identity import passage_key, same_here
from klangprobe.product import Made, Product, kept, note, place, recall
from klangprobe.workbench import Workbench, cache

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from mapping.arrangement import Arrangement
    from render.settings import RenderSettings
    from soundfonts import Font

__all__ = ["Work", "all_products", "beside"]

_WATCH_S = 0.5
_MIXES = 3  # sounds of a variant besides its players: mix, room, clip
_BYTES_PER_S = 48_000 * 8 * 2  # two channels in single precision, and as much again while it is worked on
_SHARE = 0.5  # of the memory there is


@dataclass(frozen=True, eq=False)
class Work:
    """What all passages of a run have in common.

    Attributes
    ----------
    bench : Workbench
    arrangements : tuple of Arrangement
    settings : RenderSettings
    font : Font or None
    folder : Path
        Where files go, seen by nobody else yet.
    last : Path
        Folder of the run before; files of unchanged passages are taken over from it.
    stems : bool
        Write every player's sound as a file too.
    """

    bench: Workbench
    arrangements: tuple[Arrangement, ...]
    settings: RenderSettings
    font: Font | None
    folder: Path
    last: Path
    stems: bool = False

    def spans(self, name: str) -> tuple[tuple[int, int], ...]:
        """Bar indices of passage *name*."""
        import reading

        return tuple(reading.bars_named(self.bench.score, str(self.bench.spec.passages[name].bars)))

    def key(self, name: str) -> str:
        """Name of the passage's product."""
        return passage_key(
            self.bench, name, self.spans(name), self.arrangements, self.settings, self.font, stems=self.stems
        )


def all_products(work: Work, names: Sequence[str], progress: Callable[[float, float], None]) -> list[Product]:
    """Return the products of the passages *names*, their files written.

    Parameters
    ----------
    work : Work
    names : sequence of str
    progress : callable
        Called with passages done (as a fraction) and passages in all.
    """
    store, last = cache(), Made.of(work.last)
    keys = {name: work.key(name) for name in names}
    found = {name: recall(key, store) for name, key in keys.items()}
    for name, product in found.items():
        if product and not place(product, keys[name], work.folder, last=last, store=store):
            found[name] = None
    missing = [name for name in names if found[name] is None]
    done = len(names) - len(missing)
    if len(missing) > 1 and _cores() > 1 and sys.platform == "linux":
        for name in _made_by_processes(work, missing):
            done += 1
            progress(done, len(names))
            found[name] = recall(keys[name], store)
    for name in missing:
        if found[name] is None:  # alone, or the cache could not keep it
            found[name] = _made(work, name, _share(progress, done, len(names)), workers=_cores())
            done += 1
    products = {keys[name]: product for name in names if (product := found[name])}
    note(work.folder, products)
    return list(products.values())


@contextmanager
def beside(job: Callable[[], None]) -> Iterator[None]:
    """Let *job* run in a process of its own while the block runs; on a single core it runs after the block.

    Parameters
    ----------
    job : callable
        Leaves files, nothing else. What fails there is done again here, where it is told.
    """
    if _cores() == 1 or sys.platform != "linux":
        yield
        job()
        return
    child = multiprocessing.get_context("fork").Process(target=_done_quietly, args=(job, os.getpid()))
    child.start()
    try:
        yield
        child.join()
    finally:
        child.terminate()
        child.join()
    if child.exitcode:
        job()


def _done_quietly(job: Callable[[], None], parent: int) -> None:
    """Do *job* in a forked process; an error is only an exit code."""
    _follow(parent)
    try:
        job()
    except Exception:  # noqa: BLE001 - the parent tells it
        os._exit(1)


_work: Work | None = None
"""What the forked processes work from; set only around the fork."""


def _made_by_processes(work: Work, names: Sequence[str]) -> Iterator[str]:
    """Make the passages *names* in several processes; yield each as it is in the cache."""
    global _work
    _ = work.bench.layers, work.bench.survey  # found once, before the fork
    _work = work
    try:
        workers, others = _at_once(work, names), multiprocessing.active_children()
        pool = ProcessPoolExecutor(workers, multiprocessing.get_context("fork"), _follow, (os.getpid(),))
        try:
            seconds = _seconds(work, names)
            longest_first = sorted(names, key=lambda name: -seconds[name])  # so that no core is left alone at the end
            for made in as_completed([pool.submit(_make_one, name) for name in longest_first]):
                yield made.result()
        except BrokenProcessPool as error:
            msg = "a process that made a passage was ended from outside, perhaps because memory ran out"
            raise InputError(msg, hint="Ask for fewer passages at once.") from error
        finally:
            for child in multiprocessing.active_children():
                if child not in others:
                    child.terminate()
            pool.shutdown(cancel_futures=True)
    finally:
        _work = None


def _at_once(work: Work, names: Sequence[str]) -> int:
    """How many of the passages *names* may be made at once: one for each core, unless they would fill the memory."""
    heard = sum(sum(len(part.notes) > 0 for part in one.parts) + _MIXES for one in work.arrangements) + _MIXES
    needs = sorted((seconds * heard * _BYTES_PER_S for seconds in _seconds(work, names).values()), reverse=True)
    memory = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") * _SHARE
    fits = [count for count in range(1, min(_cores(), len(names)) + 1) if sum(needs[:count]) <= memory]
    return max(fits, default=1)


def _seconds(work: Work, names: Sequence[str]) -> dict[str, float]:
    """How long each passage lasts."""
    import reading

    timeline, score = reading.Timeline(work.bench.score), work.bench.score
    spans = {name: [score.span(first, last) for first, last in work.spans(name)] for name in names}
    return {
        name: sum(float(timeline.seconds(end) - timeline.seconds(start)) for start, end in ticks)
        for name, ticks in spans.items()
    }


def _follow(parent: int) -> None:
    """An interrupt ends the parent, which ends its children: they need not each say so, and never outlive it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: int) -> None:
    """End this process once its parent is gone, however that came about."""
    while os.getppid() == parent:
        time.sleep(_WATCH_S)
    os._exit(1)


def _make_one(name: str) -> str:
    """Make one passage in a forked process."""
    if _work is None:
        msg = "started without work"
        raise RuntimeError(msg)
    _made(_work, name, lambda done, total: None, workers=1)
    return name


def _made(work: Work, name: str, progress: Callable[[float, float], None], *, workers: int) -> Product:
    """Render, compare and keep one passage; the piano itself stands beside the variants as reference."""
    import mapping
    import render
    from compare import compare_passage
    from klangprobe.gathering import gathered

    bench, spans = work.bench, work.spans(name)
    same = same_here(work.arrangements, [bench.score.span(first, last) for first, last in spans])
    once = [one for row, one in enumerate(work.arrangements) if same[row] == row]
    *rendered, piano = render.render_variants(
        [*once, mapping.piano(bench.score)],
        spans,
        passage=name,
        settings=work.settings,
        store=cache(),
        workers=workers,
        progress=progress,
    )
    by_name = {one.variant: one for one in rendered}
    variants = [
        replace(by_name[work.arrangements[row].variant], variant=arrangement.variant)
        for row, arrangement in zip(same, work.arrangements, strict=True)
    ]
    trial = compare_passage(variants, arrangements=work.arrangements, layers=bench.layers, piano=piano, passage=name)
    product = gathered(bench, trial, work.arrangements, spans, work.folder, stems=work.stems)
    kept(product, work.key(name), work.folder, cache())
    return product


def _share(progress: Callable[[float, float], None], done: int, count: int) -> Callable[[float, float], None]:
    """Progress inside one passage as a share of all."""

    def show(part: float, total: float) -> None:
        progress(done + part / max(total, 1), count)

    return show


def _cores() -> int:
    """Cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
