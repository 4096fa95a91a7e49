"""How the program speaks: words and tables to standard output, progress and warnings to standard error."""

from __future__ import annotations

import json
import sys
import time
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

__all__ = ["Progress", "one_line", "say", "say_json", "table", "warn"]


def say(text: str = "") -> None:
    """Print a line to standard output."""
    sys.stdout.write(text + "\n")


def warn(text: str) -> None:
    """Print a line to standard error."""
    sys.stderr.write(f"klangprobe: {text}\n")


def one_line(text: str) -> str:
    """Return *text* from a score on one line, without control signs that a terminal would obey."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())


def say_json(value: Any) -> None:
    """Print *value* as JSON, readable and stable."""
    json.dump(value, sys.stdout, indent=1, ensure_ascii=False, allow_nan=False)
    sys.stdout.write("\n")


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Print a table that fits the terminal; cells are plain text, never markup."""
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    grid = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for name in head:
        grid.add_column(name, overflow="fold")
    for row in rows:
        grid.add_row(*(Text(cell) for cell in row))
    width = None if sys.stdout.isatty() else 120
    Console(width=width, highlight=False).print(grid)


class Progress:
    """One line that tells how far the work is and how long it will take, from the work done so far.

    Silent where standard error is not a terminal.
    """

    def __init__(self, what: str) -> None:
        self._what = what
        self._begun_s = time.monotonic()
        self._shown = sys.stderr.isatty()

    def __call__(self, done: float, total: float) -> None:
        """Show that *done* of *total* units are done."""
        if not self._shown or not total:
            return
        share = min(1.0, done / total)
        spent_s = time.monotonic() - self._begun_s
        left = f", about {spent_s * (1 - share) / share:.0f} s left" if 0.02 < share < 1 else ""
        sys.stderr.write(f"\r\x1b[K{self._what}: {share:4.0%}{left}")
        sys.stderr.flush()

    def close(self) -> None:
        """Clear the line."""
        if self._shown:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()
