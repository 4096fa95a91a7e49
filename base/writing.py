"""Write aside, then rename: a reader never sees half a file, an interrupted run leaves nothing behind."""

from __future__ import annotations

import os
import tempfile
from contextlib import contextmanager
from glob import escape
from pathlib import Path
from typing import TYPE_CHECKING

from base.errors import OutputError
from base.leftovers import PART_SUFFIX, abandoned, aside_prefix

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["replacing", "write_bytes", "write_text"]


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Yield a path aside to write to; on success it takes the place of *path*, on failure it is removed.

    The name aside keeps the suffix of *path*, because encoders choose the format by it.

    Raises
    ------
    OutputError
        Where the folder cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _clear(path)
        handle, name = tempfile.mkstemp(
            prefix=f"{aside_prefix(path.stem)}-", suffix=PART_SUFFIX + path.suffix, dir=path.parent
        )
    except OSError as error:
        msg = f"cannot write here ({error.strerror or error})"
        raise OutputError(msg, path=path.parent, hint="Choose another folder with --out.") from error
    os.close(handle)
    aside = Path(name)
    try:
        yield aside
        aside.chmod(0o644)
        aside.replace(path)
    except OSError as error:
        msg = f"could not be written ({error.strerror or error})"
        raise OutputError(msg, path=path, hint="Choose another folder with --out.") from error
    finally:
        aside.unlink(missing_ok=True)


def _clear(path: Path) -> None:
    """Remove what killed runs left of this very file."""
    for rest in path.parent.glob(f".{escape(path.stem)}-*{PART_SUFFIX}*"):
        if abandoned(rest, or_own=False):
            rest.unlink(missing_ok=True)


def write_bytes(path: Path, data: bytes) -> None:
    """Write *data* to *path* in one step."""
    with replacing(path) as aside:
        aside.write_bytes(data)


def write_text(path: Path, text: str) -> None:
    """Write *text* (UTF-8) to *path* in one step."""
    write_bytes(path, text.encode("utf-8"))
