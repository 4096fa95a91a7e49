"""Read notation truthfully and say what must be rethought for orchestra.

In: a score file. Out: a :class:`~reading.score.Score` (times in ticks, 10 080 to the quarter; sounding MIDI pitch),
its layers and findings. Start with :func:`reading.read`.

Names are imported when first used, so that ``import reading`` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reading.accounting import account, tables
    from reading.barwords import bars_named, bars_said
    from reading.layers import Layers, Role, find_layers, overruled
    from reading.palette import Palette
    from reading.playing import performed_notes, unfolded
    from reading.reader import SUFFIXES, read
    from reading.score import BAR_DTYPE, DYNAMICS, NOTE_DTYPE, TICKS_PER_QUARTER, Flag, Mark, PartInfo, Remark, Score
    from reading.survey import Survey, survey
    from reading.timeline import Timeline

__all__ = [
    "BAR_DTYPE",
    "DYNAMICS",
    "NOTE_DTYPE",
    "SUFFIXES",
    "TICKS_PER_QUARTER",
    "Flag",
    "Layers",
    "Mark",
    "Palette",
    "PartInfo",
    "Remark",
    "Role",
    "Score",
    "Survey",
    "Timeline",
    "account",
    "bars_named",
    "bars_said",
    "find_layers",
    "overruled",
    "performed_notes",
    "read",
    "survey",
    "tables",
    "unfolded",
]

_HOMES = {
    "account": "accounting",
    "bars_named": "barwords",
    "bars_said": "barwords",
    "find_layers": "layers",
    "Layers": "layers",
    "overruled": "layers",
    "Palette": "palette",
    "performed_notes": "playing",
    "read": "reader",
    "Role": "layers",
    "SUFFIXES": "reader",
    "Survey": "survey",
    "survey": "survey",
    "tables": "accounting",
    "Timeline": "timeline",
    "unfolded": "playing",
}


def __getattr__(name: str) -> Any:
    """Import a public name from the module that holds it."""
    if name not in __all__:
        msg = f"module {__name__!r} has no attribute {name!r}"
        raise AttributeError(msg)
    found = getattr(import_module(f"reading.{_HOMES.get(name, 'score')}"), name)
    globals()[name] = found  # where a module and its function share a name, the function is what the package gives
    return found
