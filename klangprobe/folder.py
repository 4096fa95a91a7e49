"""A folder that appears whole or not at all: written beside its place, then swapped in.

What a killed run left behind is cleared by the next one; a folder that is not ours is never replaced.
"""

from __future__ import annotations

import json
import shutil
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from base.errors import OutputError
from base.leftovers import PART_SUFFIX, abandoned, aside_prefix

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["PROGRAM", "REPORT", "is_ours", "replacing_folder"]

REPORT = "report.json"
PROGRAM = "klangprobe"
_OLD = ".old"


@contextmanager
def replacing_folder(out: Path) -> Iterator[Path]:
    """Yield an empty folder beside *out*; on success it takes the place of *out*, on failure it is removed.

    Raises
    ------
    OutputError
        Where *out* is a file, holds something that this program did not write, or cannot be written.
    """
    _refuse_what_is_not_ours(out)
    _clear_leftovers(out)
    staging = out.parent / f"{aside_prefix(out.name)}{PART_SUFFIX}"
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        staging.mkdir()
    except OSError as error:
        msg = f"cannot write here ({error.strerror or error})"
        raise OutputError(msg, path=out.parent, hint="Choose another folder with --out.") from error
    try:
        yield staging
        _swap(staging, out)
    except OSError as error:
        if not str(error.filename or "").startswith(str(staging)):
            raise  # not about the folder: another file's trouble must not be told as the folder's
        msg = f"could not be written ({error.strerror or error})"
        raise OutputError(msg, path=out, hint="Choose another folder with --out.") from error
    finally:
        shutil.rmtree(staging, ignore_errors=True)


def is_ours(folder: Path) -> bool:
    """Tell whether *folder* was written by this program (its report says so)."""
    try:
        return bool(json.loads((folder / REPORT).read_text(encoding="utf-8")).get("program") == PROGRAM)
    except (OSError, ValueError, AttributeError):
        return False


def _refuse_what_is_not_ours(out: Path) -> None:
    """Nothing of the user's is ever overwritten."""
    if not out.exists():
        return
    if not out.is_dir():
        msg = "is a file, not a folder"
        raise OutputError(msg, path=out, hint="Choose another folder with --out.")
    if any(out.iterdir()) and not is_ours(out):
        msg = f"holds something that klangprobe did not write (no {REPORT} of ours in it)"
        raise OutputError(msg, path=out, hint="Choose an empty or a new folder with --out.")


def _clear_leftovers(out: Path) -> None:
    """Remove what runs that no longer live left beside *out*; bring back a folder caught mid-swap."""
    for rest in out.parent.glob(f".{out.name}-*"):
        if rest.name.endswith(_OLD) and not out.exists():
            rest.rename(out)
        elif rest.name.endswith((PART_SUFFIX, _OLD)) and abandoned(rest):
            shutil.rmtree(rest, ignore_errors=True)


def _swap(staging: Path, out: Path) -> None:
    """Put *staging* in the place of *out*."""
    if not out.exists():
        staging.rename(out)
        return
    old = out.parent / f"{aside_prefix(out.name)}{_OLD}"
    out.rename(old)
    staging.rename(out)
    shutil.rmtree(old, ignore_errors=True)
