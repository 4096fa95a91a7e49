"""Tremolo as a copyist writes it: one note with strokes through its stem for every run of repeated attacks."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from mapping.arrangement import TECHNIQUES

if TYPE_CHECKING:
    from mapping.arrangement import Part

__all__ = ["abbreviated"]

_BOWED = tuple(TECHNIQUES.index(name) for name in ("tremolo", "roll"))
_SAME = ("pitch", "bar", "cause", "technique", "dynamic")


def abbreviated(part: Part) -> Part:
    """Return a part in which each run of bowed (or rolled) attacks on one pitch within a bar is one note.

    A note played tremolo is repeated many times anyway: the attacks of the piano's figure inside it need no note heads
    of their own. A run ends at a bar line, at a gap, and before a note with a sign of its own (an accent).

    Parameters
    ----------
    part : Part
    """
    notes = part.notes
    bowed = np.flatnonzero(np.isin(notes["technique"], _BOWED) & (notes["duration"] > 0))
    if len(bowed) < 2 or part.player.instrument.unpitched is not None:
        return part  # a rhythm of rolls is no figure that a tremolo swallows
    order = bowed[np.lexsort((notes["onset"][bowed], notes["pitch"][bowed], notes["bar"][bowed]))]
    before, after = notes[order[:-1]], notes[order[1:]]
    joined = (before["onset"] + before["duration"] == after["onset"]) & (after["flags"] == 0)
    joined &= np.all([before[name] == after[name] for name in _SAME], axis=0)
    if not joined.any():
        return part
    found = notes.copy()
    heads = np.flatnonzero(np.append(True, ~joined))
    lasts = np.append(heads[1:], len(order)) - 1
    end = notes["onset"][order[lasts]] + notes["duration"][order[lasts]]
    found["duration"][order[heads]] = end - notes["onset"][order[heads]]
    kept = np.ones(len(found), dtype=bool)
    kept[order[1:][joined]] = False
    return replace(part, notes=found[kept])
