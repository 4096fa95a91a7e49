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


def players(*groups: Sequence[str]) -> list[str]:
    """Return all players of the groups, each once."""
    return list(dict.fromkeys(name for group in groups for name in group))


def who(names: Sequence[str]) -> str:
    """Return players as words: ``horn 1 and horn 2``."""
    plain = [name.removesuffix(" 8vb") for name in names]
    return " and ".join([", ".join(plain[:-1]), plain[-1]] if len(plain) > 2 else plain)


def kept(*options: Option | None) -> tuple[Option, ...]:
    """Return the options the orchestra has players for; which of them are offered is chosen by what the passage is."""
    return tuple(one for one in options if one is not None)


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
        held, drums, top = list(palette.held), list(palette.drums), list(palette.winds_high[:1])
        upper, all_brass = players(palette.melody, palette.inner), players(palette.brass, palette.held)

        def stress(on: Sequence[str], by: str) -> Step:
            return {**what, "on": list(on), "by": by, **where}

        return kept(
            option(f"{who(held)} strike the chord", stress(held, "chord")),
            option("strings strike it in multiple stops", stress(upper, "multiple stops")) if palette.strings else None,
            option(f"{who(drums)} mark the bass", stress(drums, "timpani")),
            option(f"{who(palette.strokes)} strike it", {**what, "on": list(palette.strokes), **where}),
            option(f"{who(all_brass)} strike short over held notes", stress(all_brass, "short over held")),
            option(f"{who(upper)} play fp", stress(upper, "fp")),
            option(f"{who(palette.inner)} pluck the chord under it", stress(palette.inner, "pizzicato"))
            if palette.strings
            else None,
            option(f"a short chord of all winds, {who(drums)} with it", stress(self._tutti(), "chord"))
            if drums
            else None,
            *(self._spread(beats, top, stress(top, "grace run")) if beats else ()),
        )

    def _tutti(self) -> list[str]:
        """Everybody beside the strings of a plain variant."""
        palette = self.palette
        return players(palette.winds_high, palette.held, palette.brass, palette.winds_low, palette.drums)

    def _spread(self, beats: str, top: list[str], run: Step) -> tuple[Option | None, ...]:
        """A chord the piano spreads: spread by the harp, entered in turn, run up to, or no more than an accent."""
        palette = self.palette
        strings = players(palette.melody, palette.inner, [name.removesuffix(" 8vb") for name in palette.bass])
        harp = list(palette.plucked)
        where = {**self.where, "beats": beats}
        return (
            option(f"the {who(harp)} spreads the chord", {"double": "all", "on": harp, **where}),
            option(f"{who(top)} runs up to its highest note", run),
            option("an accent for those who play it, nothing more", {"mark": "accent", "on": strings, **where}),
        )

    def loud_and_soft(self, loud: str, soft: str) -> tuple[Option, ...]:
        """Make a change of loudness a change of players."""
        joining = kept(*self._loud(loud)) if loud else ()
        leaving = kept(*self._soft(soft)) if soft else ()
        return (*joining, *leaving)

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
            option(f"{who(high[:1])} joins an octave above where it is loud", {**join, "on": high[:1], "at": "8va"}),
            option(f"{who(palette.brass[:1])} joins where it is loud", {**join, "on": list(palette.brass[:1])}),
            option(f"the melody doubled by {who(palette.inner[:1])} an octave below where it is loud", below),
            option(f"the harmony held by {who(palette.held)} where it is loud", hold) if not high else None,
            option(f"{who(palette.inner)} hold the harmony where it is loud", {**hold, "on": list(palette.inner)}),
        )

    def _soft(self, bars: str) -> tuple[Option | None, ...]:
        """Who is left where it is soft."""
        palette, at = self.palette, {"bars": bars}
        inner = list(palette.inner)
        return (
            *(
                option(f"the soft bars in {who([name])}", {"vary": "melody", "on": [name], **at})
                for name in players(palette.winds_high[::-1], palette.held[:1], palette.winds_low[:1])
                if name not in inner
            ),
            option("the accompaniment is plucked where it is soft", self._plucked(at)),
            option(
                "held chords instead of motion under the soft bars",
                {"refigure": "accompaniment", "on": inner, "as": "held", **at},
            ),
            option(f"the soft bars in {who(inner[-1:])}", {"vary": "melody", "on": inner[-1:], **at}),
        )

    def _plucked(self, at: Step) -> Step:
        """Pizzicato in the inner strings; a step without players where there are none."""
        strings = [name for name in self.palette.inner if name in self.palette.strings]
        return {"refigure": "accompaniment", "on": strings, "as": "pizzicato", **at}

    def pedal(self) -> tuple[Option, ...]:
        """Say what goes on sounding."""
        palette = self.palette
        held, inner, low = list(palette.held), list(palette.inner), list(palette.winds_low[:1])
        pair = players(palette.winds_high[-1:], low)
        harmony = {"hold": "harmony", "register": "middle"}
        return kept(
            option(f"{who(held)} hold the harmony softly", {**harmony, "on": held, "level": "p", **self.where}),
            option(f"{who(inner)} sustain it", {**harmony, "on": inner, "level": "pp", **self.where}),
            option(f"{who(pair)} hold the harmony softly", {**harmony, "on": pair, "level": "p", **self.where})
            if low and pair != held
            else None,
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
        strike = players(palette.brass, palette.drums)
        above = {"double": "melody", "on": top, "at": "8va", "compass": "C5-C7", **self.where}
        strokes = list(palette.strokes)
        return kept(
            option(f"{who(fill)} fill the chords", {"hold": "harmony", "on": fill, "register": "middle", **self.where}),
            option(f"{who(strokes)} strike the chords", {"stress": "notes", "on": strokes, **self.where}),
            option(f"{who(strike)} strike every chord", {"stress": "notes", "on": strike, "by": "chord", **self.where}),
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
        low, high = players(palette.winds_low, palette.held), list(palette.winds_high[::-1])
        tunes = [players(high), high[:2], high[1:], high[-1:], players(palette.brass[:1]), inner]

        def joining(layer: str, on: list[str]) -> Option | None:
            words = "one by one" if len(on) > 1 else ""
            return option(f"{who(on)} join{'' if len(on) > 1 else 's'} the {layer} {words}".strip(),
                          {"build": layer, "on": on, **self.where})  # fmt: skip

        return kept(
            *(joining("melody", on) for on in tunes),
            joining("middle", low),
            option(f"a roll of the {who(palette.rolls)}", {"build": "all", "on": list(palette.rolls), **self.where}),
            option(
                f"{who(held)} hold the harmony as it grows",
                {"hold": "harmony", "on": held, "register": "middle", **self.where},
            ),
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
