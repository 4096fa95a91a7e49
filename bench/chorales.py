"""Chorales of J. S. Bach (corpus of music21) beat by beat, and how well the optimiser gives alto and tenor back."""

from __future__ import annotations

from pathlib import Path

import numpy as np

TUNED = 24
"""The weights were set on four-part chorales among the first files by name; they are left out of the test."""


def files():
    """The corpus's four-part chorales, in order of their names."""
    import music21

    return sorted((Path(music21.__file__).parent / "corpus" / "bach").glob("bwv*.mxl"))


def beats(path):
    """Rows ``(soprano, alto, tenor, bass)`` at quarters where all sound and none cross; None where not four parts."""
    import reading
    from reading.score import TICKS_PER_QUARTER

    score = reading.read(path)
    if len(score.parts) != 4:
        return None
    last = score.end // TICKS_PER_QUARTER
    grid = np.zeros((last, 4), dtype=np.int64)
    for part in range(4):
        notes = score.notes[(score.notes["part"] == part) & (score.notes["duration"] > 0)]
        for onset, duration, pitch in zip(notes["onset"], notes["duration"], notes["pitch"], strict=True):
            first, end = -(-int(onset) // TICKS_PER_QUARTER), -(-int(onset + duration) // TICKS_PER_QUARTER)
            grid[first:end, part] = pitch
    keep = (grid > 0).all(axis=1) & (np.diff(grid, axis=1) <= 0).all(axis=1)
    return grid[keep]


def compare(rows):
    """Return ``(alto exact, tenor exact, parallels of ours, parallels of Bach, beats)`` for one chorale."""
    from mapping.voicing_inner import inner_voices

    classes = [frozenset((row % 12).tolist()) for row in rows]
    ours = np.array(inner_voices(rows[:, 0].tolist(), rows[:, 3].tolist(), classes))
    full = np.column_stack([rows[:, 0], ours[:, 1], ours[:, 0], rows[:, 3]])
    exact = (ours[:, 1] == rows[:, 1]).sum(), (ours[:, 0] == rows[:, 2]).sum()
    return *exact, parallels(full), parallels(rows), len(rows)


def parallels(rows):
    """Count parallel fifths, octaves and unisons of moving voices (the given outer pair left out)."""
    count = 0
    for upper in range(4):
        for lower in range(upper + 1, 4):
            if (upper, lower) == (0, 3):
                continue
            apart = (rows[:, upper] - rows[:, lower]) % 12
            moved = (np.diff(rows[:, upper]) != 0) & (np.diff(rows[:, lower]) != 0)
            count += int((moved & (apart[1:] == apart[:-1]) & np.isin(apart[1:], (0, 7))).sum())
    return count


def measure(paths):
    """Return the shares and rates over many chorales."""
    total = np.zeros(5)
    used = 0
    for path in paths:
        rows = beats(path)
        if rows is None or len(rows) < 8:
            continue
        total += compare(rows)
        used += 1
    count = total[4]
    return {
        "chorales": used,
        "beats": int(count),
        "exact": float((total[0] + total[1]) / (2 * count)),
        "alto": float(total[0] / count),
        "tenor": float(total[1] / count),
        "parallels_per_100": float(100 * total[2] / count),
        "bach_parallels_per_100": float(100 * total[3] / count),
    }
