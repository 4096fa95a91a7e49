"""One part of the full score, bar by bar, as MusicXML text."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.fullscore_bars import attributes, barlines, nominal_ticks, pickup_shift
from mapping.fullscore_directions import Direction, Placed, direction_xml
from mapping.fullscore_fermatas import hold, holds_of
from mapping.fullscore_lyrics import lyrics_of
from mapping.fullscore_notations import fermata
from mapping.fullscore_note import Accidentals, NoteWriter, measure_rest, rest
from mapping.fullscore_pitch import ON_THE_LINE, Transposition, accidental, clefs_by_bar, key_alters
from mapping.fullscore_rhythm import Event, Glyph, beamed, beat_ticks, can_alternate, middle_ticks, written
from mapping.fullscore_signs import signs_of
from mapping.fullscore_text import plain
from mapping.fullscore_voices import bars_of, voiced
from mapping.singing import is_singer
from reading.score import Flag

if TYPE_CHECKING:
    from mapping.arrangement import Arrangement, Part

__all__ = ["part_xml"]


def part_xml(part: Part, arrangement: Arrangement, ident: str, common: Placed) -> str:
    """Return ``<part>`` of one player.

    Parameters
    ----------
    ident : str
        Id of the part.
    common : Placed
        Signs that stand once above the score, for the top part.
    """
    return _PartWriter(part, arrangement, common).xml(ident)


class _PartWriter:
    """Writes one part; holds what runs from bar to bar: key, metre, clefs."""

    def __init__(self, part: Part, arrangement: Arrangement, common: Placed) -> None:
        self.score, self.notes = arrangement.score, part.notes
        self.instrument = part.player.instrument
        self.staves = self.instrument.staves
        self.made = (self.notes["source"] < 0) & bool(arrangement.steps)  # by a step, which names no staff
        self.lyrics, self.sung = lyrics_of(part, arrangement), is_singer(part.player)
        self.keys = [Transposition.of(self.instrument, int(fifths)) for fifths in self.score.bars["fifths"]]
        self.pitches = self._written_pitches()
        self.staff, self.home = self._staves_of_notes()
        self.clefs = [self._clefs(staff) for staff in range(1, self.staves + 1)]
        signs = signs_of(part, arrangement, self.pitches)
        placed = Placed()
        placed.add(common)
        placed.add(signs.placed)
        self.directions = placed.by_bar(self.score)
        self.holds = holds_of(part, self.score)
        self.pairs = signs.details.pairs
        self.bars = [
            bars_of(
                self.notes,
                self.score,
                np.flatnonzero(self.home == staff).tolist(),
                signs.details.graces,
                self._own_voices(),
            )
            for staff in range(1, self.staves + 1)
        ]
        self.writer = NoteWriter(self.notes, self.pitches, self.staff, self.keys, signs, self.instrument, self.lyrics)

    def _written_pitches(self) -> list[tuple[int, int, int]]:
        """Written (step, alter, octave) of every note."""
        notes = self.notes
        if self.instrument.unpitched is not None:
            return [ON_THE_LINE] * len(notes)
        columns = (notes["pitch"].tolist(), notes["step"].tolist(), notes["octave"].tolist(), notes["bar"].tolist())
        return [
            self.keys[bar - 1].written(pitch, step, octave) for pitch, step, octave, bar in zip(*columns, strict=True)
        ]

    def _staves_of_notes(self) -> tuple[Any, Any]:
        """Staff every note is drawn on (the piano's, or by height where a step made it), and staff of its voice."""
        if self.staves == 1:
            one = np.ones(len(self.notes), dtype=np.int64)
            return one, one
        own = np.where(self.notes["pitch"] >= 60, 1, 2)
        drawn = np.where(self.made, own, np.clip(self.notes["staff"], 1, 2)).astype(np.int64)
        crossing = (self.notes["flags"] & int(Flag.CROSS_STAFF)) != 0
        return drawn, np.where(crossing & ~self.made, 3 - drawn, drawn)

    def _own_voices(self) -> Any:
        """Voice of every note within its home staff, as the piano has it; 0 where a step made it; None on one staff."""
        if self.staves == 1:
            return None
        piano = self.score.notes
        home = piano[(piano["flags"] & int(Flag.CROSS_STAFF)) == 0]
        visitors_from = [0, *(int(home["voice"][home["staff"] == staff].max(initial=0)) for staff in (1, 2))]
        crossing = self.home != self.staff  # visitors are numbered after the voices at home on the staff they visit
        own = self.notes["voice"] - np.where(crossing, np.take(visitors_from, self.staff), 0)
        return np.where(self.made, 0, np.maximum(1, own))

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
        body = []
        for place, (staff, voice, glyphs) in enumerate(voices):
            if place:
                body.append(f"<backup><duration>{int(bar['duration'])}</duration></backup>")
            body.append(self._voice(row, staff, voice, glyphs, accidentals))
        held = self.holds.lines.get(row, "")
        left, right = barlines(self.score, row, fermata(held) if held else "")
        edge = attributes(self.score, row, self.keys, self.clefs, self.instrument)
        return f"<measure number={number}{implicit}>{left}{edge}{''.join(body)}{right}</measure>"

    def _voices(self, row: int) -> list[tuple[int, int, list[Glyph]]]:
        """(staff, voice number, glyphs) of a bar."""
        bar = self.score.bars[row]
        start, beat = int(bar["onset"]), beat_ticks(int(bar["beats"]), int(bar["beat_type"]))
        middle, shift = middle_ticks(int(bar["beats"]), int(bar["beat_type"])), pickup_shift(bar)
        found = []
        for staff in range(1, self.staves + 1):
            chords, graces = self.bars[staff - 1][row]
            for place, events in enumerate(voiced(chords, graces, int(bar["duration"]), self.notes)):
                self._pair(events)
                events = self.lyrics.split(events, start)
                for event in events:
                    event.start += shift
                glyphs = written(events, beat, middle, plainly=self.sung)
                begun = self.lyrics.begun(start, int(bar["duration"]))
                beamed(glyphs, beat, middle, frozenset(tick + shift for tick in begun))
                for glyph in glyphs:
                    glyph.start -= shift
                for tick, where, shape in self.holds.within.get(row, ()):
                    if where == staff and place == 0:
                        hold(glyphs, tick - start, shape)
                found.append((staff, (staff - 1) * 4 + place + 1, glyphs))
        return found

    def _pair(self, events: list[Event]) -> None:
        """Mark neighbouring events that are one tremolo between two chords."""
        for first, second in pairwise(events):
            if not first.rows or not second.rows or first.between or first.rows[0] not in self.pairs:
                continue
            whole = first.length == int(self.notes["duration"][first.rows[0]])
            same = self.pairs[first.rows[0]] == self.pairs.get(second.rows[0])
            if same and whole and can_alternate(first, second):
                first.between, second.between = "start", "stop"

    def _accidentals(self, row: int, glyphs: list[Glyph]) -> Accidentals:
        """Accidentals to print, by (note row, start of the glyph), in the order of time."""
        key = {} if self.instrument.unpitched is not None else key_alters(self.keys[row].fifths)
        state: dict[tuple[int, int, int], int] = {}
        found: Accidentals = {}
        bar_start = int(self.score.bars["onset"][row])
        for glyph in sorted(glyphs, key=lambda one: one.start):
            before = [(one, True) for chord in glyph.grace for one in chord]
            after = [(one, True) for chord in glyph.after for one in chord]
            for one, grace in [*before, *((one, False) for one in glyph.rows), *after]:
                if not grace and int(self.notes["onset"][one]) < bar_start + glyph.start:
                    continue  # tied: the accidental stands at its start
                step, alter, octave = self.pitches[one]
                place = (int(self.staff[one]), step, octave)
                if state.get(place, key.get(step, 0)) != alter:
                    found[one, -1 if grace else glyph.start] = accidental(alter)
                state[place] = alter
        return found

    def _voice(self, row: int, staff: int, voice: int, glyphs: list[Glyph], accidentals: Accidentals) -> str:
        """Notes of one voice in one bar, with the directions where it is the first voice of its staff."""
        bar = self.score.bars[row]
        start, length, main = int(bar["onset"]), int(bar["duration"]), voice % 4 == 1
        place = f"<staff>{staff}</staff>" if self.staves > 1 else ""
        signs = list(self.directions[row].get(staff, ())) if main else []
        found = []
        silent = not any(glyph.rows or glyph.grace or glyph.after for glyph in glyphs)
        if silent and length == nominal_ticks(bar):  # readers give a whole-bar rest the length of the metre
            found += self._until(signs, start, start + length)
            found.append(measure_rest(glyphs, length, voice, place))
            return "".join([*found, *self._until(signs, start + length, -1)])
        for glyph in glyphs:
            found += self._until(signs, start + glyph.start, start + glyph.start + glyph.length)
            if glyph.rows:
                found.append(self.writer.glyph(glyph, start, voice, accidentals))
            else:
                found.append(self.writer.graces(glyph.grace, voice, accidentals))
                found.append(rest(glyph, voice, place, main=main))
                found.append(self.writer.graces(glyph.after, voice, accidentals))
        return "".join([*found, *self._until(signs, start + length, -1)])

    def _until(self, signs: list[tuple[int, Direction]], here: int, end: int) -> list[str]:
        """Take the directions before *end* (all where it is −1) out of a bar's; *here* is the place in the file."""
        found = []
        while signs and (signs[0][0] < end or end < 0):
            tick, sign = signs.pop(0)
            found.append(direction_xml(sign, tick - here, staves=self.staves))
        return found
