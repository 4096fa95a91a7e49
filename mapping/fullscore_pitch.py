"""Written pitch: transposition with its spelling, key signatures, accidentals, clefs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from mapping.spelling import spell

if TYPE_CHECKING:
    from mapping.instruments import Instrument

__all__ = ["CLEFS", "ON_THE_LINE", "Transposition", "accidental", "clefs_by_bar"]

_PITCHES = (0, 2, 4, 5, 7, 9, 11)
_ACCIDENTALS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
_SHARPS, _FLATS = (3, 0, 4, 1, 5, 2, 6), (6, 2, 5, 1, 4, 0, 3)

CLEFS = {
    "treble": ("G", 2, 34), "alto": ("C", 3, 28), "tenor": ("C", 4, 26), "bass": ("F", 4, 22),
    "percussion": ("percussion", 0, 30), "treble 8vb": ("G", 2, 27),
}  # fmt: skip
"""Sign, line (0 for none), and the scale step (7 × octave + step) of the middle line; ``8vb`` has an 8 below."""

ON_THE_LINE = (2, 0, 4)
"""Written (step, alter, octave) of strokes without pitch: MusicXML counts one line as the lowest, E4."""

_CHANGE = 5.0  # ledger lines a change of clef must save


@dataclass(frozen=True)
class Transposition:
    """From sounding to written notes of one instrument in one key.

    Attributes
    ----------
    chromatic, diatonic : int
        Sounding minus written, semitones and scale steps.
    fifths : int
        Written key signature.
    """

    chromatic: int
    diatonic: int
    fifths: int

    @classmethod
    def of(cls, instrument: Instrument, fifths: int) -> Transposition:
        """Return the transposition of an instrument where the piece has *fifths*; keys beyond six signs are respelt."""
        chromatic, diatonic = instrument.transpose, instrument.transpose_diatonic
        key = fifths - (7 * chromatic - 12 * diatonic)
        if chromatic % 12 and key > 6:
            key, diatonic = key - 12, diatonic - 1
        elif chromatic % 12 and key < -6:
            key, diatonic = key + 12, diatonic + 1
        return cls(chromatic, diatonic, max(-7, min(7, key)))

    def written(self, pitch: int, step: int, octave: int) -> tuple[int, int, int]:
        """Return written (step, alter, octave) of a sounding note; beyond double accidentals it is respelt."""
        place = octave * 7 + step - self.diatonic
        octave, step = divmod(place, 7)
        alter = pitch - self.chromatic - (12 * (octave + 1) + _PITCHES[step])
        if abs(alter) > 2:
            return spell(pitch - self.chromatic, self.fifths)
        return step, alter, octave


def key_alters(fifths: int) -> dict[int, int]:
    """Return the alterations of a key signature by step."""
    steps = _SHARPS[:fifths] if fifths > 0 else _FLATS[:-fifths]
    return dict.fromkeys(steps, 1 if fifths > 0 else -1)


def accidental(alter: int) -> str:
    """Return MusicXML's name of an accidental."""
    return _ACCIDENTALS[alter]


def clefs_by_bar(steps: list[list[int]], names: tuple[str, ...]) -> list[str]:
    """Return the clef of every bar: few ledger lines, few changes, the instrument's first clef in doubt.

    Parameters
    ----------
    steps : list of list of int
        Scale steps (7 × octave + step) of the written notes, by bar.
    names : tuple of str
        Clefs the instrument reads, the usual one first.
    """
    usual = [name for name in names if name in CLEFS] or ["treble"]
    cost = [0.0] + [_CHANGE] * (len(usual) - 1)
    back: list[list[int]] = []
    for bar in steps:
        row = []
        paid = []
        for place, name in enumerate(usual):
            change, best = min((cost[old] + _CHANGE * (old != place), old) for old in range(len(usual)))
            row.append(best)
            paid.append(change + _ledgers(bar, name) + 0.5 * bool(place))
        back.append(row)
        cost = paid
    place = min(range(len(usual)), key=lambda item: cost[item])
    found = []
    for row in reversed(back):
        found.append(usual[place])
        place = row[place]
    return found[::-1]


def _ledgers(steps: list[int], clef: str) -> float:
    """Ledger lines the notes of a bar need; one is free, for a player reads that at sight."""
    middle = CLEFS[clef][2]
    return float(sum(max(0, (abs(step - middle) - 4) // 2 - 1) for step in steps))
