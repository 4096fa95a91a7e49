"""Players' parts made ready for the synth: performed, voiced, seated."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from base.plugins import load
from mapping.arrangement import TECHNIQUES
from mapping.instruments import instruments
from render.dynamics import Dynamics
from render.passage import passage_of
from render.performance import perform
from render.stage import Seat, seat
from render.voicing import voice
from soundfonts import default, open_font
from soundfonts.balance import power_table
from soundfonts.calibration import Calibration, calibration_of
from soundfonts.presets import FONT_BANKS, INSTRUMENTS_OWN, Presets, presets_path, user_presets

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

__all__ = ["Instrumentarium", "Line", "attribution_of", "choices_of", "instrumentarium", "lines_of", "span_of"]


@dataclass(frozen=True, eq=False)
class Instrumentarium:
    """What sounds: the synth, its font, and what is known of the font's levels."""

    synth: Synth
    font: Font | None
    calibration: Calibration
    presets: Presets

    @property
    def fonts(self) -> tuple[Font, ...]:
        """The main font and those the user's presets are taken from."""
        return (self.font, *self.presets.fonts) if self.font else ()

    @property
    def warnings(self) -> list[str]:
        """What holds for everything played on it."""
        return [
            f"the soundfont {font.name} is not calibrated, so its own levels decide the balance; "
            f"measure it with: klangprobe sounds calibrate {font.path}"
            for font in self.fonts
            if not calibration_of(font).measured
        ]


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
            f"{name}: the soundfont has no preset bank {bank % FONT_BANKS} program {program}"
            for bank, program in sound.missing
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
    make, font = _chosen(settings)
    presets = _presets(make, font)
    return Instrumentarium(_synth(make, font, presets.fonts), font, _known(font, presets), presets)


def choices_of(settings: RenderSettings) -> list[Any]:
    """Return what the sound depends on besides *settings* and the main font: the user's presets, levels, measurements.

    Raises
    ------
    MissingPart, InputError
        As :func:`instrumentarium`; and where a file of the user's is none.
    """
    make, font = _chosen(settings)
    presets = _presets(make, font)
    chosen = [
        [*key, one.font.sha256 if one.font else None, one.bank, one.program] for key, one in presets.choices.items()
    ]
    return [chosen, power_table(), _known(font, presets).presets]


def attribution_of(settings: RenderSettings) -> str:
    """Return what must be said of the soundfonts that sound under *settings*, one line."""
    make, font = _chosen(settings)
    fonts = (font, *_presets(make, font).fonts) if font else ()
    return " ".join(dict.fromkeys(one.attribution for one in fonts))


def _chosen(settings: RenderSettings) -> tuple[Any, Font | None]:
    """Class of the synth, and the main font where it uses one."""
    make = load("klangprobe.synths", settings.synth)
    return make, (open_font(settings.soundfont) if settings.soundfont else default()) if make.uses_font else None


def _presets(make: Any, font: Font | None) -> Presets:
    """The user's choice of presets, where the synth can follow it."""
    if font and getattr(make, "several_fonts", False) and presets_path().is_file():
        return user_presets(tuple(instruments()), TECHNIQUES)
    return INSTRUMENTS_OWN


def _known(font: Font | None, presets: Presets) -> Calibration:
    """Measurements of all fonts together."""
    known = dict(calibration_of(font).presets)
    for row, further in enumerate(presets.fonts, 1):
        of = calibration_of(further).presets
        known |= {(FONT_BANKS * row + bank, program): preset for (bank, program), preset in of.items()}
    return Calibration(known)


@cache
def _synth(make: Callable[..., Synth], font: Font | None, further: tuple[Font, ...]) -> Synth:
    """Make a synth once for each choice of fonts: what it has loaded serves every passage."""
    return make(font, further=further) if further else make(font)


def span_of(score: Score, bars: Sequence[int] | Sequence[tuple[int, int]]) -> Passage:
    """Return the passage of *bars* by the piece's own clock."""
    from reading import Timeline

    clock: Clock = Timeline(score)
    return passage_of(score, bars, clock)


def lines_of(
    arrangement: Arrangement, span: Passage, settings: RenderSettings, players: Instrumentarium, dynamics: Dynamics
) -> list[Line]:
    """Return the lines of the players who play in a passage."""
    lines = []
    for part in arrangement.parts:
        performance = perform(part, span, settings, dynamics)
        if len(performance.played):
            voiced = voice(part.player, performance, settings, players.calibration, players.presets)
            lines.append(Line(part, performance, voiced, seat(part.player, settings.stage)))
    return lines
