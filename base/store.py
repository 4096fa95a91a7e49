"""The cache: arrays and small facts by the hash of what made them, shared safely by several processes.

An entry is one ``.npz`` file (no pickles) named by its key. Writes are atomic; a corrupt entry is noticed, dropped and
made again; the oldest-used entries go when the folder grows past its limit.
"""

from __future__ import annotations

import json
import os
import warnings
import zipfile
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from base.errors import OutputError
from base.leftovers import PART_SUFFIX, abandoned
from base.writing import replacing

__all__ = ["Store", "StoreWarning", "default_folder"]

_META = "__meta__"


class StoreWarning(UserWarning):
    """A cache entry was unreadable and is made again, or the cache folder cannot be written."""


def default_folder() -> Path:
    """Return the user's cache folder: ``$KLANGPROBE_CACHE``, else ``$XDG_CACHE_HOME/klangprobe``, else ``~/.cache``."""
    if chosen := os.environ.get("KLANGPROBE_CACHE"):
        return Path(chosen)
    root = os.environ.get("XDG_CACHE_HOME")
    return (Path(root) if root else Path.home() / ".cache") / "klangprobe"


@dataclass(frozen=True)
class Store:
    """A folder of products.

    Attributes
    ----------
    folder : Path
        Where entries lie; made when first written.
    limit_bytes : int
        Above this the least recently used entries are deleted by :meth:`trim`.
    """

    folder: Path
    limit_bytes: int = 2_000_000_000

    def path(self, key: str) -> Path:
        """Return the file of *key* (which need not exist)."""
        return self.folder / key[:2] / f"{key}.npz"

    def get(self, key: str) -> tuple[dict[str, np.ndarray], Any] | None:
        """Return ``(arrays, meta)`` of *key*, or None where it is absent or was corrupt."""
        path = self.path(key)
        try:
            with path.open("rb") as stream, np.load(stream, allow_pickle=False) as entry:
                arrays = {name: entry[name] for name in entry.files if name != _META}
                meta = json.loads(entry[_META].tobytes().decode())
        except (FileNotFoundError, NotADirectoryError):
            return None
        except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile) as error:
            message = f"cache entry {path.name} is unreadable ({error}); making it again"
            warnings.warn(message, StoreWarning, stacklevel=2)
            with suppress(OSError):  # a cache one may only read
                path.unlink(missing_ok=True)
            return None
        with suppress(OSError):
            os.utime(path)
        return arrays, meta

    def put(self, key: str, arrays: dict[str, np.ndarray], meta: Any = None) -> None:
        """Keep *arrays* and JSON-ready *meta* under *key*; a folder that cannot be written is a warning, not an end."""
        data = {**arrays, _META: np.frombuffer(json.dumps(meta).encode(), dtype=np.uint8)}
        try:
            with replacing(self.path(key)) as aside, aside.open("wb") as stream:
                np.savez(stream, **data)  # type: ignore[arg-type]
        except OutputError as error:
            message = f"the cache cannot be written ({error.path}: {error.message}); nothing is kept for the next run"
            warnings.warn(message, StoreWarning, stacklevel=2)

    def entries(self) -> list[tuple[float, int, Path]]:
        """Return ``(last use in s, bytes, path)`` of every entry, oldest first."""
        found = []
        for path in self.folder.glob("*/*.npz"):
            try:
                stat = path.stat()
            except FileNotFoundError:
                continue
            if PART_SUFFIX not in path.name:
                found.append((stat.st_mtime, stat.st_size, path))
        return sorted(found)

    def trim(self) -> int:
        """Delete what dead runs left, then the oldest entries until the folder fits; return the bytes freed."""
        freed = 0
        for part in self.folder.glob(f"*/.*{PART_SUFFIX}*"):
            if abandoned(part, or_own=False):
                freed += _unlinked(part)
        entries = self.entries()
        total = sum(size for _, size, _ in entries)
        for _, size, path in entries:
            if total <= self.limit_bytes:
                break
            freed += _unlinked(path)
            total -= size
        return freed


def _unlinked(path: Path) -> int:
    """Delete a file; return its size, 0 where another process was faster."""
    try:
        size = path.stat().st_size
    except FileNotFoundError:
        return 0
    path.unlink(missing_ok=True)
    return size
