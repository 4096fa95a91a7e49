"""File names for passages and variants that people named freely."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["file_names", "slug"]

_LONGEST = 60
_RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{number}" for port in ("com", "lpt") for number in range(1, 10))}
_SPELLED = str.maketrans(
    {"♯": "-sharp", "♭": "-flat", "ß": "ss", "ø": "o", "Ø": "O", "æ": "ae", "Æ": "Ae", "ł": "l", "Ł": "L"}
)


def slug(name: str) -> str:
    """Return a file name (without ending) for *name*: ASCII letters, figures, ``-`` and ``_``, never empty or reserved.

    Accents are dropped. A name that leaves nothing readable, or is cut, carries a short hash of the whole name.
    """
    plain = unicodedata.normalize("NFKD", name.translate(_SPELLED)).encode("ascii", "ignore").decode()
    plain = re.sub(r"[^A-Za-z0-9_]+", "-", plain).strip("-")
    lost = not plain or len(plain) > _LONGEST
    if lost or plain.lower() in _RESERVED:
        mark = hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:8]
        plain = f"{plain[:_LONGEST].strip('-')}-{mark}".lstrip("-")
    return plain


def file_names(names: Iterable[str]) -> dict[str, str]:
    """Return a file name for every name, no two alike even where capitals do not count.

    Parameters
    ----------
    names : iterable of str
        The order decides which of two colliding names gets the suffix ``-2``.
    """
    given: dict[str, str] = {}
    taken: set[str] = set()
    for name in names:
        if name in given:
            continue
        base = slug(name)
        candidate, number = base, 1
        while candidate.lower() in taken:
            number += 1
            candidate = f"{base}-{number}"
        taken.add(candidate.lower())
        given[name] = candidate
    return given
