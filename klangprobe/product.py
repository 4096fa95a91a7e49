"""Everything one passage contributes to the folder: figures, page, files. Kept in the cache by what made it.

An edit that does not touch a passage costs that passage only the writing of its files.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from klangprobe.page.model import PassagePage

if TYPE_CHECKING:
    from pathlib import Path

    from pydantic import TypeAdapter

    from base.store import Store

__all__ = ["Product", "kept", "recall", "write_files"]

_BLOB = "\x00blob:"


@dataclass(frozen=True, eq=False)
class Product:
    """One passage, ready to be written.

    Attributes
    ----------
    trial : dict
        The passage's entry in ``report.json``.
    page : PassagePage
        What the listening page shows.
    files : dict of str to bytes
        Clips and plots by path inside the folder.
    """

    trial: dict[str, Any]
    page: PassagePage
    files: dict[str, bytes]


def write_files(product: Product, folder: Path) -> None:
    """Write the clips and plots of *product* into *folder*, which nobody else sees yet."""
    for name, data in product.files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)


def kept(product: Product, key: str, store: Store) -> None:
    """Keep *product* in *store* under *key*."""
    blobs: dict[str, np.ndarray[Any, Any]] = {}
    meta = {
        "trial": product.trial,
        "page": _without_blobs(asdict(product.page), blobs),
        "files": _without_blobs(product.files, blobs),
    }
    store.put(key, blobs, meta)


def recall(key: str, store: Store) -> Product | None:
    """Return the product kept under *key*, or None."""
    found = store.get(key)
    if found is None:
        return None
    blobs, meta = found
    try:
        page = _adapter().validate_python(_with_blobs(meta["page"], blobs))
    except ValueError:  # kept by another version of the page: made again
        return None
    return Product(meta["trial"], page, _with_blobs(meta["files"], blobs))


@cache
def _adapter() -> TypeAdapter[PassagePage]:
    """Rebuilds the page's nested dataclasses from plain data."""
    from pydantic import TypeAdapter

    return TypeAdapter(PassagePage)


def _without_blobs(value: Any, blobs: dict[str, np.ndarray[Any, Any]]) -> Any:
    """Return *value* with bytes moved to *blobs* and their names in their place."""
    if isinstance(value, bytes):
        name = f"b{len(blobs)}"
        blobs[name] = np.frombuffer(value, dtype=np.uint8)
        return _BLOB + name
    if isinstance(value, dict):
        return {key: _without_blobs(item, blobs) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_without_blobs(item, blobs) for item in value]
    return value


def _with_blobs(value: Any, blobs: dict[str, np.ndarray[Any, Any]]) -> Any:
    """Return *value* with the bytes back in their places."""
    if isinstance(value, str) and value.startswith(_BLOB):
        return blobs[value.removeprefix(_BLOB)].tobytes()
    if isinstance(value, dict):
        return {key: _with_blobs(item, blobs) for key, item in value.items()}
    if isinstance(value, list):
        return [_with_blobs(item, blobs) for item in value]
    return value
