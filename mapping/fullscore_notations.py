"""What stands in ``<notations>`` at a note: articulations, ornaments, tremolos, fermatas, arpeggios, glissandi."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from mapping.arrangement import TECHNIQUES
from mapping.fullscore_pitch import accidental
from mapping.fullscore_text import plain
from reading.score import Flag

if TYPE_CHECKING:
    from mapping.draft import Rows
    from mapping.fullscore_details import Details
    from mapping.fullscore_pitch import Transposition

__all__ = ["articulations", "fermata", "note_signs", "strokes"]

_ARTICULATIONS = (
    (Flag.ACCENT, "accent"),
    (Flag.MARCATO, "strong-accent"),
    (Flag.STACCATO, "staccato"),
    (Flag.STACCATISSIMO, "staccatissimo"),
    (Flag.TENUTO, "tenuto"),
)
_ORNAMENTS = (
    (Flag.TRILL, "trill"),
    (Flag.MORDENT, "mordent"),
    (Flag.INVERTED_MORDENT, "inverted-mordent"),
    (Flag.TURN, "turn"),
    (Flag.INVERTED_TURN, "inverted-turn"),
)
_NAMES = {
    "trill": "trill-mark",
    **{name: name for name in ("shake", "mordent", "inverted-mordent", "turn", "inverted-turn")},
    **{name: name for name in ("delayed-turn", "delayed-inverted-turn")},
}
_NOTE_TECHNIQUES = {"harmonic": "<harmonic/>", "stopped": "<stopped/>"}
_ALTERS = {"sharp": 1, "flat": -1, "natural": 0, "double-sharp": 2, "flat-flat": -2}
_PITCHES = (0, 2, 4, 5, 7, 9, 11)


def articulations(flags: int, technique: str, word: str = "") -> str:
    """Return the signs a chord has once: way of playing, articulations, breath.

    Parameters
    ----------
    flags : int
        Bits of Flag of all its notes.
    technique : str
        Way of playing.
    word : str
        Sign that the reading keeps as words: ``breath-mark``.
    """
    found = f"<technical>{_NOTE_TECHNIQUES[technique]}</technical>" if technique in _NOTE_TECHNIQUES else ""
    signs = [f"<{name}/>" for flag, name in _ARTICULATIONS if flags & int(flag)]
    signs += [f"<{word}/>"] if word else []
    return found + (f"<articulations>{''.join(signs)}</articulations>" if signs else "")


def fermata(shape: str) -> str:
    """Return a fermata of a shape (``normal``, ``angled``, ``square`` …)."""
    return f'<fermata type="upright">{plain(shape or "normal")}</fermata>'


def note_signs(
    row: int, notes: Rows, details: Details, transposition: Transposition, *, first: bool, last: bool
) -> tuple[str, str]:
    """Return what belongs to one note of a chord: what stands in ``<ornaments>``, and its glissandi.

    Parameters
    ----------
    row : int
        Of the part's table.
    transposition : Transposition
        In that bar; accidentals of ornaments are transposed with the notes they name.
    first, last : bool
        Whether this is the first, the last written value of the note.
    """
    flags = int(notes["flags"][row])
    found = ""
    if first:
        values = details.ornaments.get(row) or [name for flag, name in _ORNAMENTS if flags & int(flag)]
        for value in values:
            name = value.partition(":")[0]
            found += f"<{_NAMES[name]}/>" if name in _NAMES else ""
        found += '<wavy-line type="start"/>' if "start" in details.wavy.get(row, ()) else ""
    found += '<wavy-line type="stop"/>' if last and "stop" in details.wavy.get(row, ()) else ""
    if first:
        for value in details.ornaments.get(row, ()):
            found += _accidentals(value, notes[row], transposition)
    lines = "".join(
        f'<glissando type="{way}" number="{number}" line-type="wavy"/>'
        for way, number in details.lines.get(row, ())
        if (last if way == "start" else first)
    )
    return found, lines


def strokes(row: int, notes: Rows, details: Details, flags: int) -> str:
    """Return the tremolo on one note, where it has one; *flags* are those of its written value."""
    technique = TECHNIQUES[int(notes["technique"][row])]
    if technique not in ("tremolo", "roll") and not int(notes["flags"][row]) & Flag.TREMOLO:
        return ""
    wanted = details.strokes.get(row, 3)  # beams count among the strokes
    return f'<tremolo type="single">{min(8, max(1, wanted - flags))}</tremolo>'


def _accidentals(value: str, note: Rows, transposition: Transposition) -> str:
    """Accidentals of an ornament's neighbours, as the transposed part must have them."""
    name, found = value.partition(":")[0], ""
    for side, sign in re.findall(r":(above|below) ([a-z-]+)", value):
        if sign in _ALTERS:
            upward = side == "above" if "turn" in name else name != "mordent"
            place = int(note["octave"]) * 7 + int(note["step"]) + (1 if upward else -1)
            octave, step = divmod(place, 7)
            pitch = _PITCHES[step] + _ALTERS[sign] + 12 * (octave + 1)
            sign = accidental(transposition.written(pitch, step, octave)[1])
        found += f'<accidental-mark placement="{side}">{plain(sign)}</accidental-mark>'
    return found
