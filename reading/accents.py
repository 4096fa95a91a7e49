"""Accents: those that are written as such, and those that are not.

An arpeggio sign, a chord suddenly thicker than its surroundings, a sudden drop of the bass, an attack off the beat that
holds over the next: on the piano all of these stress a moment. The strengths below are our own scale for ranking
(*common practice, no source*): a written sforzando stands above a written accent, and what is only heard as an accent
stands below both. Several reasons at one moment add up.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.features import beat_ticks, played
from reading.layers_texture import texture_of
from reading.score import Flag

if TYPE_CHECKING:
    from reading.layers_texture import IntArray, Texture
    from reading.score import Score

__all__ = ["Accent", "accents"]

_SIGNS = (
    (Flag.SFORZANDO, 0.7, "sforzando"),
    (Flag.FP, 0.7, "forte-piano"),
    (Flag.MARCATO, 0.55, "strong accent"),
    (Flag.ACCENT, 0.45, "accent"),
    (Flag.ARPEGGIO | Flag.ARPEGGIO_DOWN, 0.35, "arpeggio sign"),
)
_SAID = re.compile(r"(s?f+z|sf|s?fp|rfz?|rinf|sforz|rinforzando|sforzando|sforzato)\.?", re.IGNORECASE)
"""Accents that some files give as words."""
_THICK = 0.35
_DROP = 0.3
_SYNCOPE = 0.2
_AROUND_BARS = 2
_DROP_SEMITONES = 12


@dataclass(frozen=True)
class Accent:
    """One stressed moment.

    Attributes
    ----------
    bar_index, onset : int
        Bar from 1; ticks.
    beat : float
        Counted from 1, in the lower figure of the metre.
    strength : float
        0 to 1.
    reasons : tuple of str
        In words, with numbers, the strongest first; marked ones come from signs in the score.
    marked : bool
        Whether any sign stands there.
    notes : int
        How many notes are struck.
    """

    bar_index: int
    onset: int
    beat: float
    strength: float
    reasons: tuple[str, ...]
    marked: bool
    notes: int


def accents(score: Score) -> tuple[Accent, ...]:
    """Return every stressed moment in order of time.

    Parameters
    ----------
    score : Score

    Returns
    -------
    tuple of Accent
    """
    texture = texture_of(score)
    if not len(texture.onset):
        return ()
    moments, first, count = np.unique(texture.onset, return_index=True, return_counts=True)
    found: dict[int, list[tuple[float, str, bool]]] = {}
    _signs(score, moments, found)
    _thick_chords(texture, moments, first, count, found)
    _drops(texture, moments, first, found)
    _syncopes(score, texture, moments, found)
    return tuple(_accent(score, row, moments, count, reasons) for row, reasons in sorted(found.items()))


def _accent(
    score: Score, row: int, moments: IntArray, count: IntArray, reasons: list[tuple[float, str, bool]]
) -> Accent:
    """Add up the reasons of one moment."""
    onset = int(moments[row])
    bar = score.bars[score.bar_at(onset) - 1]
    unit = 4 * 10_080 / max(1, int(bar["beat_type"]))
    reasons = sorted(reasons, reverse=True)
    return Accent(
        bar_index=int(bar["index"]),
        onset=onset,
        beat=round((onset - int(bar["onset"])) / unit + 1, 3),
        strength=round(1 - float(np.prod([1 - strength for strength, _, _ in reasons])), 3),
        reasons=tuple(text for _, text, _ in reasons),
        marked=any(marked for _, _, marked in reasons),
        notes=int(count[row]),
    )


def _signs(score: Score, moments: IntArray, found: dict[int, list[tuple[float, str, bool]]]) -> None:
    """Moments that carry a sign: on notes, or beside them in the marks table (the same sign counts once)."""
    notes = score.notes[played(score)]
    said: set[tuple[int, str]] = set()
    for flag, strength, words in _SIGNS:
        onsets, counts = np.unique(notes["onset"][notes["flags"] & int(flag) != 0], return_counts=True)
        for onset, number in zip(onsets.tolist(), counts.tolist(), strict=True):
            text = f"{words} over {number} notes" if words == "arpeggio sign" else words
            row = int(np.searchsorted(moments, onset))
            found.setdefault(row, []).append((strength + (number > 4) * 0.05, text, True))
            said.add((onset, words))
    for mark in score.marks_of("accent", "text"):
        if mark.kind == "text" and not _SAID.fullmatch(mark.value.strip()):
            continue
        row = min(int(np.searchsorted(moments, mark.onset)), len(moments) - 1)
        onset = int(moments[row])
        words = "forte-piano" if "p" in mark.value else "sforzando"
        if (onset, words) not in said:
            found.setdefault(row, []).append((0.7, mark.value, True))
            said.add((onset, words))


def _around(values: np.ndarray[Any, Any], bar: IntArray, row: int) -> np.ndarray[Any, Any]:
    """Values of the moments in the bars around, the row's own left out."""
    low = np.searchsorted(bar, bar[row] - _AROUND_BARS, side="left")
    high = np.searchsorted(bar, bar[row] + _AROUND_BARS, side="right")
    return np.concatenate([values[low:row], values[row + 1 : high]])


