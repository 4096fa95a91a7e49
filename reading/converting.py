"""Verovio behind a wall: kern and ABC become MEI in a process of their own, with limits on time and memory.

Measured: on damaged kern files verovio 6.4 can end the whole process (an uncaught C++ exception). A child that dies is
only a refused file.
"""

from __future__ import annotations

import subprocess
import sys
from importlib.util import find_spec
from typing import TYPE_CHECKING

from base.errors import MissingPart, ScoreError

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["through_verovio"]

_CHILD = """
import sys
try:
    import resource
    resource.setrlimit(resource.RLIMIT_CPU, (int(sys.argv[2]),) * 2)
    resource.setrlimit(resource.RLIMIT_AS, (int(sys.argv[3]),) * 2)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
except (ImportError, ValueError, OSError):
    pass
import verovio
verovio.enableLog(verovio.LOG_OFF)
toolkit = verovio.toolkit()
toolkit.setOptions({"inputFrom": sys.argv[1], "xmlIdChecksum": True, "breaks": "none"})
if not toolkit.loadData(sys.stdin.buffer.read().decode()):
    sys.exit(9)
sys.stdout.buffer.write(toolkit.getMEI({"removeIds": False}).encode())
"""
_MEMORY_BYTES = 600_000_000
_LEAST_S = 10


def through_verovio(text: str, kind: str, path: Path) -> bytes:
    """Return the MEI that verovio makes of *text*.

    Parameters
    ----------
    text : str
        The score.
    kind : str
        ``humdrum`` or ``abc``.
    path : Path
        For messages.

    Raises
    ------
    MissingPart
        Where verovio is not installed.
    ScoreError
        Where verovio cannot read the text, crashes on it, or takes too long.
    """
    if find_spec("verovio") is None:
        raise MissingPart("verovio is needed to read kern and ABC", hint="pip install verovio")
    limit_s = _LEAST_S + len(text) // 5000
    command = [sys.executable, "-I", "-c", _CHILD, kind, str(limit_s), str(_MEMORY_BYTES)]
    try:
        done = subprocess.run(command, input=text.encode(), capture_output=True, timeout=3 * limit_s, check=False)
    except subprocess.TimeoutExpired as error:
        raise ScoreError(f"not readable as {kind}: the converter took too long", path=path) from error
    if done.returncode or not done.stdout:
        how = "cannot read it" if done.returncode == 9 else "broke down on it"
        raise ScoreError(
            f"not readable as {kind}: the converter {how}", path=path, hint="Check the file with a validator."
        )
    return done.stdout
