"""Singers: does the line lie in the voice, who plays along with it, who covers it.

References
----------
N. Rimsky-Korsakov, *Principles of Orchestration* (1922), chapter V, "Orchestral accompaniment of solo voices" and
"Doubling voices in the orchestra": the accompaniment must not overpower the voice; doubling in unison or octaves is
frequent, but for isolated phrases, not for an extended period. Chapter VI, "Range and register": within its normal
octave a voice is used freely; long outside it, it tires. The figures are own defaults.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.checks.balance import energy
from mapping.checks.report import Check, Fault, gathered
from mapping.harmony_frames import pairs_of
from reading.register import pitch_name

if TYPE_CHECKING:
    from collections.abc import Iterator

    from mapping.checks.lines import Hearing, Line
    from mapping.harmony_frames import Ints

__all__ = ["checks"]

_OUTSIDE = 0.5  # share of the sung time beyond the normal octave on one side
_DOUBLED = 0.75  # share of a bar's sung notes another player has, too
_PHRASE_BARS = 4  # bars in a row that still are an isolated phrase
_COVERED_DB = 9.0  # all players together against the singer; five string sections alone are about 7 dB stronger
_ALL = 1 << 20  # bars: one remark for the piece


def checks(hearing: Hearing) -> Iterator[Check]:
    """Yield the remarks about singers."""
    singers = [line for line in hearing.lines if line.player.family == "voice"]
    others = [line for line in hearing.pitched if line.player.family != "voice"]
    for line in singers:
        yield from _tessitura(hearing, line)
        for other in others:
            yield from _doubling(hearing, line, other)
    if singers and others:
        yield from _covering(hearing, singers, [line for line in hearing.lines if line.player.family != "voice"])


def _tessitura(hearing: Hearing, line: Line) -> Iterator[Check]:
    """A line that lies beyond the normal octave of its voice for most of the time."""
    item = line.player.instrument
    normal = next((one for one in item.registers if one.name == "normal"), None)
    if normal is None:
        return
    length = line.notes["duration"].astype(np.float64)
    for side, beyond, edge in (
        ("below", line.pitch < normal.low, normal.low),
        ("above", line.pitch > normal.high, normal.high),
    ):
        share = float(length[beyond].sum() / length.sum())
        if share > _OUTSIDE:
            first = int(line.onset[np.flatnonzero(beyond)[0]])
            message = f"{share:.0%} of the time the line lies {side} {pitch_name(edge)}, beyond the normal octave"
            words = f"name a {'lower' if side == 'below' else 'higher'} voice under 'singers:', or transpose the song"
            yield from gathered(
                hearing.score, [Fault(first, f"{message} of the {item.name}")], line.player.name, "advice", "tessitura",
                words, apart=_ALL,
            )  # fmt: skip


def _doubling(hearing: Hearing, line: Line, other: Line) -> Iterator[Check]:
    """A player who has the singer's notes, in any octave, for longer than a phrase without being asked to."""
    asked = np.array([step.words.startswith("voice ") for step in hearing.arrangement.steps] or [False])
    mine = other.notes[~asked[np.clip(other.notes["cause"], 0, len(asked) - 1)]]
    has = np.isin(line.onset * 12 + line.pitch % 12, mine["onset"].astype(np.int64) * 12 + mine["pitch"] % 12)
    bars = np.clip(line.notes["bar"], 1, len(hearing.score.bars))
    sung, both = np.bincount(bars), np.bincount(bars, weights=has)
    run: list[int] = []
    for bar in [*np.flatnonzero(sung).tolist(), 0]:
        if bar and both[bar] >= _DOUBLED * sung[bar]:
            run.append(bar)
            continue
        if len(run) > _PHRASE_BARS:
            onset = int(hearing.score.bars["onset"][run[0] - 1])
            message = f"goes with the {line.player.name} note for note through {len(run)} bars of song"
            words = "keep doubling the voice for single phrases: another line, another octave, or rests in between"
            yield from gathered(
                hearing.score, [Fault(onset, message)], other.player.name, "advice", "doubled voice", words
            )
        run = []


def _covering(hearing: Hearing, singers: list[Line], others: list[Line]) -> Iterator[Check]:
    """Bars in which the orchestra is so much stronger than the singers that they are not heard."""
    bars = hearing.score.bars
    starts, ends = _sung_times(singers)
    place = np.clip(np.searchsorted(bars["onset"], starts, side="right"), 1, len(bars)) - 1
    voice = np.sum([_powers(line, starts, ends, place, len(bars)) for line in singers], axis=0)
    weights = np.array([_powers(line, starts, ends, place, len(bars)) for line in others])
    total = weights.sum(axis=0)
    faults: dict[int, list[Fault]] = {}
    for bar in np.flatnonzero((voice > 0) & (total >= voice * 10 ** (_COVERED_DB / 10))).tolist():
        short = 10 * np.log10(total[bar] / voice[bar])
        message = f"weighs most in an orchestra about {short:.0f} dB stronger than the singer"
        faults.setdefault(int(np.argmax(weights[:, bar])), []).append(Fault(int(bars["onset"][bar]), message))
    for row, told in faults.items():
        name = others[row].player.name
        step = lambda bars, name=name: {"mark": "p", "on": [name], "bars": bars}  # noqa: E731 - a remedy per stretch
        yield from gathered(hearing.score, told, name, "advice", "covered voice", step)


def _sung_times(singers: list[Line]) -> tuple[Ints, Ints]:
    """Starts and ends, in ticks, of the time in which somebody sings, cut wherever a sung note begins or ends."""
    notes = np.concatenate([line.notes for line in singers])
    edges = np.unique(np.concatenate([notes["onset"], notes["onset"] + notes["duration"]]).astype(np.int64))
    _, places, _ = pairs_of(notes, edges[:-1], edges[1:])
    sung = np.unique(places)
    return edges[:-1][sung], edges[1:][sung]


def _powers(line: Line, starts: Ints, ends: Ints, place: Ints, bars: int) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Energy of a player per bar in the time that is sung, shape (bars,)."""
    rows, times, overlap = pairs_of(line.notes, starts, ends)
    weight = energy(line)[rows] * overlap
    return np.asarray(np.bincount(place[times], weights=weight, minlength=bars), dtype=np.float64)
