"""Notes, chords, grace notes and rests of one part as MusicXML text."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from mapping.arrangement import TECHNIQUES
from mapping.fullscore_notations import articulations, fermata, note_signs, strokes
from reading.score import Flag

if TYPE_CHECKING:
    from mapping.draft import Rows
    from mapping.fullscore_lyrics import Lyrics
    from mapping.fullscore_pitch import Transposition
    from mapping.fullscore_rhythm import Glyph
    from mapping.fullscore_signs import Signs
    from mapping.instruments import Instrument

__all__ = ["Accidentals", "NoteWriter", "measure_rest", "rest"]

Accidentals = dict[tuple[int, int], str]
"""Accidentals to print, by (row, start of the glyph in its bar); −1 for grace notes."""

_GRACES = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "16th", 32: "32nd", 64: "64th", 128: "128th"}
_GRACE_BEAMS = {8: 1, 16: 2, 32: 3, 64: 4, 128: 5}
_BROKEN = int(Flag.ARPEGGIO | Flag.ARPEGGIO_DOWN)


class NoteWriter:
    """Writes the notes of one player.

    Parameters
    ----------
    notes : ndarray, dtype PART_DTYPE
    pitches : list of (int, int, int)
        Written (step, alter, octave) of every note.
    staff : sequence of int
        Staff every note is drawn on.
    keys : list of Transposition
        By bar.
    signs : Signs
    instrument : Instrument
    lyrics : Lyrics
    """

    def __init__(
        self,
        notes: Rows,
        pitches: list[tuple[int, int, int]],
        staff: Any,
        keys: list[Transposition],
        signs: Signs,
        instrument: Instrument,
        lyrics: Lyrics,
    ) -> None:
        self.notes, self.pitches, self.staff, self.keys = notes, pitches, staff, keys
        self.signs, self.details = signs, signs.details
        self.staves, self.lyrics = instrument.staves, lyrics
        self.noisy = instrument.unpitched is not None
        self.chordal = instrument.family in ("keyboard", "plucked")

    def glyph(self, glyph: Glyph, start: int, voice: int, accidentals: Accidentals) -> str:
        """Return a chord with the grace notes before and after it; *start* is the bar's, in ticks."""
        before = self.graces(glyph.grace, voice, accidentals)
        rows = sorted(glyph.rows, key=lambda one: int(self.notes["pitch"][one]))
        heads = [self._head(row, rows, glyph, start, voice, accidentals.get((row, glyph.start), "")) for row in rows]
        return before + "".join(heads) + self.graces(glyph.after, voice, accidentals)

    def _head(self, row: int, rows: list[int], glyph: Glyph, start: int, voice: int, sign: str) -> str:
        """One note head; the lowest of a chord carries what belongs to the whole chord."""
        onset, lowest = int(self.notes["onset"][row]), row == rows[0]
        into = not glyph.first or onset < start + glyph.start
        out = not glyph.last or onset + int(self.notes["duration"][row]) > start + glyph.start + glyph.length
        cue = bool(int(self.notes["flags"][row]) & Flag.CUE)
        ties = ('<tie type="stop"/>' if into else "") + ('<tie type="start"/>' if out else "")
        beams = "".join(f'<beam number="{level}">{word}</beam>' for level, word in enumerate(glyph.beams, start=1))
        notations = self._notations(row, rows, glyph, start, into=into, out=out)
        return (
            f"<note>{'<cue/>' if cue else ''}{'' if lowest else '<chord/>'}{self._pitch(row)}"
            f"<duration>{glyph.length}</duration>{'' if cue else ties}{_timing(glyph, voice, sign, cue=cue)}"
            f"{self._place(row)}{beams if lowest else ''}{notations}{self._text(rows, glyph, start) if lowest else ''}"
            "</note>"
        )

    def _text(self, rows: list[int], glyph: Glyph, start: int) -> str:
        """Sung text that begins while the chord is written so."""
        return self.lyrics.at(rows, start + glyph.start, start + glyph.start + glyph.length)

    def _place(self, row: int) -> str:
        """Staff a note is drawn on."""
        return f"<staff>{self.staff[row]}</staff>" if self.staves > 1 else ""

    def _pitch(self, row: int) -> str:
        """Written pitch; of a stroke without one its place on the staff."""
        step, alter, octave = self.pitches[row]
        if self.noisy:
            place = f"<display-step>{'CDEFGAB'[step]}</display-step><display-octave>{octave}</display-octave>"
            return f"<unpitched>{place}</unpitched>"
        altered = f"<alter>{alter}</alter>" if alter else ""
        return f"<pitch><step>{'CDEFGAB'[step]}</step>{altered}<octave>{octave}</octave></pitch>"

    def graces(self, run: list[tuple[int, ...]], voice: int, accidentals: Accidentals) -> str:
        """Return a run of grace notes, beamed, each tuple struck together."""
        values = [self.details.graces.get(chord[0], (0, 8 if len(run) == 1 else 16))[1] for chord in run]
        return "".join(
            self._grace(chord, voice, accidentals, values[place], _grace_beams(values, place))
            for place, chord in enumerate(run)
        )

    def _grace(self, chord: tuple[int, ...], voice: int, accidentals: Accidentals, value: int, beams: str) -> str:
        """Grace notes that are struck together."""
        found = []
        for position, row in enumerate(chord):
            flags = int(self.notes["flags"][row])
            kind = ' steal-time-previous="20"' if flags & int(Flag.GRACE_AFTER) else ""
            kind += (
                f' slash="{"yes" if flags & int(Flag.GRACE_SLASH) else "no"}"'  # readers differ where it is not said
            )
            sign = accidentals.get((row, -1), "")
            found.append(
                f"<note><grace{kind}/>{'<chord/>' if position else ''}{self._pitch(row)}<voice>{voice}</voice>"
                f"<type>{_GRACES.get(value, 'eighth')}</type>{f'<accidental>{sign}</accidental>' if sign else ''}"
                f"{self._place(row)}{'' if position else beams}{self._grace_notations(row, first=not position)}"
                f"{self._grace_text(row)}</note>"
            )
        return "".join(found)

    def _grace_text(self, row: int) -> str:
        """Sung text of a grace note."""
        onset = int(self.notes["onset"][row])
        return self.lyrics.at((row,), onset, onset + 1)

    def _grace_notations(self, row: int, *, first: bool) -> str:
        """Slurs and articulations of a grace note."""
        found = "".join(f'<slur type="{way}" number="{number}"/>' for way, number, _ in self.signs.slurs.get(row, ()))
        ornaments, lines = note_signs(row, self.notes, self.details, self._key(row), first=True, last=True)
        found += f"<ornaments>{ornaments}</ornaments>{lines}" if ornaments else lines
        found += articulations(int(self.notes["flags"][row]), "") if first else ""
        return f"<notations>{found}</notations>" if found else ""

    def _key(self, row: int) -> Transposition:
        """Transposition in the bar of a note."""
        return self.keys[int(self.notes["bar"][row]) - 1]

    def _notations(self, row: int, rows: list[int], glyph: Glyph, start: int, *, into: bool, out: bool) -> str:
        """Ties, slurs and signs of a note; what holds for a chord stands at its lowest note."""
        found = ('<tied type="stop"/>' if into else "") + ('<tied type="start"/>' if out else "")
        begin = start + glyph.start
        for way, number, tick in self.signs.slurs.get(row, ()):
            before = not into or tick >= begin  # at the first written value, the last, or the one it was printed at
            if before and (not out or tick < begin + glyph.length):
                found += f'<slur type="{way}" number="{number}"/>'
        ornaments, lines = note_signs(row, self.notes, self.details, self._key(row), first=not into, last=not out)
        if row == rows[0]:
            found += _bracket(glyph)
            ornaments += self._tremolo(row, glyph)
        found += f"<ornaments>{ornaments}</ornaments>{lines}" if ornaments else lines
        found += self._chord_signs(rows, glyph, into=into, out=out) if row == rows[0] else ""
        found += "" if into else self._broken(row, rows)
        return f"<notations>{found}</notations>" if found else ""

    def _tremolo(self, row: int, glyph: Glyph) -> str:
        """Tremolo on a chord, or between it and the next."""
        if glyph.between:
            return f'<tremolo type="{glyph.between}">{self.details.pairs[row][1]}</tremolo>'
        return strokes(row, self.notes, self.details, glyph.flags)

    def _chord_signs(self, rows: list[int], glyph: Glyph, *, into: bool, out: bool) -> str:
        """Articulations, breath and fermata of a chord."""
        flags = 0
        for row in rows:
            flags |= int(self.notes["flags"][row])
        word = next((self.details.words[row] for row in rows if row in self.details.words), "") if not out else ""
        technique = "" if into else TECHNIQUES[int(self.notes["technique"][rows[0]])]
        found = articulations(0 if into else flags, technique, word)
        if glyph.fermata or (not out and flags & int(Flag.FERMATA)):
            shape = next((self.details.fermatas[row] for row in rows if row in self.details.fermatas), "normal")
            found += fermata(glyph.fermata or shape)
        return found

    def _broken(self, row: int, rows: list[int]) -> str:
        """Arpeggio, or the bracket that forbids it; not at the single notes of a player who has no chords."""
        flags = int(self.notes["flags"][row])
        if len(rows) == 1 and not self.chordal:
            return ""
        if flags & _BROKEN:
            way = ' direction="down"' if flags & int(Flag.ARPEGGIO_DOWN) else ""
            number = f' number="{self.details.arpeggios.get(row, 1)}"' if self.staves > 1 else ""
            return f"<arpeggiate{number}{way}/>"
        if flags & int(Flag.NON_ARPEGGIO):
            both = [one for one in rows if int(self.notes["flags"][one]) & Flag.NON_ARPEGGIO]
            if row in (both[0], both[-1]):
                return f'<non-arpeggiate type="{"bottom" if row == both[0] else "top"}"/>'
        return ""


