"""Bars by the words people use for them: printed numbers and ranges, or ``#14`` for the fourteenth bar."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from base.errors import InputError

if TYPE_CHECKING:
    from reading.score import Score

__all__ = ["COUNTED", "bars_named", "bars_said", "counts_bars"]

COUNTED = (
    "#14 is the fourteenth bar counted from the start, each part of a bar and each ending by itself; bars are named so"
    " where their printed number stands at another bar too."
)
"""What the sign means, for whoever reads it."""

_SIGN = re.compile(r"(?<![\w&])#[1-9][0-9]*")
_ITEM = re.compile(r"(#?\s*[^\s,–-]+(?:\s*\([^)]*\))?)(?:\s*[-–]\s*(#?\s*[^\s,–-]+(?:\s*\([^)]*\))?))?")


def bars_named(score: Score, words: str | int) -> tuple[tuple[int, int], ...]:
    """Return the bars that *words* name, as ranges of bar indices.

    Parameters
    ----------
    score : Score
    words : str or int
        Printed numbers (``3``, ``3-5``, ``3, 7-9``); ``#14`` is the fourteenth bar counted from the start. Where a
        number is printed more than once (first and second ending), its first bar begins a range and its last bar
        ends it.

    Returns
    -------
    tuple of (int, int)
        ``(first, last)`` indices from 1, both included, in the order written.

    Raises
    ------
    InputError
        For a bar that is not there (with the legal range), a range that runs backwards, or words that name no bar.
    """
    found = []
    items = [item.strip() for item in str(words).split(",")]
    for item in items:
        match = _ITEM.fullmatch(item)
        if match is None:
            raise InputError(f"'{item}' names no bars", hint="Write bars as 3, 3-5, '3, 7-9' or '#14'.")
        first, low = _bar(score, match[1])
        last = _bar(score, match[2])[1] if match[2] else low
        if last < first:
            raise InputError(f"'{item}' runs backwards", hint="Write the earlier bar first.")
        found.append((first, last))
    return tuple(found)


def bars_said(score: Score, first: int, last: int) -> str:
    """Return bars as a spec says them: printed numbers where they name these bars and no others, else counted ones.

    Parameters
    ----------
    score : Score
    first, last : int
        Bar indices from 1, both included.
    """
    printed = dict.fromkeys(score.bar_numbers[bar - 1] for bar in (first, last))  # two parts of one bar: its number
    text = "-".join(printed)
    try:
        if bars_named(score, text) == ((first, last),):
            return text
    except InputError:
        pass  # a printed number that cannot be said: count instead
    return f"#{first}" if first == last else f"#{first}-#{last}"


def counts_bars(text: str) -> bool:
    """Say whether a text names a bar by counting, so that :data:`COUNTED` should be said with it.

    Parameters
    ----------
    text : str
    """
    return bool(_SIGN.search(text))


def _bar(score: Score, word: str) -> tuple[int, int]:
    """First and last index of the bars with that number."""
    word = " ".join(word.split())
    count = len(score.bars)
    if word.startswith("#"):
        digits = word[1:].strip()
        index = int(digits) if digits.isdecimal() and len(digits) < 7 else 0
        if not 1 <= index <= count:
            raise InputError(f"there is no bar '{word}'", hint=f"This score has bars #1 to #{count}.")
        return index, index
    rows = [row for row, number in enumerate(score.bar_numbers, start=1) if number == word]
    if not rows and word.isdecimal():
        rows = [row for row, number in enumerate(score.bar_numbers, start=1) if number.lstrip("0") == word.lstrip("0")]
    if not rows:
        first, last = (score.bar_numbers[0], score.bar_numbers[-1]) if count else ("-", "-")
        hint = f"This score has bars {first} to {last} (#1 to #{count})."
        raise InputError(f"there is no bar '{word}'", hint=hint)
    return rows[0], rows[-1]
