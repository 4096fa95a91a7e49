"""Notes a natural horn or trumpet does not have, where a step asked for its open notes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from mapping.checks.report import Check, Fault, gathered
from mapping.open_notes import KIND

if TYPE_CHECKING:
    from collections.abc import Iterator

    from mapping.checks.lines import Hearing

__all__ = ["checks"]


def checks(hearing: Hearing) -> Iterator[Check]:
    """Yield the remarks about notes that are not open, by player."""
    asked = {part.player.name: [mark for mark in part.marks if mark.kind == KIND] for part in hearing.arrangement.parts}
    for line in hearing.lines:
        name, faults = line.player.name, []
        for mark in asked.get(name, []):
            item = line.player.instrument
            here = (line.onset >= mark.onset) & (line.onset < mark.end)
            for row in np.flatnonzero(here & ~np.isin(line.pitch, item.natural_pitches(mark.value))).tolist():
                said = f"{line.name(row)} is not an open note of the {item.name} in {mark.value}"
                message = f"{said}: it must be stopped by hand"
                faults.append(Fault(int(line.onset[row]), message, row))
        unique = list({fault.row: fault for fault in faults}.values())
        yield from gathered(hearing.score, unique, name, "advice", "open notes", "give it to another player")
