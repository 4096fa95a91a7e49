"""Whether the players an option names can play what it gives them, and how well it lies for them.

What the player checks of the mapping would call an error (out of range, too many notes at once, too fast, too long for
one breath) makes an option unfit, and so does a tune that would lose notes or lie where the instrument does not speak.
The rest is a cost: the smaller it is, the likelier an orchestrator would weigh the option. Players are taken to have
what a plain variant gives them: tune, bass and accompaniment on the strings, nothing in the winds. The costs are our
own; that soft and bound lines suit clarinet and horn, quick and short ones flute and bassoon, loud ones brass:
*common practice, no source*.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from reading.layers import LAYER_NAMES
from reading.score import DYNAMICS

if TYPE_CHECKING:
    from reading.findings import Option
    from reading.line import Line, Lines
    from reading.palette import Palette
    from reading.reach import Reach

__all__ = ["Fit"]

_Freed = set[tuple[str, str]]
"""Players of the plain variant with a layer that a step of the option takes from them."""

_SLACK_HZ = 0.05
_HOPELESS, _PLUCKED = 2.0, 1.6  # breaths, and times the usual speed of plucking, from which a check speaks of an error
_OUTSIDE = 0.2  # share of a tune that may lie where the instrument is unsafe or does not speak
_SOFT, _LOUD = DYNAMICS.index("p"), DYNAMICS.index("f")
_QUICK_HZ, _SLOW_HZ = 5.0, 2.0
_OCTAVE = 0.8  # cost of a tune moved by an octave: its height is part of it
_SHIFTS = {"unison": 0, "8va": 12, "8vb": -12, "15ma": 24, "15mb": -24}
_MOST_DIVIDED = 4  # notes at once in the accompaniment up to which its players can strike stops besides
_SUITED = {
    "soft": {"clarinet": -0.3, "horn": -0.2, "flute": -0.1, "violas": -0.1, "cellos": -0.1, "trumpet": 1.5},
    "loud": {"trumpet": -0.3, "horn": -0.3, "oboe": -0.1, "violas": 0.4, "bassoon": 0.3, "flute": 0.2},
    "quick": {"horn": 0.8, "trumpet": 0.4, "flute": -0.3, "clarinet": -0.1, "cellos": 0.3, "violas": 0.1},
    "slow": {"oboe": -0.2, "cellos": -0.3, "horn": -0.3, "bassoon": -0.1, "clarinet": -0.1},
    "legato": {"clarinet": -0.2, "cellos": -0.2, "horn": -0.1, "trumpet": 0.3, "flute": -0.1},
    "detached": {"bassoon": -0.3, "oboe": -0.3, "flute": -0.2, "horn": 0.3, "cellos": 0.3, "violas": 0.1},
}


def _octave_of(name: str) -> int:
    """Return the octave a player's name carries, in semitones."""
    return _SHIFTS.get(name.rpartition(" ")[2], 0)


