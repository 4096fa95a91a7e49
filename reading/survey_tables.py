"""What a survey holds: the findings and the plain tables behind them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from reading.accents import Accent
    from reading.figuration import Figuration
    from reading.findings import Finding
    from reading.form import Sections
    from reading.gaps import Gaps
    from reading.layers import Layers
    from reading.pedal import Pedal
    from reading.register import Compass
    from reading.repeats import Repeat
    from reading.score import Score
    from reading.survey_dynamics import DynamicMark

__all__ = ["Survey"]


@dataclass(frozen=True, eq=False)
class Survey:
    """What was found in a piece.

    Attributes
    ----------
    score : Score
    layers : Layers
    findings : tuple of Finding
        By rank, then in the order of the piece.
    gaps : Gaps
    dynamics : tuple of DynamicMark
    accents : tuple of Accent
    pedal : Pedal
    sections : Sections
    repeats : tuple of Repeat
    figuration : Figuration
    register : tuple of Compass
    """

    score: Score
    layers: Layers
    findings: tuple[Finding, ...]
    gaps: Gaps
    dynamics: tuple[DynamicMark, ...]
    accents: tuple[Accent, ...]
    pedal: Pedal
    sections: Sections
    repeats: tuple[Repeat, ...]
    figuration: Figuration
    register: tuple[Compass, ...]