def _thick_chords(
    texture: Texture,
    moments: IntArray,
    first: IntArray,
    count: IntArray,
    found: dict[int, list[tuple[float, str, bool]]],
) -> None:
    """Chords of five notes or more that have at least twice and three more than is usual around them."""
    bar = texture.bar[first]
    for row in np.flatnonzero(count >= 5).tolist():
        around = _around(count, bar, row)
        usual = float(np.quantile(around, 0.75)) if len(around) else 0.0
        if count[row] >= max(2 * usual, usual + 3):
            strength = _THICK + min(0.2, 0.03 * (int(count[row]) - 5))
            text = f"{int(count[row])} notes at once where {usual:.0f} are usual"
            found.setdefault(row, []).append((strength, text, False))


def _drops(
    texture: Texture, moments: IntArray, first: IntArray, found: dict[int, list[tuple[float, str, bool]]]
) -> None:
    """Bars whose lowest attack lies an octave or more below the lowest of each bar around."""
    lowest = np.full(texture.bars + 1, 128)
    np.minimum.at(lowest, texture.bar, texture.pitch)
    struck = texture.pitch[first]  # notes are sorted by pitch inside an onset
    for bar in range(1, texture.bars + 1):
        around = np.concatenate([lowest[max(1, bar - 2) : bar], lowest[bar + 1 : bar + 3]])
        around = around[around < 128]
        if lowest[bar] == 128 or len(around) < 2 or lowest[bar] > around.min() - _DROP_SEMITONES:
            continue
        rows = np.flatnonzero((texture.bar[first] == bar) & (struck == lowest[bar]))
        drop = int(around.min() - lowest[bar])
        found.setdefault(int(rows[0]), []).append(
            (_DROP, f"the bass drops {drop} semitones below its surroundings", False)
        )


def _syncopes(
    score: Score, texture: Texture, moments: IntArray, found: dict[int, list[tuple[float, str, bool]]]
) -> None:
    """Attacks off the beat that sound over the next beat, on which nobody strikes."""
    bar = texture.bar - 1
    inside = texture.onset - texture.bar_onset[bar]
    beat = beat_ticks(score)[bar]
    off = inside % beat
    next_beat = texture.onset + (beat - off)
    struck = np.isin(next_beat, moments)
    within = next_beat < texture.bar_end[bar]
    syncope = (off > 0) & within & (texture.end > next_beat) & ~struck
    for onset in np.unique(texture.onset[syncope]).tolist():
        row = int(np.searchsorted(moments, onset))
        found.setdefault(row, []).append((_SYNCOPE, "struck off the beat and held over the next", False))
