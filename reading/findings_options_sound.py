"""Options as spec steps for findings about loudness and resonance, and what all options share.

Every step follows ``docs/spec.md`` and is added to a variant in which the layers are already played. Players come from
the palette alone; an option whose players the orchestra lacks is left out, and the next one takes its place.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from reading.findings import Option

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reading.palette import Palette

__all__ = ["SoundOffers", "kept", "option", "players", "who"]

Step = dict[str, Any]
_MOST = 4


def players(*groups: Sequence[str]) -> list[str]:
    """Return all players of the groups, each once."""
    return list(dict.fromkeys(name for group in groups for name in group))


def who(names: Sequence[str]) -> str:
    """Return players as words: ``horn 1 and horn 2``."""
    plain = [name.removesuffix(" 8vb") for name in names]
    return " and ".join([", ".join(plain[:-1]), plain[-1]] if len(plain) > 2 else plain)


def kept(*options: Option | None) -> tuple[Option, ...]:
    """Return the first four options the orchestra can play."""
    return tuple(one for one in options if one is not None)[:_MOST]


def option(says: str, *steps: Step) -> Option | None:
    """Return an option, or nothing where one of its steps has no players."""
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
        held, drums = list(palette.held), list(palette.drums)
        upper, all_brass = players(palette.melody, palette.inner), players(palette.brass, palette.held)

        def stress(on: list[str], by: str) -> Step:
            return {**what, "on": on, "by": by, **where}

        return kept(
            option(f"{who(held)} strike the chord", stress(held, "chord")),
            option("strings strike it in multiple stops", stress(upper, "multiple stops")) if palette.strings else None,
            option(f"{who(drums)} mark the bass", stress(drums, "timpani")),
            option(f"{who(palette.strokes)} strike it", {**what, "on": list(palette.strokes), **where}),
            option(f"{who(all_brass)} strike short over held notes", stress(all_brass, "short over held")),
            option(f"{who(upper)} play fp", stress(upper, "fp")),
        )

    def loud_and_soft(self, loud: str, soft: str) -> tuple[Option, ...]:
        """Make a change of loudness a change of players."""
        joining = kept(*self._loud(loud)) if loud else ()
        leaving = kept(*self._soft(soft)) if soft else ()
        return (*joining[: 2 if leaving else _MOST], *leaving[: 2 if joining else _MOST])

    def _loud(self, bars: str) -> tuple[Option | None, ...]:
        """Who joins where it is loud."""
        palette, at = self.palette, {"bars": bars}
        high, strike = list(palette.winds_high[:2]), players(palette.brass, palette.drums)
        join = {"double": "melody", "on": high, "at": "unison", **at}
        hold = {"hold": "harmony", "on": list(palette.held), "register": "middle", **at}
        hit = {"stress": "notes", "on": strike, "by": "chord", "beats": "1", **at}
        below = {"double": "melody", "on": list(palette.inner[:1]), "at": "8vb", **at}
        return (
            option(f"{who(high)} join where it is loud, {who(palette.held)} hold the harmony", join, hold),
            option(f"{who(strike)} strike the loud bars", hit),
            option(f"the melody doubled by {who(palette.inner[:1])} an octave below where it is loud", below),
            option(f"the harmony held by {who(palette.held)} where it is loud", hold) if not high else None,
            option(f"{who(palette.inner)} hold the harmony where it is loud", {**hold, "on": list(palette.inner)}),
        )

    def _soft(self, bars: str) -> tuple[Option | None, ...]:
        """Who is left where it is soft."""
        palette, at = self.palette, {"bars": bars}
        solo, inner = list(palette.winds_high[-1:]), list(palette.inner)
        return (
            option(f"the soft bars in {who(solo)} alone", {"vary": "melody", "on": solo, **at}),
            option("the accompaniment is plucked where it is soft", self._plucked(at)),
            option(
                "held chords instead of motion under the soft bars",
                {"refigure": "accompaniment", "on": inner, "as": "held", **at},
            ),
            option(f"the soft bars in {who(inner[-1:])} alone", {"vary": "melody", "on": inner[-1:], **at}),
        )

    def _plucked(self, at: Step) -> Step:
        """Pizzicato in the inner strings; a step without players where there are none."""
        strings = [name for name in self.palette.inner if name in self.palette.strings]
        return {"refigure": "accompaniment", "on": strings, "as": "pizzicato", **at}

    def pedal(self) -> tuple[Option, ...]:
        """Say what goes on sounding."""
        palette = self.palette
        held, inner, low = list(palette.held), list(palette.inner), list(palette.winds_low[:1])
        harmony = {"hold": "harmony", "register": "middle"}
        return kept(
            option(f"{who(held)} hold the harmony softly", {**harmony, "on": held, "level": "p", **self.where}),
            option(f"{who(inner)} sustain it", {**harmony, "on": inner, "level": "pp", **self.where}),
            option(f"only the bass stays, in {who(low)}", {"hold": "bass", "on": low, "level": "p", **self.where}),
            option(
                f"only the bass stays, in {who(palette.bass[:1])}",
                {"hold": "bass", "on": list(palette.bass[:1]), "level": "p", **self.where},
            )
            if not low
            else None,
        )

    def chords(self) -> tuple[Option, ...]:
        """Give full chords their weight."""
        palette = self.palette
        fill, upper = players(palette.held, palette.brass), players(palette.melody, palette.inner)
        top, drums = list(palette.winds_high[:1]), list(palette.drums)
        above = {"double": "melody", "on": top, "at": "8va", "compass": "C5-C7", **self.where}
        strokes = list(palette.strokes)
        return kept(
            option(f"{who(fill)} fill the chords", {"hold": "harmony", "on": fill, "register": "middle", **self.where}),
            option(f"{who(strokes)} strike the chords", {"stress": "notes", "on": strokes, **self.where}),
            option("strings in multiple stops", {"stress": "notes", "on": upper, "by": "multiple stops", **self.where})
            if palette.strings
            else None,
            option(
                f"the top doubled by {who(top)} an octave above, the bass struck by {who(drums)}",
                above,
                {"stress": "notes", "on": drums, "by": "timpani", **self.where},
            )
            if drums
            else option(f"the top doubled by {who(top)} an octave above", above),
            option(f"{who(upper)} play every chord fp", {"stress": "notes", "on": upper, "by": "fp", **self.where}),
        )

    def swell(self, kind: str) -> tuple[Option, ...]:
        """Players join for a crescendo and leave for a diminuendo."""
        palette = self.palette
        held, inner = list(palette.held), list(palette.inner)
        if kind == "dim":
            soft = {"hold": "harmony", "on": held, "level": "pp", "register": "middle", **self.where}
            return kept(
                option(f"{who(inner)} leave one by one", {"thin": "middle", "on": inner, **self.where}),
                option(f"{who(held)} hold the harmony softly under the fading line", soft),
            )
        rising, low = players(palette.winds_high[::-1]), players(palette.winds_low, palette.held)
        return kept(
            option(f"{who(rising)} join the melody one by one", {"build": "melody", "on": rising, **self.where}),
            option(f"{who(low)} join the middle one by one", {"build": "middle", "on": low, **self.where}),
            option(f"a roll of the {who(palette.rolls)}", {"build": "all", "on": list(palette.rolls), **self.where}),
            option(f"{who(inner)} join the melody one by one", {"build": "melody", "on": inner, **self.where}),
        )

    def inner_pedal_point(self) -> tuple[Option, ...]:
        """Who holds a note that stays inside the texture."""
        palette = self.palette
        first, last = list(palette.held[:1]), list(palette.inner[-1:])
        return kept(
            option(
                f"the note doubled by {who(first)}",
                {"double": "pedal point", "on": first, "at": "unison", "level": "p", **self.where},
            ),
            option(f"the note in {who(last)} alone", {"vary": "pedal point", "on": last, **self.where}),
        )
