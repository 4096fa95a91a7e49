"""Accents given to players: which moments, which chord, who strikes what, how it is written."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise, product
from typing import TYPE_CHECKING

import numpy as np

from mapping.arrangement import TECHNIQUES
from mapping.checks.strings import stopping
from mapping.figures import Cell, chords_for
from mapping.levels import levels_at
from mapping.spelling import as_spelt
from mapping.unpitched import RINGS_S, apart, stroke
from reading.score import DYNAMICS, TICKS_PER_QUARTER, Flag

if TYPE_CHECKING:
    from mapping.arrangement import Player
    from mapping.draft import Context, Rows
    from mapping.steps import StepOptions

__all__ = ["Struck", "moments", "struck_notes"]

_ENOUGH = 0.35  # strength from which an unmarked accent (a thick chord, an arpeggio sign) is realised
_GRACES = 3
_SCALE_STEPS = (0, 2, 4, 5, 7, 9, 11)


@dataclass(frozen=True)
class Struck:
    """One accent: its place, how long its chord is written, its pitches from the lowest, leading note, key and sign."""

    onset: int
    length: int
    pitches: tuple[int, ...]
    leading: int
    fifths: int
    flags: int = 0


def struck_notes(
    draft: Rows, context: Context, options: StepOptions, on: tuple[str, ...], by: str, *, every: bool
) -> list[Rows]:
    """Return the notes that players add to accents.

    Parameters
    ----------
    draft : ndarray, dtype PART_DTYPE
        What all players have so far: multiple stops are built around it.
    on : tuple of str
        Players, in any order.
    by : str
        As in ``stress``.
    every : bool
        Every attack the step's bars and beats choose, in place of the accents found.
    """
    tuned, noisy = apart(context.targets(on), context)
    rows = [target.row for target in tuned]
    struck = moments(context, options, every=every)
    found = [_struck_without_pitch(one, target.row, options, context) for one in struck for target in noisy]
    for moment, voicing in zip(struck, _voicings(context, rows, struck), strict=True):
        found += _Realised(context, options, rows, moment, voicing, draft).by(by)
    return found


def _struck_without_pitch(moment: Struck, row: int, options: StepOptions, context: Context) -> Rows:
    """A stroke (or a roll as long as the chord) at an accent; what rings is written as long as the chord."""
    item = context.players[row].instrument.unpitched
    rings = options.how == "roll" or (options.how is None and item is not None and item.ring_s > RINGS_S)
    length = moment.length if rings else min(moment.length, TICKS_PER_QUARTER)
    return stroke(moment.onset, length, int(Flag.ACCENT) | moment.flags, row, options, context)


def _voicings(context: Context, rows: list[int], struck: list[Struck]) -> list[dict[int, int]]:
    """For every accent the pitch of each player: the chord complete, each in comfort, one accent near the last."""
    playing = [row for row in rows if context.players[row].instrument.name != "timpani"]
    playing.sort(key=lambda row: (-_middle(context.players[row]), row))
    players = [context.players[row] for row in playing]
    if not players:
        return [{} for _ in struck]
    cells = [
        Cell(one.onset, one.onset + one.length, (), (), one.pitches, one.pitches[0], one.leading) for one in struck
    ]
    return [dict(zip(playing, chord, strict=True)) for chord in chords_for(cells, players)]


def moments(context: Context, options: StepOptions, *, every: bool) -> list[Struck]:
    """Return the accents of a step's bars and beats, or every attack there, in order of time."""
    from reading.accents import accents

    notes = context.score.notes
    onsets = np.unique(notes["onset"][context.piece.own & context.piece.chosen(options) & (notes["duration"] > 0)])
    if not every:
        strong = [one.onset for one in accents(context.piece.piano) if one.marked or one.strength >= _ENOUGH]
        onsets = onsets[np.isin(onsets, strong)]
    return [_struck(context, int(onset)) for onset in onsets]


def _struck(context: Context, onset: int) -> Struck:
    """The chord at an attack: what is struck there and what still sounds."""
    notes, score = context.score.notes, context.score
    sounding = (notes["onset"] <= onset) & (notes["onset"] + notes["duration"] > onset) & (notes["duration"] > 0)
    sounding &= context.piece.own
    fresh = sounding & (notes["onset"] == onset)
    bar = score.bars[score.bar_at(onset) - 1]
    fifths = int(bar["fifths"])
    tonic = (7 * fifths + (9 if bar["minor"] == 1 else 0)) % 12
    return Struck(
        onset,
        int(notes["duration"][fresh].max()),
        tuple(sorted({int(pitch) for pitch in notes["pitch"][sounding]})),
        (tonic - 1) % 12,
        fifths,
        int(np.bitwise_or.reduce(notes["flags"][fresh])) & int(Flag.SFORZANDO),
    )


