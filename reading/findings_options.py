"""Options as spec steps: what an orchestra can do about each kind of finding.

Every step follows ``docs/spec.md`` and is added to a variant in which the layers are already played. Players come from
the palette alone; an option whose players the orchestra lacks is left out. The answers themselves are common practice
of the trade; ``docs/survey.md`` names sources where there are any.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from reading.findings import Option

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reading.palette import Palette

__all__ = ["Offers"]

Step = dict[str, Any]


def _players(*groups: Sequence[str]) -> list[str]:
    """All players of the groups, each once."""
    return list(dict.fromkeys(name for group in groups for name in group))


def _kept(*options: Option | None) -> tuple[Option, ...]:
    """Keep the options the orchestra can play."""
    return tuple(option for option in options if option is not None)


def _option(says: str, *steps: Step) -> Option | None:
    """Make an option, or nothing where one of its steps has no players."""
    for step in steps:
        groups = [step[key] for key in ("on", "rest") if key in step] + list(step.get("between", ()))
        if not groups or not all(groups):
            return None
    return Option(says, tuple(steps))


@dataclass(frozen=True)
class Offers:
    """Options for the bars *bars* (as a spec writes them), with the players of *palette*."""

    palette: Palette
    bars: str
    where: Step = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "where", {"bars": self.bars})

    def accent(self, beats: str = "") -> tuple[Option, ...]:
        """Stress the accents of the bars, or every attack on *beats*."""
        palette = self.palette
        what: Step = {"stress": "notes"} if beats else {"stress": "accents"}
        where = {**self.where, "beats": beats} if beats else self.where
        upper = _players(palette.melody, palette.inner)
        return _kept(
            _option("horns strike the chord", {**what, "on": list(palette.held), "by": "chord", **where}),
            _option("strings strike it in multiple stops", {**what, "on": upper, "by": "multiple stops", **where}),
            _option("timpani mark the bass", {**what, "on": list(palette.drums), "by": "timpani", **where}),
            _option(
                "trumpets strike short over held horns",
                {**what, "on": _players(palette.brass, palette.held), "by": "short over held", **where},
            ),
        )

    def loud_and_soft(self, loud: str, soft: str) -> tuple[Option, ...]:
        """Make a change of loudness a change of players."""
        palette, options = self.palette, []
        high, last = list(palette.winds_high[:2]), list(palette.winds_high[-1:])
        if loud:
            options += [
                _option(
                    "woodwind and horns join where it is loud",
                    {"double": "melody", "on": high, "at": "unison", "bars": loud},
                    {"hold": "harmony", "on": list(palette.held), "register": "middle", "bars": loud},
                ),
                _option(
                    "trumpets and timpani strike the loud bars",
                    {
                        "stress": "notes",
                        "on": _players(palette.brass, palette.drums),
                        "by": "chord",
                        "beats": "1",
                        "bars": loud,
                    },
                ),
            ]
        if soft:
            options += [
                _option("a solo wind has the soft bars", {"vary": "melody", "on": last, "bars": soft}),
                _option("fewer strings where it is soft", {"thin": "middle", "on": list(palette.inner), "bars": soft}),
            ]
        return _kept(*options)

    def theme(self) -> tuple[Option, ...]:
        """Give a theme a colour of its own."""
        palette = self.palette
        return _kept(
            _option(
                "one woodwind alone has the theme",
                {"vary": "melody", "on": list(palette.winds_high[-1:]), **self.where},
            ),
            _option(
                "strings keep it, a second woodwind doubles",
                {"double": "melody", "on": list(palette.winds_high[1:2]), "at": "unison", **self.where},
            ),
            _option("the horn has it", {"vary": "melody", "on": list(palette.held[:1]), **self.where}),
            _option(
                "first woodwind doubles an octave above",
                {"double": "melody", "on": list(palette.winds_high[:1]), "at": "8va", "compass": "C5-C7", **self.where},
            ),
        )

    def contrast(self) -> tuple[Option, ...]:
        """Give another character to another group."""
        palette = self.palette
        return _kept(
            _option(
                "woodwind take the melody over", {"vary": "melody", "on": list(palette.winds_high[:2]), **self.where}
            ),
            _option("low winds take the middle over", {"vary": "middle", "on": list(palette.winds_low), **self.where}),
            _option(
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
        return _kept(*(_option(says[way], {"refigure": layer, "on": on, "as": way, **self.where}) for way in ways))

    def gap(self) -> tuple[Option, ...]:
        """Fill the empty middle."""
        palette = self.palette
        return _kept(
            _option(
                "clarinet and bassoon fill the middle",
                {"fill": "gap", "on": _players(palette.winds_high[-1:], palette.winds_low[:1]), **self.where},
            ),
            _option(
                "horns hold the harmony between",
                {"hold": "harmony", "on": list(palette.held), "register": "middle", "level": "p", **self.where},
            ),
            _option(
                "the melody is doubled an octave below",
                {"double": "melody", "on": list(palette.inner[:1]), "at": "8vb", **self.where},
            ),
        )

    def repeat(self) -> tuple[Option, ...]:
        """Give what comes back a new colour."""
        palette = self.palette
        return _kept(
            _option(
                "another voice: a woodwind has the melody",
                {"vary": "melody", "on": list(palette.winds_high[-1:]), **self.where},
            ),
            _option(
                "the same with an octave added above",
                {"double": "melody", "on": list(palette.winds_high[:1]), "at": "8va", "compass": "C5-C7", **self.where},
            ),
            _option(
                "the same over held horns",
                {"hold": "harmony", "on": list(palette.held), "register": "middle", "level": "p", **self.where},
            ),
        )

    def pedal(self) -> tuple[Option, ...]:
        """Say what goes on sounding."""
        palette = self.palette
        return _kept(
            _option(
                "horns hold the harmony softly",
                {"hold": "harmony", "on": list(palette.held), "register": "middle", "level": "p", **self.where},
            ),
            _option(
                "inner strings sustain it",
                {"hold": "harmony", "on": list(palette.inner), "register": "middle", "level": "pp", **self.where},
            ),
            _option(
                "only the bass stays, in the bassoon",
                {"hold": "bass", "on": list(palette.winds_low[:1]), "level": "p", **self.where},
            ),
        )

    def layers(self, inner_line: str) -> tuple[Option, ...]:
        """Give each layer of one hand its own players."""
        palette = self.palette
        return _kept(
            _option(
                "bassoon brings out the inner line",
                {"double": inner_line, "on": list(palette.winds_low[:1]), "at": "unison", **self.where},
            ),
            _option(
                "horn holds the bass, violas have the line",
                {"hold": "bass", "on": list(palette.held[1:2] or palette.held), "level": "p", **self.where},
                {"vary": inner_line, "on": list(palette.inner[-1:]), **self.where},
            ),
            _option(
                "cellos alone have the line",
                {"vary": inner_line, "on": list(palette.bass[:1]), **self.where},
            ),
        )

    def octaves(self) -> tuple[Option, ...]:
        """More or fewer octaves of one line."""
        palette = self.palette
        return _kept(
            _option(
                "woodwind join in unison",
                {"double": "melody", "on": list(palette.winds_high), "at": "unison", **self.where},
            ),
            _option(
                "bassoons add the octave below",
                {"double": "melody", "on": list(palette.winds_low), "at": "8vb", **self.where},
            ),
            _option(
                "winds join one by one from below",
                {"build": "melody", "on": _players(palette.winds_low[:1], palette.winds_high[::-1]), **self.where},
            ),
        )

    def dialogue(self) -> tuple[Option, ...]:
        """Let groups answer each other."""
        palette = self.palette
        low, high = list(palette.winds_low[:1]), list(palette.winds_high[:1])
        return _kept(
            _option(
                "bassoon asks, flute answers",
                {"answer": "melody", "between": [low, high], "by": "register", **self.where},
            ),
            _option(
                "low strings ask, violins answer",
                {
                    "answer": "melody",
                    "between": [list(palette.bass[:1]), list(palette.melody[:1])],
                    "by": "register",
                    **self.where,
                },
            ),
            _option(
                "strings ask, woodwind answer",
                {"answer": "melody", "between": [list(palette.bass[:1]), high], "by": "register", **self.where},
            ),
        )

    def chords(self) -> tuple[Option, ...]:
        """Give full chords their weight."""
        palette = self.palette
        return _kept(
            _option(
                "horns and trumpets fill the chords",
                {"hold": "harmony", "on": _players(palette.held, palette.brass), "register": "middle", **self.where},
            ),
            _option(
                "strings in multiple stops",
                {
                    "stress": "notes",
                    "on": _players(palette.melody, palette.inner),
                    "by": "multiple stops",
                    **self.where,
                },
            ),
            _option(
                "flute doubles the top an octave above, timpani the bass",
                {"double": "melody", "on": list(palette.winds_high[:1]), "at": "8va", "compass": "C5-C7", **self.where},
                {"stress": "notes", "on": list(palette.drums), "by": "timpani", **self.where},
            ),
        )

    def swell(self, kind: str) -> tuple[Option, ...]:
        """Players join for a crescendo and leave for a diminuendo."""
        palette = self.palette
        if kind == "dim":
            return _kept(
                _option("inner strings leave one by one", {"thin": "middle", "on": list(palette.inner), **self.where}),
                _option(
                    "a soft horn holds the harmony under the fading line",
                    {"hold": "harmony", "on": list(palette.held), "level": "pp", "register": "middle", **self.where},
                ),
            )
        return _kept(
            _option(
                "woodwind join the melody one by one",
                {"build": "melody", "on": _players(palette.winds_high[::-1]), **self.where},
            ),
            _option(
                "low winds and horns join the middle one by one",
                {"build": "middle", "on": _players(palette.winds_low, palette.held), **self.where},
            ),
        )

    def low_melody(self) -> tuple[Option, ...]:
        """Who has a melody that lies in the left hand."""
        palette = self.palette
        return _kept(
            _option("cellos have it", {"vary": "melody", "on": list(palette.bass[:1]), **self.where}),
            _option(
                "bassoon doubles it",
                {"double": "melody", "on": list(palette.winds_low[:1]), "at": "unison", **self.where},
            ),
            _option("the horn has it", {"vary": "melody", "on": list(palette.held[:1]), **self.where}),
        )

    def bass_octave(self) -> tuple[Option, ...]:
        """Say what the lowest octave does where the piano leaves it out."""
        palette = self.palette
        deepest = [name.removesuffix(" 8vb") for name in palette.bass[-1:]]
        return _kept(
            _option("the double basses rest with it", {"rest": deepest, **self.where}),
            _option(
                "the lower octave goes on softly in the bassoon",
                {"double": "bass", "on": list(palette.winds_low[-1:]), "at": "unison", "level": "p", **self.where},
            ),
        )

    def pedal_point(self) -> tuple[Option, ...]:
        """Who holds a pedal point."""
        palette = self.palette
        return _kept(
            _option("the horn holds it", {"hold": "bass", "on": list(palette.held[-1:]), **self.where}),
            _option(
                "bassoon renews it bar by bar",
                {"hold": "bass", "on": list(palette.winds_low[:1]), "restrike": "bars", **self.where},
            ),
        )

    def counterpoint(self) -> tuple[Option, ...]:
        """Make independent lines distinct."""
        palette = self.palette
        return _kept(
            _option(
                "a woodwind doubles the upper line",
                {"double": "melody", "on": list(palette.winds_high[1:2]), "at": "unison", **self.where},
            ),
            _option(
                "bassoon doubles the lowest line",
                {"double": "bass", "on": list(palette.winds_low[:1]), "at": "unison", **self.where},
            ),
        )
