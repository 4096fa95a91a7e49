"""How much of the piano piece a variant keeps: melody, bass, harmony, momentum, register, dynamics, each 0 to 1.

Conventions
-----------
Grace and cue notes are left out on both sides; pitches are sounding; players that double one another count once.
A value is 1 exactly where nothing was changed, and every fall is listed with bar and beat.

Measures
--------
melody
    Share of the tune's notes whose pitch class some player strikes at their onset, in any octave.
bass
    Mean over the bass notes: 1 where the pitch class is struck at the onset, at its pitch or octaves below; ½ where it
    is struck only above; 0 where it is not struck, or where the lowest sounding pitch class is neither the piano's own
    nor one that has been the bass before in the same harmony (a bass that rings on is resonance, not another bass).
harmony
    Mean over the spans of harmony, weighted by their length, of kept ÷ (kept + missing + foreign) pitch classes.
    A class is missing or foreign only where it sounds for a thirty-second note or more within the span.
momentum
    Composite rhythm: onsets kept ÷ (onsets of the piano + onsets added). A stroke of percussion without pitch keeps an
    onset; one that the piano has not adds none. No other count but the dynamics hears that percussion.
register
    Mean of three shares: notes of the tune kept at their own octave, and bars whose highest and whose lowest note is
    kept at its octave, each among those whose pitch class is struck at all. Doublings outside the piano's compass
    leave it untouched: they are allowed.
dynamics
    Shape: of the piano's changes of half a step or more from bar to bar, the share in which the variant too grows or
    fades, by published strengths of instruments (:mod:`mapping.checks.balance`); added players count.

Where the definitions stand in no handbook they are our own; the five things to be kept are those of every arranger
(G. Grove, A Dictionary of Music and Musicians, vol. 1 (1879), article "Arrangement", pp. 89–93).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.harmony_frames import pairs_of
from mapping.keeping_dynamics import shape
from mapping.keeping_facts import Facts, facts_of, played
from mapping.places import place_of
from reading.score import TICKS_PER_QUARTER

if TYPE_CHECKING:
    from mapping.arrangement import Arrangement
    from reading.layers import Layers

__all__ = ["COUNTS", "Departure", "Faithfulness", "Kept", "faithfulness"]

COUNTS = ("melody", "bass", "harmony", "momentum", "register", "dynamics")
_SHORT_TICKS = TICKS_PER_QUARTER // 8
_NAMES = ("C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B")


@dataclass(frozen=True)
class Departure:
    """One place where the variant leaves the piano piece.

    Attributes
    ----------
    bar_index : int
    beat : Fraction
        From 1, in units of the metre's lower figure.
    what : str
        A sentence.
    intended : bool
        Whether a step that changes notes on purpose (not a plain ``play`` or ``double``) made it: brought the foreign
        note in, or is at work where a note is lost. What ``rest`` and ``thin`` take away leaves no trace in the notes
        and counts as not intended.
    """

    bar_index: int
    beat: Fraction
    what: str
    intended: bool = False

    def to_json(self) -> dict[str, Any]:
        """Return the departure as JSON-ready data."""
        return {"bar_index": self.bar_index, "beat": str(self.beat), "what": self.what, "intended": self.intended}


@dataclass(frozen=True)
class Kept:
    """One count: its value, 0 to 1, and the departures that lower it, in order of time."""

    value: float
    departures: tuple[Departure, ...] = ()


@dataclass(frozen=True)
class Faithfulness:
    """The counts of one variant."""

    melody: Kept
    bass: Kept
    harmony: Kept
    momentum: Kept
    register: Kept
    dynamics: Kept

    def to_json(self) -> dict[str, Any]:
        """Return ``{count: {value, departures}}`` as JSON-ready data."""
        found = {}
        for name in COUNTS:
            kept: Kept = getattr(self, name)
            found[name] = {"value": kept.value, "departures": [one.to_json() for one in kept.departures]}
        return found


def faithfulness(arrangement: Arrangement, layers: Layers) -> Faithfulness:
    """Return how much of the piano piece a variant keeps.

    Parameters
    ----------
    arrangement : Arrangement
    layers : Layers
        Roles of the piano's notes.

    Returns
    -------
    Faithfulness
    """
    piano, variant = facts_of(arrangement.score, layers), played(arrangement)
    return Faithfulness(
        _melody(piano, variant, arrangement),
        _bass(piano, variant, arrangement),
        _harmony(piano, variant, arrangement),
        _momentum(piano, variant, arrangement),
        _register(piano, variant, arrangement),
        _dynamics(arrangement),
    )


def _at(arrangement: Arrangement, tick: int, what: str, *, intended: bool = False) -> Departure:
    """Return a departure at a tick."""
    return Departure(*place_of(arrangement.score, tick), what, intended)


def _melody(piano: Facts, variant: Facts, arrangement: Arrangement) -> Kept:
    """Count the tune's notes by pitch class."""
    rows = np.flatnonzero(piano.melody)
    struck = variant.strikes(piano.onset[rows], piano.pitch[rows] % 12)
    lost = rows[~struck]
    value = float(struck.mean()) if len(rows) else 1.0
    told = [
        _at(arrangement, piano.onset[row], f"the tune's {_name(piano, row)} is not played") for row in lost.tolist()
    ]
    return Kept(value, tuple(told))


