"""The soundfonts on this machine.

A font is recognised by its checksum, not by its name. Checksums of large files are remembered beside the cache by
path, size and time of change, because hashing 150 MB takes longer than loading it.
"""

from __future__ import annotations

import json
import os
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from base.errors import InputError, MissingPart, OutputError
from base.identity import file_digest
from base.store import default_folder
from base.writing import write_text
from soundfonts.catalogue import BETTER_FONT_HINT, KNOWN, KnownFont, known

__all__ = ["Font", "data_folder", "default", "find", "open_font", "search_folders"]

_SUFFIXES = (".sf2", ".sf3")


@dataclass(frozen=True)
class Font:
    """A soundfont file.

    Attributes
    ----------
    path : Path
    sha256 : str
        Of its bytes.
    about : KnownFont or None
        None for a font the catalogue does not hold.
    """

    path: Path
    sha256: str
    about: KnownFont | None

    @property
    def name(self) -> str:
        """Its catalogue name, else its file name without suffix."""
        return self.about.name if self.about else self.path.stem

    @property
    def attribution(self) -> str:
        """The line for a page or pack; for an unknown font a reminder to look up its licence."""
        if self.about:
            return self.about.attribution
        return f"Sound: soundfont '{self.path.name}' (licence not known to this program: see its own documentation)."

    @property
    def advice(self) -> str:
        """What to tell the user about this choice; empty where nothing better is known."""
        if self.about and not self.about.full:
            return f"Only the small soundfont {self.name} serves. {BETTER_FONT_HINT}"
        return ""


def data_folder() -> Path:
    """Return the user's data folder: ``$XDG_DATA_HOME`` or ``~/.local/share``."""
    root = os.environ.get("XDG_DATA_HOME")
    return Path(root) if root else Path.home() / ".local" / "share"


def search_folders() -> tuple[Path, ...]:
    """Return the folders looked through, the user's own first."""
    user = data_folder()
    mine = (user / "klangprobe" / "soundfonts", user / "soundfonts", user / "sounds" / "sf2")
    system = tuple(
        Path(root) / tail for root in ("/usr/local/share", "/usr/share") for tail in ("sounds/sf2", "soundfonts")
    )
    return mine + system


def find() -> list[Font]:
    """Return the installed soundfonts, best first; the small one inside pretty_midi comes last.

    Order: known full fonts, then fonts the catalogue does not hold, then known small ones. Each file once, whatever
    links point to it.
    """
    paths: dict[Path, None] = {}
    for folder in search_folders():
        if folder.is_dir():
            found = sorted(path for path in folder.iterdir() if path.suffix.lower() in _SUFFIXES)
            paths.update(dict.fromkeys(path.resolve() for path in found if path.is_file()))
    if bundled := _bundled():
        paths.setdefault(bundled)
    fonts: dict[str, Font] = {}
    for path in paths:
        font = _identified(path)
        fonts.setdefault(font.sha256, font)
    return sorted(fonts.values(), key=_rank)


def default() -> Font:
    """Return the best installed soundfont.

    Raises
    ------
    MissingPart
        Where there is none.
    """
    fonts = find()
    if not fonts:
        msg = "no soundfont is installed, so nothing can sound."
        raise MissingPart(msg, hint=BETTER_FONT_HINT.replace("sounds better", "serves well"))
    return fonts[0]


def open_font(path: Path | str) -> Font:
    """Return the soundfont at *path*.

    Raises
    ------
    InputError
        Where it is not there, or not a soundfont (the first bytes say so).
    """
    path = Path(path).expanduser()
    try:
        with path.open("rb") as stream:
            head = stream.read(12)
    except OSError as error:
        msg = f"the soundfont cannot be read ({error.strerror or error})."
        raise InputError(msg, path=path, hint="Give the path of an SF2 or SF3 file.") from error
    if head[:4] != b"RIFF" or head[8:12] != b"sfbk":
        msg = "this is not a soundfont (no RIFF sfbk header)."
        raise InputError(msg, path=path, hint="Give the path of an SF2 or SF3 file.")
    return _identified(path.resolve())


def _bundled() -> Path | None:
    """Path of the small font inside pretty_midi, found without importing it."""
    spec = find_spec("pretty_midi")
    for folder in (spec.submodule_search_locations or []) if spec else []:
        path = Path(folder) / "TimGM6mb.sf2"
        if path.is_file():
            return path.resolve()
    return None


def _rank(font: Font) -> tuple[int, str]:
    """Sort key of :func:`find`."""
    if font.about is None:
        return 1000, str(font.path)
    row = KNOWN.index(font.about)
    return row + (0 if font.about.full else 2000), str(font.path)


def _identified(path: Path) -> Font:
    """Return the font at *path* with its checksum."""
    stat = path.stat()
    sha256 = _checksum(path, f"{path}|{stat.st_size}|{stat.st_mtime_ns}", default_folder() / "soundfonts.json")
    return Font(path, sha256, known(sha256))


@cache
def _checksum(path: Path, stamp: str, memory_path: Path) -> str:
    """Return the checksum of a file, from the memory of checksums where nothing changed."""
    memory = _remembered(memory_path)
    sha256 = memory.get(stamp)
    if sha256 is None:
        sha256 = file_digest(path)
        memory = _remembered(memory_path) | {stamp: sha256}  # others may have been told of meanwhile
        with suppress(OutputError):  # a cache folder that cannot be written costs time, not correctness
            write_text(memory_path, json.dumps(memory, indent=1))
    return sha256


def _remembered(path: Path) -> dict[str, str]:
    """Checksums by stamp; an unreadable memory is an empty one."""
    try:
        memory = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return {str(stamp): str(sha) for stamp, sha in memory.items()} if isinstance(memory, dict) else {}
