"""Held notes for the techniques: voices from the optimiser given to players, bass notes prolonged."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from mapping.voicing import gap_voices, held_voices, ranges_for

if TYPE_CHECKING:
    from mapping.draft import Context, Rows
    from mapping.steps import StepOptions
    from mapping.voicing import Held

__all__ = ["filled_gap", "held_bass", "held_harmony"]


def held_harmony(
    context: Context,
    options: StepOptions,
    on: tuple[str, ...],
    span: tuple[int, int],
    *,
    register: str | None = None,
    restrike: str = "changes",
    only: tuple[str, ...] = (),
    open_notes: tuple[frozenset[int] | None, ...] = (),
) -> list[Rows]:
    """Return held notes of the harmony for each player named.

    Parameters
    ----------
    on : tuple of str
        Players; each has one voice.
    span : (int, int)
        Ticks.
    register, restrike, only, open_notes
        As in :func:`mapping.voicing.held_voices`.
    """
    rows = [target.row for target in context.targets(on)]
    ranges = ranges_for([context.players[row] for row in rows], register)
    voices = held_voices(
        context.score,
        context.piece.spans,
        ranges,
        start=span[0],
        end=span[1],
        restrike=restrike,
        melody=context.piece.tune,
        only=only,
        open_notes=open_notes,
    )
    return [_notes(context, options, row, voice) for row, voice in zip(rows, voices, strict=True)]


def filled_gap(
    context: Context, options: StepOptions, on: tuple[str, ...], span: tuple[int, int], over: int
) -> list[Rows]:
    """Return notes that fill the gap between the hands, for each player named."""
    rows = [target.row for target in context.targets(on)]
    voices = gap_voices(
        context.score,
        ranges_for([context.players[row] for row in rows]),
        start=span[0],
        end=span[1],
        over=over,
        harmony=context.piece.spans,
        melody=context.piece.tune,
    )
    return [_notes(context, options, row, voice) for row, voice in zip(rows, voices, strict=True)]


def _notes(context: Context, options: StepOptions, row: int, voice: Held) -> Rows:
    """Notes of one voice; where no level is said, one step softer than the piano is marked there."""
    notes = context.made([(start, end - start, pitch) for start, end, pitch in voice], row, options)
    if options.level is None and len(notes):
        from mapping.levels import levels_at

        softer = np.maximum(0, np.rint(levels_at(context.score, notes["onset"])) - 1)
        notes["dynamic"] = softer.astype(np.int8)
    return notes


def held_bass(
    context: Context, options: StepOptions, on: tuple[str, ...], span: tuple[int, int], *, restrike: str = "changes"
) -> list[Rows]:
    """Return the lowest note of each harmony, held, for each player named (an octave up where it is out of reach)."""
    found = []
    for target in context.targets(on):
        instrument = context.players[target.row].instrument
        voice: Held = []
        for harmony in context.piece.spans:
            start, end = max(harmony.start_ticks, span[0]), min(harmony.end_ticks, span[1])
            if end <= start or harmony.bass < 0:
                continue
            pitch = harmony.bass + target.octave
            while pitch < instrument.low:
                pitch += 12
            if not instrument.in_range(pitch):
                continue
            if voice and voice[-1][1] == start and voice[-1][2] == pitch:
                voice[-1] = voice[-1][0], end, pitch
            else:
                voice.append((start, end, pitch))
        found.append(_notes(context, options, target.row, struck(context, voice, restrike)))
    return found


def struck(context: Context, voice: Held, restrike: str) -> Held:
    """Return a held voice cut at bar lines or beats, as ``restrike`` says."""
    if restrike == "changes":
        return voice
    found: Held = []
    cuts = grid(context, beats=restrike == "beats")
    for start, end, pitch in voice:
        places = [start, *cuts[(cuts > start) & (cuts < end)].tolist(), end]
        found += [(a, b, pitch) for a, b in pairwise(places)]
    return found


def grid(context: Context, *, beats: bool) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Return the ticks of all bar lines, or of all beats."""
    from mapping.fullscore_rhythm import beat_ticks

    bars = context.score.bars
    if not beats:
        return np.asarray(bars["onset"], dtype=np.int64)
    found: list[int] = []
    for bar in bars:
        beat = beat_ticks(int(bar["beats"]), int(bar["beat_type"]))
        found += range(int(bar["onset"]), int(bar["onset"] + bar["duration"]), beat)
    return np.array(found, dtype=np.int64)
