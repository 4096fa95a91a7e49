"""Giving piano notes to players: whole, or divided so that each keeps a line; nothing is dropped.

Dividing works bar by bar on *strands*: the notes of one staff, voice and rank in its chords. Strands are dealt to the
players from the top down by a small dynamic program that pays for notes out of range, crowding and needless change.
"""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from mapping.arrangement import Player
    from mapping.draft import Context, Draft, Rows, Target
    from mapping.steps import StepOptions

__all__ = ["divided", "given_up", "reaches", "stages", "strand_for", "whole"]

_OUT, _UNSAFE, _CROWD_SOLO, _CROWD_SECTION, _CHANGE, _LATER = 100.0, 3.0, 40.0, 2.0, 1.0, 0.1

Strand = tuple[tuple[int, int, int, int], list[int]]


def reaches(player: Player, pitches: np.ndarray[Any, Any]) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Return which sounding pitches exist on a player's instrument, shape as *pitches*."""
    return np.asarray((pitches >= player.instrument.low) & (pitches <= player.instrument.high))


def whole(piano: Rows, targets: Sequence[Target], options: StepOptions, context: Context) -> list[Rows]:
    """Return the notes for every target, each having all of them.

    A note out of a target's range is taken at its written octave where only the added octave put it out of reach; else
    it is left to another target that has it at pitch; else handed to the nearest player who can reach it; else kept.
    """
    found = []
    for target in targets:
        notes = context.written(piano, target.row, options, octave=target.octave)
        found.append(_within_reach(notes, piano, target, targets, options, context))
    return found


def _within_reach(
    notes: Rows, piano: Rows, target: Target, targets: Sequence[Target], options: StepOptions, context: Context
) -> Rows:
    """Mend the notes a target cannot reach."""
    player = context.players[target.row]
    out = ~reaches(player, notes["pitch"])
    if target.octave:
        back = notes["pitch"] < player.instrument.safe_low  # an added octave need not use the lowest extension
        back = (out | back) & reaches(player, piano["pitch"])
        notes[back] = context.written(piano[back], target.row, options)
        out &= ~back
    if not out.any():
        return notes
    others = [context.players[other.row] for other in targets if other != target and not other.octave]
    elsewhere = np.zeros(len(notes), dtype=bool)
    for other in others:
        elsewhere |= reaches(other, piano["pitch"])
    drop = out & (elsewhere | (target.octave != 0))
    for row in np.flatnonzero(out & ~drop).tolist():
        notes["part"][row] = neighbour(target.row, int(notes["pitch"][row]), context)
    return notes[~drop]


def neighbour(row: int, pitch: int, context: Context) -> int:
    """Return the row of the player nearest to *row* who reaches *pitch*, own family first; *row* where nobody does.

    Singers are given nothing they do not have.
    """
    family = context.players[row].family
    able = [
        (player.family != family, not player.instrument.sustains, abs(other - row), other)
        for other, player in enumerate(context.players)
        if player.family != "voice" and player.instrument.low <= pitch <= player.instrument.high
    ]
    return min(able)[3] if able else row


def divided(piano: Rows, targets: Sequence[Target], options: StepOptions, context: Context) -> list[Rows]:
    """Return the notes of each target, every piano note given to exactly one of them."""
    owner = np.zeros(len(piano), dtype=np.int64)
    before: dict[tuple[int, int, int, int], int] = {}
    order = np.argsort(piano["bar"], kind="stable")
    edges = np.flatnonzero(np.diff(piano["bar"][order])) + 1
    for rows in np.split(order, edges):
        strands = _strands(piano, rows)
        for (key, members), place in zip(strands, _dealt(piano, strands, targets, context, before), strict=True):
            owner[members] = place
            before[key] = place
    found = []
    for place, target in enumerate(targets):
        mine = piano[owner == place]
        notes = context.written(mine, target.row, options, octave=target.octave)
        out = ~reaches(context.players[target.row], notes["pitch"])
        for row in np.flatnonzero(out).tolist():
            notes["part"][row] = _other(target, targets, int(mine["pitch"][row]), int(notes["pitch"][row]), context)
        found.append(notes)
    return found


def _other(target: Target, targets: Sequence[Target], pitch: int, shifted: int, context: Context) -> int:
    """Row of another target that reaches the pitch, else the nearest player who does."""
    for other in targets:
        if not other.octave and context.players[other.row].instrument.in_range(pitch):
            return other.row
    return neighbour(target.row, shifted, context)


