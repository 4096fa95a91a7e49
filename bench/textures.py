"""Chords as they sound, half beat by half beat: shares of root, third and fifth, spacing, gaps over an octave."""

from __future__ import annotations

import numpy as np


def rows_of(score):
    """``(start, end, pitch)`` of the piano's notes in ticks."""
    from mapping.harmony_frames import sounding

    notes = sounding(score)
    ends = notes["onset"] + notes["duration"]
    return [(int(a), int(b), int(p)) for a, b, p in zip(notes["onset"], ends, notes["pitch"], strict=True)]


def sounding_at(score, rows):
    """``(start, end, pitches)`` of every half beat in which something sounds at its start; pitches rising, distinct."""
    from mapping.harmony_frames import frame_starts

    starts, ends, _ = frame_starts(score)
    begin, stop, pitch = (np.array(column) for column in zip(*sorted(rows), strict=True))
    found = []
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        now = np.unique(pitch[(begin <= start) & (stop > start)])
        if len(now):
            found.append((start, end, now))
    return found


def open_share(score, rows):
    """Share of the time with two notes or more in which neighbours lie more than an octave apart."""
    total = wide = 0
    for start, end, now in sounding_at(score, rows):
        if len(now) > 1:
            total += end - start
            wide += (end - start) * (int(np.diff(now).max()) > 12)
    return wide / total if total else 0.0


def triads(score, harmony, rows, added):
    """Counts over root-position triads with added notes.

    Returns ``{"root", "third", "fifth", "chords", "with_third", "bass_close", "upper_close", "spaced"}``.
    """
    from mapping.harmony import span_at

    count = dict.fromkeys(
        ("root", "third", "fifth", "other", "seventh", "chords", "with_third", "bass_close", "upper_close", "spaced"), 0
    )
    for start, _, now in sounding_at(score, [*rows, *added]):
        span = span_at(harmony, start)
        if span is None or span.quality not in ("major", "minor") or span.bass % 12 != span.root:
            continue
        if not any(begin <= start < end for begin, end, _ in added):
            continue
        roles = [span.role(int(pitch) % 12) for pitch in now]
        for role in roles:
            count[role] += 1
        count["chords"] += 1
        count["with_third"] += "third" in roles
        if len(now) > 2:
            gaps = np.diff(now)
            count["spaced"] += 1
            count["bass_close"] += int(gaps[0]) <= 12
            count["upper_close"] += int(gaps[1:].max()) <= 12
    return count
