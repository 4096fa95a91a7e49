"""When and by whom every note sounds: the link between an arrangement's ticks and the seconds of its rendering.

Times here are those of the score's own clock, not of the performance: the small deviations of human players would put
every variant on anchors of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.score import TICKS_PER_QUARTER, Flag

if TYPE_CHECKING:
    from compare.scales import Floats
    from mapping.arrangement import Arrangement
    from reading.layers import Layers
    from reading.score import Score
    from render.sound import Rendering

__all__ = [
    "LAYERS",
    "SOUNDING_DTYPE",
    "Beats",
    "Schedule",
    "beats_without_score",
    "layer_of_source",
    "onsets_of",
    "sounding_notes",
]

LAYERS = ("melody", "bass", "middle", "counter-melody", "added")
"""What a sounding note belongs to. Doublings count to what they double; what a step invented is ``added``."""

SOUNDING_DTYPE = np.dtype(
    [
        ("stem", "<i4"),  # row in Rendering.stems
        ("start_s", "<f8"),
        ("end_s", "<f8"),
        ("pitch", "<i2"),  # sounding MIDI pitch
        ("layer", "<i1"),  # row in LAYERS; -1 where nobody found layers
    ]
)

_TOGETHER_S = 0.03
_BEGINNING_S = 0.15
_STEP_WITHOUT_SCORE_S = 0.5


@dataclass(frozen=True, eq=False)
class Beats:
    """The beats of a passage.

    Attributes
    ----------
    edges_s : ndarray, shape (beats + 1,)
    places : tuple of (int, float)
        Bar index and beat (from 1) of each; bar index 0 and a running number where there is no score.
    """

    edges_s: Floats
    places: tuple[tuple[int, float], ...]


class Schedule:
    """Seconds of the passage for notes of the score, bar by bar as rendered (a bar may be heard twice).

    Parameters
    ----------
    score : Score
    rendering : Rendering
    """

    def __init__(self, score: Score, rendering: Rendering) -> None:
        from reading.timeline import Timeline

        self.score = score
        self._timeline = Timeline(score)
        self.bars = rendering.bar_starts_s

    def seconds(self, bar: int, start_s: float, ticks: Any) -> Floats:
        """Return seconds of the passage for *ticks*, taking bar *bar* to begin at *start_s*."""
        origin = self._timeline.seconds(int(self.score.bars[bar - 1]["onset"]))
        return np.asarray(self._timeline.seconds(np.asarray(ticks)) - origin + start_s, dtype=float)

    def beats(self) -> Beats:
        """Return the beats; in compound metres (6/8, 9/8, 12/8) a beat is three of the metre's units."""
        edges: list[float] = []
        places: list[tuple[int, float]] = []
        end = 0.0
        for index, start_s in self.bars:
            bar = self.score.bars[index - 1]
            unit = 4 * TICKS_PER_QUARTER // int(bar["beat_type"])
            step = 3 * unit if int(bar["beats"]) in (6, 9, 12) and int(bar["beat_type"]) >= 8 else unit
            onset, duration = int(bar["onset"]), int(bar["duration"])
            starts = np.arange(0, max(1, duration), step)
            edges += list(self.seconds(index, start_s, onset + starts))
            places += [(index, float(number + 1)) for number in range(len(starts))]
            end = float(self.seconds(index, start_s, onset + duration))
        return Beats(np.array([*edges, end]), tuple(places))

    def onsets(self) -> Floats:
        """Return the distinct onsets of the piano score (grace notes left out), rising."""
        notes = self.score.notes
        plain = notes[(notes["flags"] & np.uint32(Flag.GRACE | Flag.GRACE_AFTER)) == 0]
        found = [
            self.seconds(index, start_s, np.unique(plain["onset"][plain["bar"] == index]))
            for index, start_s in self.bars
        ]
        return np.unique(np.concatenate(found)) if found else np.zeros(0)

    def accents(self) -> Floats:
        """Return the onsets with a written accent, else those that follow a rest of all voices; seconds, rising.

        The beginning of the passage is left out: before it there is nothing to stand out from.
        """
        notes = self.score.notes
        ticks: list[float] = []
        wanted = np.uint32(Flag.ACCENT | Flag.MARCATO | Flag.SFORZANDO | Flag.FP)
        marked = {mark.onset for mark in self.score.marks_of("accent")}
        marked |= set(notes["onset"][(notes["flags"] & wanted) != 0].tolist())
        for chosen in (marked, _after_rests(notes)):
            for index, start_s in self.bars:
                bar = self.score.bars[index - 1]
                first, last = int(bar["onset"]), int(bar["onset"] + bar["duration"])
                inside = sorted(tick for tick in chosen if first <= tick < last)
                ticks += list(self.seconds(index, start_s, np.array(inside, dtype=np.int64)))
            if ticks:
                break
        begin = self.bars[0][1] if self.bars else 0.0
        return np.unique([tick for tick in ticks if tick > begin + _BEGINNING_S])


