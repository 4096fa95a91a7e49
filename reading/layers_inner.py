"""What lies between melody and bass: counter-melodies, inner pedal points; and bars in which no line is the leader."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reading.layers_texture import sounding_pairs

if TYPE_CHECKING:
    from reading.layers_lines import Line
    from reading.layers_texture import BoolArray, IntArray, Texture

__all__ = ["contrapuntal_bars", "counter_rows", "patterns", "pedal_point_rows"]

_LONE = 0.9  # share of attacks with a single note
_STEPS = 0.45  # share of intervals of one or two semitones
_LEAST_NOTES = 3  # in a bar
_WITH_MELODY = 0.8  # a line that strikes with the melody more often than this only accompanies it
_HELD_SHARE = 0.75
_HELD_BARS = 3
_PATTERNS = (5, 6)  # intervals in a pattern that another line takes up
_ANSWER_BARS = 3.0
_MOVES = 2  # times its middle wait between attacks: a longer one is a note held


def counter_rows(texture: Texture, melody: BoolArray, free: BoolArray) -> BoolArray:
    """Return the notes of counter-melodies: single notes moving by step in a rhythm of their own for two bars or more.

    Parameters
    ----------
    texture : Texture
    melody, free : ndarray of bool, shape (n,)
        Notes of the melody; notes without a role so far.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    result = np.zeros(len(texture.onset), dtype=bool)
    struck = np.unique(texture.onset[melody])
    for staff in range(texture.staves):
        rows = np.flatnonzero(free & (texture.staff == staff))
        good = np.zeros(texture.bars + 2, dtype=bool)
        first = np.searchsorted(texture.bar[rows], np.arange(texture.bars + 3))
        for bar in range(1, texture.bars + 1):
            good[bar] = _is_counter(texture, rows[first[bar] : first[bar + 1]], struck)
        keep = good[1:-1] & (good[:-2] | good[2:])
        result[rows[keep[texture.bar[rows] - 1]]] = True
    return result


def _is_counter(texture: Texture, mine: IntArray, struck: IntArray) -> bool:
    """Whether the free notes of one staff and bar are a line of their own."""
    onset = np.unique(texture.onset[mine])
    if len(onset) < _LEAST_NOTES or len(onset) < _LONE * len(mine):
        return False
    leap = np.abs(np.diff(texture.pitch[mine]))
    moving = leap[leap > 0]
    steps = float((moving <= 2).mean()) if len(moving) else 0.0
    turns = len(np.unique(texture.pitch[mine])) >= _LEAST_NOTES
    own_rhythm = np.isin(onset, struck).mean() < _WITH_MELODY
    singable = texture.beat / max(1.0, float(np.median(np.diff(onset)))) <= 3
    return bool(steps >= _STEPS and turns and own_rhythm and singable and (leap == 0).mean() < 0.3)