class Fit:
    """What options cost, for one piece and its palette.

    Parameters
    ----------
    lines : Lines
    palette : Palette
    """

    def __init__(self, lines: Lines, palette: Palette) -> None:
        self._lines, self._palette = lines, palette
        self._known: dict[tuple[Line, Reach, int, bool], float | None] = {}

    def cost(self, option: Option) -> float | None:
        """Return how ill an option lies, about 0 to 3; None where it cannot be played, or not whole."""
        freed = {
            (name, step["vary"])
            for step in option.steps
            if "vary" in step
            for name in _strings(self._palette)
            if name not in step["on"]
        }
        total = 0.0
        for step in option.steps:
            cost = self._step(step, freed)
            if cost is None:
                return None
            total += cost
        return total

    def _step(self, step: dict[str, Any], freed: _Freed) -> float | None:
        """The cost of one step."""
        if "stress" in step:
            return self._stressed(step)
        if step.get("refigure") and step["as"] == "pizzicato":
            return self._plucked(step)
        verb = next((one for one in ("vary", "double", "build", "answer") if step.get(one) in LAYER_NAMES), None)
        if verb is None:
            return 0.0
        line = self._lines.of(step["bars"], step[verb])
        if not len(line):
            return None
        if verb == "answer":
            return self._answered(step["between"], line)
        costs = [self._given(verb, step, name, line, freed) for name in step["on"]]
        known = [cost for cost in costs if cost is not None]
        return sum(known) / len(known) if len(known) == len(costs) else None

    def _given(self, verb: str, step: dict[str, Any], name: str, line: Line, freed: _Freed) -> float | None:
        """What it costs one player to take a layer, or part of it."""
        reach = self._palette.reach(name)
        if reach is None or reach.low > reach.high:
            return 0.0  # strokes without pitch, or an instrument nothing is known of
        layer, many = step[verb], len(step["on"])
        tune = layer == "melody"
        shared = verb == "build" or (verb == "vary" and many > 1 and (not tune or step.get("share") == "divide"))
        if verb == "double" and (layer == "bass" or reach.at_once == 1):
            line = line.lowest if layer == "bass" else line.highest
        room = reach.at_once - self._busy(reach.name, step, layer, freed)
        if line.at_once > room and not (shared and 0 < line.strands <= many):
            return None
        shift = _octave_of(name) + _SHIFTS.get(step.get("at", "unison"), 0)
        cost = self._lies(line, reach, shift, every=tune or verb != "build")
        return None if cost is None else cost + _OCTAVE * (verb == "vary" and tune and shift != 0)

    def _busy(self, name: str, step: dict[str, Any], layer: str, freed: _Freed) -> int:
        """Notes at once a string section has already in a plain variant; the layer it takes is not counted."""
        palette = self._palette
        has: tuple[str, ...] = ()
        if name in palette.inner:
            has = ("accompaniment",) if layer in ("melody", "bass") else ("melody",) if layer == "all" else ()
        elif name in [one.removesuffix(" 8vb") for one in palette.bass]:
            has = ("bass",) if layer != "bass" else ()
        elif name in palette.melody:
            has = ("melody",) if layer != "melody" else ()
        left = [one for one in has if (name, one) not in freed]
        most = sum(self._lines.of(step["bars"], one).at_once for one in left)
        if name not in palette.inner and name not in palette.melody:
            most += self._too_low(step["bars"])
        return -(-most // 2) if name in palette.inner and len(palette.inner) > 1 else most

    def _too_low(self, bars: str) -> int:
        """Notes at once of the accompaniment that lie too low for its players, so that the next lower one has them."""
        lows = [reach.low for name in self._palette.inner if (reach := self._palette.reach(name))]
        line = self._lines.of(bars, "accompaniment")
        return line.where(line.pitch < min(lows)).at_once if lows else 0

    def _lies(self, line: Line, reach: Reach, shift: int, *, every: bool) -> float | None:
        """How ill a line lies for a player; None where it cannot be played whole, or does not speak."""
        key = (line, reach, shift, every)
        if key not in self._known:
            self._known[key] = _lies(line, reach, shift, every=every)
        return self._known[key]

    def _answered(self, groups: list[list[str]], line: Line) -> float | None:
        """A dialogue by register: the lower bars for the first group, the higher ones for the second."""
        bars = line.notes["bar"]
        height = {bar: float(line.pitch[bars == bar].mean()) for bar in np.unique(bars).tolist()}
        edge = float(np.quantile(list(height.values()), 0.5))
        low = np.array([height[bar] <= edge for bar in bars.tolist()])
        total = 0.0
        for names, mask in zip(groups, (low, ~low), strict=True):
            turn = line.where(mask)
            for name in names:
                reach = self._palette.reach(name)
                if reach is None or not len(turn):
                    continue
                room = reach.at_once - (self._lines_under(name, line) if reach.family == "strings" else 0)
                cost = None if turn.at_once > room else self._lies(turn, reach, _octave_of(name), every=True)
                if cost is None:
                    return None
                total += cost
        return total / 2

    def _lines_under(self, name: str, line: Line) -> int:
        """Notes at once that strings keep beside a dialogue: half of what they are, at a guess."""
        return 1 if name not in self._palette.melody and line.at_once else 0

    def _stressed(self, step: dict[str, Any]) -> float | None:
        """Accents: too many in a row for who strikes them, or no hand free for stops."""
        if step.get("by") == "multiple stops":
            under = self._lines.of(step["bars"], "accompaniment")
            overlap = not step.get("beats") and self._lines.of(step["bars"]).overlaps_quarters
            return None if under.at_once > _MOST_DIVIDED or overlap else 0.0
        chord = self._lines.of(step["bars"], beats=step.get("beats", ""))
        if step.get("by") == "grace run":
            return None if not any(self._runs_up(name, chord) for name in step["on"]) else 0.0
        if step["stress"] != "notes":
            return 0.0
        struck = chord.struck_hz
        limits = [reach.fastest_hz for name in step["on"] if (reach := self._palette.reach(name)) and reach.fastest_hz]
        return None if limits and struck > min(limits) else 0.0

    def _runs_up(self, name: str, chord: Line) -> bool:
        """Whether a chord has a note to which a player can run up."""
        reach = self._palette.reach(name)
        if reach is None:
            return False
        return bool(((chord.pitch >= reach.safe_low + 6) & (chord.pitch <= reach.safe_high)).any())

    def _plucked(self, step: dict[str, Any]) -> float | None:
        """A figure to be plucked: not faster than fingers go."""
        line = self._lines.of(step["bars"], step["refigure"])
        limits = [reach.pluck_hz for name in step["on"] if (reach := self._palette.reach(name)) and reach.pluck_hz]
        if not limits or not len(line):
            return 0.0
        over = line.struck_hz / min(limits)
        if over > _PLUCKED:
            return None
        return (0.8 if over > 1 else 0.0) - 0.3 * line.detached + 0.3 * line.legato + 0.2 * (line.loudness >= _LOUD)


def _strings(palette: Palette) -> list[str]:
    """The players of a plain variant."""
    return [name.removesuffix(" 8vb") for name in (*palette.melody, *palette.inner, *palette.bass)]


def _lies(line: Line, reach: Reach, shift: int, *, every: bool) -> float | None:
    """How ill a line lies for a player at a distance of *shift* semitones."""
    if every and (line.low + shift < reach.low or line.high + shift > reach.high):
        return None
    if reach.fastest_hz is not None and line.tongued_hz > reach.fastest_hz + _SLACK_HZ:
        return None
    if reach.breath_loud_s is not None and line.held_s > _HOPELESS * reach.breath_loud_s:
        return None
    pitch = line.pitch + shift
    unsafe = float(((pitch < reach.safe_low) | (pitch > reach.safe_high)).mean())
    dumb = _unreliable(line, reach, shift)
    if every and (unsafe > _OUTSIDE or dumb > _OUTSIDE):
        return None
    zone = (reach.safe_low + reach.safe_high) / 2
    cost = 2 * unsafe + 2 * dumb + 0.03 * max(0.0, abs(line.middle + shift - zone) - 6)
    return cost + _awkward(line, reach) + sum(_SUITED[trait].get(reach.kind, 0.0) for trait in _traits(line))


def _unreliable(line: Line, reach: Reach, shift: int) -> float:
    """Share of notes in a register that cannot be relied on at their loudness."""
    pitch, bad = line.pitch + shift, np.zeros(len(line), dtype=bool)
    for low, high, softest, loudest in reach.weak:
        inside = (pitch >= low) & (pitch <= high)
        if softest:
            bad |= inside & (line.level < DYNAMICS.index(softest) - 0.5)
        if loudest:
            bad |= inside & (line.level > DYNAMICS.index(loudest) + 0.5)
    return float(bad.mean())


def _awkward(line: Line, reach: Reach) -> float:
    """Speed, breath, leaps and broken chords that can be had, but."""
    cost = 0.7 * (reach.easy_hz is not None and line.tongued_hz > reach.easy_hz)
    cost += 0.4 * (reach.breath_loud_s is not None and line.unbroken_s > reach.breath_loud_s)
    cost += 0.4 * (reach.leap is not None and line.leap >= reach.leap)
    return cost + 0.6 * (reach.poor_arpeggio and line.breaks_chords)


def _traits(line: Line) -> list[str]:
    """The character of a line in words."""
    said = {
        "soft": line.loudness <= _SOFT,
        "loud": line.loudness >= _LOUD,
        "quick": line.pace_hz > _QUICK_HZ,
        "slow": 0 < line.pace_hz < _SLOW_HZ,
        "legato": line.legato,
        "detached": line.detached,
    }
    return [trait for trait, true in said.items() if true]
