"""The figure of one hand in one bar."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Figure"]


@dataclass(frozen=True)
class Figure:
    """The figure of one hand in one bar.

    Attributes
    ----------
    bar_index : int
        From 1.
    staff : int
        1 for the upper hand, 2 for the lower.
    family : str
        ``block``, ``repeated``, ``broken``, ``oom-pah``, ``oscillation``, ``octaves``, ``scale``, ``held``, ``line``,
        ``rest`` or ``mixed``; settled by the neighbouring bars.
    figure : str
        Finer class as found in this bar (``Alberti``, ``wide arpeggio`` ...).
    rhythm : str
        Usual time between attacks as a note value (``8th``, ``half tied to 8th``); ``uneven`` where there is no usual
        one, empty without attacks.
    low, high : int
        MIDI pitches; -1 without notes.
    per_beat : float
        Attacks per beat.
    held : str
        ``bass``, ``middle`` or ``top`` where a note goes on sounding under the figure, else empty.
    shortest_beats : float
        Shortest usual time between attacks, in beats (0 with fewer than two attacks).
    leap : int
        Largest interval between successive attacks, in semitones (nearest notes).
    at_once : int
        Most notes struck together.
    """

    bar_index: int
    staff: int
    family: str
    figure: str
    rhythm: str = ""
    low: int = -1
    high: int = -1
    per_beat: float = 0.0
    held: str = ""
    shortest_beats: float = 0.0
    leap: int = 0
    at_once: int = 0
