"""One part of the full score, bar by bar, as MusicXML text."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.arrangement import TECHNIQUES
from mapping.fullscore_bars import attributes, barlines, nominal_ticks, pickup_shift, sound
from mapping.fullscore_pitch import Transposition, accidental, clefs_by_bar, key_alters
from mapping.fullscore_rhythm import Glyph, beamed, beat_ticks, written
from mapping.fullscore_signs import Signs, articulations, signs_of
from mapping.fullscore_text import plain
from mapping.fullscore_voices import bars_of, voiced
from reading.score import Flag

if TYPE_CHECKING:
    from mapping.arrangement import Arrangement, Part
    from reading.score import Score

__all__ = ["part_xml"]

Directions = dict[int, list[tuple[str, str]]]
Accidentals = dict[tuple[int, int], str]


def part_xml(part: Part, arrangement: Arrangement, ident: str, common: Directions) -> str:
    """Return ``<part>`` of one player.

    Parameters
    ----------
    ident : str
        Id of the part.
    common : dict
        Signs that stand once above the score, for the top part.
    """
    return _PartWriter(part, arrangement, common).xml(ident)


class _PartWriter:
    """Writes one part; holds what runs from bar to bar: key, metre, clefs."""

    def __init__(self, part: Part, arrangement: Arrangement, common: Directions) -> None:
        self.part, self.score = part, arrangement.score
        self.notes = part.notes
        self.instrument = part.player.instrument
        self.signs: Signs = signs_of(part, arrangement)
        self.directions: Directions = {tick: list(found) for tick, found in common.items()}
        for tick, found in self.signs.directions.items():
            self.directions.setdefault(tick, []).extend(found)
        self.staves = self.instrument.staves
        self.keys = [Transposition.of(self.instrument, int(fifths)) for fifths in self.score.bars["fifths"]]
        self.pitches = self._written_pitches()
        self.staff = self._staff_of_notes()
        self.bars = [bars_of_staff(self.notes, self.score, self.staff, staff) for staff in range(1, self.staves + 1)]
        self.clefs = [self._clefs(staff) for staff in range(1, self.staves + 1)]

    def _written_pitches(self) -> list[tuple[int, int, int]]:
        """Written (step, alter, octave) of every note."""
        notes = self.notes
        columns = (notes["pitch"].tolist(), notes["step"].tolist(), notes["octave"].tolist(), notes["bar"].tolist())
        return [
            self.keys[bar - 1].written(pitch, step, octave) for pitch, step, octave, bar in zip(*columns, strict=True)
        ]

    def _staff_of_notes(self) -> np.ndarray[Any, np.dtype[np.int64]]:
        """Staff of every note: as the piano has it, by height where a step made it."""
        if self.staves == 1:
            return np.ones(len(self.notes), dtype=np.int64)
        own = np.where(self.notes["pitch"] >= 60, 1, 2)
        return np.where(self.notes["source"] >= 0, np.clip(self.notes["staff"], 1, 2), own)

    def _clefs(self, staff: int) -> list[str]:
        """Clef of every bar on a staff."""
        names = self.instrument.clefs
        if self.staves > 1:
            names = (names[min(staff, len(names)) - 1],)
        steps: list[list[int]] = [[] for _ in self.score.bars]
        for row in np.flatnonzero(self.staff == staff).tolist():
            step, _, octave = self.pitches[row]
            steps[int(self.notes["bar"][row]) - 1].append(octave * 7 + step)
        return clefs_by_bar(steps, names)

    def xml(self, ident: str) -> str:
        """The whole part."""
        measures = "".join(self._measure(row) for row in range(len(self.score.bars)))
        return f'<part id="{ident}">{measures}</part>'

    def _measure(self, row: int) -> str:
        """One bar."""
        bar = self.score.bars[row]
        implicit = ' implicit="yes"' if bar["pickup"] else ""
        number = f'"{plain(self.score.bar_numbers[row]) or row + 1}"'
        voices = self._voices(row)
        accidentals = self._accidentals(row, [glyph for _, _, glyphs in voices for glyph in glyphs])
        length = int(bar["duration"])
        body = []
        for place, (staff, voice, glyphs) in enumerate(voices):
            if place:
                body.append(f"<backup><duration>{length}</duration></backup>")
            body.append(self._voice(row, staff, voice, glyphs, accidentals, first=place == 0))
        left, right = barlines(self.score, row)
        edge = attributes(self.score, row, self.keys, self.clefs, self.instrument)
        return f"<measure number={number}{implicit}>{left}{edge}{''.join(body)}{right}</measure>"

    def _voices(self, row: int) -> list[tuple[int, int, list[Glyph]]]:
        """(staff, voice number, glyphs) of a bar."""
        bar = self.score.bars[row]
        beat = beat_ticks(int(bar["beats"]), int(bar["beat_type"]))
        length = int(bar["duration"])
        found = []
        for staff in range(1, self.staves + 1):
            chords, graces = self.bars[staff - 1][row]
            for place, events in enumerate(voiced(chords, graces, length)):
                shift = pickup_shift(bar)
                for event in events:
                    event.start += shift
                glyphs = written(events, beat)
                beamed(glyphs, beat)
                for glyph in glyphs:
                    glyph.start -= shift
                found.append((staff, (staff - 1) * 4 + place + 1, glyphs))
        return found

    def _accidentals(self, row: int, glyphs: list[Glyph]) -> Accidentals:
        """Accidentals to print, by (note row, start of the glyph), in the order of time."""
        key = key_alters(self.keys[row].fifths)
        state: dict[tuple[int, int, int], int] = {}
        found: Accidentals = {}
        bar_start = int(self.score.bars["onset"][row])
        for glyph in sorted(glyphs, key=lambda one: one.start):
            for one in [*(item for chord in glyph.grace for item in chord), *glyph.rows]:
                grace = one not in glyph.rows
                if not grace and int(self.notes["onset"][one]) < bar_start + glyph.start:
                    continue  # tied: the accidental stands at its start
                step, alter, octave = self.pitches[one]
                place = (int(self.staff[one]), step, octave)
                if state.get(place, key.get(step, 0)) != alter:
                    found[one, -1 if grace else glyph.start] = accidental(alter)
                state[place] = alter
        return found

    def _voice(
        self,
        row: int,
        staff: int,
        voice: int,
        glyphs: list[Glyph],
        accidentals: Accidentals,
        *,
        first: bool,
    ) -> str:
        """Notes of one voice in one bar, with the directions where it is the bar's first voice."""
        bar = self.score.bars[row]
        start, length = int(bar["onset"]), int(bar["duration"])
        place = f"<staff>{staff}</staff>" if self.staves > 1 else ""
        found = []
        ticks = sorted(tick for tick in self.directions if start <= tick < start + length) if first else []
        if first and row == len(self.score.bars) - 1:
            ticks += sorted(tick for tick in self.directions if tick >= start + length)
        silent = not any(glyph.rows or glyph.grace for glyph in glyphs)
        if silent and length == nominal_ticks(bar):  # readers give a whole-bar rest the length of the metre
            found += [self._direction(tick, tick - start) for tick in ticks]
            rest = f'<note><rest measure="yes"/><duration>{length}</duration><voice>{voice}</voice>{place}</note>'
            return "".join(found) + rest
        for glyph in glyphs:
            last = glyph is glyphs[-1]
            while ticks and (ticks[0] < start + glyph.start + glyph.length or last):
                tick = ticks.pop(0)
                found.append(self._direction(tick, tick - start - glyph.start))
            found.append(self._glyph(glyph, start, voice, place, accidentals, main=voice % 4 == 1))
        return "".join(found)

    def _direction(self, tick: int, offset: int) -> str:
        """Everything that stands at one tick."""
        shift = f"<offset>{offset}</offset>" if offset else ""
        tail = shift + ("<staff>1</staff>" if self.staves > 1 else "")
        return "".join(
            f'<direction placement="{placement}"><direction-type>{xml}</direction-type>{tail}{sound(xml)}</direction>'
            for placement, xml in self.directions[tick]
        )

    def _glyph(self, glyph: Glyph, start: int, voice: int, place: str, accidentals: Accidentals, *, main: bool) -> str:
        """One note, chord or rest, with its grace notes before it."""
        graces = "".join(self._grace(chord, voice, place, accidentals, len(glyph.grace)) for chord in glyph.grace)
        if not glyph.rows:
            return graces + _rest(glyph, voice, place, main=main)
        rows = sorted(glyph.rows, key=lambda one: int(self.notes["pitch"][one]))
        heads = [
            self._head(row, glyph, start, voice, place, accidentals.get((row, glyph.start), ""), lowest=row == rows[0])
            for row in rows
        ]
        return graces + "".join(heads)

    def _head(self, row: int, glyph: Glyph, start: int, voice: int, place: str, sign: str, *, lowest: bool) -> str:
        """One note head; the lowest of a chord carries what belongs to the whole chord."""
        onset = int(self.notes["onset"][row])
        into = not glyph.first or onset < start + glyph.start
        out = not glyph.last or onset + int(self.notes["duration"][row]) > start + glyph.start + glyph.length
        ties = ('<tie type="stop"/>' if into else "") + ('<tie type="start"/>' if out else "")
        accidental_xml = f"<accidental>{sign}</accidental>" if sign else ""
        beams = "".join(f'<beam number="{level}">{word}</beam>' for level, word in enumerate(glyph.beams, start=1))
        return (
            f"<note>{'' if lowest else '<chord/>'}{self._pitch(row)}<duration>{glyph.length}</duration>{ties}"
            f"{_timing(glyph, voice, accidental_xml)}{place}{beams if lowest else ''}"
            f"{self._notations(row, glyph, into=into, out=out, head=lowest)}</note>"
        )

    def _pitch(self, row: int) -> str:
        """Written pitch."""
        step, alter, octave = self.pitches[row]
        altered = f"<alter>{alter}</alter>" if alter else ""
        return f"<pitch><step>{'CDEFGAB'[step]}</step>{altered}<octave>{octave}</octave></pitch>"

    def _grace(self, chord: tuple[int, ...], voice: int, place: str, accidentals: Accidentals, count: int) -> str:
        """Grace notes that are struck together."""
        kind = "eighth" if count == 1 else "16th"
        found = []
        for position, row in enumerate(chord):
            slash = ' slash="yes"' if int(self.notes["flags"][row]) & int(Flag.GRACE_SLASH) else ""
            sign = accidentals.get((row, -1), "")
            slurs = "".join(f'<slur type="{way}" number="{number}"/>' for way, number in self.signs.slurs.get(row, ()))
            notations = f"<notations>{slurs}</notations>" if slurs else ""
            found.append(
                f"<note><grace{slash}/>{'<chord/>' if position else ''}{self._pitch(row)}<voice>{voice}</voice>"
                f"<type>{kind}</type>{f'<accidental>{sign}</accidental>' if sign else ''}{place}{notations}</note>"
            )
        return "".join(found)

    def _notations(self, row: int, glyph: Glyph, *, into: bool, out: bool, head: bool) -> str:
        """Ties, slurs, tuplet bracket and articulations of a note; the last two stand once per chord."""
        found = ('<tied type="stop"/>' if into else "") + ('<tied type="start"/>' if out else "")
        for way, number in self.signs.slurs.get(row, ()):
            if (way == "start" and not into) or (way == "stop" and not out):
                found += f'<slur type="{way}" number="{number}"/>'
        if head:
            found += _bracket(glyph)
            flags, technique = int(self.notes["flags"][row]), TECHNIQUES[int(self.notes["technique"][row])]
            found += articulations(flags, technique, first=not into, last=not out, beams=glyph.flags)
        return f"<notations>{found}</notations>" if found else ""


