"""What the user may choose about the sound."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from base.errors import InputError, nearest

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["BALANCES", "PEDALS", "STAGES", "RenderSettings"]

BALANCES = ("sound power", "orchestration rule", "font")
"""Levels from sound power; from the published rule of equivalences; or as the soundfont has them."""

STAGES = ("violins together", "violins divided", "centre")
"""Seat plans: both violins left; second violins right; everyone in the middle at one distance."""

PEDALS = ("marked", "implied", "none")
"""Where the piano's pedal is taken from: the marks, else what the figuration asks for, or nowhere."""


@dataclass(frozen=True)
class RenderSettings:
    """Choices that shape the sound; everything else follows from the arrangement.

    Attributes
    ----------
    soundfont : Path or None
        None takes the best one installed.
    synth : str
        Name of a synth plugin: ``fluidsynth`` or ``partials``.
    balance : str
        One of BALANCES.
    stage : str
        One of STAGES.
    room : bool
        Add the room; otherwise dry.
    spread : bool
        Small human deviations of time and level, the same in every run.
    seed : int
        Chooses another set of deviations.
    pedal : str
        One of PEDALS.
    """

    soundfont: Path | None = None
    synth: str = "fluidsynth"
    balance: str = "sound power"
    stage: str = "violins together"
    room: bool = True
    spread: bool = True
    seed: int = 0
    pedal: str = "marked"

    def __post_init__(self) -> None:
        for word, value, legal in (
            ("balance", self.balance, BALANCES),
            ("stage", self.stage, STAGES),
            ("pedal", self.pedal, PEDALS),
        ):
            if value not in legal:
                msg = f"unknown {word} '{value}'."
                raise InputError(msg, hint=nearest(value, legal))
