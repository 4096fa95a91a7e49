"""``klangprobe hear``: render the passages in every variant, compare, write the folder one listens from."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from base.errors import KlangprobeError
from base.writing import write_bytes
from klangprobe.console import Progress, say, say_json, warn
from klangprobe.folder import replacing_folder
from klangprobe.identity import written_key
from klangprobe.passages import Work, all_products, beside
from klangprobe.report import report_of, write_report
from klangprobe.workbench import Workbench, cache, open_spec

if TYPE_CHECKING:
    from collections.abc import Sequence

    from klangprobe.page.model import PageInfo
    from klangprobe.product import Product
    from mapping.arrangement import Arrangement
    from render.settings import RenderSettings
    from soundfonts import Font

__all__ = ["LISTENING", "Wish", "hear", "run"]

_POLL_S = 0.3
LISTENING = (
    "Set a moderate level on the first clip and leave it: WHO and ITU-T H.870 take 80 dB(A) for 40 hours a week as "
    "the limit for adults. Local rules go first."
)


@dataclass(frozen=True)
class Wish:
    """What the user asked for; empty passages or variants mean all of them."""

    spec: Path
    passages: tuple[str, ...] = ()
    variants: tuple[str, ...] = ()
    out: Path | None = None
    soundfont: Path | None = None
    synth: str = "fluidsynth"
    balance: str = "sound power"
    stage: str = "violins together"
    room: bool = True
    spread: bool = True
    stems: bool = False
    pack: bool = False
    single_file: bool = False

    @property
    def folder(self) -> Path:
        """Where the result goes."""
        return self.out or Path(f"{self.spec.stem}-heard")

    def settings(self) -> RenderSettings:
        """Return the choices that shape the sound, checked."""
        from render import RenderSettings

        return RenderSettings(
            soundfont=self.soundfont,
            synth=self.synth,
            balance=self.balance,
            stage=self.stage,
            room=self.room,
            spread=self.spread,
        )


def run(wish: Wish, *, watch: bool, as_json: bool) -> None:
    """Hear once, or again whenever the spec is saved."""
    seen = _stamp(wish.spec)
    _once(wish, as_json=as_json)
    while watch:
        seen = _changed(wish.spec, seen)
        try:
            _once(wish, as_json=as_json)
        except KlangprobeError as error:
            warn(str(error))


def hear(wish: Wish) -> dict[str, Any]:
    """Render, compare and write what *wish* asks for; return the report.

    Raises
    ------
    SpecError, ScoreError, InputError
        Where the input is at fault; nothing is written then.
    MissingPart
        Without a soundfont or the synth's library.
    OutputError
        Where the folder cannot be written.
    """
    from render import prepare
    from render.lines import attribution_of

    settings = wish.settings()
    with ThreadPoolExecutor(1) as aside:
        aside.submit(prepare, settings)  # meanwhile spec and score are read and mapped
        bench = open_spec(wish.spec)
        passages, arrangements = bench.passages(wish.passages), tuple(bench.arrange(bench.names(wish.variants)))
    font = _font(settings)
    with replacing_folder(wish.folder) as folder:
        work = Work(bench, arrangements, settings, font, folder, wish.folder, wish.stems)
        progress = Progress("rendering")
        with beside(partial(_write_arrangements, arrangements, folder)):
            products = all_products(work, passages, progress)
        progress.close()
        report = report_of(
            bench,
            [product.trial for product in products],
            soundfont=_soundfont(font, attribution_of(settings)),
            settings=_settings(wish),
        )
        write_report(folder, report)
        _write_page(bench, wish, folder, products, font)
    cache().trim()
    return report


def _once(wish: Wish, *, as_json: bool) -> None:
    """Hear once and say where the page is."""
    begun_s = time.monotonic()
    report = hear(wish)
    if as_json:
        say_json(report)
        return
    spent_s = time.monotonic() - begun_s
    for text in dict.fromkeys(note for passage in report["passages"] for note in passage["warnings"]):
        warn(text)
    if report["soundfont"].get("advice"):
        warn(report["soundfont"]["advice"])
    count = len(report["passages"])
    heard = f"{count} passage{'s' if count != 1 else ''} in {spent_s:.1f} s."
    say(f"{heard} Open {wish.folder / 'index.html'} in a browser.")
    say(LISTENING)


def _font(settings: RenderSettings) -> Font | None:
    """Return the soundfont that will play; found before anything is rendered, so that a missing one costs no time."""
    import soundfonts

    if settings.soundfont:
        return soundfonts.open_font(settings.soundfont)
    return soundfonts.default() if settings.synth == "fluidsynth" else None


def _soundfont(font: Font | None, attribution: str) -> dict[str, Any]:
    """The soundfont as the report names it."""
    if font is None:
        return {}
    return {"name": font.name, "sha256": font.sha256, "attribution": attribution, "advice": font.advice}


def _settings(wish: Wish) -> dict[str, Any]:
    """The choices that shape the sound, as the report names them."""
    names = ("synth", "balance", "stage", "room", "spread")
    return {name: getattr(wish, name) for name in names}


def _write_arrangements(arrangements: Sequence[Arrangement], folder: Path) -> None:
    """Write every variant's full score and multitrack MIDI; what was written before comes from the cache."""
    import mapping
    from compare import file_names

    names, store = file_names(arrangement.variant for arrangement in arrangements), cache()
    for arrangement in arrangements:
        name, key = names[arrangement.variant], written_key(arrangement)
        files = {"midi": folder / "midi" / f"{name}.mid", "score": folder / "scores" / f"{name}.musicxml"}
        if found := store.get(key):
            for kind, path in files.items():
                write_bytes(path, found[0][kind].tobytes())
            continue
        mapping.write_midi(arrangement, files["midi"])
        mapping.write_score(arrangement, files["score"])
        store.put(key, {kind: np.fromfile(path, np.uint8) for kind, path in files.items()})


