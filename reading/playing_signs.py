"""Grace notes, arpeggios, tremolos and ornaments turned into sounding notes. Rules: common practice, from memory."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.playing_shakes import Neighbours, shaken
from reading.score import TICKS_PER_QUARTER, Flag

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reading.score import Mark, Score
    from reading.timeline import Timeline

__all__ = ["Realiser"]

_GRACE_S = 0.07
"""Length of a short grace note; several together are a little quicker than one."""
_ARPEGGIO_S = 0.035
"""Time between two notes of a broken chord."""
_FINEST = 5  # no stroke shorter than a 128th
_SHAKES = int(Flag.TRILL | Flag.MORDENT | Flag.INVERTED_MORDENT | Flag.TURN | Flag.INVERTED_TURN)


class Realiser:
    """One table of notes on its way from written to played.

    Parameters
    ----------
    score : Score
        For key signatures and accidentals.
    table : ndarray
        Fields of NOTE_DTYPE and ``written``; changed in place.
    keys : ndarray of int
        By row, the note id that marks know the note by.
    marks : sequence of Mark
        Details of the signs.
    timeline : Timeline
        For signs that take a time in seconds rather than a share of the note.
    """

    def __init__(self, score: Score, table: Any, keys: Any, marks: Sequence[Mark], timeline: Timeline) -> None:
        self.score, self.table, self.timeline = score, table, timeline
        self.keys = keys
        self.pieces: dict[int, list[tuple[int, ...]]] = {}
        self.dropped: set[int] = set(map(int, np.flatnonzero(table["flags"] & Flag.CUE)))
        self.details: dict[tuple[str, int], tuple[Mark, int]] = {}
        for mark in marks:
            if mark.kind in ("ornament", "tremolo", "arpeggio", "graces"):
                for place, note in enumerate(mark.notes):
                    self.details.setdefault((mark.kind, note), (mark, place))

    def detail(self, kind: str, row: int) -> tuple[Mark, int] | None:
        """Return the mark of that kind at a row, and the row's place among its notes."""
        return self.details.get((kind, int(self.keys[row])))

    def ticks_of(self, seconds: float, onset: int) -> int:
        """Return a short time at the tempo in force there, in ticks, at least 1."""
        here = float(self.timeline.seconds(onset))
        return max(1, round(float(self.timeline.ticks(here + seconds)) - onset))

    def realise(self) -> Any:
        """Return the played table (unsorted)."""
        self._graces()
        self._tremolos()
        self._shakes()
        self._arpeggios()
        keep = [row for row in range(len(self.table)) if row not in self.dropped and row not in self.pieces]
        parts = [self.table[keep]]
        for row, pieces in self.pieces.items():
            made = np.repeat(self.table[row : row + 1], len(pieces))
            for name, column in zip(
                ("onset", "duration", "pitch", "step", "alter", "octave"), zip(*pieces, strict=True), strict=True
            ):
                made[name] = column
            parts.append(made)
        played = np.concatenate(parts)
        played["duration"] = np.maximum(played["duration"], 1)
        return played

    # -- graces -------------------------------------------------------------------------------------------------

    def _graces(self) -> None:
        """Short graces come before the beat; a single unslashed one takes half of its note; after-beats come last."""
        table = self.table
        rows = np.flatnonzero(table["flags"] & Flag.GRACE)
        runs: dict[tuple[int, ...], list[int]] = defaultdict(list)
        for row in map(int, rows):
            if row not in self.dropped:
                note = table[row]
                key = (note["part"], note["voice"], note["onset"], note["flags"] & Flag.GRACE_AFTER)
                runs[tuple(map(int, key))].append(row)
        starts: dict[tuple[int, int], list[int]] = defaultdict(list)
        ends: dict[tuple[int, int], list[int]] = defaultdict(list)
        if runs:
            for row in map(int, np.flatnonzero((table["flags"] & Flag.GRACE) == 0)):
                note = table[row]
                starts[int(note["part"]), int(note["onset"])].append(row)
                ends[int(note["part"]), int(note["onset"] + note["duration"])].append(row)
        for (part, voice, onset, after), members in runs.items():
            lines = (ends if after else starts)[part, onset]
            mains = [row for row in lines if table["voice"][row] == voice and self._near(row, members)] or lines
            self._run(members, mains, onset, bool(after))

    def _near(self, row: int, members: list[int]) -> bool:
        """Whether a note stands on a staff of the run."""
        return any(self.table["staff"][row] == self.table["staff"][member] for member in members)

    def _run(self, members: list[int], mains: list[int], onset: int, after: bool) -> None:
        """Give one run of graces its time, and its notes what is left."""
        order = self._order(members)
        count = len(order)
        room = min((int(self.table["duration"][row]) for row in mains), default=TICKS_PER_QUARTER)
        each = min(self.ticks_of(_GRACE_S if count == 1 else _GRACE_S * 0.85, onset), max(1, room // (2 * count)))
        long = count == 1 and not after and mains and not self.table["flags"][order[0][0]] & Flag.GRACE_SLASH
        if long:
            each = self._appoggiatura(order[0][0], room)
        begin = onset - count * each
        if long or (begin < 0 and not after):
            begin = onset
            for row in mains:
                self.table["onset"][row] += count * each
                self.table["duration"][row] -= count * each
        elif after:
            for row in mains:
                self.table["duration"][row] -= count * each
        begin = max(0, begin)
        for place, group in enumerate(order):
            for row in group:
                self.table["onset"][row], self.table["duration"][row] = begin + place * each, each
                self._hold_on(row, mains)

    def _order(self, members: list[int]) -> list[list[int]]:
        """Rows of a run by their place in it, chords together; by pitch where the order is not known."""
        places: dict[int, list[int]] = defaultdict(list)
        for position, row in enumerate(members):
            found = self.detail("graces", row)
            words = found[0].value.split() if found else []
            place = int(words[found[1]].split("/")[0]) if found and found[1] < len(words) else position
            places[place].append(row)
        return [places[place] for place in sorted(places)]

    def _appoggiatura(self, row: int, room: int) -> int:
        """Return the time of a long grace: its printed value, at most half of its note."""
        found = self.detail("graces", row)
        words = found[0].value.split() if found else []
        value = int(words[found[1]].split("/")[1]) if found and found[1] < len(words) else 8
        return max(1, min(room // 2, 4 * TICKS_PER_QUARTER // max(1, value)))

    def _hold_on(self, row: int, mains: list[int]) -> None:
        """Hold a grace tied to its note through it; the note is not struck again."""
        if not self.table["flags"][row] & Flag.TIED:
            return
        for main in mains:
            if self.table["pitch"][main] == self.table["pitch"][row] and main not in self.dropped:
                end = self.table["onset"][main] + self.table["duration"][main]
                self.table["duration"][row] = end - self.table["onset"][row]
                self.dropped.add(main)
                return

    # -- tremolos -----------------------------------------------------------------------------------------------

    def _tremolos(self) -> None:
        """Repeat notes at the value of their beams; alternate the two halves of a tremolo between notes."""
        table = self.table
        pairs: dict[int, list[int]] = defaultdict(list)
        for row in map(int, np.flatnonzero(table["flags"] & int(Flag.TREMOLO | Flag.TREMOLO_BETWEEN))):
            found = self.detail("tremolo", row)
            if row in self.dropped or table["flags"][row] & Flag.GRACE:
                continue
            if table["flags"][row] & Flag.TREMOLO_BETWEEN:
                if found is not None:
                    pairs[id(found[0])].append(row)
                continue
            beams = int(found[0].value) if found and found[0].value.isdecimal() else 3
            self._repeat([row], int(table["onset"][row]), int(table["duration"][row]), self._unit(row, beams), 0, 1)
        for rows in pairs.values():
            self._alternate(rows)

    def _unit(self, row: int, beams: int) -> int:
        """Length of one stroke: the beams add to those the note's value has itself."""
        duration = int(self.table["duration"][row])
        own = sum(duration < TICKS_PER_QUARTER >> level for level in range(5))
        return TICKS_PER_QUARTER >> min(_FINEST, beams + own)

    def _alternate(self, rows: list[int]) -> None:
        """Two chords in turn, over the time of both."""
        table = self.table
        start = min(int(table["onset"][row]) for row in rows)
        end = max(int(table["onset"][row] + table["duration"][row]) for row in rows)
        found = self.detail("tremolo", rows[0])
        word = found[0].value.partition(":")[2] if found else "3"
        unit = TICKS_PER_QUARTER >> min(_FINEST, int(word) if word.isdecimal() else 3)
        first = [row for row in rows if table["onset"][row] == start]
        second = [row for row in rows if table["onset"][row] != start]
        if second:
            self._repeat(first, start, end - start, unit, 0, 2)
            self._repeat(second, start, end - start, unit, 1, 2)

    def _repeat(self, rows: list[int], start: int, length: int, unit: int, phase: int, every: int) -> None:
        """Strike *rows* again and again; the strokes fill the length exactly."""
        count = max(every, round(length / unit))
        edges = [start + length * place // count for place in range(count + 1)]
        for row in rows:
            spelled = [int(self.table[name][row]) for name in ("pitch", "step", "alter", "octave")]
            self.pieces[row] = [
                (edges[place], edges[place + 1] - edges[place], *spelled) for place in range(phase, count, every)
            ]

    # -- ornaments and arpeggios --------------------------------------------------------------------------------

    def _shakes(self) -> None:
        """Trills, mordents and turns."""
        rows = np.flatnonzero(self.table["flags"] & _SHAKES)
        if not len(rows):
            return
        neighbours = Neighbours(self.score)
        for row in map(int, rows):
            if row in self.dropped or row in self.pieces or self.table["flags"][row] & Flag.GRACE:
                continue
            found = self.detail("ornament", row)
            stroke = self.ticks_of(1 / 12, int(self.table["onset"][row]))
            self.pieces[row] = shaken(self.table[row], found[0].value if found else "", stroke, neighbours)

    def _arpeggios(self) -> None:
        """Let the notes of a broken chord enter one after the other and end together."""
        table = self.table
        groups: dict[tuple[Any, ...], list[int]] = defaultdict(list)
        for row in map(int, np.flatnonzero(table["flags"] & int(Flag.ARPEGGIO | Flag.ARPEGGIO_DOWN))):
            found = self.detail("arpeggio", row)
            key = (
                (id(found[0]), int(table["part"][row]))
                if found
                else (int(table["part"][row]), int(table["onset"][row]), -1)
            )
            if row not in self.dropped and row not in self.pieces and not table["flags"][row] & Flag.GRACE:
                groups[key].append(row)
        for rows in groups.values():
            down = bool(table["flags"][rows[0]] & Flag.ARPEGGIO_DOWN)
            rows.sort(key=lambda row: int(table["pitch"][row]), reverse=down)
            onset = int(table["onset"][rows[0]])
            room = min(int(table["duration"][row]) for row in rows) // 2
            step = min(self.ticks_of(_ARPEGGIO_S, onset), room // max(1, len(rows)))
            for place, row in enumerate(rows):
                table["onset"][row] += place * step
                table["duration"][row] -= place * step
