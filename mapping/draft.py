"""What a technique works on: the draft of a variant, and the context that answers its questions about the piece."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import numpy as np

from mapping.arrangement import PART_DTYPE, TECHNIQUES, Rows
from mapping.spelling import respelt
from mapping.steps import resolve
from reading.score import DYNAMICS, NOTE_DTYPE, TICKS_PER_QUARTER

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from mapping.arrangement import Player
    from mapping.harmony import Span
    from mapping.singing import Singing
    from mapping.steps import StepOptions
    from reading.figuration import Figuration
    from reading.layers import Layers
    from reading.score import Mark, Score

__all__ = ["Context", "Draft", "Piece", "Rows", "Target"]

Mask = np.ndarray[Any, np.dtype[np.bool_]]

_FACTS: WeakKeyDictionary[Score, dict[str, Any]] = WeakKeyDictionary()
"""What is known of each score in use; it goes when the score goes."""

_COPIED = [name for name in NOTE_DTYPE.names or () if name != "part"]


@dataclass(frozen=True, eq=False)
class Draft:
    """The notes of all players so far.

    Attributes
    ----------
    notes : ndarray, dtype PART_DTYPE
        ``part`` is the row of the player; in any order.
    marks : tuple of Mark
        Marks that steps add; ``part`` is the row of the player.
    """

    notes: Rows = field(default_factory=lambda: np.zeros(0, dtype=PART_DTYPE))
    marks: tuple[Mark, ...] = ()

    def adding(self, *notes: Rows, marks: Iterable[Mark] = ()) -> Draft:
        """Return the draft with notes and marks added."""
        found = [self.notes, *(rows for rows in notes if len(rows))]
        return Draft(np.concatenate(found) if len(found) > 1 else self.notes, self.marks + tuple(marks))

    def without(self, gone: Mask) -> Draft:
        """Return the draft without the notes of a mask (shape (notes,))."""
        return replace(self, notes=self.notes[~gone])

    def with_notes(self, notes: Rows) -> Draft:
        """Return the draft with its notes exchanged."""
        return replace(self, notes=notes)


@dataclass(frozen=True)
class Target:
    """Where notes go: the row of a player, and the octave its name carried, in semitones."""

    row: int
    octave: int = 0


class Piece:
    """The piano piece as all steps and variants of one spec see it; what is costly is found once.

    Parameters
    ----------
    score : Score
    layers : Layers
        As the spec overrules them.
    singing : Singing, optional
        Who sings what; nobody where left out.
    """

    def __init__(self, score: Score, layers: Layers, singing: Singing | None = None) -> None:
        self.score = score
        self.layers = layers
        self.singing = singing
        self._places: dict[tuple[str | None, str | None, str | None], Mask] = {}

    def layer(self, name: str) -> Mask:
        """Return which notes belong to a layer, shape (notes,); what a singer keeps is in no layer but ``voice``."""
        from reading.layers import select
        from reading.sung import sung_notes

        if name == "voice":
            return sung_notes(self.score)
        found = select(self.layers, self.score, name)
        return found & ~self.singing.kept if self.singing is not None else found

    @property
    def levels(self) -> np.ndarray[Any, np.dtype[np.float32]]:
        """Dynamic of every piano note as a level (row in DYNAMICS, between rows in a hairpin), shape (notes,)."""
        from mapping.levels import levels

        found: np.ndarray[Any, np.dtype[np.float32]] = self._known("levels", levels)
        return found

    @property
    def spans(self) -> tuple[Span, ...]:
        """Spans of one harmony, in order."""
        from mapping.harmony import spans

        found: tuple[Span, ...] = self._known("spans", lambda score: tuple(spans(score)))
        return found

    @property
    def figuration(self) -> Figuration:
        """The figure of each hand in each bar."""
        from reading.figuration import describe

        name = "figuration" if self.piano is self.score else "figuration without the voice"
        found: Figuration = self._known(name, lambda _: describe(self.piano))
        return found

    @property
    def piano(self) -> Score:
        """The piece that is orchestrated: without what singers keep."""
        from reading.sung import accompaniment

        return accompaniment(self.score) if self.singing is not None and self.singing.kept.any() else self.score

    @property
    def own(self) -> Mask:
        """Which notes are the piano's, shape (notes,): those no singer keeps."""
        return np.ones(len(self.score.notes), dtype=bool) if self.singing is None else ~self.singing.kept

    @property
    def tune(self) -> Mask:
        """Which notes a listener follows, shape (notes,): the piano's melody and what is sung."""
        return self.layer("melody") | ~self.own

    def _known(self, name: str, find: Callable[[Score], Any]) -> Any:
        """A fact of the score alone, found once however often its spec is edited."""
        facts = _FACTS.setdefault(self.score, {})
        if name not in facts:
            facts[name] = find(self.score)
        return facts[name]

    def bars_at(self, onsets: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
        """Return the bar index of each onset in ticks."""
        return np.maximum(1, np.searchsorted(self.score.bars["onset"], onsets, side="right"))

    def ranges(self, bars: str | None) -> list[tuple[int, int]]:
        """Return ``(first, last)`` bar indices of a step's bars; the whole piece where it names none."""
        from reading import bars_named

        if bars is None:
            return [(1, len(self.score.bars))] if len(self.score.bars) else []
        return [(int(first), int(last)) for first, last in bars_named(self.score, bars)]

    def beats_of(self, onsets: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
        """Return the beat of each onset: from 1, in units of the metre's lower figure; a pickup counts to its end."""
        bars = self.score.bars[self.bars_at(onsets) - 1]
        beat = 4 * TICKS_PER_QUARTER / np.maximum(1, bars["beat_type"])
        late = np.where(bars["pickup"], bars["beats"] * beat - bars["duration"], 0)
        return np.asarray(1 + (onsets - bars["onset"] + late) / beat)

    def covers(self, options: StepOptions, onsets: np.ndarray[Any, Any]) -> Mask:
        """Return which onsets lie in the bars and on the beats of a step; ``when`` chooses piano notes, not places."""
        inside = np.zeros(len(onsets), dtype=bool)
        bars = self.bars_at(onsets)
        for first, last in self.ranges(options.bars):
            inside |= (bars >= first) & (bars <= last)
        if options.beats is not None:
            from fractions import Fraction

            wanted = [float(Fraction(beat.strip())) for beat in options.beats.split(",")]
            inside &= np.isclose(self.beats_of(onsets)[:, None], wanted, atol=1e-4).any(axis=1)
        return inside

    def chosen(self, options: StepOptions) -> Mask:
        """Return which piano notes a step's bars, beats and dynamic choose, shape (notes,)."""
        key = (options.bars, options.beats, options.when)
        if key not in self._places:
            mask = self.covers(options, self.score.notes["onset"])
            if options.when is not None:
                mask &= np.rint(self.levels).astype(int) == DYNAMICS.index(options.when)
            self._places[key] = mask
        return self._places[key]


@dataclass(frozen=True, eq=False)
class Context:
    """What a technique may ask while it is applied.

    Attributes
    ----------
    piece : Piece
        Score, layers, levels, harmonies.
    players : tuple of Player
        In score order; a note's ``part`` is a row here.
    cause : int
        Row of the step, written into every note it makes.
    """

    piece: Piece
    players: tuple[Player, ...]
    cause: int

    @property
    def score(self) -> Score:
        """The piano score."""
        return self.piece.score

    def targets(self, names: Sequence[str]) -> list[Target]:
        """Return the players that names stand for, in the order named."""
        return [Target(row, octave) for name in names for row, octave in resolve(name, self.players)]

    def piano(self, layer: str, options: StepOptions) -> Rows:
        """Return the piano notes of a layer that the step's bars, beats and dynamic choose (dtype NOTE_DTYPE)."""
        return self.score.notes[self.piece.layer(layer) & self.piece.chosen(options)]

    def written(self, piano: Rows, row: int, options: StepOptions, *, octave: int = 0) -> Rows:
        """Return piano notes as notes of a player.

        Parameters
        ----------
        piano : ndarray, dtype NOTE_DTYPE or PART_DTYPE
        row : int
            Row of the player.
        octave : int
            Semitones to shift by, a multiple of 12.
        """
        notes = np.zeros(len(piano), dtype=PART_DTYPE)
        for name in _COPIED:
            notes[name] = piano[name]
        notes["source"] = piano["source"] if "source" in (piano.dtype.names or ()) else piano["id"]
        notes["pitch"] += octave
        notes["octave"] += octave // 12
        return self.stamped(notes, row, options)

    def made(self, rows: Sequence[tuple[int, int, int]], row: int, options: StepOptions) -> Rows:
        """Return new notes of a player, spelt by the key.

        Parameters
        ----------
        rows : sequence of (onset, duration, pitch)
            Ticks, ticks, MIDI.
        row : int
            Row of the player.
        """
        notes = np.zeros(len(rows), dtype=PART_DTYPE)
        if len(rows):
            notes["onset"], notes["duration"], notes["pitch"] = np.array(rows, dtype=np.int64).T
        notes["bar"] = self.piece.bars_at(notes["onset"])
        notes["source"] = notes["velocity"] = -1
        notes["staff"] = notes["voice"] = 1
        respelt(notes, self.score.bars["fifths"][notes["bar"] - 1])
        return self.stamped(notes, row, options)

    def stamped(self, notes: Rows, row: int, options: StepOptions) -> Rows:
        """Set player, cause, dynamic and way of playing of notes, in place, and return them."""
        notes["part"], notes["cause"] = row, self.cause
        notes["dynamic"] = -1 if options.level is None else DYNAMICS.index(options.level)
        notes["technique"] = 0 if options.how is None else TECHNIQUES.index(options.how)
        return notes