def _write_page(bench: Workbench, wish: Wish, folder: Path, products: Sequence[Product], font: Font | None) -> None:
    """Write the listening page, and the forms of it that were asked for."""
    from klangprobe import page
    from render.lines import attribution_of

    info = _info(bench, font, attribution_of(wish.settings()))
    pages = [product.page for product in products]
    page.write_page(folder, pages, info=info)
    if wish.single_file:
        page.write_single(folder / "one-file.html", pages, info=info, folder=folder)
    if wish.pack:
        page.write_pack(folder / "lesson.zip", folder, pages, info=info, spec=bench.path)


def _info(bench: Workbench, font: Font | None, attribution: str) -> PageInfo:
    """Head and foot of the page."""
    from klangprobe import __version__
    from klangprobe.page import PageInfo

    piece, score = bench.spec.piece, bench.score
    return PageInfo(
        title=piece.title or score.title or score.source,
        composer=piece.composer or score.composer,
        arranger=piece.arranger,
        soundfont=font.name if font else "plain partials",
        attribution=" ".join(
            text for text in (f"Piece: {piece.licence}." if piece.licence else "", attribution) if text
        ),
        made_with=f"Klangprobe {__version__}",
        notes=(font.advice,) if font and font.advice else (),
    )


def _changed(path: Path, seen: tuple[int, int] | None) -> tuple[int, int]:
    """Return the new stamp of *path* as soon as it has been saved since it was *seen*, even during the rendering."""
    while (now := _stamp(path)) in (seen, None):
        time.sleep(_POLL_S)
    return now or (0, 0)


def _stamp(path: Path) -> tuple[int, int] | None:
    """Time of change and size, or None while an editor is replacing the file."""
    try:
        stat = path.stat()
    except FileNotFoundError:
        return None
    return stat.st_mtime_ns, stat.st_size
