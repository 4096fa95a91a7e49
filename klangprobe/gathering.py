"""From a trial to the product of its passage: clips and plots as files, figures, the page."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Any

import numpy as np

from klangprobe.product import Product
from klangprobe.workbench import cache

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from compare import ClipFiles
    from compare.trial import Trial
    from klangprobe.page import StemPage
    from klangprobe.workbench import Workbench
    from mapping.arrangement import Arrangement

__all__ = ["gathered"]

_ROOM = "the room"


def gathered(
    bench: Workbench,
    trial: Trial,
    arrangements: Sequence[Arrangement],
    spans: tuple[tuple[int, int], ...],
    folder: Path,
    *,
    stems: bool = False,
) -> Product:
    """Write the clips and plots of one passage into *folder* and return its product.

    Parameters
    ----------
    bench : Workbench
    trial : Trial
    arrangements : sequence of Arrangement
        Those of the trial's variants, in the same order.
    spans : tuple of (int, int)
        First and last bar index of each stretch.
    folder : Path
        Which nobody else sees yet.
    stems : bool
        Also write every player's sound, at its level in the clip as scored: ``stems/PASSAGE/VARIANT/PLAYER.flac``.
    """
    from compare import file_names
    from klangprobe.page import Engraver, light, passage_page, write_passage

    place = file_names(bench.spec.passages)[trial.passage]
    clips, plots, sounds = _encoded_and_drawn(trial, folder, place)
    page = passage_page(
        trial,
        arrangements,
        spans,
        engraver=Engraver(bench.spec.score_path, bench.score),
        clips=clips.scored,
        plots=plots,
        findings=bench.survey.findings,
        answers=bench.decided,
        sounds=sounds,
        slug=place.lower(),
    )
    players = _write_stems(trial, folder / "stems" / place) if stems else {}
    written = [*(path for paths in players.values() for path in paths.values())]
    written += [clips.in_turn, *clips.matched.values(), *clips.scored.values(), *plots.values()]
    written += write_passage(folder, page, page.slug)
    files = tuple(path.relative_to(folder).as_posix() for path in written)
    entry = _entry(bench, trial, clips, plots, folder)
    for variant in entry["variants"]:
        if found := players.get(variant["name"]):
            variant["stems"] = {name: path.relative_to(folder).as_posix() for name, path in found.items()}
    return Product(entry, light(page), files)


def _encoded_and_drawn(
    trial: Trial, folder: Path, place: str
) -> tuple[ClipFiles, dict[str, Path], dict[str, tuple[StemPage, ...]]]:
    """Write clips and plots, encode the players' own sounds: encoders leave the interpreter free to draw meanwhile."""
    from compare import write_clips
    from compare.plots import draw_all
    from klangprobe.page import player_sounds

    store = cache()
    with ThreadPoolExecutor(1) as aside:
        clips = aside.submit(write_clips, trial, folder / "clips" / place)
        sounds = [aside.submit(player_sounds, heard, trial.sample_rate_hz, store) for heard in trial.variants]
        plots = draw_all(trial, folder / "plots" / place)
    names = (heard.variant for heard in trial.variants)
    return clips.result(), plots, {name: made.result() for name, made in zip(names, sounds, strict=True)}


def _write_stems(trial: Trial, folder: Path) -> dict[str, dict[str, Path]]:
    """Write every player's sound, and the room's, by variant; those of a variant sum to its clip as scored."""
    from compare import file_names
    from render import write_audio

    variants = file_names(heard.variant for heard in trial.variants)
    written: dict[str, dict[str, Path]] = {}
    for heard in trial.variants:
        sounds = {stem.name: stem.samples for stem in heard.rendering.stems}
        if heard.rendering.room is not None:
            sounds[_ROOM] = heard.rendering.room
        names = file_names(sounds)
        written[heard.variant] = {}
        for name, samples in sounds.items():
            path = folder / variants[heard.variant] / f"{names[name]}.flac"
            scored = samples * np.float32(heard.gain_scored)
            write_audio(path, scored, sample_rate=trial.sample_rate_hz, sample_format="PCM_24")
            written[heard.variant][name] = path
    return written


def _entry(bench: Workbench, trial: Trial, clips: ClipFiles, plots: dict[str, Path], folder: Path) -> dict[str, Any]:
    """The passage's entry in the report: its figures, and where its files lie."""
    entry = trial.to_json()
    entry["bars"] = bench.spec.passages[trial.passage].bars
    entry["warnings"] = sorted({text for heard in trial.variants for text in heard.rendering.warnings})
    for variant in entry["variants"]:
        variant["clips"] = {
            kind: paths[variant["name"]].relative_to(folder).as_posix()
            for kind, paths in (("matched", clips.matched), ("scored", clips.scored))
        }
    entry["in_turn"] = clips.in_turn.relative_to(folder).as_posix()
    entry["plots"] = {kind: path.relative_to(folder).as_posix() for kind, path in plots.items()}
    return entry
