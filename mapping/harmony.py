"""Spans of one harmony, found from the notes.

Conventions
-----------
Time in ticks; pitch classes 0–11 with C = 0. A *frame* is half a beat; its weight per pitch class is how long (and how
freshly struck) the class sounds there, passing notes counting little. Each frame is compared with every chord template,
and the cheapest path through the templates, where changing costs more off the beat, gives the spans (Viterbi 1967);
the forward-backward sums give how sure each pitch class is.

The weights were set against the harmonic labels of two Beethoven sonata movements in the Annotated Beethoven and
related corpora of the Digital and Cognitive Musicology Lab (EPFL), then tried on six others; ``bench/voicing.py``
measures them. Spans are equal under transposition and under a change of order of simultaneous notes.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.harmony_frames import Floats, Ints, Notes, SoundingTable, frame_starts, pairs_of, sounding, weights_of
from mapping.harmony_path import QUALITIES, best_path, frame_scores, posterior_of, templates
from reading.score import TICKS_PER_QUARTER

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reading.score import Score

__all__ = ["QUALITIES", "Span", "frame_starts", "sounding", "span_at", "spans"]

_LASTING = 0.1  # share of a span from which a low note counts as its foundation


@dataclass(frozen=True)
class Span:
    """A stretch of one harmony.

    Attributes
    ----------
    start_ticks, end_ticks : int
    pcs : frozenset of int
        Pitch classes of the chord that sound in the span.
    root : int
        Pitch class; of a diminished seventh or augmented chord, the bass where it belongs to the chord.
    quality : str
        One of :data:`QUALITIES`.
    bass : int
        Foundation, MIDI: the lowest note of the chord that opens the span or lasts a tenth of it; -1 for silence.
    posterior : tuple of float, length 12
        How sure it is that the pitch class belongs to the chord, 0 to 1.
    spelling : tuple of (step, alter) or None, length 12
        How the score spells the pitch class here (step 0 = C … 6 = B).
    """

    start_ticks: int
    end_ticks: int
    pcs: frozenset[int]
    root: int
    quality: str
    bass: int
    posterior: tuple[float, ...]
    spelling: tuple[tuple[int, int] | None, ...]

    def role(self, pc: int) -> str:
        """Return ``root``, ``third``, ``fifth``, ``seventh`` or ``other`` for a pitch class."""
        above = (pc - self.root) % 12
        if above not in QUALITIES[self.quality][0]:
            return "other"
        if above == 0:
            return "root"
        return "third" if above < 5 else "fifth" if above < 9 else "seventh"


def spans(score: Score) -> list[Span]:
    """Return the spans of one harmony from the start to the end of the piece, without gaps.

    Parameters
    ----------
    score : Score

    Returns
    -------
    list of Span
        Empty for a piece without notes.

    References
    ----------
    A. J. Viterbi, "Error bounds for convolutional codes", IEEE Trans. Information Theory 13 (1967), 260–269.
    L. R. Rabiner, "A tutorial on hidden Markov models", Proc. IEEE 77 (1989), sections III.A and III.B.
    """
    notes = sounding(score)
    if not len(notes) or not len(score.bars):
        return []
    starts, ends, costs = frame_starts(score)
    rows, frames, overlap = pairs_of(notes, starts, ends)
    weight, bass = weights_of(notes, rows, frames, overlap, starts, ends)
    scores = frame_scores(weight, bass, (ends - starts) / TICKS_PER_QUARTER)
    path = best_path(scores, costs)
    posterior = posterior_of(scores, costs) @ templates()[0]
    edges = [0, *(np.flatnonzero(np.diff(path)) + 1).tolist(), len(path)]
    table = SoundingTable(notes, rows, frames, overlap, starts, ends)
    return [_span(table, path[a], posterior, a, b) for a, b in pairwise(edges)]


def _span(table: SoundingTable, chord: int, posterior: Floats, first: int, last: int) -> Span:
    """Return the span of frames *first* up to *last*."""
    root, quality = templates()[2][chord]
    mask = templates()[0][chord] > 0
    pairs = table.within(first, last)
    rows, overlap = table.rows[pairs], table.overlap[pairs]
    pitch = table.notes["pitch"][rows].astype(np.int64)
    lengths = table.ends[first:last] - table.starts[first:last]
    total = int(lengths.sum())
    opening = table.frames[pairs] == first
    bass = _foundation(pitch, overlap, total, opening, mask)
    pcs = frozenset(int(pc) for pc in np.unique(pitch % 12) if mask[pc])
    if quality in ("diminished seventh", "augmented") and bass >= 0:
        root = min(np.flatnonzero(mask).tolist(), key=lambda pc: (pc - bass) % 12)
    sure = (posterior[first:last] * lengths[:, None]).sum(axis=0) / total
    return Span(
        int(table.starts[first]),
        int(table.ends[last - 1]),
        pcs,
        int(root),
        quality,
        bass,
        tuple(float(value) for value in sure),
        _spellings(table.notes, rows, overlap),
    )


def _foundation(pitch: Ints, overlap: Ints, total: int, opening: Any, mask: Any) -> int:
    """Return the lowest note of the chord that opens the span or sounds for a tenth of it, else the lowest, else -1.

    A broken chord touches its bass for half a beat only, but that note is the foundation of all that follows.
    """
    if not len(pitch):
        return -1
    share = np.bincount(pitch, weights=overlap, minlength=128) / total
    lasting = (share[pitch] >= _LASTING) | opening
    member = mask[pitch % 12]
    for chosen in (lasting & member, lasting):
        if chosen.any():
            return int(pitch[chosen].min())
    return int(pitch.min())


def _spellings(notes: Notes, rows: Ints, overlap: Ints) -> tuple[tuple[int, int] | None, ...]:
    """Return the spelling heard longest for each pitch class."""
    found: list[dict[tuple[int, int], int]] = [{} for _ in range(12)]
    for row, length in zip(rows.tolist(), overlap.tolist(), strict=True):
        note = notes[row]
        name = int(note["step"]), int(note["alter"])
        table = found[int(note["pitch"]) % 12]
        table[name] = table.get(name, 0) + length
    return tuple(max(sorted(names), key=lambda name: names[name]) if names else None for names in found)


def span_at(found: Sequence[Span], tick: int) -> Span | None:
    """Return the span that holds *tick*, or None outside the piece."""
    low, high = 0, len(found)
    while low < high:
        middle = (low + high) // 2
        if found[middle].end_ticks <= tick:
            low = middle + 1
        else:
            high = middle
    return found[low] if low < len(found) and found[low].start_ticks <= tick else None
