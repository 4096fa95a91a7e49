"""Alto and tenor between a given soprano and bass: the optimiser in the strictest style, where it can be checked.

Held voices and gap voices use the same search with other weights; on chorales the result can be compared with the
voices J. S. Bach wrote (``bench/voicing.py``).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from mapping.harmony_path import QUALITIES
from mapping.voicing_costs import CHORALE, best_chain, candidates
from mapping.voicing_pieces import Piece

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["ALTO", "TENOR", "chord_of", "inner_voices"]

TENOR, ALTO = (45, 69, 60), (53, 76, 68)
"""Low, high and centre of the two voices, MIDI (*from memory*; centres set on the chorales)."""

_LEADING = {
    "dominant seventh": (4, 10),
    "seventh without fifth": (4, 10),
    "diminished": (0,),
    "half-diminished": (0, 10),
    "minor seventh": (10,),
    "major seventh": (11,),
}


def chord_of(classes: frozenset[int], bass: int) -> tuple[int, str]:
    """Return root and quality of the plainest chord that explains most of the pitch classes.

    Parameters
    ----------
    classes : frozenset of int
    bass : int
        MIDI; breaks ties, the root nearest above the bass wins.
    """
    best, least = (bass % 12, "major"), np.inf
    for quality, (shape, prior) in QUALITIES.items():
        for root in range(12):
            chord = {(root + step) % 12 for step in shape}
            cost = 2.0 * len(classes - chord) + 0.6 * len(chord - classes) + 0.4 * prior + 0.001 * ((root - bass) % 12)
            if cost < least:
                best, least = (root, quality), cost
    return best


def inner_voices(
    soprano: Sequence[int],
    bass: Sequence[int],
    classes: Sequence[frozenset[int]],
    *,
    tenor: tuple[int, int, int] = TENOR,
    alto: tuple[int, int, int] = ALTO,
) -> list[tuple[int, int]]:
    """Return ``(tenor, alto)`` for each chord.

    Parameters
    ----------
    soprano, bass : sequence of int
        MIDI pitch at each chord.
    classes : sequence of frozenset of int
        Pitch classes of each chord.
    tenor, alto : (low, high, centre)

    Returns
    -------
    list of (int, int)
    """
    chords = [chord_of(pcs, low) for pcs, low in zip(classes, bass, strict=True)]
    after = [*(root for root, _ in chords[1:]), -1]
    pieces = [
        _piece(row, soprano[row], bass[row], classes[row], chord, following)
        for row, (chord, following) in enumerate(zip(chords, after, strict=True))
    ]
    if not pieces:
        return []
    chain = best_chain(pieces, [candidates(piece, [tenor, alto], CHORALE) for piece in pieces], CHORALE)
    return [(int(low), int(high)) for low, high in chain.pitches.tolist()]


def _piece(row: int, soprano: int, bass: int, classes: frozenset[int], chord: tuple[int, str], following: int) -> Piece:
    """Return one chord between given outer voices; the third of a chord that falls a fifth is its leading note."""
    root, quality = chord
    leading = {(root + step) % 12 for step in _LEADING.get(quality, ())}
    if quality == "major" and following == (root + 5) % 12:
        leading.add((root + 4) % 12)
    roles = {pc: _role(pc, root, quality) for pc in sorted(classes)}
    return Piece(
        start=row,
        end=row + 1,
        roles=roles,
        leading=frozenset(leading),
        low=bass,
        high=soprano,
        bass=bass,
        heads=(bass, soprano),
        tails=(bass, soprano),
        posterior=np.ones(12),
        pc_share=np.zeros(12),
        pitch_share=np.zeros(128),
        melody_share=np.zeros(128),
        given=(bass, soprano),
    )


def _role(pc: int, root: int, quality: str) -> str:
    """Return the place of a pitch class in the chord."""
    above = (pc - root) % 12
    if above not in QUALITIES[quality][0]:
        return "other"
    return "root" if above == 0 else "third" if above < 5 else "fifth" if above < 9 else "seventh"
