"""ABC, by way of verovio's MEI.

References
----------
The ABC music standard 2.1, December 2011.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from reading.converting import through_verovio
from reading.kern import decoded
from reading.mei import read_mei

if TYPE_CHECKING:
    from pathlib import Path

    from reading.draft import Draft

__all__ = ["read_abc"]


def read_abc(data: bytes, path: Path) -> Draft:
    """Return what an ABC file holds: its first tune.

    Raises
    ------
    ScoreError
        Where verovio cannot read it.
    """
    text = decoded(data, path)
    tunes = re.split(r"(?m)^(?=X:)", text)
    heads = [tune for tune in tunes if tune.startswith("X:")]
    draft = read_mei(through_verovio(heads[0] if heads else text, "abc", path), path)
    if len(heads) > 1:
        draft.lose("tunes", f"the file holds {len(heads)} tunes; only the first is read")
    return draft