def _grace_beams(values: list[int], place: int) -> str:
    """Beams of one note of a run of grace notes."""
    count = _GRACE_BEAMS.get(values[place], 0)
    if len(values) < 2 or min(values) < 8:
        return ""
    found = ""
    for level in range(1, count + 1):
        before = place > 0 and _GRACE_BEAMS.get(values[place - 1], 0) >= level
        later = place + 1 < len(values) and _GRACE_BEAMS.get(values[place + 1], 0) >= level
        hook = "backward hook" if place else "forward hook"
        word = "continue" if before and later else "end" if before else "begin" if later else hook
        found += f'<beam number="{level}">{word}</beam>'
    return found


def _timing(glyph: Glyph, voice: int, sign: str = "", *, cue: bool = False) -> str:
    """Voice, note value, accidental and tuplet of a note, in the order of the schema."""
    size = ' size="cue"' if cue else ""
    accidental = f"<accidental>{sign}</accidental>" if sign else ""
    return f"<voice>{voice}</voice><type{size}>{glyph.kind}</type>{'<dot/>' * glyph.dots}{accidental}{_ratio(glyph)}"


def rest(glyph: Glyph, voice: int, place: str, *, main: bool) -> str:
    """Return a rest; in a further voice only room is left, unless it is part of a tuplet."""
    if not main and not glyph.ratio:
        return f"<forward><duration>{glyph.length}</duration><voice>{voice}</voice>{place}</forward>"
    hidden = "" if main else ' print-object="no"'
    signs = _bracket(glyph) + (fermata(glyph.fermata) if glyph.fermata else "")
    notations = f"<notations>{signs}</notations>" if signs else ""
    return f"<note{hidden}><rest/><duration>{glyph.length}</duration>{_timing(glyph, voice)}{place}{notations}</note>"


def measure_rest(glyphs: list[Glyph], length: int, voice: int, place: str) -> str:
    """Return a whole-bar rest, with the fermata one of its glyphs has."""
    shape = next((glyph.fermata for glyph in glyphs if glyph.fermata), "")
    notations = f"<notations>{fermata(shape)}</notations>" if shape else ""
    return f'<note><rest measure="yes"/><duration>{length}</duration><voice>{voice}</voice>{place}{notations}</note>'


def _ratio(glyph: Glyph) -> str:
    """Time modification of a tuplet, or of a tremolo between two notes."""
    if glyph.ratio is None:
        return ""
    return (
        f"<time-modification><actual-notes>{glyph.ratio[0]}</actual-notes>"
        f"<normal-notes>{glyph.ratio[1]}</normal-notes></time-modification>"
    )


def _bracket(glyph: Glyph) -> str:
    """Start or stop of a tuplet."""
    return f'<tuplet type="{glyph.tuplet}"/>' if glyph.tuplet else ""
