"""Turn a score and a spec into orchestral parts, and prove what was kept.

In: a :class:`reading.score.Score`, its layers, a checked spec. Out: one :class:`~mapping.arrangement.Arrangement` per
variant. Start with :func:`mapping.arrange`.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from mapping.arrangement import Arrangement
    from mapping.arranging import arrange, arrange_all
    from mapping.as_piano import piano
    from mapping.checks import check
    from mapping.fullscore import write_score
    from mapping.keeping import faithfulness
    from mapping.midi import write_midi
    from mapping.orchestra import palette_of, players_of
    from mapping.reducing import reduced
    from mapping.spec import Spec, load_spec
    from mapping.spec_check import check_against
    from mapping.starting import first_spec
    from mapping.translated_back import back_translation

__all__ = [
    "Arrangement",
    "Spec",
    "arrange",
    "arrange_all",
    "back_translation",
    "check",
    "check_against",
    "faithfulness",
    "first_spec",
    "load_spec",
    "palette_of",
    "piano",
    "players_of",
    "reduced",
    "write_midi",
    "write_score",
]

_HOMES = {
    "Arrangement": "mapping.arrangement",
    "Spec": "mapping.spec",
    "arrange": "mapping.arranging",
    "arrange_all": "mapping.arranging",
    "back_translation": "mapping.translated_back",
    "check": "mapping.checks",
    "check_against": "mapping.spec_check",
    "faithfulness": "mapping.keeping",
    "first_spec": "mapping.starting",
    "load_spec": "mapping.spec",
    "palette_of": "mapping.orchestra",
    "piano": "mapping.as_piano",
    "players_of": "mapping.orchestra",
    "reduced": "mapping.reducing",
    "write_midi": "mapping.midi",
    "write_score": "mapping.fullscore",
}


def __getattr__(name: str) -> Any:
    """Load a public name when it is first asked for, so that importing the package costs nothing."""
    if name not in _HOMES:
        msg = f"module 'mapping' has no attribute '{name}'"
        raise AttributeError(msg)
    value = getattr(import_module(_HOMES[name]), name)
    globals()[name] = value
    return value
