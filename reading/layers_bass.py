"""The bass: the lowest line of the left hand, also where a broken chord only implies it.

Every function takes rows of a :class:`~reading.layers_texture.Texture` and gives rows or a mask over its rows.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reading.layers_texture import attack_sizes, lowest_of, sounding_pairs

if TYPE_CHECKING:
    from reading.layers_texture import BoolArray, IntArray, Texture

__all__ = ["bass_rows"]

_AROUND_BEATS = 2.0
_LEAST = 3  # attacks in a bar before it can be a broken chord
_CHORALE = 0.8  # share of attacks that go with the tune from which a bar counts as note against note
_THIRD = 3  # semitones
_ZIGZAG = 0.75  # share of a bar's inner notes at which a broken chord turns back
_JOINED = 0.75  # share of a broken chord's notes that follow without a rest
_MOVES = 2  # steps in a row before the lower notes of a zigzag are a voice


def bass_rows(texture: Texture, taken: BoolArray) -> BoolArray:
    """Return the bass, also where it is only implied by a broken chord.

    The lowest note of the lowest staff in each beat, none while a lower one sounds there; not a note a third or more
    above the bass just heard if the bass comes back within two beats (the upper notes of a figure); and every
    repetition of a bass note. In bars in which the lowest staff is silent the staff above is taken; where the hands
    cross, the hand that lies lowest.

    Parameters
    ----------
    texture : Texture
    taken : ndarray of bool, shape (n,)
        Notes that already have a role.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    pool = _bass_pool(texture)
    rows = pool[~taken[pool] & lowest_of(texture, pool)]
    result = np.zeros(len(texture.onset), dtype=bool)
    if not len(rows):
        return result
    with_tune = _note_against_note(texture, pool, taken)
    figure, bottom = _broken_chords(texture)
    rows = rows[~figure[rows] | bottom[rows]]
    found = _without_upper_notes(texture, _lowest_by_beat(texture, rows, with_tune), with_tune, figure)
    result[found] = True
    before = np.searchsorted(texture.onset[found], texture.onset[rows], side="right") - 1
    last = found[np.maximum(before, 0)]
    again = (before >= 0) & (texture.pitch[last] == texture.pitch[rows]) & (texture.bar[last] == texture.bar[rows])
    result[rows[again]] = True
    lower = _lower_voice(texture)
    result[lower[~taken[lower]]] = True
    return result


def _note_against_note(texture: Texture, pool: IntArray, tune: BoolArray) -> BoolArray:
    """Notes that begin and end with the tune, in bars in which (nearly) all of the pool do."""
    spans = texture.onset * (int(texture.end.max()) + 1) + texture.end
    together = np.isin(spans, spans[tune])
    total = np.bincount(texture.bar[pool], minlength=texture.bars + 1)
    hits = np.bincount(texture.bar[pool], weights=together[pool], minlength=texture.bars + 1)
    return np.asarray(together & (hits >= _CHORALE * np.maximum(total, 1))[texture.bar])


def _bass_pool(texture: Texture) -> IntArray:
    """Rows the bass may come from: the lowest staff, one that crosses below it, the next in a bar without it."""
    low = texture.staff == texture.low
    _, bars = sounding_pairs(texture.onset[low], texture.end[low], texture.bar_onset)
    heard = np.zeros(texture.bars + 1, dtype=bool)
    heard[bars + 1] = True
    heard[texture.bar[low]] = True
    above = (texture.staff == texture.low - 1) & ~heard[texture.bar]
    return np.flatnonzero(low | above | _crossing(texture))


def _crossing(texture: Texture) -> BoolArray:
    """The lowest notes of a hand that crosses below the other: where it turns up again, under everything that sounds.

    On its way there it is a line of its own.
    """
    result = np.zeros(len(texture.onset), dtype=bool)
    moments, at = np.unique(texture.onset, return_inverse=True)
    note, moment = sounding_pairs(texture.onset, texture.end, moments)
    own = np.zeros(len(moments), dtype=bool)
    own[moment[texture.staff[note] == texture.low]] = True
    below = own[at] & lowest_of(texture, np.arange(len(texture.onset)))
    for staff in range(texture.low):
        rows = np.flatnonzero((texture.staff == staff) & (not texture.sung[staff]))
        following = np.append(texture.pitch[rows[1:]], 128)
        result[rows] = below[rows] & (following > texture.pitch[rows])
    return result


def _lowest_by_beat(texture: Texture, rows: IntArray, with_tune: BoolArray) -> IntArray:
    """Of each beat the lowest row, the earliest of equals; and every row of note-against-note chords."""
    bar = texture.bar[rows] - 1
    slot = (texture.onset[rows] - texture.bar_onset[bar]) // texture.beat
    order = np.lexsort((texture.onset[rows], texture.pitch[rows], slot, bar))
    rows, slot, bar = rows[order], slot[order], bar[order]
    first = (np.diff(bar, prepend=-1) != 0) | (np.diff(slot, prepend=-1) != 0)
    chords = with_tune[rows] & (2 * (texture.end - texture.onset)[rows] >= texture.beat)
    return np.sort(rows[first | chords])


