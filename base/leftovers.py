"""What a killed run leaves behind: files and folders aside carry the number of the process that writes them.

When that process no longer lives, the next run may delete them. Processes on other machines that share the folder are
not seen: on a shared disk, give each machine a cache of its own.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

__all__ = ["PART_SUFFIX", "abandoned", "aside_prefix"]

PART_SUFFIX = ".part"
"""Ending, before any other suffix, of what is being written."""

_MAKER = re.compile(r"^\..*-(\d+)(?:-[^-]*)?\.(?:part|old)(?:\..*)?$")


def aside_prefix(name: str) -> str:
    """Return the beginning of a name aside for *name*: hidden, with this process's number."""
    return f".{name}-{os.getpid()}"


def abandoned(path: Path, *, or_own: bool = True) -> bool:
    """Tell whether *path* is named as something aside whose process no longer lives.

    Parameters
    ----------
    path : Path
    or_own : bool
        What this process is to be taken for: True where it writes nothing aside at the moment, so that whatever
        carries its number is left by an earlier process of that number.
    """
    maker = _MAKER.match(path.name)
    if maker is None:
        return False
    number = int(maker.group(1))
    if number == os.getpid():
        return or_own
    return not _lives(number)


def _lives(number: int) -> bool:
    """Tell whether a process of this number is at work; one that ended but was not yet waited for is not."""
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    except (PermissionError, OverflowError):
        return True
    try:
        state = Path(f"/proc/{number}/stat").read_text(encoding="ascii", errors="replace").rpartition(")")[2].split()[0]
    except (OSError, IndexError):
        return True
    return state not in ("Z", "X")