def _after_rests(notes: np.ndarray[Any, Any]) -> set[int]:
    """Onsets (ticks) before which nothing sounds, the first of the piece among them."""
    order = notes[np.argsort(notes["onset"], kind="stable")]
    if not len(order):
        return set()
    ends = np.maximum.accumulate(order["onset"] + order["duration"])
    later = np.flatnonzero(order["onset"][1:] > ends[:-1]) + 1
    return {int(order["onset"][0]), *(int(order["onset"][row]) for row in later)}


def beats_without_score(rendering: Rendering, sample_rate_hz: int) -> Beats:
    """Return half seconds in place of beats."""
    count = max(1, int(len(rendering.mix) / sample_rate_hz / _STEP_WITHOUT_SCORE_S))
    edges = np.arange(count + 1) * _STEP_WITHOUT_SCORE_S
    return Beats(edges, tuple((0, float(number + 1)) for number in range(count)))


def onsets_of(rendering: Rendering) -> Floats:
    """Return the onsets a rendering itself reports, those within 30 ms taken as one."""
    times = np.unique(np.array(sorted(rendering.onsets_s.values()), dtype=float))
    return times[np.concatenate(([True], np.diff(times) > _TOGETHER_S))] if len(times) else times


def layer_of_source(score: Score, layers: Layers) -> np.ndarray[Any, np.dtype[np.int8]]:
    """Return the row in LAYERS of every piano note, by id; a doubling takes the layer of the note it doubles."""
    from reading.layers import Role

    plain = {Role.MELODY: 0, Role.BASS: 1, Role.PEDAL_POINT: 1, Role.MIDDLE: 2, Role.COUNTER: 3}
    found = np.full(len(score.notes), 2, dtype=np.int8)
    for role, row in plain.items():
        found[layers.roles == role] = row
    onsets, pitches = score.notes["onset"], score.notes["pitch"]
    for note in np.flatnonzero(layers.roles == Role.DOUBLING):
        alike = np.flatnonzero((onsets == onsets[note]) & (pitches % 12 == pitches[note] % 12))
        models = [int(found[other]) for other in alike if layers.roles[other] in (Role.MELODY, Role.BASS)]
        found[note] = min(models) if models else 2
    return found


def sounding_notes(
    rendering: Rendering, arrangement: Arrangement, layers: Layers | None, schedule: Schedule
) -> np.ndarray[Any, np.dtype[np.void]]:
    """Return every note of the rendered bars with its stem, seconds, pitch and layer, sorted by start.

    Parameters
    ----------
    rendering : Rendering
    arrangement : Arrangement
        Its players are matched to the stems by name.
    layers : Layers or None
        None leaves ``layer`` at -1.
    schedule : Schedule
    """
    source_layer = layer_of_source(arrangement.score, layers) if layers is not None else None
    rows = {stem.name: row for row, stem in enumerate(rendering.stems)}
    tables = [np.zeros(0, dtype=SOUNDING_DTYPE)]
    for part in arrangement.parts:
        if part.player.name not in rows or part.player.instrument.unpitched is not None:
            continue  # strokes without pitch are no notes of a layer, a register or a chord
        for index, start_s in schedule.bars:
            notes = part.notes[(part.notes["bar"] == index) & (part.notes["duration"] > 0)]
            table = np.zeros(len(notes), dtype=SOUNDING_DTYPE)
            table["stem"] = rows[part.player.name]
            table["start_s"] = schedule.seconds(index, start_s, notes["onset"])
            table["end_s"] = schedule.seconds(index, start_s, notes["onset"] + notes["duration"])
            table["pitch"] = notes["pitch"]
            table["layer"] = _layers_of(notes, source_layer)
            tables.append(table)
    found = np.concatenate(tables)
    found = found[np.lexsort((found["pitch"], found["start_s"]))]
    found.setflags(write=False)
    return found


def _layers_of(notes: np.ndarray[Any, Any], source_layer: np.ndarray[Any, Any] | None) -> np.ndarray[Any, Any]:
    """Layer of every note of a part: that of its source, or ``added``."""
    if source_layer is None:
        return np.full(len(notes), -1, dtype=np.int8)
    known = notes["source"] >= 0
    return np.where(known, source_layer[np.where(known, notes["source"], 0)], LAYERS.index("added")).astype(np.int8)