def pedal_point_rows(texture: Texture, free: BoolArray) -> BoolArray:
    """Return inner and upper notes that sound on through three bars or more while the harmony changes.

    Parameters
    ----------
    texture : Texture
    free : ndarray of bool, shape (n,)
        Notes without a role so far.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    result = np.zeros(len(texture.onset), dtype=bool)
    length = (texture.bar_end - texture.bar_onset).astype(float)
    for pitch in np.unique(texture.pitch[free]):
        rows = np.flatnonzero(free & (texture.pitch == pitch))
        note, bar = _overlaps(texture, rows)
        start = np.maximum(texture.onset[rows[note]], texture.bar_onset[bar])
        stop = np.minimum(texture.end[rows[note]], texture.bar_end[bar])
        share = np.bincount(bar, weights=stop - start, minlength=texture.bars) / np.maximum(length, 1)
        held = np.flatnonzero(share >= _HELD_SHARE)
        for run in np.split(held, np.flatnonzero(np.diff(held) > 1) + 1):
            if len(run) >= _HELD_BARS and _harmonies(texture, run, int(pitch)) >= 2:
                inside = np.isin(texture.bar[rows] - 1, run)
                result[rows[inside]] = True
    return result


def _overlaps(texture: Texture, rows: IntArray) -> tuple[IntArray, IntArray]:
    """Pairs of note (row of *rows*) and bar (from 0) in which it sounds."""
    first = np.searchsorted(texture.bar_onset, texture.onset[rows], side="right") - 1
    last = np.searchsorted(texture.bar_onset, texture.end[rows], side="left") - 1
    count = np.maximum(last - first + 1, 1)
    note = np.repeat(np.arange(len(rows)), count)
    within = np.arange(len(note)) - np.repeat(np.cumsum(count) - count, count)
    return note, np.minimum(np.repeat(first, count) + within, texture.bars - 1)


def _harmonies(texture: Texture, bars: IntArray, pitch: int) -> int:
    """How many different lowest pitch classes the bars begin with, the pedal note itself left out."""
    note, moment = sounding_pairs(texture.onset, texture.end, texture.bar_onset[bars])
    lowest = np.full(len(bars), 128)
    np.minimum.at(lowest, moment, texture.pitch[note])
    return len(np.unique(lowest[(lowest < 128) & (lowest != pitch)] % 12))


def contrapuntal_bars(texture: Texture, lines: list[Line]) -> tuple[int, ...]:
    """Return the bars in which one line takes up another's pattern while that one goes on independently.

    A pattern is five or six intervals (up or down; repeated note, step, third, larger) with the proportions of their
    rhythm; it must come back in another line within three bars.

    Parameters
    ----------
    texture : Texture
    lines : list of Line

    Returns
    -------
    tuple of int
        Bar indices, rising.
    """
    if not texture.bars:
        return ()
    lines = [line for line in lines if line.kind not in ("long", "under")]
    usual = float(np.median(texture.bar_end - texture.bar_onset))
    found: set[int] = set()
    for size in _PATTERNS:
        places: dict[tuple[int, ...], list[tuple[int, IntArray]]] = {}
        for number, line in enumerate(lines):
            for key, rows in patterns(texture, line.rows, size, usual):
                places.setdefault(key, []).append((number, rows))
        for same in places.values():
            same.sort(key=lambda place: int(texture.onset[place[1][0]]))
            for row, (model, first) in enumerate(same):
                for other, answer in same[row + 1 :]:
                    apart = texture.onset[answer[0]] - texture.onset[first[0]]
                    if apart > _ANSWER_BARS * usual:
                        break
                    if other != model and apart >= usual / 4 and _goes_on(texture, lines[model].rows, first, answer):
                        found.update(range(int(texture.bar[first[0]]), int(texture.bar[answer[-1]]) + 1))
    return tuple(sorted(found))


def patterns(texture: Texture, rows: IntArray, size: int, usual: float) -> list[tuple[tuple[int, ...], IntArray]]:
    """Return every run of *size* intervals of a line that is worth following, with its rows.

    Parameters
    ----------
    texture : Texture
    rows : ndarray of int64
        Rows of the line, rising.
    size : int
    usual : float
        Ticks of a bar; a longer wait between two notes ends a pattern.

    Returns
    -------
    list of (tuple of int, ndarray of int64)
        Kinds of the intervals (up or down; repeated note, step, third, larger) and ticks between the attacks; rows.
    """
    steps, waits = np.diff(texture.pitch[rows]), np.diff(texture.onset[rows])
    wide = np.abs(steps)
    kinds = np.sign(steps) * np.select([wide == 0, wide <= 2, wide <= 4], [0, 1, 2], 3)
    starts = np.arange(max(0, len(steps) - size + 1))
    if not len(starts):
        return []
    window = starts[:, None] + np.arange(size)
    shape, wait = kinds[window], waits[window]
    varied = (np.diff(np.sort(shape, axis=1), axis=1) != 0).sum(axis=1) >= 2
    uneven = wait.max(axis=1) != wait.min(axis=1)
    good = varied & uneven & (wait.max(axis=1) <= usual) & ((shape != 0).sum(axis=1) >= size - 1)
    keys = np.concatenate([shape, wait], axis=1)[good].tolist()
    return [
        (tuple(key), rows[start : start + size + 1]) for key, start in zip(keys, starts[good].tolist(), strict=True)
    ]


def _goes_on(texture: Texture, model: IntArray, first: IntArray, answer: IntArray) -> bool:
    """Whether the line that began goes on with other notes and its own rhythm under the answer, while that moves.

    What it strikes while the answer only holds a note is a turn of its own: a dialogue.
    """
    if set(first.tolist()) & set(answer.tolist()):
        return False
    struck = texture.onset[answer]
    inside = model[(texture.onset[model] >= struck[0]) & (texture.onset[model] <= struck[-1])]
    waits = np.append(np.diff(struck), 0)
    waiting = waits[np.searchsorted(struck, texture.onset[inside], side="right") - 1]
    along = inside[waiting <= _MOVES * np.median(waits[:-1])]
    if len(along) < 3 or np.isin(inside, answer).mean() > 0.2:
        return False
    mine, others = set(texture.onset[inside].tolist()), set(texture.onset[answer].tolist())
    return len(mine & others) <= 0.85 * max(len(mine), len(others))
