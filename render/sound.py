"""What render hands on: stems on the stage and their sum."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

__all__ = ["SAMPLE_RATE_HZ", "Rendering", "Stem"]

SAMPLE_RATE_HZ = 48_000


@dataclass(frozen=True, eq=False)
class Stem:
    """One player's sound as it reaches the listener.

    Attributes
    ----------
    name : str
        The player's name.
    samples : ndarray, float32, shape (n, 2)
        Full scale is 1.0; may exceed it (nothing clips before the encoder).
    key : str
        Content hash: equal keys mean equal samples.
    """

    name: str
    samples: np.ndarray[Any, np.dtype[np.float32]]
    key: str


@dataclass(frozen=True, eq=False)
class Rendering:
    """One variant of one passage.

    Attributes
    ----------
    variant, passage : str
    stems : tuple of Stem
        All of one length. The dry mix is their sum.
    mix : ndarray, float32, shape (n, 2)
    bar_starts_s : tuple of (int, float)
        Bar index and its start in seconds from the first sample.
    onsets_s : dict of int to float
        Piano note id to its sounding onset in seconds, for the engraved bars to follow.
    warnings : tuple of str
        Silent keys, missing presets, uncalibrated fonts: by player and note.
    about : dict
        Soundfont name and checksum, synth and version, stage, settings: enough to repeat the run.
    room : ndarray, float32, shape (n, 2), or None
        What the room answers; None where it is off. The mix is the sum of the stems and this.
    """

    variant: str
    passage: str
    stems: tuple[Stem, ...]
    mix: np.ndarray[Any, np.dtype[np.float32]]
    bar_starts_s: tuple[tuple[int, float], ...]
    onsets_s: dict[int, float]
    warnings: tuple[str, ...]
    about: dict[str, Any]
    room: np.ndarray[Any, np.dtype[np.float32]] | None = None
