"""The damper pedal of the piano: notes let go while it is down ring until it comes up or the key is struck again.

The synth needs no pedal of its own: to hold a note until the pedal rises gives, to the sample, what MIDI controller 64
gives, because soundfonts know no strings that ring along. Only a key struck again differs: under the controller its
earlier stroke rings on beside the new one (0.3 dB more), here the strings of a key sound once.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from mapping.arrangement import Player
    from reading.score import Score
    from render.passage import Passage, Stretch
    from render.settings import RenderSettings

__all__ = ["pedal_spans", "pedalled"]

_UP_AFTER_S = 0.06  # a new pedal is taken just after the beat it is marked at

Rows = np.ndarray[Any, np.dtype[np.void]]


def pedal_spans(score: Score, wish: str) -> list[tuple[int, int]]:
    """Return ``(down, up)`` in ticks.

    Parameters
    ----------
    score : Score
    wish : str
        One of render.settings.PEDALS: as ``marked``; ``implied`` adds, in bars without marks, what the figuration asks
        for; ``none``.
    """
    if wish == "none":
        return []
    if wish == "marked":
        return sorted((mark.onset, mark.end) for mark in score.marks_of("pedal") if mark.end > mark.onset)
    from reading.pedal import find

    return sorted((row.onset, row.end) for row in find(score).rows if row.end > row.onset)


def pedalled(table: Rows, player: Player, passage: Passage, stretch: Stretch, settings: RenderSettings) -> None:
    """Let the piano's notes ring while the pedal is down, in place.

    Parameters
    ----------
    table : ndarray, dtype PLAYED_DTYPE
    player : Player
        Nothing happens for other instruments than the piano.
    passage, stretch, settings
        Where, and which pedal.
    """
    if player.instrument.name != "piano" or not len(table):
        return
    spans = [
        (max(down, stretch.start), min(up, stretch.end)) for down, up in pedal_spans(passage.score, settings.pedal)
    ]
    spans = [(down, up) for down, up in spans if down < up]
    if not spans:
        return
    times = passage.seconds(stretch, np.array(spans))
    for down_s, up_s in times:
        ringing = (table["end_s"] > down_s) & (table["end_s"] < up_s + _UP_AFTER_S) & (table["start_s"] < up_s)
        table["end_s"][ringing] = up_s + _UP_AFTER_S
    _struck_again(table)


def _struck_again(table: Rows) -> None:
    """End each note at the latest where its key is struck again, in place."""
    order = np.lexsort((table["start_s"], table["pitch"]))
    same = table["pitch"][order][1:] == table["pitch"][order][:-1]
    first, then = order[:-1][same], order[1:][same]
    later = table["start_s"][then] > table["start_s"][first]
    table["end_s"][first[later]] = np.minimum(table["end_s"][first[later]], table["start_s"][then[later]])