def _strands(piano: Rows, rows: np.ndarray[Any, Any]) -> list[Strand]:
    """Strands of a bar from the highest to the lowest: key (part, staff, voice, rank) and rows of their notes."""
    found: dict[tuple[int, int, int, int], list[int]] = {}
    items = sorted(
        (
            (
                int(n["part"]),
                int(n["staff"]),
                int(n["voice"]),
                int(n["onset"]),
                int(n["duration"] == 0),
                -int(n["pitch"]),
                r,
            )
            for n, r in zip(piano[rows], rows.tolist(), strict=True)
        )
    )
    for place, chord in groupby(items, key=lambda item: item[:5]):
        for rank, item in enumerate(chord):
            found.setdefault((*place[:3], rank), []).append(item[6])
    return sorted(found.items(), key=lambda item: (-float(np.mean(piano["pitch"][item[1]])), item[0]))


def _dealt(
    piano: Rows,
    strands: list[Strand],
    targets: Sequence[Target],
    context: Context,
    before: dict[tuple[int, int, int, int], int],
) -> list[int]:
    """Place (in *targets*) of each strand: players in order take strands from the top, at the least cost."""
    players = [context.players[target.row] for target in targets]
    cost = np.array([_costs(piano["pitch"][members], players, targets) for _, members in strands])
    for row, (key, _) in enumerate(strands):
        if key in before:
            cost[row] += _CHANGE
            cost[row, before[key]] -= _CHANGE
    # State: (place of the last strand, how many that player has). Few strands and players, so plain Python is fast.
    best: dict[tuple[int, int], tuple[float, list[int]]] = {(0, 0): (0.0, [])}
    for row in range(len(strands)):
        ahead: dict[tuple[int, int], tuple[float, list[int]]] = {}
        for (last, load), (paid, path) in best.items():
            for place in range(last, len(targets)):
                carried = load + 1 if place == last else 1
                crowd = _CROWD_SECTION if players[place].count > 1 else _CROWD_SOLO
                total = paid + cost[row, place] + crowd * (carried - 1) + _LATER * place
                state = (place, carried)
                if state not in ahead or total < ahead[state][0]:
                    ahead[state] = (total, [*path, place])
        best = ahead
    return min(best.values(), key=lambda item: item[0])[1]


def _costs(pitches: np.ndarray[Any, Any], players: list[Player], targets: Sequence[Target]) -> list[float]:
    """Cost of a strand for each player: notes out of range, notes out of comfort."""
    found: list[float] = []
    for player, target in zip(players, targets, strict=True):
        low, high = player.instrument.safe_low, player.instrument.safe_high
        sounding = pitches + target.octave
        out = np.count_nonzero(~reaches(player, sounding))
        unsafe = np.count_nonzero((sounding < low) | (sounding > high))
        found.append(float(_OUT * out + _UNSAFE * unsafe))
    return found


def given_up(draft: Draft, piano: Rows) -> Draft:
    """Return the draft without the notes that come from these piano notes, whoever has them."""
    return draft.without(np.isin(draft.notes["source"], piano["id"]))


def stages(ranges: tuple[int, int], count: int) -> list[tuple[int, int]]:
    """Return ``(first, last)`` bar indices of *count* stages that cut bars evenly; late ones may share a bar."""
    first, last = ranges
    bars = last - first + 1
    starts = [first + place * bars // count for place in range(count)]
    return [(start, last if place + 1 == count else starts[place + 1] - 1) for place, start in enumerate(starts)]


def strand_for(piano: Rows, target: Target, options: StepOptions, context: Context, taken: dict[int, int]) -> Rows:
    """Return one line of the notes for a player: bar by bar the strand that lies best and is least doubled so far.

    Parameters
    ----------
    piano : ndarray, dtype NOTE_DTYPE
    taken : dict of int to int
        How often each piano note has been taken; brought up to date here.
    """
    player = context.players[target.row]
    chosen: list[int] = []
    order = np.argsort(piano["bar"], kind="stable")
    for rows in np.split(order, np.flatnonzero(np.diff(piano["bar"][order])) + 1):
        best: tuple[float, list[int]] | None = None
        for place, (_, members) in enumerate(_strands(piano, rows)):
            inside = [row for row in members if player.instrument.in_range(int(piano["pitch"][row]) + target.octave)]
            if not inside:
                continue
            cost = _costs(piano["pitch"][inside], [player], [target])[0] / len(inside) + 3 * (
                len(members) - len(inside)
            )
            cost += 2 * sum(taken.get(int(piano["id"][row]), 0) for row in inside) / len(inside) + 0.01 * place
            if best is None or cost < best[0]:
                best = cost, inside
        chosen += best[1] if best else []
    for row in chosen:
        taken[int(piano["id"][row])] = taken.get(int(piano["id"][row]), 0) + 1
    return context.written(piano[sorted(chosen)], target.row, options, octave=target.octave)
