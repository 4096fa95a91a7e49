"""Players' parts made ready for the synth: performed, voiced, seated."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from base.plugins import load
from render.dynamics import Dynamics
from render.passage import passage_of
from render.performance import perform
from render.stage import Seat, seat
from render.voicing import voice
from soundfonts import default, open_font
from soundfonts.calibration import Calibration, calibration_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from mapping.arrangement import Arrangement, Part
    from reading.score import Score
    from render.passage import Clock, Passage
    from render.performance import Performance
    from render.request import StemSound, Synth
    from render.settings import RenderSettings
    from render.voicing import Voiced
    from soundfonts import Font

__all__ = ["Instrumentarium", "Line", "instrumentarium", "lines_of", "span_of"]


@dataclass(frozen=True, eq=False)
class Instrumentarium:
    """What sounds: the synth, its font, and what is known of the font's levels."""

    synth: Synth
    font: Font | None
    calibration: Calibration

    @property
    def warnings(self) -> list[str]:
        """What holds for everything played on it."""
        if self.font and not self.calibration.measured:
            return [
                f"the soundfont {self.font.name} is not calibrated, so its own levels decide the balance; "
                f"measure it with: klangprobe sounds calibrate {self.font.path}"
            ]
        return []


@dataclass(frozen=True, eq=False)
class Line:
    """One player's part on its way to sound."""

    part: Part
    performance: Performance
    voiced: Voiced
    seat: Seat

    def warnings(self, sound: StemSound) -> list[str]:
        """Say what the synth could not do, by player and note."""
        name = self.part.player.name
        found = {
            f"{name}: the soundfont has no preset bank {bank} program {program}" for bank, program in sound.missing
        }
        pairs = list(self.voiced.replaced)
        pairs += [(int(self.voiced.request.sounds[row]["key"]), instead) for row, instead in sound.replaced]
        for key, instead in pairs:
            how = "cannot sound" if instead < 0 else f"is sounded from {_named(instead)}, shifted"
            found.add(f"{name}: the soundfont has no sample for {_named(key)}; it {how}")
        return sorted(found)


def _named(key: int) -> str:
    """Name of a MIDI key with its number: C4 (60)."""
    letters = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")
    return f"{letters[key % 12]}{key // 12 - 1} ({key})"


def instrumentarium(settings: RenderSettings) -> Instrumentarium:
    """Return synth, font and calibration for *settings*.

    Raises
    ------
    MissingPart
        Without a soundfont or the synth's library.
    InputError
        For an unknown synth or a soundfont that is none.
    """
    make = load("klangprobe.synths", settings.synth)
    font = (open_font(settings.soundfont) if settings.soundfont else default()) if make.uses_font else None
    return Instrumentarium(_synth(make, font), font, calibration_of(font))


@cache
def _synth(make: Callable[[Font | None], Synth], font: Font | None) -> Synth:
    """Make a synth once for each font: what it has loaded serves every passage."""
    return make(font)


def span_of(score: Score, bars: Sequence[int] | Sequence[tuple[int, int]]) -> Passage:
    """Return the passage of *bars* by the piece's own clock."""
    from reading import Timeline

    clock: Clock = Timeline(score)
    return passage_of(score, bars, clock)


def lines_of(
    arrangement: Arrangement, span: Passage, settings: RenderSettings, calibration: Calibration, dynamics: Dynamics
) -> list[Line]:
    """Return the lines of the players who play in a passage."""
    lines = []
    for part in arrangement.parts:
        performance = perform(part, span, settings, dynamics)
        if len(performance.played):
            voiced = voice(part.player, performance, settings, calibration)
            lines.append(Line(part, performance, voiced, seat(part.player, settings.stage)))
    return lines