class _Realised:
    """One accent on its way to the players."""

    def __init__(
        self,
        context: Context,
        options: StepOptions,
        rows: list[int],
        moment: Struck,
        voicing: dict[int, int],
        draft: Rows,
    ) -> None:
        self.context, self.options, self.moment = context, options, moment
        self.voicing, self.draft = voicing, draft
        self.rows = sorted(rows, key=lambda row: (-_middle(context.players[row]), row))
        self.short = min(moment.length, TICKS_PER_QUARTER)

    def by(self, how: str) -> list[Rows]:
        """Notes of every player, by one of the ways ``stress`` names."""
        if how == "timpani":
            return [self._drum(row) for row in self.rows]
        if how == "multiple stops":
            return [self._stops(row) for row in self.rows]
        if how == "grace run":
            return [self._run_up(row) for row in self.rows]
        if how == "short over held":
            return self._short_over_held()
        length = self.moment.length if how == "fp" else self.short
        flag = Flag.FP if how == "fp" else Flag.ACCENT
        notes = self._chord(self.rows, length, int(flag))
        if how == "pizzicato":
            for part in notes:
                part["technique"] = TECHNIQUES.index("pizzicato")
        return notes

    def _made(self, row: int, pitches: list[int], length: int, flags: int) -> Rows:
        """Notes of one player at the accent, spelt as the piano spells them."""
        found = self.context.made([(self.moment.onset, length, pitch) for pitch in pitches], row, self.options)
        found["flags"] |= flags | (self.moment.flags if flags & int(Flag.ACCENT) else 0)
        return as_spelt(found, self.context.score.notes)

    def _chord(self, rows: list[int], length: int, flags: int) -> list[Rows]:
        """The chord over players, from the pitches worked out for all accents of the step."""
        found = []
        for row in rows:
            if self.context.players[row].instrument.name == "timpani":
                found.append(self._drum(row))
            elif row in self.voicing:
                found.append(self._made(row, [self.voicing[row]], length, flags))
        return found

    def _drum(self, row: int) -> Rows:
        """A stroke on the drum of the tonic or the dominant, where the chord has that note; else none."""
        instrument = self.context.players[row].instrument
        pcs = [pitch % 12 for pitch in self.moment.pitches]
        tuned = [pc for pc in ((self.moment.leading + 1) % 12, (self.moment.leading + 8) % 12) if pc in pcs]
        for pc in sorted(tuned, key=lambda pc: pc != pcs[0]):
            inside = [pitch for pitch in range(instrument.safe_low, instrument.safe_high + 1) if pitch % 12 == pc]
            if inside:
                return self._made(row, inside[:1], self.short, int(Flag.ACCENT))
        return self.context.made([], row, self.options)

    def _stops(self, row: int) -> Rows:
        """A short chord of up to four notes that lies under the hand, around what the section strikes already."""
        mine = self.draft[self.draft["part"] == row]
        at, end = self.moment.onset, mine["onset"] + mine["duration"]
        busy = mine[(mine["onset"] < at) & (end > at)]
        own = sorted({int(pitch) for pitch in mine["pitch"][(mine["onset"] == at) & (end > at)]})
        chord = [] if len(busy) else self._stopped_chord(self.context.players[row], own)
        after = mine["onset"][mine["onset"] > at]
        length = min(self.short, int(after.min()) - at) if len(after) else self.short
        return self._made(row, [pitch for pitch in chord if pitch not in own], length, int(Flag.ACCENT))

    def _stopped_chord(self, player: Player, own: list[int]) -> list[int]:
        """The fullest chord that lies on neighbouring strings and holds the section's own notes; empty without one."""
        strings, pcs = player.instrument.open_strings, {pitch % 12 for pitch in self.moment.pitches}
        for count in range(len(strings), 1, -1):
            found = []
            for first in range(len(strings) - count + 1):
                fingered = [
                    [p for p in range(string, string + 8) if p % 12 in pcs] for string in strings[first : first + count]
                ]
                for chord in product(*fingered):
                    rises = all(a < b for a, b in pairwise(chord))
                    if rises and set(own) <= set(chord) and stopping(player.instrument, chord) is not None:
                        top = abs(chord[-1] - self.moment.pitches[-1]) % 12
                        leading = max(0, sum(p % 12 == self.moment.leading for p in chord) - 1)
                        found.append((-len({p % 12 for p in chord}) + leading, top != 0, chord))
            if found:
                return list(min(found)[2])
        return own

    def _run_up(self, row: int) -> Rows:
        """Three steps of the scale up to the highest note of the chord the player reaches, as grace notes."""
        player = self.context.players[row]
        reach = [p for p in self.moment.pitches if player.instrument.safe_low + 6 <= p <= player.instrument.safe_high]
        if not reach:
            return self._made(row, [], self.short, 0)
        top = reach[-1]
        scale = {(step + 7 * self.moment.fifths) % 12 for step in _SCALE_STEPS}
        below = [p for p in range(top - 1, top - 12, -1) if p % 12 in scale][:_GRACES]
        notes = self._made(row, [*reversed(below), top], self.short, 0)
        notes["flags"][:-1] = int(Flag.GRACE)
        notes["duration"][:-1] = 0
        notes["flags"][-1] |= int(Flag.ACCENT)
        return notes

    def _short_over_held(self) -> list[Rows]:
        """Every second player strikes short and loud, the others hold the chord softly."""
        strike, hold = self.rows[::2], self.rows[1::2]
        found = self._chord(strike, self.short, int(Flag.ACCENT))
        held = self._chord(hold, self.moment.length, 0)
        level = levels_at(self.context.score, np.array([self.moment.onset]))[0]
        for part in held:
            if self.options.level is None:
                part["dynamic"] = max(0, min(DYNAMICS.index("p"), round(float(level)) - 1))
        return found + held


def _middle(player: Player) -> float:
    """Middle of a player's comfortable range."""
    return (player.instrument.safe_low + player.instrument.safe_high) / 2
