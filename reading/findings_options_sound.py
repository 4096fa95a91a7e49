"""Options as spec steps for findings about loudness and resonance, and what all options share.

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

__all__ = ["SoundOffers", "kept", "option", "players"]

Step = dict[str, Any]


def players(*groups: Sequence[str]) -> list[str]:
    """Return all players of the groups, each once."""
    return list(dict.fromkeys(name for group in groups for name in group))


def kept(*options: Option | None) -> tuple[Option, ...]:
    """Keep the options the orchestra can play."""
    return tuple(one for one in options if one is not None)


def option(says: str, *steps: Step) -> Option | None:
    """Make an option, or nothing where one of its steps has no players."""
    for step in steps:
        groups = [step[key] for key in ("on", "rest") if key in step] + list(step.get("between", ()))
        if not groups or not all(groups):
            return None
    return Option(says, tuple(steps))


@dataclass(frozen=True)
class SoundOffers:
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
        upper = players(palette.melody, palette.inner)
        return kept(
            option("horns strike the chord", {**what, "on": list(palette.held), "by": "chord", **where}),
            option("strings strike it in multiple stops", {**what, "on": upper, "by": "multiple stops", **where}),
            option("timpani mark the bass", {**what, "on": list(palette.drums), "by": "timpani", **where}),
            option(
                "trumpets strike short over held horns",
                {**what, "on": players(palette.brass, palette.held), "by": "short over held", **where},
            ),
        )

    def loud_and_soft(self, loud: str, soft: str) -> tuple[Option, ...]:
        """Make a change of loudness a change of players."""
        palette, options = self.palette, []
        high, last = list(palette.winds_high[:2]), list(palette.winds_high[-1:])
        if loud:
            options += [
                option(
                    "woodwind and horns join where it is loud",
                    {"double": "melody", "on": high, "at": "unison", "bars": loud},
                    {"hold": "harmony", "on": list(palette.held), "register": "middle", "bars": loud},
                ),
                option(
                    "trumpets and timpani strike the loud bars",
                    {
                        "stress": "notes",
                        "on": players(palette.brass, palette.drums),
                        "by": "chord",
                        "beats": "1",
                        "bars": loud,
                    },
                ),
            ]
        if soft:
            options += [
                option("a solo wind has the soft bars", {"vary": "melody", "on": last, "bars": soft}),
                option("fewer strings where it is soft", {"thin": "middle", "on": list(palette.inner), "bars": soft}),
            ]
        return kept(*options)

    def pedal(self) -> tuple[Option, ...]:
        """Say what goes on sounding."""
        palette = self.palette
        return kept(
            option(
                "horns hold the harmony softly",
                {"hold": "harmony", "on": list(palette.held), "register": "middle", "level": "p", **self.where},
            ),
            option(
                "inner strings sustain it",
                {"hold": "harmony", "on": list(palette.inner), "register": "middle", "level": "pp", **self.where},
            ),
            option(
                "only the bass stays, in the bassoon",
                {"hold": "bass", "on": list(palette.winds_low[:1]), "level": "p", **self.where},
            ),
        )

    def chords(self) -> tuple[Option, ...]:
        """Give full chords their weight."""
        palette = self.palette
        return kept(
            option(
                "horns and trumpets fill the chords",
                {"hold": "harmony", "on": players(palette.held, palette.brass), "register": "middle", **self.where},
            ),
            option(
                "strings in multiple stops",
                {
                    "stress": "notes",
                    "on": players(palette.melody, palette.inner),
                    "by": "multiple stops",
                    **self.where,
                },
            ),
            option(
                "flute doubles the top an octave above, timpani the bass",
                {"double": "melody", "on": list(palette.winds_high[:1]), "at": "8va", "compass": "C5-C7", **self.where},
                {"stress": "notes", "on": list(palette.drums), "by": "timpani", **self.where},
            ),
        )

    def swell(self, kind: str) -> tuple[Option, ...]:
        """Players join for a crescendo and leave for a diminuendo."""
        palette = self.palette
        if kind == "dim":
            return kept(
                option("inner strings leave one by one", {"thin": "middle", "on": list(palette.inner), **self.where}),
                option(
                    "a soft horn holds the harmony under the fading line",
                    {"hold": "harmony", "on": list(palette.held), "level": "pp", "register": "middle", **self.where},
                ),
            )
        return kept(
            option(
                "woodwind join the melody one by one",
                {"build": "melody", "on": players(palette.winds_high[::-1]), **self.where},
            ),
            option(
                "low winds and horns join the middle one by one",
                {"build": "middle", "on": players(palette.winds_low, palette.held), **self.where},
            ),
        )

    def inner_pedal_point(self) -> tuple[Option, ...]:
        """Who holds a note that stays inside the texture."""
        palette = self.palette
        return kept(
            option(
                "the horn has it too",
                {"double": "pedal point", "on": list(palette.held[:1]), "at": "unison", "level": "p", **self.where},
            ),
            option("violas alone have it", {"vary": "pedal point", "on": list(palette.inner[-1:]), **self.where}),
        )
