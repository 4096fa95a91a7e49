"""Balance: is the tune buried under heavier players.

Relative strengths are those of N. Rimsky-Korsakov, Principles of Orchestration (1922), chapter I, "Comparison of
resonance", p. 33: in forte one trumpet, trombone or tuba equals two horns, one horn two woodwinds, a string section two
woodwinds; in piano all winds are about equal, and a string section equals one of them. Percussion without pitch is left
out: the rule has no figure for it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from mapping.arrangement import TECHNIQUES
from mapping.checks.lines import LevelIndex
from mapping.checks.report import Check, Fault, gathered

if TYPE_CHECKING:
    from collections.abc import Iterator

    from mapping.arrangement import Player
    from mapping.checks.lines import Floats, Hearing, Line
    from reading.layers import Layers

__all__ = ["checks", "energy", "strength_db"]

_FORTE = {"heavy brass": 6.02, "horn": 3.01, "woodwind": 0.0, "section": 3.01, "voice": 3.01}  # voice: own default
_SOFT, _LOUD = LevelIndex("p"), LevelIndex("f")
_STEP_DB = 3.0  # per dynamic step; own default
_PLUCKED_DB = -6.0  # pizzicato, harp, celesta, piano against sustaining players (direction: p. 33; figure: own default)
_SOLO_DB = -6.0  # one string player against a section; own default
_BURIED_DB = 6.0  # one accompanying player so much stronger than the tune (a trumpet over a flute) buries it
_DROWNED_DB = 9.0  # and so does the whole accompaniment; four string sections under the first violins are 6 dB


def strength_db(player: Player, level: float, technique: str = "plain") -> float:
    """Return a player's strength in dB relative to one woodwind in piano.

    Parameters
    ----------
    player : Player
    level : float
        Row in DYNAMICS; between piano and forte the two rules are mixed.
    technique : str

    Returns
    -------
    float
        dB; powers of several players add.
    """
    item = player.instrument
    kind = "section" if item.section and player.count > 1 else "horn" if item.name == "horn" else item.family
    kind = "heavy brass" if kind == "brass" else kind
    share = min(max((level - _SOFT) / (_LOUD - _SOFT), 0.0), 1.0)
    own = _FORTE.get(kind, 0.0) * share
    if kind == "strings":
        own += _SOLO_DB
    if technique == "pizzicato" or item.family in ("plucked", "keyboard"):
        own += _PLUCKED_DB
    return own + _STEP_DB * (level - _SOFT)


def checks(hearing: Hearing) -> Iterator[Check]:
    """Yield the remarks about balance; without layers or notes, or with one player, there is nothing to weigh."""
    if hearing.layers is None or not len(hearing.layers.roles) or len(hearing.pitched) < 2:
        return
    bars = hearing.score.bars
    weights = [_weights(line, hearing.layers, bars) for line in hearing.pitched]
    tune = np.sum([sung for sung, _ in weights], axis=0)
    others = np.array([own for _, own in weights])
    over = (others.max(axis=0) >= tune * 10 ** (_BURIED_DB / 10)) | (
        others.sum(axis=0) >= tune * 10 ** (_DROWNED_DB / 10)
    )
    faults: dict[int, list[Fault]] = {}
    over &= ~_sung(hearing, len(over))  # there the singer is what must be heard, see singing
    for bar in np.flatnonzero((tune > 0) & over).tolist():
        row = int(np.argmax(others[:, bar]))
        short = 10 * np.log10(others[:, bar].sum() / tune[bar])
        message = f"weighs most in an accompaniment about {short:.0f} dB stronger than the tune"
        faults.setdefault(row, []).append(Fault(int(bars["onset"][bar]), message))
    for row, told in faults.items():
        name = hearing.pitched[row].player.name
        step = lambda bars, name=name: {"mark": "p", "on": [name], "bars": bars}  # noqa: E731 - a remedy per stretch
        yield from gathered(hearing.score, told, name, "advice", "balance", step)


def _sung(hearing: Hearing, bars: int) -> Any:
    """Which bars somebody sings in, shape (bars,)."""
    numbers = [line.notes["bar"] for line in hearing.lines if line.player.family == "voice"]
    return np.isin(np.arange(1, bars + 1), np.concatenate(numbers)) if numbers else np.zeros(bars, dtype=bool)


def _weights(line: Line, layers: Layers, bars: Any) -> tuple[Floats, Floats]:
    """Return a player's power per bar, in the tune and outside it; shape (bars,) each."""
    from reading.layers import Role

    source = line.notes["source"]
    roles = layers.roles[np.maximum(source, 0)]
    sings = (source >= 0) & ((roles == Role.MELODY) | (roles == Role.DOUBLING))
    place = line.notes["bar"] - 1
    length = np.maximum(bars["duration"][place], 1)
    weight = energy(line) * np.minimum(line.notes["duration"], length) / length
    sung = np.bincount(place[sings], weights=weight[sings], minlength=len(bars))
    own = np.bincount(place[~sings], weights=weight[~sings], minlength=len(bars))
    return np.asarray(sung, dtype=np.float64), np.asarray(own, dtype=np.float64)


def energy(line: Line) -> Floats:
    """Return the relative power of each note, shape (notes,); several notes of one player share it."""
    _, start, count = np.unique(line.onset, return_inverse=True, return_counts=True)
    db = [
        strength_db(line.player, float(level), TECHNIQUES[technique])
        for level, technique in zip(line.level.tolist(), line.notes["technique"].tolist(), strict=True)
    ]
    return np.asarray(10 ** (np.array(db) / 10) / count[start])
