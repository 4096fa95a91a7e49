"""What changed from one variant to another, in words: steps, players, notes, and the figures that moved audibly."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from compare.acting import steps_here
from reading.score import Flag

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from compare.heard import Heard
    from mapping.arrangement import Arrangement, Part
    from reading.score import Score

__all__ = ["Change", "FigureChange", "PlayerChange", "change_between", "figure_changes", "player_changes"]

_LETTERS = "CDEFGAB"
_ATTACKS = int(
    Flag.ACCENT
    | Flag.MARCATO
    | Flag.STACCATO
    | Flag.STACCATISSIMO
    | Flag.TENUTO
    | Flag.SFORZANDO
    | Flag.FP
    | Flag.TREMOLO
)
_SIGNS = {-2: "𝄫", -1: "♭", 0: "", 1: "♯", 2: "𝄪"}


@dataclass(frozen=True)
class PlayerChange:
    """What one player has more, less or otherwise.

    Attributes
    ----------
    player : str
    added, removed, altered : int
        Notes only in the second variant, only in the first, and in both but played otherwise (technique or dynamic).
    words : str
        A sentence without full stop: what, from which note to which, in which bars.
    kind : str
        ``joins``, ``falls silent``, or empty where the player plays in both.
    notes, bars : str
        Of a player who joins or falls silent: ``8 notes, D3 to G3`` and ``bars 1–8``.
    """

    player: str
    added: int
    removed: int
    altered: int
    words: str
    kind: str = ""
    notes: str = ""
    bars: str = ""


@dataclass(frozen=True)
class FigureChange:
    """A figure that moved by more than is noticeable.

    Attributes
    ----------
    name, title, unit : str
    first, second, difference : float
        Values in both variants; second minus first.
    times_noticeable : float
        The difference in units of what is noticeable, above 1.
    words : str
        What the second variant does more or less.
    """

    name: str
    title: str
    unit: str
    first: float
    second: float
    difference: float
    times_noticeable: float
    words: str


@dataclass(frozen=True)
class Change:
    """The second variant as seen from the first.

    Attributes
    ----------
    first, second : str
    steps_added, steps_removed : tuple of str
        Steps of only one of them, as the page words them.
    players : tuple of PlayerChange
    figures : tuple of FigureChange
        The most noticeable first.
    """

    first: str
    second: str
    steps_added: tuple[str, ...]
    steps_removed: tuple[str, ...]
    players: tuple[PlayerChange, ...]
    figures: tuple[FigureChange, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """The change as sentences: steps, players, figures."""
        lines = [f"‘{self.second}’ also has the step: {step}." for step in self.steps_added]
        lines += [f"‘{self.second}’ is without the step: {step}." for step in self.steps_removed]
        lines += self.player_sentences
        lines += [f"Against ‘{self.first}’, ‘{self.second}’ {figure.words}." for figure in self.figures]
        if not lines:
            lines = [f"‘{self.first}’ and ‘{self.second}’ do not differ in these bars by anything one would notice."]
        return tuple(lines)

    @property
    def player_sentences(self) -> list[str]:
        """What the players have otherwise; those who join in one sentence, those who fall silent in another."""
        lines = []
        for kind, many in (("joins", "join"), ("falls silent", "fall silent")):
            if group := [player for player in self.players if player.kind == kind]:
                lines.append(_together(group, kind if len(group) == 1 else many))
        lines += [f"{player.words}." for player in self.players if not player.kind]
        return [f"{line[:1].upper()}{line[1:]}" for line in lines]

    def to_json(self) -> dict[str, Any]:
        """Return the change as JSON-ready data."""
        return {**asdict(self), "sentences": list(self.sentences)}


def change_between(first: Heard, second: Heard, arrangements: tuple[Arrangement, Arrangement] | None = None) -> Change:
    """Return what the second variant has otherwise than the first.

    Parameters
    ----------
    first, second : Heard
    arrangements : (Arrangement, Arrangement), optional
        The same two; without them only figures are compared.
    """
    added: tuple[str, ...] = ()
    removed: tuple[str, ...] = ()
    players: tuple[PlayerChange, ...] = ()
    if arrangements:
        bars = [index for index, _ in second.rendering.bar_starts_s]
        one, other = (steps_here(arrangement, tuple((bar, bar) for bar in bars)) for arrangement in arrangements)
        added, removed = _left_over(other, one), _left_over(one, other)
        players = player_changes(*arrangements, bars)
    return Change(first.variant, second.variant, added, removed, players, figure_changes(first, second))


def _together(players: Sequence[PlayerChange], verb: str) -> str:
    """Say of several players at once that they join or fall silent; the bars once where they are the same."""
    same = len({player.bars for player in players}) == 1
    names = [f"{player.player} ({player.notes if same else f'{player.notes}, {player.bars}'})" for player in players]
    listed = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
    return f"{listed} {verb} in {players[0].bars}." if same else f"{listed} {verb}."


def _left_over(these: Iterable[str], those: Iterable[str]) -> tuple[str, ...]:
    """Sentences of the first list that the second has not, in order, counted."""
    rest = Counter(those)
    found = []
    for sentence in these:
        if rest[sentence]:
            rest[sentence] -= 1
        else:
            found.append(sentence)
    return tuple(found)


def figure_changes(first: Heard, second: Heard, *, scored: bool = True) -> tuple[FigureChange, ...]:
    """Return the figures that moved by more than is noticeable, the most noticeable first.

    Parameters
    ----------
    first, second : Heard
    scored : bool
        Whether figures of the clips as scored count; against the piano they mean nothing.
    """
    before = {item.quantity.name: item for item in first.measures}
    found = []
    for item in second.measures:
        old = before.get(item.quantity.name)
        if old is None or old.value is None or item.value is None or not (scored or item.quantity.matched):
            continue
        words = item.quantity.difference(item.value, old.value)
        if words:
            times = item.quantity.times_noticeable(item.value, old.value)
            change = item.value - old.value
            quantity = item.quantity
            found.append(
                FigureChange(quantity.name, quantity.title, quantity.unit, old.value, item.value, change, times, words)
            )
    return tuple(sorted(found, key=lambda figure: -figure.times_noticeable))


def player_changes(first: Arrangement, second: Arrangement, bars: Sequence[int]) -> tuple[PlayerChange, ...]:
    """Return what every player has otherwise in the given bars (indices), in score order.

    Parameters
    ----------
    first, second : Arrangement
    bars : sequence of int
    """
    one = {part.player.name: part for part in first.parts}
    other = {part.player.name: part for part in second.parts}
    found = []
    for name in dict.fromkeys([*other, *one]):
        change = _player_change(name, one.get(name), other.get(name), bars, second.score)
        if change is not None:
            found.append(change)
    return tuple(found)


def _notes_in(part: Part | None, bars: Sequence[int]) -> dict[tuple[int, int, int], Any]:
    """A part's notes in the bars by onset, pitch and duration."""
    if part is None:
        return {}
    notes = part.notes[np.isin(part.notes["bar"], bars)]
    return {(int(note["onset"]), int(note["pitch"]), int(note["duration"])): note for note in notes}


