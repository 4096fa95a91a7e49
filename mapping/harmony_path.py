"""Chord templates, the best path through them, and how sure it is."""

from __future__ import annotations

from functools import cache

import numpy as np

from mapping.harmony_frames import Floats, Ints

__all__ = ["QUALITIES", "best_path", "frame_scores", "posterior_of", "templates"]

QUALITIES = {
    "major": ((0, 4, 7), 0.0),
    "minor": ((0, 3, 7), 0.0),
    "dominant seventh": ((0, 4, 7, 10), 0.25),
    "diminished": ((0, 3, 6), 0.5),
    "diminished seventh": ((0, 3, 6, 9), 0.4),
    "half-diminished": ((0, 3, 6, 10), 0.8),
    "minor seventh": ((0, 3, 7, 10), 0.9),
    "major seventh": ((0, 4, 7, 11), 1.3),
    "augmented": ((0, 4, 8), 1.5),
    "seventh without fifth": ((0, 4, 10), 0.9),
}
"""Chord qualities: semitones above the root, and how much evidence a rarer chord must bring."""

_OUT, _PRIOR, _SIZE = 0.35, 0.4, 0.2  # cost of weight outside the chord, of rarity, of a fourth note
_TEMPERATURE = 0.3


@cache
def templates() -> tuple[Floats, Floats, tuple[tuple[int, str], ...]]:
    """Return template masks (chords, 12), cost per quarter, and (root, quality); one chord per set of classes."""
    rows, costs, names = [], [], []
    seen: set[frozenset[int]] = set()
    for quality, (shape, prior) in QUALITIES.items():
        for root in range(12):
            pcs = frozenset((root + step) % 12 for step in shape)
            if pcs in seen:
                continue
            seen.add(pcs)
            rows.append([float(pc in pcs) for pc in range(12)])
            costs.append(_PRIOR * prior + _SIZE * (len(pcs) - 3))
            names.append((root, quality))
    return np.array(rows), np.array(costs), tuple(names)


def frame_scores(weight: Floats, bass: Ints, length_q: Floats) -> Floats:
    """Return how well each chord explains each frame, shape (frames, chords).

    The last term only breaks ties, by the place of the root above the bass, so that transposing changes nothing.
    """
    mask, cost, names = templates()
    inside = weight @ mask.T
    outside = weight.sum(axis=1, keepdims=True) - inside
    roots = np.array([root for root, _ in names])
    ranks = np.array([list(QUALITIES).index(quality) for _, quality in names])
    symmetric = np.isin(ranks, [4, 8])
    above = np.where(symmetric, 0, (roots[None, :] - bass[:, None]) % 12)
    tie = 1e-6 * (above * len(QUALITIES) + ranks[None, :])
    return np.asarray(inside - _OUT * outside - (cost[None, :] + tie) * length_q[:, None])


def best_path(scores: Floats, costs: Floats) -> Ints:
    """Return the best path through the chords; changing costs the same to every other chord."""
    frames, chords = scores.shape
    back = np.zeros((frames, chords), dtype=np.int64)
    value = scores[0].copy()
    stay = np.arange(chords)
    for frame in range(1, frames):
        best = int(np.argmax(value))
        changed = value[best] - costs[frame]
        moves = changed > value
        back[frame] = np.where(moves, best, stay)
        value = np.where(moves, changed, value) + scores[frame]
    path = np.empty(frames, dtype=np.int64)
    path[-1] = int(np.argmax(value))
    for frame in range(frames - 1, 0, -1):
        path[frame - 1] = back[frame, path[frame]]
    return path


def posterior_of(scores: Floats, costs: Floats) -> Floats:
    """Return the probability of each chord in each frame (forward-backward, scaled per frame)."""
    like = np.exp((scores - scores.max(axis=1, keepdims=True)) / _TEMPERATURE)
    switch = np.exp(-costs / _TEMPERATURE)
    forward, backward = np.empty_like(like), np.empty_like(like)
    now = like[0] / like[0].sum()
    forward[0] = now
    for frame in range(1, len(like)):
        now = (now + switch[frame] * (1.0 - now)) * like[frame]
        now /= now.sum()
        forward[frame] = now
    now = np.full(like.shape[1], 1.0 / like.shape[1])
    backward[-1] = now
    for frame in range(len(like) - 1, 0, -1):
        now = now * like[frame]
        now = now + switch[frame] * (now.sum() - now)
        now /= now.sum()
        backward[frame - 1] = now
    both = forward * backward
    return np.asarray(both / both.sum(axis=1, keepdims=True))