def _without_upper_notes(texture: Texture, rows: IntArray, with_tune: BoolArray, figure: BoolArray) -> IntArray:
    """Leave out the upper notes of a figure: a third or more above the bass just heard, and soon left downwards.

    A bass line may leap as well; a note counts as part of a figure only if its beat holds several attacks (and it does
    not go with the tune), or its attack more notes than the bass had; never if the others move above it.
    """
    near = round(_AROUND_BEATS * texture.beat)
    size, busy, held = attack_sizes(texture), _busy_beats(texture) | figure, _held_under(texture)
    kept: list[int] = []
    for place, row in enumerate(rows.tolist()):
        if kept and texture.onset[row] - texture.onset[kept[-1]] <= near:
            rises = texture.pitch[row] >= texture.pitch[kept[-1]] + _THIRD
            following = rows[place + 1 : place + 7]
            following = following[texture.onset[following] - texture.onset[row] <= near]
            falls = (texture.pitch[following] < texture.pitch[row] - 1).any() or place == len(rows) - 1
            part = (busy[row] and not with_tune[row]) or size[row] > size[kept[-1]]
            if rises and falls and part and not held[row]:
                continue
        kept.append(row)
    return np.asarray(kept, dtype=np.int64)


def _held_under(texture: Texture) -> BoolArray:
    """Whether its staff strikes twice or more while a note sounds."""
    result = np.zeros(len(texture.onset), dtype=bool)
    for staff in range(texture.staves):
        rows = np.flatnonzero(texture.staff == staff)
        struck = np.unique(texture.onset[rows])
        later = np.searchsorted(struck, texture.end[rows]) - np.searchsorted(struck, texture.onset[rows], side="right")
        result[rows] = later >= 2
    return result


def _broken_chords(texture: Texture) -> tuple[BoolArray, BoolArray]:
    """Notes of bars in which the lowest staff breaks chords; of these, the ones at the bottom of the figure.

    Such a bar has single notes only, mostly without rests between, and thirds or wider in two steps of three; and it
    moves at three attacks to two beats of the piece, or at three to two of the metre and turns at nearly every note.
    The bottom is where the line turns up. Without this, every note of a figure as slow as the beat would be a bass.
    """
    figure, bottom = np.zeros(len(texture.onset), dtype=bool), np.zeros(len(texture.onset), dtype=bool)
    low = np.flatnonzero(texture.staff == texture.low)
    _, first, count = np.unique(texture.onset[low], return_index=True, return_counts=True)
    line, bar = low[first], texture.bar[low[first]] - 1
    if len(line) < _LEAST:
        return figure, bottom
    step = np.diff(texture.pitch[line])
    before, after = np.concatenate(([0], step)), np.concatenate((step, [0]))
    inner = np.diff(bar, prepend=-1) == 0
    turns = inner & np.concatenate((inner[1:], [False])) & (before * after < 0)
    joined = np.append(False, texture.end[line[:-1]] >= texture.onset[line[1:]])
    attacks, single, wide, turning, joins = (
        np.bincount(bar, weights=weight, minlength=texture.bars)
        for weight in (np.ones(len(bar)), count == 1, inner & (np.abs(before) >= _THIRD), turns, inner & joined)
    )
    quick = 2 * attacks * texture.beat >= 3 * (texture.bar_end - texture.bar_onset)
    zigzag = (2 * attacks >= 3 * texture.metre) & (turning >= _ZIGZAG * (attacks - 2))
    flows = (3 * wide >= 2 * (attacks - 1)) & (joins >= _JOINED * (attacks - 1))
    broken = (single == attacks) & flows & (quick | zigzag)
    figure[line] = broken[bar]
    bottom[line] = broken[bar] & ((before <= -_THIRD) | ~inner) & (after >= _THIRD)
    return figure, bottom


def _lower_voice(texture: Texture) -> IntArray:
    """Rows of the lower of two voices that a line of single notes implies, down and up, where that voice moves by step.

    Broken thirds or octaves in a scale have a bass at every lower note, not one in each beat.
    """
    low = np.flatnonzero(texture.staff == texture.low)
    _, first, count = np.unique(texture.onset[low], return_index=True, return_counts=True)
    line = low[first]
    step = np.diff(texture.pitch[line])
    follows = (texture.end[line[:-1]] >= texture.onset[line[1:]]) & (count[:-1] == 1) & (count[1:] == 1)
    down = np.concatenate(([False], (step <= -_THIRD) & follows))
    up = np.concatenate(((step > 0) & follows, [False]))
    bottom = down & (up | ~np.concatenate((follows, [False])))
    by_step = np.isin(np.abs(texture.pitch[line[2:]] - texture.pitch[line[:-2]]), (1, 2))
    moves = np.flatnonzero(bottom[2:] & bottom[:-2] & by_step)
    runs = np.split(moves, np.flatnonzero(np.diff(moves) != 2) + 1)
    found = [np.append(run, run[-1] + 2) for run in runs if len(run) >= _MOVES]
    return line[np.concatenate(found)] if found else line[:0]


def _busy_beats(texture: Texture) -> BoolArray:
    """Whether the beat of a note holds two attacks of its staff or more."""
    bar = texture.bar - 1
    slot = (texture.onset - texture.bar_onset[bar]) // texture.beat
    place = np.stack([texture.staff, bar, slot], axis=1)
    attacks = np.unique(np.column_stack([place, texture.onset]), axis=0)
    _, beat_of, count = np.unique(attacks[:, :3], axis=0, return_inverse=True, return_counts=True)
    busy = {
        tuple(key)
        for key, many in zip(attacks[:, :3].tolist(), (count[beat_of.reshape(-1)] > 1).tolist(), strict=True)
        if many
    }
    return np.asarray([tuple(key) in busy for key in place.tolist()], dtype=bool)
