"""Options as spec steps: what an orchestra can do about each kind of finding.

The answers themselves are common practice of the trade; ``docs/survey.md`` names sources where there are any. What
every option keeps to is said in :mod:`reading.findings_options_sound`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from reading.findings_options_sound import SoundOffers, kept, option, players, who

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reading.findings import Option

__all__ = ["Offers"]

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
        palette = self.palette
        return kept(
            self._alone(palette.winds_high[-1:]),
            self._joined(palette.winds_high[1:2], "unison"),
            self._alone(palette.held[:1]),
            self._above(),
            self._alone(palette.inner[-1:]),
            self._joined(palette.inner[:1], "8vb"),
        )

    def _alone(self, names: Sequence[str]) -> Option | None:
        """The melody goes to these players."""
        return option(f"the melody in {who(names)} alone", {"vary": "melody", "on": list(names), **self.where})

    def _joined(self, names: Sequence[str], at: str) -> Option | None:
        """These players double the melody."""
        place = {"unison": "in unison", "8vb": "an octave below", "8va": "an octave above"}[at]
        step = {"double": "melody", "on": list(names), "at": at, **self.where}
        return option(f"the melody doubled by {who(names)} {place}", step)

    def _above(self) -> Option | None:
        """The highest wind doubles an octave above, where it can."""
        first = list(self.palette.winds_high[:1])
        step = {"double": "melody", "on": first, "at": "8va", "compass": "C5-C7", **self.where}
        return option(f"the melody doubled by {who(first)} an octave above", step)

    def contrast(self) -> tuple[Option, ...]:
        """Give another character to another group."""
        palette = self.palette
        high, low, held = list(palette.winds_high[:2]), list(palette.winds_low), list(palette.held)
        return kept(
            option(f"{who(high)} take the melody over", {"vary": "melody", "on": high, **self.where}),
            option(f"{who(low)} take the middle over", {"vary": "middle", "on": low, **self.where}),
            option(
                f"{who(held)} hold the harmony", {"hold": "harmony", "on": held, "register": "middle", **self.where}
            ),
            option("the accompaniment is plucked", self._plucked(self.where)),
            self._alone(palette.inner[-1:]),
        )

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
        """Give what comes back a new colour."""
        palette = self.palette
        held = list(palette.held)
        return kept(
            self._alone(palette.winds_high[-1:]),
            self._above(),
            option(
                f"the same over held notes of {who(held)}",
                {"hold": "harmony", "on": held, "register": "middle", "level": "p", **self.where},
            ),
            self._alone(palette.inner[-1:]),
        )

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
            option(f"the line in {who(cello)} alone", {"vary": inner_line, "on": cello, **self.where}),
        )

    def octaves(self) -> tuple[Option, ...]:
        """Choose how many octaves one line has."""
        palette = self.palette
        rising = players(palette.winds_low[:1], palette.winds_high[::-1])
        return kept(
            self._joined(palette.winds_high, "unison"),
            self._joined(palette.winds_low, "8vb"),
            option(f"{who(rising)} join one by one", {"build": "melody", "on": rising, **self.where}),
            self._joined(palette.inner, "unison"),
            self._joined(palette.bass[:1], "8vb"),
        )

    def dialogue(self) -> tuple[Option, ...]:
        """Let groups answer each other."""
        palette = self.palette
        return kept(
            self._asks(palette.winds_low[:1], palette.winds_high[:1]),
            self._asks(palette.bass[:1], palette.melody[:1]),
            self._asks(palette.bass[:1], palette.winds_high[:1]),
            self._asks(palette.inner[-1:], palette.melody[:1]),
        )

    def _asks(self, low: Sequence[str], high: Sequence[str]) -> Option | None:
        """One group has the low phrases, the other the high ones."""
        if list(low) == list(high):
            return None
        says = f"{who(low)} below, {who(high)} above" if low and high else ""
        return option(says, {"answer": "melody", "between": [list(low), list(high)], "by": "register", **self.where})

    def low_melody(self) -> tuple[Option, ...]:
        """Say who has a melody that lies in the left hand."""
        palette = self.palette
        return kept(
            self._alone([name.removesuffix(" 8vb") for name in palette.bass[:1]]),
            self._joined(palette.winds_low[:1], "unison"),
            self._alone(palette.held[:1]),
            self._alone(palette.inner[-1:]),
        )

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
        palette = self.palette
        low = list(palette.winds_low[:1])
        return kept(
            self._joined(palette.winds_high[1:2], "unison"),
            option(
                f"the lowest line doubled by {who(low)}", {"double": "bass", "on": low, "at": "unison", **self.where}
            ),
            self._joined(palette.inner[:1], "unison"),
            option("the middle is plucked", self._plucked(self.where)),
            self._alone(palette.inner[-1:]),
        )
