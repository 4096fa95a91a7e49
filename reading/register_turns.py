"""Turns of a dialogue: phrases or motifs of two hands, or of one hand in two registers, that answer each other.

A *gesture* is what one hand's line plays between two rests, or between two changes of register. Gestures of one side in
a row are one turn. A dialogue is statement, answer, statement at least, and each turn ends before the next begins: a
scale that falls through the registers has no turns, and phrases of unlike length answer nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, groupby
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from reading.layers_texture import BoolArray, IntArray, Texture

__all__ = ["Turn", "answering_turns"]

_APART = 9
"""Semitones between the middles of two turns from which one hand plays in another register."""
_OCTAVE = 12
_HANDS_APART = 5
"""The same between the hands: nearer, one hand only goes on for the other."""
_LONGEST_BARS = 4
_FEWEST = 3
"""Attacks in a turn: fewer are no motif."""
_NEAR = 3
"""Attacks before and after a leap that tell whether the register changes or the line comes back."""
_ALIKE = 0.75
"""Share of attacks at the same place from the beginning of the turn, from which two turns have one rhythm."""


@dataclass(frozen=True, eq=False)
class Turn:
    """Attacks of one side.

    Attributes
    ----------
    rows : ndarray of int, shape (n,)
        Rows of the texture, the highest note of each attack.
    onset : ndarray of int, shape (n,)
        Ticks.
    end : int
        Where the last note ends, in ticks.
    first_bar, last_bar : int
        Bar indices; a last note that lands on the first beat of a further bar does not count that bar.
    middle : int
        MIDI; the upper of two middle pitches.
    staff : int
        From the top, from 0.
    beat : int
        Ticks of a counted beat of its first bar.
    """

    rows: IntArray
    onset: IntArray
    end: int
    first_bar: int
    last_bar: int
    middle: int
    staff: int
    beat: int

    @property
    def span(self) -> int:
        """Ticks from the first attack to the last."""
        return int(self.onset[-1] - self.onset[0])


def answering_turns(texture: Texture, tune: BoolArray) -> list[list[Turn]]:
    """Return the runs of turns that answer each other, in order; none meets another.

    Parameters
    ----------
    texture : Texture
    tune : ndarray of bool, shape (n,)
        Notes of the melody.

    Returns
    -------
    list of list of Turn
        Three turns or more of three attacks and four bars at most, of like length. One hand answers itself nine
        semitones away in the same rhythm and goes back; two hands take turns, neither moves while the other speaks,
        and from the third turn on each has the rhythm of one of the two before.
    """
    found: list[list[Turn]] = []
    lines = [_line(texture, tune, staff) for staff in range(texture.staves)]
    for rows in lines:
        gestures = _gestures(texture, rows[tune[rows]], tune)
        found += _runs(texture, _by_register(texture, gestures), _register_answers)
    for pair in combinations(lines, 2):
        gestures = sorted(
            (one for rows in pair for one in _gestures(texture, rows, tune)), key=lambda rows: int(rows[0])
        )
        groups = [list(group) for _, group in groupby(gestures, key=lambda rows: int(texture.staff[rows[0]]))]
        found += [
            run
            for run in _runs(texture, groups, _HandsAnswer(texture, pair))
            if tune[run[0].rows].any() or tune[run[1].rows].any()
        ]
    kept: list[list[Turn]] = []
    for run in sorted(found, key=len, reverse=True):
        if all(run[0].first_bar > other[-1].last_bar or run[-1].last_bar < other[0].first_bar for other in kept):
            kept.append(run)
    return sorted(kept, key=lambda run: int(run[0].onset[0]))


def _line(texture: Texture, tune: BoolArray, staff: int) -> IntArray:
    """Highest notes of what a staff says: its tune; in bars without one, single notes that are no drumming."""
    mine = texture.staff == staff
    rows = np.flatnonzero(mine & tune)
    said = np.zeros(texture.bars + 2, dtype=bool)
    said[texture.bar[rows]] = True
    others = np.flatnonzero(mine & ~said[texture.bar])
    keep = [rows]
    for bar in np.unique(texture.bar[others]):
        here = others[texture.bar[others] == bar]
        moves = np.diff(texture.pitch[here]) != 0
        if len(here) > 1 and (np.diff(texture.onset[here]) > 0).all() and moves.mean() > 0.5:
            keep.append(here)
    rows = np.sort(np.concatenate(keep))
    return rows[np.append(np.diff(texture.onset[rows]) > 0, True)] if len(rows) else rows  # sorted by onset, then pitch


def _gestures(texture: Texture, rows: IntArray, tune: BoolArray) -> list[IntArray]:
    """Cut a line at rests of half a beat, where it takes or leaves the tune, and where its register changes.

    Without a rest only an octave that stands out from its neighbours changes the register: broken chords go wide, too.
    """
    if not len(rows):
        return []
    pitch = texture.pitch[rows]
    cut = texture.onset[rows][1:] - texture.end[rows][:-1] >= max(1, texture.beat // 2)
    cut |= np.diff(tune[rows].astype(np.int64)) != 0
    wide = np.abs(np.diff(pitch))
    for leap in np.flatnonzero(wide >= _OCTAVE).tolist():
        around = np.delete(wide[max(0, leap - _NEAR) : leap + _NEAR + 1], min(leap, _NEAR))
        before, after = pitch[max(0, leap + 1 - _NEAR) : leap + 1], pitch[leap + 1 : leap + 1 + _NEAR]
        moved = abs(float(np.median(after)) - float(np.median(before))) >= _APART
        cut[leap] |= moved and 2 * around.max(initial=0) <= wide[leap]
    return np.split(rows, np.flatnonzero(cut) + 1)


def _by_register(texture: Texture, gestures: list[IntArray]) -> list[list[IntArray]]:
    """Join gestures in a row while they stay in one register."""
    groups: list[list[IntArray]] = []
    for rows in gestures:
        if groups:
            middle = float(np.median(texture.pitch[np.concatenate(groups[-1])]))
            if abs(float(np.median(texture.pitch[rows])) - middle) < _APART:
                groups[-1].append(rows)
                continue
        groups.append([rows])
    return groups


def _runs(
    texture: Texture, groups: list[list[IntArray]], answers: Callable[[list[Turn], Turn], bool]
) -> list[list[Turn]]:
    """Runs of three turns or more; the first may be the end of its group, the last the beginning."""
    usual = int(np.median(texture.bar_end - texture.bar_onset))
    turns = [_turn(texture, np.concatenate(group)) for group in groups]

    def follows(run: list[Turn], turn: Turn) -> bool:
        return _in_time(run[-1], turn, usual) and answers(run, turn)

    found: list[list[Turn]] = []
    start = 0
    while start + 2 < len(groups):
        heads = [_turn(texture, np.concatenate(groups[start][cut:])) for cut in range(len(groups[start]))]
        best: list[Turn] = []
        for head in heads:
            run = [head]
            for row in range(start + 1, len(groups)):
                if follows(run, turns[row]):
                    run.append(turns[row])
                    continue
                part = _beginning(texture, turns[row], run[-2].span) if len(run) > 1 else None
                if part and follows(run, part):
                    run.append(part)
                break
            best = max(best, run, key=len)
        if len(best) > 2:
            found.append(best)
        start += max(1, len(best) - 1) if len(best) > 2 else 1
    return found


def _turn(texture: Texture, rows: IntArray) -> Turn:
    """Describe the attacks of one side."""
    onset, bar = texture.onset[rows], texture.bar[rows]
    lands = len(rows) > 1 and bar[-2] < bar[-1] and onset[-1] == texture.bar_onset[bar[-1] - 1]
    middle = int(np.sort(texture.pitch[rows])[len(rows) // 2])
    end = int(texture.end[rows[-1]])
    row = int(bar[0]) - 1
    beat = max(1, int(texture.bar_end[row] - texture.bar_onset[row]) // int(texture.metre[row]))
    return Turn(rows, onset, end, row + 1, int(bar[-1]) - int(lands), middle, int(texture.staff[rows[0]]), beat)


def _beginning(texture: Texture, turn: Turn, span: int) -> Turn:
    """The attacks of a turn that lie within a span: the answer from which the music goes on."""
    return _turn(texture, turn.rows[turn.onset - turn.onset[0] <= span])


def _in_time(before: Turn, turn: Turn, usual: int) -> bool:
    """Whether a turn begins once the one before has ended, within a bar, and both are short and of like length."""
    short, long = sorted((before.span, turn.span))
    begins = before.onset[-1] <= turn.onset[0] <= before.end + usual
    return bool(
        begins
        and min(len(before.rows), len(turn.rows)) >= _FEWEST
        and long <= _LONGEST_BARS * usual
        and 3 * long <= 4 * short
    )


def _one_rhythm(one: Turn, other: Turn) -> bool:
    """Whether two turns have one rhythm: they begin on the same part of a beat, most attacks lie alike."""
    if (other.onset[0] - one.onset[0]) % one.beat:
        return False
    first, second = set((one.onset - one.onset[0]).tolist()), set((other.onset - other.onset[0]).tolist())
    return len(first & second) >= _ALIKE * len(first | second)


def _register_answers(run: list[Turn], turn: Turn) -> bool:
    """Whether a turn takes up the motif in the other register."""
    far = abs(turn.middle - run[-1].middle) >= _APART
    back = len(run) < 2 or abs(turn.middle - run[-2].middle) < _APART
    return far and back and _one_rhythm(turn, run[-1])


@dataclass(frozen=True, eq=False)
class _HandsAnswer:
    """Whether a turn of one hand answers one of the other, who is silent meanwhile or holds a note."""

    texture: Texture
    lines: tuple[IntArray, ...]

    def __call__(self, run: list[Turn], turn: Turn) -> bool:
        """See the class."""
        apart = turn.staff != run[-1].staff and abs(turn.middle - run[-1].middle) >= _HANDS_APART
        rhythm = len(run) < 2 or any(_one_rhythm(turn, other) for other in run[-2:])
        return apart and rhythm and self._alone(turn) and self._alone(run[-1])

    def _alone(self, turn: Turn) -> bool:
        """Whether the other hand's line has no attack between the first and the last of a turn."""
        for rows in self.lines:
            if len(rows) and self.texture.staff[rows[0]] != turn.staff:
                onset = self.texture.onset[rows]
                if ((onset > turn.onset[0]) & (onset < turn.onset[-1])).any():
                    return False
        return True
