"""Player checks: can this be played, will it be heard, will it sound well.

In: an arrangement. Out: a list of :class:`Check`, by bar. ``error`` means nobody can play it as written; ``advice``
is what a good player or conductor would say at the first rehearsal. ``docs/checks.md`` lists every check with its
limits and their sources.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from mapping.checks.report import Check

if TYPE_CHECKING:
    from mapping.arrangement import Arrangement
    from reading.layers import Layers

__all__ = ["Check", "check"]

_GROUPS = ("compass", "natural", "breath", "speed", "strings", "tuning", "percussion", "texture", "balance", "singing")


def check(arrangement: Arrangement, layers: Layers | None = None) -> list[Check]:
    """Return what a player, a conductor or a listener would object to, in order of bar, beat and player.

    Parameters
    ----------
    arrangement : Arrangement
    layers : Layers, optional
        Roles of the piano's notes; balance needs them to know the tune.

    Returns
    -------
    list of Check
        At most one per player, kind and stretch of neighbouring bars.
    """
    from mapping.checks.lines import hearing_of

    hearing = hearing_of(arrangement, layers)
    found = [one for group in _GROUPS for one in import_module(f"mapping.checks.{group}").checks(hearing)]
    order = {part.player.name: row for row, part in enumerate(arrangement.parts)}
    return sorted(found, key=lambda one: (one.bar_index, one.beat, order.get(one.player, len(order)), one.kind))