def _player_change(
    name: str, first: Part | None, second: Part | None, bars: Sequence[int], score: Score
) -> PlayerChange | None:
    """Compare one player's notes; None where they are the same."""
    before, after = _notes_in(first, bars), _notes_in(second, bars)
    added = [note for key, note in after.items() if key not in before]
    removed = [note for key, note in before.items() if key not in after]
    altered = [note for key, note in after.items() if key in before and _played(note) != _played(before[key])]
    if not (added or removed or altered):
        return None
    noisy = any(part.player.instrument.unpitched is not None for part in (first, second) if part is not None)
    if not before or not after:
        kind, found = ("falls silent", removed) if before else ("joins", added)
        compass, where = _place(found, bars, score)
        notes = _number(len(found), noisy) if noisy else f"{_number(len(found))}, {compass}"
        words = f"{name} joins with {notes}, {where}" if added else f"{name} falls silent ({notes}, {where})"
        return PlayerChange(name, len(added), len(removed), 0, words, kind, notes, where)
    pieces = []
    if added:
        pieces.append(f"gets {_number(len(added), noisy)} that it had not, {_where(added, bars, score, noisy)}")
    if removed:
        pieces.append(f"loses {_number(len(removed), noisy)}, {_where(removed, bars, score, noisy)}")
    if altered:
        manner = f"otherwise ({_manner(altered)})"
        pieces.append(f"plays {_number(len(altered), noisy)} {manner}, {_where(altered, bars, score, noisy)}")
    words = f"{name} {'; '.join(pieces)}"
    return PlayerChange(name, len(added), len(removed), len(altered), words)


def _played(note: Any) -> tuple[int, int, int]:
    """How a note is played: technique, dynamic, marks."""
    return int(note["technique"]), int(note["dynamic"]), int(note["flags"]) & _ATTACKS


def _manner(notes: Sequence[Any]) -> str:
    """Techniques and dynamics of notes in words."""
    from mapping.arrangement import TECHNIQUES
    from reading.score import DYNAMICS

    words = list(dict.fromkeys(TECHNIQUES[int(note["technique"])] for note in notes if int(note["technique"])))
    words += list(dict.fromkeys(DYNAMICS[int(note["dynamic"])] for note in notes if int(note["dynamic"]) >= 0))
    return ", ".join(words) or "accents and marks"


def _number(count: int, noisy: bool = False) -> str:
    """Number of notes in words; of strokes where they have no pitch."""
    word = "stroke" if noisy else "note"
    return f"1 {word}" if count == 1 else f"{count} {word}s"


def _where(notes: Sequence[Any], passage: Sequence[int], score: Score, noisy: bool) -> str:
    """Compass and bars of notes: ``F3 to C4, bars 3–5``; bars alone where they have no pitch."""
    compass, where = _place(notes, passage, score)
    return where if noisy else f"{compass}, {where}"


def _place(notes: Sequence[Any], passage: Sequence[int], score: Score) -> tuple[str, str]:
    """Compass of notes, and their bars."""
    low = min(notes, key=lambda note: int(note["pitch"]))
    high = max(notes, key=lambda note: int(note["pitch"]))
    compass = spelled(low) if int(low["pitch"]) == int(high["pitch"]) else f"{spelled(low)} to {spelled(high)}"
    bars: set[int] = set()
    for note in notes:
        last = score.bar_at(int(note["onset"]) + max(0, int(note["duration"]) - 1))
        bars.update(range(int(note["bar"]), max(int(note["bar"]), last) + 1))
    return compass, _bars_in_words(sorted(bars.intersection(passage)), score)


def spelled(note: Any) -> str:
    """Return the name of a note as it is spelled: ``E♭4``."""
    return f"{_LETTERS[int(note['step'])]}{_SIGNS.get(int(note['alter']), '')}{int(note['octave'])}"


def _bars_in_words(indices: Sequence[int], score: Score) -> str:
    """Bars by printed number, runs joined."""
    runs: list[list[int]] = []
    for index in indices:
        if runs and index == runs[-1][1] + 1:
            runs[-1][1] = index
        else:
            runs.append([index, index])
    numbers = score.bar_numbers
    words = [numbers[a - 1] if a == b else f"{numbers[a - 1]}–{numbers[b - 1]}" for a, b in runs]
    return f"bar {words[0]}" if len(indices) == 1 else f"bars {', '.join(words)}"
