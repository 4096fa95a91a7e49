"""Which options a finding keeps: playable ones, fit for what the passage is, unlike each other and unlike what was.

Options are priced (:mod:`reading.findings_fit`, and what is said here) and taken one after the other, each dearer the
more it resembles those taken. What a tune was offered before makes the same colour dearer for the next theme; for what
comes back, the colour of its model. All prices are our own; that a return wants another colour is *common practice, no
source*.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from reading.score import DYNAMICS

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from reading.findings import Draft, Option
    from reading.findings_fit import Fit
    from reading.line import Lines
    from reading.palette import Palette

__all__ = ["TUNES", "Chooser"]

TUNES = ("new theme", "contrast", "return", "repeat", "melody in the left hand")
"""Kinds of findings that ask who has a tune."""

_MOST, _FEWEST = 4, 2
_PLACE = 0.04  # price of standing later in the list of options
_DEAR = 2.0  # how much dearer than the best an option may be, once there are two
_SAME_PLAYERS, _SAME_FAMILY, _SAME_VERB, _SAME_WAY = 0.9, 0.3, 0.25, 0.2  # price of resembling an option taken already
_SHARED = 0.4  # price of having some of its players
_DOUBLING = 0.3  # price of a doubling where a colour for the tune itself is asked
_HEARD, _HEARD_FAMILY = 0.35, 0.15  # price of a colour that an earlier tune was offered first
_MODEL, _MODEL_FAMILY = 1.2, 0.6  # price of the colour of the passage that comes back
_LOUD, _SOFT = DYNAMICS.index("f"), DYNAMICS.index("p")
_VERBS = ("vary", "double", "hold", "stress", "fill", "refigure", "answer", "build", "thin", "mark", "rest")
_ACCENTS = {  # which answers suit which kind of accent: common practice, no source
    "arpeggio sign": {"all": -0.6, "grace run": -0.5, "mark": -0.4, "pizzicato": -0.3, "timpani": 0.5, "fp": 0.4},
    "sforzando": {
        "chord": -0.4,
        "timpani": -0.3,
        "short over held": -0.2,
        "fp": 0.1,
        "mark": 9.0,
        "grace run": 0.6,
        "all": 0.9,
    },
    "forte-piano": {"fp": -0.6, "short over held": -0.4, "chord": 0.1, "mark": 9.0, "grace run": 0.6, "all": 0.9},
    "notes at once": {"tutti": -0.5, "multiple stops": -0.4, "pizzicato": -0.1, "grace run": 0.4, "mark": 0.5},
    "the bass drops": {"timpani": -0.5, "chord": 0.0, "pizzicato": -0.3, "grace run": 0.9, "all": 0.9},
    "struck off the beat": {"mark": -0.4, "chord": -0.3, "short over held": 0.1, "grace run": 0.7, "all": 0.9},
    "accent": {"pizzicato": -0.2, "mark": 9.0, "grace run": 0.5, "all": 0.9},  # the mark is there already
}


@dataclass(frozen=True)
class _Colour:
    """What an option sounds like: its way, its players without octave, their families; whether the tune moves."""

    way: tuple[str, ...]
    players: frozenset[str]
    families: frozenset[str]
    leads: bool


class Chooser:
    """Chooses among options, and remembers what tunes were offered.

    Parameters
    ----------
    fit : Fit
    lines : Lines
    palette : Palette
    """

    def __init__(self, fit: Fit, lines: Lines, palette: Palette) -> None:
        self._fit, self._lines, self._palette = fit, lines, palette
        self._given: list[tuple[int, int, _Colour]] = []
        self._strings = self._colour_of("vary", list(palette.melody), ("vary", "", ""), leads=True)

    def chosen(
        self, draft: Draft, options: Iterable[Option], *, accent: str = "", model: tuple[int, int] | None = None
    ) -> tuple[Option, ...]:
        """Return two to four of the options; fewer where fewer can be played.

        Parameters
        ----------
        draft : Draft
        options : iterable of Option
            Those that would change something.
        accent : str
            Why the strongest moment of an accent is one.
        model : (int, int), optional
            First and last bar of the passage that comes back.
        """
        priced: list[tuple[float, _Colour, Option]] = []
        for place, option in enumerate(options):
            cost = self._fit.cost(option)
            if cost is not None:
                colour = self._colour(option)
                price = cost + _PLACE * min(place, 6) + self._accent(colour, accent, option)
                priced.append((price + self._heard(draft, colour, model), colour, option))
        taken = _unlike(priced)
        leads = next((colour for colour, _ in taken if colour.leads), None)
        if leads is not None and draft.kind in TUNES:
            self._given.append((draft.first, draft.last, leads))
        return tuple(option for _, option in taken)

    def _colour(self, option: Option) -> _Colour:
        """What an option sounds like: its first step tells."""
        step = option.steps[0]
        verb = next((one for one in _VERBS if one in step), "play")
        groups = step.get("between") or [step.get("on", step.get("rest", []))]
        names = [name for group in groups for name in group]
        detail = str(step.get("by") or step.get("as") or step.get("at") or "")
        layer = step[verb] if isinstance(step[verb], str) else ""
        leads = verb == "vary" and layer == "melody"
        return self._colour_of(verb, names, (verb, layer, detail, step["bars"]), leads=leads)

    def _colour_of(self, verb: str, names: Sequence[str], way: tuple[str, ...], *, leads: bool) -> _Colour:
        """A colour from players as options name them."""
        plain = frozenset(name.removesuffix(" 8vb").removesuffix(" 8va") for name in names)
        reaches = [self._palette.reach(name) for name in plain]
        solo = verb in ("vary", "double", "answer", "build")
        families = frozenset(one.family for one in reaches if one is not None) if solo else frozenset()
        return _Colour(way, plain, families, leads)

    def _accent(self, colour: _Colour, reason: str, option: Option) -> float:
        """How an answer suits the kind of accent, and its loudness."""
        if not reason:
            return 0.0
        kind = next((one for one in _ACCENTS if one in reason), "accent")
        step = option.steps[0]
        tutti = {*self._palette.brass, *self._palette.drums, *self._palette.winds_high} <= colour.players
        way = "mark" if "mark" in step else "all" if "double" in step else "tutti" if tutti else step.get("by", "chord")
        level = self._lines.of(step["bars"]).loudness
        heavy = bool(colour.players & {*self._palette.brass, *self._palette.drums, *self._palette.strokes})
        price = _ACCENTS[kind].get(way, 0.3 if way == "tutti" else 0.0)
        price += 0.8 * heavy * (level <= _SOFT) - 0.2 * heavy * (level >= _LOUD)
        return price - 0.3 * (way == "pizzicato") * (level <= _SOFT) + 0.4 * (way == "pizzicato") * (level >= _LOUD)

    def _heard(self, draft: Draft, colour: _Colour, model: tuple[int, int] | None) -> float:
        """What a colour costs because of what was offered before."""
        if draft.kind not in TUNES or colour.way[0] not in ("vary", "double"):
            return 0.0
        price, share = (0.0, 1.0) if colour.leads else (_DOUBLING, 0.4)
        for given in [given for *_, given in self._given[-3:]]:
            price += share * (_HEARD * (given.players == colour.players) + _HEARD_FAMILY * _kin(given, colour))
        if draft.kind in ("return", "repeat"):
            first = self._model(model)
            price += share * (_MODEL * (first.players == colour.players) + _MODEL_FAMILY * _kin(first, colour))
        return price

    def _model(self, model: tuple[int, int] | None) -> _Colour:
        """The colour first offered to what comes back; that of the first violins where nothing was."""
        if model is not None:
            for first, last, given in self._given:
                if first <= model[1] and last >= model[0]:
                    return given
        return self._strings


def _kin(one: _Colour, other: _Colour) -> bool:
    """Whether two colours are of one family."""
    return bool(one.families) and one.families == other.families


def _likeness(one: _Colour, other: _Colour) -> float:
    """What it costs to offer two colours for one question."""
    if one.way[-1] != other.way[-1]:
        return 0.0  # other bars: another part of the answer
    alike = 0.0
    if one.families and other.families:  # who has the line; who holds or strikes may stay the same in another way
        alike += _SAME_PLAYERS * (one.players == other.players) + _SAME_FAMILY * _kin(one, other)
        alike += _SHARED * (one.players != other.players and bool(one.players & other.players))
    return alike + _SAME_VERB * (one.way[:2] == other.way[:2]) + _SAME_WAY * (one.way[:3] == other.way[:3])


def _unlike(priced: list[tuple[float, _Colour, Option]]) -> list[tuple[_Colour, Option]]:
    """The cheapest options, each the dearer the more it resembles those taken."""
    taken: list[tuple[_Colour, Option]] = []
    left = list(priced)
    best = min((price for price, *_ in left), default=0.0)
    while left and len(taken) < _MOST:
        now = [
            (price + sum(_likeness(colour, other) for other, _ in taken), row)
            for row, (price, colour, _) in enumerate(left)
        ]
        price, row = min(now)
        if price > best + _DEAR and len(taken) >= _FEWEST:
            break
        _, colour, option = left.pop(row)
        if all(option.says != other.says for _, other in taken):
            taken.append((colour, option))
    return taken
