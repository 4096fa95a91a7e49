"""Keys held down, as a MIDI file has them, by track and channel."""

from __future__ import annotations

from dataclasses import dataclass, field

__all__ = ["MidiNote", "Stream"]


@dataclass(slots=True)
class MidiNote:
    """A key held down: file ticks, then (after quantising) score ticks."""

    start: int
    end: int
    pitch: int
    velocity: int
    staff: int = 1
    voice: str = "1"


@dataclass
class Stream:
    """The notes of one track and channel."""

    name: str
    channel: int
    program: int = 0
    notes: list[MidiNote] = field(default_factory=list)
