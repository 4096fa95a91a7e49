"""Options as spec steps: what an orchestra can do about each kind of finding.

Every step follows ``docs/spec.md`` and is added to a variant in which the layers are already played. Players come from
the palette alone; an option whose players the orchestra lacks is left out. The answers themselves are common practice
of the trade; ``docs/survey.md`` names sources where there are any.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from reading.findings_options_sound import SoundOffers, kept, option, players

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reading.findings import Option

__all__ = ["Offers"]


@dataclass(frozen=True)
class Offers(SoundOffers):
    """Options for the bars *bars* (as a spec writes them), with the players of *palette*."""

    def theme(self) -> tuple[Option, ...]:
        """Give a theme a colour of its own."""
        palette = self.palette
        return kept(
            option(
                "one woodwind alone has the theme",
                {"vary": "melody", "on": list(palette.winds_high[-1:]), **self.where},
            ),
            option(
                "strings keep it, a second woodwind doubles",
                {"double": "melody", "on": list(palette.winds_high[1:2]), "at": "unison", **self.where},
            ),
            option("the horn has it", {"vary": "melody", "on": list(palette.held[:1]), **self.where}),
            option(
                "first woodwind doubles an octave above",
                {"double": "melody", "on": list(palette.winds_high[:1]), "at": "8va", "compass": "C5-C7", **self.where},
            ),
        )

    def contrast(self) -> tuple[Option, ...]:
        """Give another character to another group."""
        palette = self.palette
        return kept(
            option(
                "woodwind take the melody over", {"vary": "melody", "on": list(palette.winds_high[:2]), **self.where}
            ),
            option("low winds take the middle over", {"vary": "middle", "on": list(palette.winds_low), **self.where}),
            option(
                "horns hold the harmony",
                {"hold": "harmony", "on": list(palette.held), "register": "middle", **self.where},
            ),
        )

    def figure(self, ways: Sequence[str], layer: str = "accompaniment") -> tuple[Option, ...]:
        """Replace a pianistic figure, in the *ways* of the spec's ``refigure``."""
        says = {
            "repeated": "repeated notes in the inner strings",
            "held and pulse": "held chords with a pulse",
            "tremolo": "string tremolo on the same harmony",
            "shared": "the figure shared out between the inner strings",
            "pizzicato": "the figure plucked",
            "held": "held chords instead of motion",
            "natural": "the figure as it lies well for the strings",
        }
        on = list(self.palette.inner)
        return kept(*(option(says[way], {"refigure": layer, "on": on, "as": way, **self.where}) for way in ways))

    def gap(self) -> tuple[Option, ...]:
        """Fill the empty middle."""
        palette = self.palette
        return kept(
            option(
                "clarinet and bassoon fill the middle",
                {"fill": "gap", "on": players(palette.winds_high[-1:], palette.winds_low[:1]), **self.where},
            ),
            option(
                "horns hold the harmony between",
                {"hold": "harmony", "on": list(palette.held), "register": "middle", "level": "p", **self.where},
            ),
            option(
                "the melody is doubled an octave below",
                {"double": "melody", "on": list(palette.inner[:1]), "at": "8vb", **self.where},
            ),
        )

    def repeat(self) -> tuple[Option, ...]:
        """Give what comes back a new colour."""
        palette = self.palette
        return kept(
            option(
                "another voice: a woodwind has the melody",
                {"vary": "melody", "on": list(palette.winds_high[-1:]), **self.where},
            ),
            option(
                "the same with an octave added above",
                {"double": "melody", "on": list(palette.winds_high[:1]), "at": "8va", "compass": "C5-C7", **self.where},
            ),
            option(
                "the same over held horns",
                {"hold": "harmony", "on": list(palette.held), "register": "middle", "level": "p", **self.where},
            ),
        )

    def layers(self, inner_line: str) -> tuple[Option, ...]:
        """Give each layer of one hand its own players."""
        palette = self.palette
        return kept(
            option(
                "bassoon brings out the inner line",
                {"double": inner_line, "on": list(palette.winds_low[:1]), "at": "unison", **self.where},
            ),
            option(
                "horn holds the bass, violas have the line",
                {"hold": "bass", "on": list(palette.held[1:2] or palette.held), "level": "p", **self.where},
                {"vary": inner_line, "on": list(palette.inner[-1:]), **self.where},
            ),
            option(
                "cellos alone have the line",
                {"vary": inner_line, "on": list(palette.bass[:1]), **self.where},
            ),
        )

    def octaves(self) -> tuple[Option, ...]:
        """More or fewer octaves of one line."""
        palette = self.palette
        return kept(
            option(
                "woodwind join in unison",
                {"double": "melody", "on": list(palette.winds_high), "at": "unison", **self.where},
            ),
            option(
                "bassoons add the octave below",
                {"double": "melody", "on": list(palette.winds_low), "at": "8vb", **self.where},
            ),
            option(
                "winds join one by one from below",
                {"build": "melody", "on": players(palette.winds_low[:1], palette.winds_high[::-1]), **self.where},
            ),
        )

    def dialogue(self) -> tuple[Option, ...]:
        """Let groups answer each other."""
        palette = self.palette
        low, high = list(palette.winds_low[:1]), list(palette.winds_high[:1])
        return kept(
            option(
                "bassoon asks, flute answers",
                {"answer": "melody", "between": [low, high], "by": "register", **self.where},
            ),
            option(
                "low strings ask, violins answer",
                {
                    "answer": "melody",
                    "between": [list(palette.bass[:1]), list(palette.melody[:1])],
                    "by": "register",
                    **self.where,
                },
            ),
            option(
                "strings ask, woodwind answer",
                {"answer": "melody", "between": [list(palette.bass[:1]), high], "by": "register", **self.where},
            ),
        )

    def low_melody(self) -> tuple[Option, ...]:
        """Who has a melody that lies in the left hand."""
        palette = self.palette
        return kept(
            option("cellos have it", {"vary": "melody", "on": list(palette.bass[:1]), **self.where}),
            option(
                "bassoon doubles it",
                {"double": "melody", "on": list(palette.winds_low[:1]), "at": "unison", **self.where},
            ),
            option("the horn has it", {"vary": "melody", "on": list(palette.held[:1]), **self.where}),
        )

    def bass_octave(self) -> tuple[Option, ...]:
        """Say what the lowest octave does where the piano leaves it out."""
        palette = self.palette
        deepest = [name.removesuffix(" 8vb") for name in palette.bass[-1:]]
        return kept(
            option("the double basses rest with it", {"rest": deepest, **self.where}),
            option(
                "the lower octave goes on softly in the bassoon",
                {"double": "bass", "on": list(palette.winds_low[-1:]), "at": "unison", "level": "p", **self.where},
            ),
        )

    def counterpoint(self) -> tuple[Option, ...]:
        """Make independent lines distinct."""
        palette = self.palette
        return kept(
            option(
                "a woodwind doubles the upper line",
                {"double": "melody", "on": list(palette.winds_high[1:2]), "at": "unison", **self.where},
            ),
            option(
                "bassoon doubles the lowest line",
                {"double": "bass", "on": list(palette.winds_low[:1]), "at": "unison", **self.where},
            ),
        )
