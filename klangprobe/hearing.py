"""``klangprobe hear``: render the passages in every variant, compare, write the folder one listens from."""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from base.errors import KlangprobeError
from klangprobe.console import say, say_json, warn

if TYPE_CHECKING:
    from compare.trial import Trial
    from render.sound import Rendering

__all__ = ["Heard", "Wish", "hear", "run"]

_POLL_S = 0.3
LISTENING = (
    "Set the level on the first clip and keep it moderate: long listening above about 80 dB(A) can harm hearing. "
    "Local rules go first."
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


@dataclass(frozen=True, eq=False)
class Heard:
    """One passage, ready to be written: its trial, the renderings behind it, and the piano with pedal beside them."""

    passage: str
    bars: tuple[tuple[int, int], ...]
    trial: Trial
    renderings: tuple[Rendering, ...]


def run(wish: Wish, *, watch: bool, as_json: bool) -> None:
    """Hear once, or again whenever the spec is saved."""
    _once(wish, as_json=as_json)
    while watch:
        _wait_for_change(wish.spec)
        try:
            _once(wish, as_json=as_json)
        except KlangprobeError as error:
            warn(str(error))


def _once(wish: Wish, *, as_json: bool) -> None:
    """Hear once and say where the page is."""
    begun_s = time.monotonic()
    report = hear(wish)
    if as_json:
        say_json(report)
        return
    spent_s = time.monotonic() - begun_s
    say(f"Heard {len(report['passages'])} passages in {spent_s:.1f} s. Open {wish.folder / 'index.html'} in a browser.")
    say(LISTENING)


def _wait_for_change(path: Path) -> None:
    """Return when *path* has been saved again."""
    before = _stamp(path)
    while _stamp(path) in (before, None):
        time.sleep(_POLL_S)


def _stamp(path: Path) -> tuple[int, int] | None:
    """Time of change and size, or None while an editor is replacing the file."""
    try:
        stat = path.stat()
    except FileNotFoundError:
        return None
    return stat.st_mtime_ns, stat.st_size
