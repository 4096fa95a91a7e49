"""What one player can do, as far as the survey must know it before it names that player in an option.

The figures are those of the instruments' table (``mapping/data/instruments.json``, each with its source there);
``mapping.palette_of`` hands them over for any orchestra. Those of the default ensemble stand here, because the survey
comes before the mapping and must not ask it; a test holds both equal.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["DEFAULT_REACHES", "Reach"]


@dataclass(frozen=True)
class Reach:
    """Limits of a player.

    Attributes
    ----------
    name, kind, family : str
        ``horn 1``, ``horn``, ``brass``.
    low, high : int
        Sounding compass, MIDI.
    safe_low, safe_high : int
        Compass for exposed and soft writing, MIDI.
    at_once : int
        Notes that can sound together; a section divides into as many as it has players.
    easy_hz, fastest_hz : float or None
        Notes a second that are easily and at the utmost struck one by one; None where any speed goes.
    pluck_hz : float or None
        Plucked notes a second.
    breath_soft_s, breath_loud_s : float or None
        Longest note on one breath; None where none is needed.
    leap : int or None
        Semitones from which a sudden leap is awkward.
    poor_arpeggio : bool
        Slurred broken chords do not suit it.
    weak : tuple of (int, int, str, str)
        Registers, low and high MIDI, with the softest and the loudest level they can be relied on for ("" for any).
    """

    name: str
    kind: str
    family: str
    low: int
    high: int
    safe_low: int
    safe_high: int
    at_once: int = 1
    easy_hz: float | None = None
    fastest_hz: float | None = None
    pluck_hz: float | None = None
    breath_soft_s: float | None = None
    breath_loud_s: float | None = None
    leap: int | None = None
    poor_arpeggio: bool = False
    weak: tuple[tuple[int, int, str, str], ...] = ()


DEFAULT_REACHES = (
    Reach("basses", "basses", "strings", 24, 60, 28, 50, 2, None, None, 4.0, None, None, None, False, ()),
    Reach("bassoon 1", "bassoon", "woodwind", 34, 75, 34, 67, 1, 8.0, 10.0, None, 12.0, 8.0, None, True,
          ((34, 43, "p", ""),)),
    Reach("bassoon 2", "bassoon", "woodwind", 34, 75, 34, 67, 1, 8.0, 10.0, None, 12.0, 8.0, None, True,
          ((34, 43, "p", ""),)),
    Reach("cellos", "cellos", "strings", 36, 86, 36, 67, 3, None, None, 5.0, None, None, None, False, ()),
    Reach("clarinet 1", "clarinet", "woodwind", 50, 94, 50, 82, 1, 8.0, 10.0, None, 15.0, 10.0, 12, False,
          ((83, 94, "mp", ""),)),
    Reach("flute 1", "flute", "woodwind", 60, 98, 62, 91, 1, 8.0, 13.0, None, 10.0, 6.0, None, False, ((60,
          69, "", "mf"), (82, 91, "pp", ""), (92, 98, "mf", ""))),
    Reach("horn 1", "horn", "brass", 35, 77, 48, 72, 1, 6.0, 12.0, None, 12.0, 8.0, 13, False, ((35, 40, "",
          "mf"), (73, 77, "mp", ""))),
    Reach("horn 2", "horn", "brass", 35, 77, 48, 72, 1, 6.0, 12.0, None, 12.0, 8.0, 13, False, ((35, 40, "",
          "mf"), (73, 77, "mp", ""))),
    Reach("oboe 1", "oboe", "woodwind", 58, 93, 62, 84, 1, 8.0, 10.0, None, 20.0, 12.0, None, True, ((58,
          64, "p", ""),)),
    Reach("timpani", "timpani", "percussion", 38, 60, 41, 53, 2, 10.0, 14.0, None, None, None, None, False,
          ()),
    Reach("trumpet 1", "trumpet", "brass", 52, 84, 53, 77, 1, 8.0, 13.0, None, 12.0, 7.0, 13, False, ((78,
          84, "mp", ""),)),
    Reach("trumpet 2", "trumpet", "brass", 52, 84, 53, 77, 1, 8.0, 13.0, None, 12.0, 7.0, 13, False, ((78,
          84, "mp", ""),)),
    Reach("violas", "violas", "strings", 48, 88, 48, 74, 4, None, None, 5.5, None, None, None, False, ()),
    Reach("violins 1", "violins", "strings", 55, 105, 55, 86, 8, None, None, 6.0, None, None, None, False,
          ((87, 105, "pp", ""),)),
    Reach("violins 2", "violins", "strings", 55, 105, 55, 86, 6, None, None, 6.0, None, None, None, False,
          ((87, 105, "pp", ""),)),
)  # fmt: skip
"""Limits of the players the default palette names."""
