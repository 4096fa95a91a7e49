"""Options as spec steps: what an orchestra can do about each kind of finding.

The answers themselves are common practice of the trade; ``docs/survey.md`` names sources where there are any. What
every option keeps to is said in :mod:`reading.findings_options_sound`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from reading.findings_options_sound import SoundOffers, kept, option, players, who

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reading.findings import Option

__all__ = ["Offers"]

Step = dict[str, Any]

_FIGURES = {
    "repeated": "repeated notes",
    "held and pulse": "held chords with a pulse",
    "tremolo": "a tremolo on the same harmony",
    "shared": "the figure shared out",
    "pizzicato": "the figure plucked",
    "held": "held chords instead of motion",
    "natural": "the figure as it lies well",
}


@dataclass(frozen=True)
class Offers(SoundOffers):
    """Options for the bars *bars* (as a spec writes them), with the players of *palette*."""

    def theme(self) -> tuple[Option, ...]:
        """Give a theme a colour of its own."""
        return kept(*self._solos(), *self._joining())

    def _solos(self) -> tuple[Option | None, ...]:
        """The melody in one instrument, in two of a kind, or in two that blend; where it must be, an octave away."""
        palette = self.palette
        strings = self._own()
        winds = [
            name
            for name in players(palette.winds_high, palette.winds_low[:1], palette.held[:1], palette.brass[:1])
            if name not in strings
        ]
        high, pairs = list(palette.winds_high), [palette.winds_low, palette.held, palette.brass]
        mixed = [high[place : place + 2] for place in range(len(high) - 1)]
        mixed += [players(palette.winds_low[:1], high[-1:])] if palette.winds_low and high else []
        return (
            *(self._solo(name) for name in winds),
            self._cellos(),
            *self._violas(),
            *(self._voices(list(pair)) for pair in pairs if len(pair) > 1 and not {*pair} & strings),
            *(self._both(pair) for pair in mixed),
            *(self._solo(name, at) for name in winds for at in ("8vb", "8va")),
        )

    def _own(self) -> set[str]:
        """The players of a plain variant."""
        palette = self.palette
        return {name.removesuffix(" 8vb") for name in (*palette.melody, *palette.inner, *palette.bass)}

    def _solo(self, name: str, at: str = "") -> Option | None:
        """The melody goes to one player, at its height or an octave away."""
        away = {"": "", "8vb": ", an octave lower", "8va": ", an octave higher"}[at]
        return option(
            f"the melody in {who([name])}{away}", {"vary": "melody", "on": [f"{name} {at}".strip()], **self.where}
        )

    def _both(self, names: list[str]) -> Option | None:
        """The melody goes to two players in unison."""
        return option(f"the melody in {who(names)}, in unison", {"vary": "melody", "on": names, **self.where})

    def _voices(self, names: list[str]) -> Option | None:
        """A melody of two notes at once goes to two players."""
        step = {"vary": "melody", "on": names, "share": "divide", **self.where}
        return option(f"the melody in {who(names)}, a voice each", step)

    def _cellos(self) -> Option | None:
        """The cellos sing, and others keep the bass."""
        palette = self.palette
        cello = [name for name in palette.bass[:1] if not name.endswith(" 8vb") and len(palette.bass) > 1]
        keep = [*palette.winds_low[:1], *palette.bass[1:]]
        return option(
            f"the melody in {who(cello)}, the bass kept by {who(keep)}",
            {"vary": "melody", "on": cello, **self.where},
            {"vary": "bass", "on": keep, **self.where},
        )

    def _violas(self) -> tuple[Option | None, ...]:
        """The violas sing: all of them, while the violins take the middle, or half of them."""
        palette = self.palette
        last = list(palette.inner[-1:]) if palette.strings else []
        others = [name for name in (*palette.melody, *palette.inner[:-1]) if name in palette.strings]
        step = {"vary": "melody", "on": last, **self.where}
        return (
            option(
                f"the melody in {who(last)}, the middle in {who(others)}",
                step,
                {"vary": "accompaniment", "on": others, **self.where},
            ),
            option(f"the melody in half of the {who(last)}", step),
        )

    def _joining(self) -> tuple[Option | None, ...]:
        """Winds or strings that double the melody."""
        palette = self.palette
        winds = players(palette.winds_high, palette.winds_low[:1], palette.held[:1], palette.brass[:1])
        below = players(palette.winds_high[::-1], palette.winds_low[:1], palette.inner[:1])
        return (
            *(self._joined([name], "unison") for name in winds if name not in self._own()),
            *(self._joined([name], "8va") for name in palette.winds_high),
            *(self._joined([name], "8vb") for name in below),
        )

    def _joined(self, names: Sequence[str], at: str) -> Option | None:
        """These players double the melody."""
        place = {"unison": "in unison", "8vb": "an octave below", "8va": "an octave above"}[at]
        step = {"double": "melody", "on": list(names), "at": at, **self.where}
        return option(f"the melody doubled by {who(names)} {place}", step)

    def contrast(self) -> tuple[Option, ...]:
        """Give another character to another group."""
        palette = self.palette
        held, plain = list(palette.held), self._own()
        groups = [palette.winds_low, palette.winds_high[-2:], palette.held]
        middle = [list(group) for group in groups if group and not {*group} & plain]
        return kept(
            *self._solos(),
            *(option(f"the middle in {who(on)}", {"vary": "middle", "on": on, **self.where}) for on in middle),
            self._held_harmony(f"{who(held)} hold the harmony"),
            option("the accompaniment is plucked", self._plucked(self.where)),
            option(f"the middle in {who(palette.inner[-1:])}", self._middle_moved()),
        )

    def _middle_moved(self) -> Step:
        """The violas alone have the middle."""
        return {"vary": "middle", "on": list(self.palette.inner[-1:]), **self.where}

    def _held_harmony(self, says: str, level: str = "") -> Option | None:
        """Who holds notes holds the harmony."""
        step = {"hold": "harmony", "on": list(self.palette.held), "register": "middle", **self.where}
        return option(says, {**step, "level": level} if level else step)

    def figure(self, ways: Sequence[str], layer: str = "accompaniment") -> tuple[Option, ...]:
        """Replace a pianistic figure, in the *ways* of the spec's ``refigure``."""
        on = list(self.palette.inner)
        strings = [name for name in on if name in self.palette.strings]
        chosen = [(way, strings if way in ("pizzicato", "tremolo") else on) for way in ways]
        return kept(
            *(
                option(f"{_FIGURES[way]}, in {who(names)}", {"refigure": layer, "on": names, "as": way, **self.where})
                for way, names in chosen
            )
        )

    def gap(self) -> tuple[Option, ...]:
        """Fill the empty middle."""
        palette = self.palette
        pair = players(palette.winds_high[-1:], palette.winds_low[:1]) or list(palette.inner)
        held = list(palette.held)
        return kept(
            option(f"{who(pair)} fill the middle", {"fill": "gap", "on": pair, **self.where}),
            option(
                f"{who(held)} hold the harmony between",
                {"hold": "harmony", "on": held, "register": "middle", "level": "p", **self.where},
            ),
            self._joined(palette.inner[:1], "8vb"),
        )

    def repeat(self) -> tuple[Option, ...]:
        """Give what comes back a new colour, or the same and more."""
        held = who(self.palette.held)
        return kept(*self._solos(), self._held_harmony(f"the same over held notes of {held}", "p"), *self._joining())

    def layers(self, inner_line: str) -> tuple[Option, ...]:
        """Give each layer of one hand its own players."""
        palette = self.palette
        low, held, viola = list(palette.winds_low[:1]), list(palette.held[-1:]), list(palette.inner[-1:])
        cello = list(palette.bass[:1])
        return kept(
            option(
                f"the inner line brought out by {who(low)}",
                {"double": inner_line, "on": low, "at": "unison", **self.where},
            ),
            option(
                f"the bass held by {who(held)}, the line in {who(viola)}",
                {"hold": "bass", "on": held, "level": "p", **self.where},
                {"vary": inner_line, "on": viola, **self.where},
            ),
            *(
                option(f"the line in {who([name])}", {"vary": inner_line, "on": [name], **self.where})
                for name in players(cello, palette.winds_low[:1], palette.winds_high[-1:], palette.held[:1])
            ),
            *(
                option(f"the middle in {who(pair)}", {"vary": "middle", "on": list(pair), **self.where})
                for pair in (palette.winds_low, palette.held)
                if len(pair) > 1
            ),
        )

    def octaves(self) -> tuple[Option, ...]:
        """Choose how many octaves one line has."""
        palette = self.palette
        rising = players(palette.winds_low[:1], palette.winds_high[::-1])
        return kept(
            self._joined(palette.winds_high, "unison"),
            *self._joining(),
            self._joined(palette.winds_low, "8vb"),
            option(f"{who(rising)} join one by one", {"build": "melody", "on": rising, **self.where}),
            self._joined(palette.inner, "unison"),
            self._joined(palette.bass[:1], "8vb"),
        )

    def dialogue(self) -> tuple[Option, ...]:
        """Let groups answer each other."""
        palette = self.palette
        low = players(palette.winds_low[:1], palette.bass[:1], palette.inner[-1:], palette.winds_high[-1:])
        high = players(palette.winds_high, palette.melody[:1])
        return kept(*(self._asks([below], [above]) for below in low for above in high))

    def _asks(self, low: Sequence[str], high: Sequence[str]) -> Option | None:
        """One group has the low phrases, the other the high ones."""
        if list(low) == list(high):
            return None
        says = f"{who(low)} below, {who(high)} above" if low and high else ""
        return option(says, {"answer": "melody", "between": [list(low), list(high)], "by": "register", **self.where})

    def low_melody(self) -> tuple[Option, ...]:
        """Say who has a melody that lies in the left hand."""
        palette = self.palette
        return kept(*self._solos(), *(self._joined([name], "unison") for name in palette.winds_low[:1]))

    def without_melody(self) -> tuple[Option, ...]:
        """Give another colour to bars in which nobody has a tune: their bass, and the harmony above it."""
        palette = self.palette
        low, held = list(palette.winds_low[:1]), list(palette.held)
        cello = [name.removesuffix(" 8vb") for name in palette.bass[:1]]
        return kept(
            option(f"the bass brought out by {who(low)}", {"double": "bass", "on": low, "at": "unison", **self.where}),
            option(
                f"the harmony held by {who(held)}",
                {"hold": "harmony", "on": held, "register": "middle", "level": "p", **self.where},
            ),
            option(f"the bass in {who(cello)} alone", {"vary": "bass", "on": cello, **self.where}),
        )

    def bass_octave(self) -> tuple[Option, ...]:
        """Say what the lowest octave does where the piano leaves it out."""
        palette = self.palette
        deepest = [name.removesuffix(" 8vb") for name in palette.bass[-1:]]
        low = list(palette.winds_low[-1:] or palette.inner[-1:])
        return kept(
            option(f"{who(deepest)} rest with it", {"rest": deepest, **self.where}),
            option(
                f"the bass goes on softly in {who(low)} too",
                {"double": "bass", "on": low, "at": "unison", "level": "p", **self.where},
            ),
        )

    def counterpoint(self) -> tuple[Option, ...]:
        """Make independent lines distinct."""
        low = list(self.palette.winds_low[:1])
        return kept(
            *self._joining(),
            option(
                f"the lowest line doubled by {who(low)}", {"double": "bass", "on": low, "at": "unison", **self.where}
            ),
            option("the middle is plucked", self._plucked(self.where)),
            *self._solos(),
        )

    def anyhow(self) -> tuple[Option, ...]:
        """What can be asked of any bars: who marks their attacks, who rests."""
        palette = self.palette
        upper = players(palette.melody, palette.inner)
        return kept(
            option(f"{who(upper)} play fp", {"stress": "notes", "on": upper, "by": "fp", "beats": "1", **self.where}),
            option("the accompaniment is plucked", self._plucked(self.where)),
        )