def _bass(piano: Facts, variant: Facts, arrangement: Arrangement) -> Kept:
    """Count bass notes by pitch class, octave and whether they are still the lowest."""
    rows = np.flatnonzero(piano.bass)
    if not len(rows):
        return Kept(1.0)
    onset, pitch = piano.onset[rows], piano.pitch[rows]
    lowest_struck = variant.lowest_struck(onset, pitch % 12)
    below, there = variant.lowest_sounding(onset), piano.lowest_sounding(onset)
    points = np.where(lowest_struck <= pitch, 1.0, 0.5)
    gone = lowest_struck > 127
    turned = ~gone & (below % 12 != there % 12) & ~_rings_on(piano, onset, pitch % 12, below % 12)
    points[gone | turned] = 0.0
    told = []
    for place in np.flatnonzero(points < 1).tolist():
        name = _name(piano, int(rows[place]))
        what = f"the bass {name} is not played" if gone[place] else f"the bass {name} is heard only in a higher octave"
        if turned[place]:
            what = f"below the bass {name} lies {_NAMES[below[place] % 12]}"
        tick = int(onset[place])
        told.append(
            _at(arrangement, tick, what, intended=variant.changed(tick, int(below[place]) if turned[place] else -1))
        )
    return Kept(float(points.mean()), tuple(told))


def _rings_on(piano: Facts, onset: Any, pc: Any, below: Any) -> Any:
    """Return whether each lowest pitch class has been the bass earlier in the same span of harmony."""
    ends = np.array([span.end_ticks for span in piano.spans])
    place = np.searchsorted(ends, onset, side="right")
    had: set[tuple[int, int]] = set()
    found = []
    for span, own, low in zip(place.tolist(), pc.tolist(), below.tolist(), strict=True):
        had.add((span, own))
        found.append((span, low) in had)
    return np.array(found, dtype=bool)


