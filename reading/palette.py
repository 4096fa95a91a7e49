"""Which players an option may name: the survey writes its options as spec steps, and steps name players."""

from __future__ import annotations

from dataclasses import dataclass

from reading.reach import DEFAULT_REACHES, Reach

__all__ = ["Palette"]


@dataclass(frozen=True)
class Palette:
    """Players of the orchestra at hand, by what an option would use them for.

    The default is the ensemble ``classical full``. A field is empty where the ensemble has nobody for it; the survey
    then leaves out the options that need it. ``strokes`` and ``rolls`` are percussion without pitch, which no ensemble
    has unless it is added, nor ``plucked`` (harps). ``reaches`` says what each player can do.
    """

    melody: tuple[str, ...] = ("violins 1",)
    inner: tuple[str, ...] = ("violins 2", "violas")
    bass: tuple[str, ...] = ("cellos", "basses 8vb")
    winds_high: tuple[str, ...] = ("flute 1", "oboe 1", "clarinet 1")
    winds_low: tuple[str, ...] = ("bassoon 1", "bassoon 2")
    held: tuple[str, ...] = ("horn 1", "horn 2")
    brass: tuple[str, ...] = ("trumpet 1", "trumpet 2")
    drums: tuple[str, ...] = ("timpani",)
    strokes: tuple[str, ...] = ()
    rolls: tuple[str, ...] = ()
    strings: tuple[str, ...] = ("violins 1", "violins 2", "violas", "cellos", "basses")
    plucked: tuple[str, ...] = ()
    reaches: tuple[Reach, ...] = DEFAULT_REACHES

    def reach(self, name: str) -> Reach | None:
        """Return what the player *name* can do (an octave sign may follow), or None where nothing is known."""
        plain = name.removesuffix(" 8vb").removesuffix(" 8va")
        return next((one for one in self.reaches if one.name == plain), None)