def bars_of_staff(notes: Any, score: Score, staves: Any, staff: int) -> Any:
    """Bars of one staff, with rows of the whole part's table."""
    rows = np.flatnonzero(staves == staff)
    found = bars_of(notes[rows], score)
    if len(rows) == len(notes):
        return found
    for chords, graces in found:
        for chord in chords:
            chord.rows = [int(rows[one]) for one in chord.rows]
        graces[:] = [(place, [int(rows[one]) for one in chord]) for place, chord in graces]
    return found


def _timing(glyph: Glyph, voice: int, accidental_xml: str = "") -> str:
    """Voice, note value, accidental and tuplet of a note, in the order of the schema."""
    return f"<voice>{voice}</voice><type>{glyph.kind}</type>{'<dot/>' * glyph.dots}{accidental_xml}{_ratio(glyph)}"


def _rest(glyph: Glyph, voice: int, place: str, *, main: bool) -> str:
    """A rest; in a further voice only room is left, unless it is part of a tuplet."""
    if not main and not glyph.ratio:
        return f"<forward><duration>{glyph.length}</duration><voice>{voice}</voice>{place}</forward>"
    hidden = "" if main else ' print-object="no"'
    notations = f"<notations>{_bracket(glyph)}</notations>" if glyph.tuplet else ""
    timing = _timing(glyph, voice)
    return f"<note{hidden}><rest/><duration>{glyph.length}</duration>{timing}{place}{notations}</note>"


def _ratio(glyph: Glyph) -> str:
    """Time modification of a tuplet."""
    if glyph.ratio is None:
        return ""
    return (
        f"<time-modification><actual-notes>{glyph.ratio[0]}</actual-notes>"
        f"<normal-notes>{glyph.ratio[1]}</normal-notes></time-modification>"
    )


def _bracket(glyph: Glyph) -> str:
    """Start or stop of a tuplet."""
    return f'<tuplet type="{glyph.tuplet}"/>' if glyph.tuplet else ""
