"""Everything one passage contributes to the folder: figures, page, files. Kept in the cache by what made it.

An edit elsewhere costs a passage next to nothing: its files are taken over from the folder of the last run.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from base.identity import digest
from base.writing import write_text
from klangprobe.page.model import PassagePage

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pydantic import TypeAdapter

    from base.store import Store

__all__ = ["Made", "Product", "kept", "note", "place", "recall"]

_MADE = ".made.json"


@dataclass(frozen=True, eq=False)
class Product:
    """One passage, its files written.

    Attributes
    ----------
    trial : dict
        The passage's entry in ``report.json``.
    page : PassagePage
        What the listening page shows, without sound and pictures.
    files : tuple of str
        Clips and plots by path inside the folder.
    """

    trial: dict[str, Any]
    page: PassagePage
    files: tuple[str, ...]


@dataclass(frozen=True)
class Made:
    """What a finished folder holds by what made it, so that the next one may take over what has not changed.

    Attributes
    ----------
    folder : Path
    stamps : dict
        Key of a product → path of each of its files → size and time of change in ns.
    """

    folder: Path
    stamps: dict[str, dict[str, list[int]]]

    @classmethod
    def of(cls, folder: Path) -> Made:
        """Read what *folder* says of itself; nothing where it says nothing readable."""
        try:
            stamps = json.loads((folder / _MADE).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            stamps = {}
        return cls(folder, stamps if isinstance(stamps, dict) else {})

    def give(self, key: str, files: Sequence[str], folder: Path) -> bool:
        """Link the *files* of a product into *folder*; False where one is missing or was changed since."""
        known = self.stamps.get(key, {})
        try:
            if any(_stamp(self.folder / name) != known.get(name) for name in files):
                return False
            for name in files:
                target = folder / name
                target.parent.mkdir(parents=True, exist_ok=True)
                target.hardlink_to(self.folder / name)
        except (OSError, AttributeError):  # another file system, or a damaged note
            return False
        return True


def note(folder: Path, products: Mapping[str, Product]) -> None:
    """Leave a note in *folder* of the files of *products*, by key."""
    stamps = {key: {name: _stamp(folder / name) for name in product.files} for key, product in products.items()}
    write_text(folder / _MADE, json.dumps(stamps))


def _stamp(path: Path) -> list[int]:
    """Size and time of change."""
    stat = path.stat()
    return [stat.st_size, stat.st_mtime_ns]


def kept(product: Product, key: str, folder: Path, store: Store) -> None:
    """Keep *product* in *store* under *key*; its files lie in *folder*."""
    blobs = {name: np.fromfile(folder / name, dtype=np.uint8) for name in product.files}
    store.put(_files_key(key), blobs)
    page = json.loads(json.dumps(asdict(product.page), default=bytes.decode))  # sound is left out: empty, as text too
    store.put(key, {}, {"trial": product.trial, "page": page, "files": product.files})


def recall(key: str, store: Store) -> Product | None:
    """Return the product kept under *key*, its files not yet placed, or None."""
    found = store.get(key)
    if found is None:
        return None
    meta = found[1]
    try:
        page = _adapter().validate_python(meta["page"])
    except ValueError:  # kept by another version of the page: made again
        return None
    return Product(meta["trial"], page, tuple(meta["files"]))


def place(product: Product, key: str, folder: Path, *, last: Made, store: Store) -> bool:
    """Put the files of *product* into *folder*, which nobody else sees yet; False where they are not to be had.

    Parameters
    ----------
    product : Product
    key : str
    folder : Path
    last : Made
        The folder of the last run, from which unchanged files are taken over.
    store : Store
    """
    if last.give(key, product.files, folder):
        return True
    found = store.get(_files_key(key))
    if found is None or not set(product.files) <= set(found[0]):
        return False
    for name in product.files:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.unlink(missing_ok=True)  # perhaps linked already: writing into it would write into the other folder
        path.write_bytes(found[0][name].tobytes())
    return True


def _files_key(key: str) -> str:
    """Name of a product's files."""
    return digest("files", 1, key)


@cache
def _adapter() -> TypeAdapter[PassagePage]:
    """Rebuilds the page's nested dataclasses from plain data."""
    from pydantic import TypeAdapter

    return TypeAdapter(PassagePage)
