"""An orchestra of the user's own, as plain data between the file and the players."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from mapping.instrument_types import Instrument

__all__ = ["Band"]


@dataclass(frozen=True)
class Band:
    """What an orchestra file says.

    Attributes
    ----------
    players : tuple of str
    sections : dict of str to int
        Players in each string section, where said.
    order : str
        ``band`` puts trumpets above horns.
    instruments : dict of str to Instrument
        The file's own; they stand over built-in ones of the same name, in this orchestra only.
    """

    players: tuple[str, ...]
    sections: dict[str, int] = field(default_factory=dict)
    order: str = ""
    instruments: dict[str, Instrument] = field(default_factory=dict)