def _harmony(piano: Facts, variant: Facts, arrangement: Arrangement) -> Kept:
    """Count pitch classes per span of harmony."""
    spans = piano.spans
    if not spans:
        return Kept(1.0)
    starts, ends = (np.array([getattr(span, name) for span in spans]) for name in ("start_ticks", "end_ticks"))
    ours, theirs = _classes(variant, starts, ends), _classes(piano, starts, ends)
    least = np.minimum(_SHORT_TICKS, ends - starts)[:, None]
    foreign, missing = (ours >= least) & (theirs == 0), (theirs >= least) & (ours == 0)
    kept = (theirs > 0) & ~missing
    union = kept.sum(axis=1) + missing.sum(axis=1) + foreign.sum(axis=1)
    share = np.where(union > 0, kept.sum(axis=1) / np.maximum(union, 1), 1.0)
    told = []
    for row in np.flatnonzero(share < 1).tolist():
        for word, table in (("is missing", missing), ("is foreign to the piano's harmony", foreign)):
            names = ", ".join(_NAMES[pc] for pc in np.flatnonzero(table[row]).tolist())
            if names:
                meant = word != "is missing" and variant.meant(
                    int(starts[row]), int(ends[row]), np.flatnonzero(table[row])
                )
                told.append(_at(arrangement, int(starts[row]), f"{names} {word}", intended=meant))
    return Kept(float(np.average(share, weights=ends - starts)), tuple(told))


def _classes(facts: Facts, starts: Any, ends: Any) -> Any:
    """Return how long each pitch class sounds in each span, ticks, shape (spans, 12)."""
    rows, places, overlap = pairs_of(facts.notes, starts, ends)
    table = np.zeros((len(starts), 12), dtype=np.int64)
    np.add.at(table, (places, facts.pitch[rows] % 12), overlap)
    return table


def _momentum(piano: Facts, variant: Facts, arrangement: Arrangement) -> Kept:
    """Compare the composite rhythms."""
    ours, theirs = np.unique(variant.onset), np.unique(piano.onset)
    beaten = [part.notes["onset"] for part in arrangement.parts if part.player.instrument.unpitched is not None]
    lost = np.setdiff1d(theirs, np.concatenate([ours, *beaten]))
    added = np.setdiff1d(ours, theirs)
    total = len(theirs) + len(added)
    told = [
        _at(arrangement, tick, "an attack of the piano is lost", intended=variant.changed(tick))
        for tick in lost.tolist()
    ]
    told += [
        _at(arrangement, tick, "an attack is added", intended=variant.meant(tick, tick + 1)) for tick in added.tolist()
    ]
    value = (len(theirs) - len(lost)) / total if total else 1.0
    return Kept(value, tuple(sorted(told, key=lambda one: (one.bar_index, one.beat))))


def _register(piano: Facts, variant: Facts, arrangement: Arrangement) -> Kept:
    """Compare the octave of the tune and of each bar's outer notes."""
    shares, told = [], []
    tops, bottoms = piano.outer_rows()
    for rows, word in (
        (np.flatnonzero(piano.melody), "the tune's"),
        (tops, "the highest note"),
        (bottoms, "the lowest note"),
    ):
        onset, pitch = piano.onset[rows], piano.pitch[rows]
        struck = variant.strikes(onset, pitch % 12)
        exact = variant.strikes_pitch(onset, pitch)
        shares.append(float(exact[struck].mean()) if struck.any() else 1.0)
        for row in rows[struck & ~exact].tolist():
            told.append(
                _at(arrangement, piano.onset[row], f"{word} {_name(piano, row)} is played in another octave only")
            )
    told = sorted(set(told), key=lambda one: (one.bar_index, one.beat, one.what))
    return Kept(sum(shares) / len(shares), tuple(told))


def _dynamics(arrangement: Arrangement) -> Kept:
    """Compare where piano and variant grow and fade."""
    value, missed = shape(arrangement)
    bars = arrangement.score.bars
    told = [
        _at(
            arrangement,
            int(bars["onset"][bar - 1]),
            f"the piano {'grows louder' if grows else 'fades'} here, the variant does not",
        )
        for bar, grows in missed
    ]
    return Kept(value, tuple(told))


def _name(facts: Facts, row: int) -> str:
    """Return a note's name as the score spells it."""
    note = facts.notes[row]
    sign = {-2: "♭♭", -1: "♭", 0: "", 1: "♯", 2: "𝄪"}.get(int(note["alter"]), "")
    return f"{'CDEFGAB'[int(note['step'])]}{sign}{int(note['octave'])}"
