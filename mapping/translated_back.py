"""The back-translation: what of the piano piece one finds again in the reduction of a variant.

Measures
--------
pitch, pitch_class
    Attacks of the reduction against those of the piano piece, by onset and pitch, and by onset and pitch class:
    precision, recall and their harmonic mean (F1).
melody, bass
    Share of the tune's and of the bass's notes whose pitch class is struck at their onset in the reduction.

Grace and cue notes are left out on both sides, and so is what singers sing. A variant that adds resonance or doublings
falls in precision: not a fault, but a figure of how far it went.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.keeping_facts import Facts, facts_of
from reading.sung import sung_parts

if TYPE_CHECKING:
    from mapping.harmony_frames import Ints
    from mapping.reducing import Reduction
    from reading.layers import Layers

__all__ = ["Agreement", "BackTranslation", "agreement", "back_translation"]


@dataclass(frozen=True)
class Agreement:
    """How far two sets of attacks agree, each figure 0 to 1."""

    precision: float
    recall: float

    @property
    def f1(self) -> float:
        """Harmonic mean of precision and recall."""
        both = self.precision + self.recall
        return 2 * self.precision * self.recall / both if both else 0.0

    def to_json(self) -> dict[str, float]:
        """Return the three figures."""
        return {"precision": self.precision, "recall": self.recall, "f1": self.f1}


@dataclass(frozen=True)
class BackTranslation:
    """A variant's reduction beside the piano piece.

    Attributes
    ----------
    pitch, pitch_class : Agreement
    melody, bass : float
        Shares, 0 to 1.
    notes : int
        Attacks of the reduction.
    resonance : int
        Held notes of winds that the pedal stands for.
    """

    pitch: Agreement
    pitch_class: Agreement
    melody: float
    bass: float
    notes: int
    resonance: int

    def to_json(self) -> dict[str, Any]:
        """Return the figures as JSON-ready data."""
        return {
            "pitch": self.pitch.to_json(),
            "pitch_class": self.pitch_class.to_json(),
            "melody": self.melody,
            "bass": self.bass,
            "notes": self.notes,
            "resonance": self.resonance,
        }


def back_translation(reduction: Reduction, layers: Layers) -> BackTranslation:
    """Compare a reduction with the piano piece its variant was made from.

    Parameters
    ----------
    reduction : Reduction
    layers : Layers
        Roles of the piano's notes.
    """
    score = reduction.arrangement.score
    piano = facts_of(score, layers)
    if reduction.sung:
        own = ~np.isin(piano.notes["part"], sung_parts(score))
        piano = Facts(piano.notes[own], piano.melody[own], piano.bass[own], piano.spans)
    ours = reduction.notes
    onset, pitch = ours["onset"].astype(np.int64), ours["pitch"].astype(np.int64)
    classes = np.unique(onset * 12 + pitch % 12)
    kept = np.isin(piano.onset * 12 + piano.pitch % 12, classes)
    return BackTranslation(
        agreement(onset * 128 + pitch, piano.onset * 128 + piano.pitch),
        agreement(classes, piano.onset * 12 + piano.pitch % 12),
        _share(kept[piano.melody]),
        _share(kept[piano.bass]),
        len(ours),
        reduction.resonance,
    )


def agreement(found: Ints, true: Ints) -> Agreement:
    """Return how far the numbers *found* are the *true* ones, each counted once; two empty sets agree."""
    ours, theirs = np.unique(found), np.unique(true)
    both = len(np.intersect1d(ours, theirs))
    empty = float(len(ours) == len(theirs))
    return Agreement(both / len(ours) if len(ours) else empty, both / len(theirs) if len(theirs) else empty)


def _share(kept: np.ndarray[Any, np.dtype[np.bool_]]) -> float:
    """Share of those kept; 1 where there was nothing to keep."""
    return float(kept.mean()) if len(kept) else 1.0
