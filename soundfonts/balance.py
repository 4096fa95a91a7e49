"""How loud each instrument is at each dynamic: sound power of real instruments, and the rule of equivalences.

``sound power`` gives dB re 1 pW for one player, a held note in the middle of the compass. All its figures are *from
memory* of the handbook named below and doubtful by 2 dB or more. Sources disagree about the brass: the handbook has
horn and trumpet level at forte, the orchestration rule makes one trumpet two horns. Both tables are offered.

References
----------
J. Meyer, *Acoustics and the Performance of Music*, 5th ed. (2009), ch. 3 and 7: sound power at forte and the range of
powers in scales (from memory). J. Sundberg, *The Science of the Singing Voice* (1987), for the trained voice (from
memory). N. Rimsky-Korsakov, *Principles of Orchestration* (1922), ch. I, "Comparison of
resonance in orchestral groups", p. 33: at forte one trumpet, trombone or tuba equals two horns, one horn two
woodwinds; at piano all winds are alike; a string department of a medium orchestra equals one woodwind at piano, two
at forte. F. A. Everest, *Master Handbook of Acoustics*, table 5-1, "Power of musical sources": peaks of large bass drum
25 W, snare drum 12 W, cymbals 10 W, trombone 6 W, triangle 0.05 W.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from base.errors import InputError, nearest
from soundfonts.installed import data_folder

Floats = np.ndarray[Any, np.dtype[np.float64]]

__all__ = [
    "POWER",
    "WAY_DB",
    "Power",
    "balance_tables",
    "instrument_of",
    "overruling_path",
    "power_db",
    "power_table",
    "powers_db",
]

_LEVELS = {"pp": 2.0, "p": 3.0, "mp": 4.0, "mf": 5.0, "f": 6.0, "ff": 7.0}
"""Places of the dynamics on the scale of reading.score.DYNAMICS (pppp = 0)."""


@dataclass(frozen=True)
class Power:
    """Sound power of one player in dB re 1 pW.

    Attributes
    ----------
    pp, f, ff : float
        At these dynamics; those between are taken on straight lines, those beyond at 2 dB a step.
    low_db, high_db : float
        What the lowest and the highest note of the usual compass differ from the middle at one dynamic. The direction
        is the trade's (flute low is soft, oboe and bassoon low are strong), the amount is ours.
    compass : tuple of int
        Usual sounding compass, MIDI keys.
    sure : str
        ``memory`` (a published figure from memory), ``peaks`` (ff as far from the trombone's as the published peak
        powers are apart, the other dynamics a guess) or ``ours`` (a guess).
    """

    pp: float
    f: float
    ff: float
    low_db: float = 0.0
    high_db: float = 0.0
    compass: tuple[int, int] = (36, 84)
    sure: str = "memory"


POWER: dict[str, Power] = {
    "piccolo": Power(82, 92, 96, -6, 4, (74, 105), "ours"),
    "flute": Power(82, 91, 94, -4, 3, (60, 96)),
    "oboe": Power(83, 93, 95, 1.5, -1.5, (58, 91)),
    "english horn": Power(83, 92, 94, 1.5, -1.5, (52, 84), "ours"),
    "clarinet": Power(77, 93, 97, 0, 1.5, (50, 91)),
    "bass clarinet": Power(77, 91, 95, 1, -1, (37, 77), "ours"),
    "bassoon": Power(81, 93, 96, 1.5, -1.5, (34, 72)),
    "contrabassoon": Power(82, 92, 95, 0, 0, (22, 53), "ours"),
    "saxophone": Power(82, 97, 101, 1, 0, (44, 87), "ours"),
    "horn": Power(86, 102, 107, -4, 2, (35, 77)),
    "trumpet": Power(89, 101, 104, -2, 2, (54, 84)),
    "trombone": Power(89, 101, 105, -1, 1, (40, 72)),
    "tuba": Power(93, 104, 108, 0, 0, (26, 65)),
    "timpani": Power(80, 101, 108, 0, 0, (38, 60), "ours"),
    "drums": Power(78, 101, 109, 0, 0, (35, 81), "ours"),
    "bass drum": Power(76, 103, 111, 0, 0, (35, 36), "peaks"),
    "snare drum": Power(80, 101, 108, 0, 0, (38, 40), "peaks"),
    "cymbals": Power(78, 101, 107, 0, 0, (49, 59), "peaks"),
    "triangle": Power(68, 80, 84, 0, 0, (80, 81), "peaks"),
    "tambourine": Power(74, 90, 95, 0, 0, (54, 54), "ours"),
    "tam-tam": Power(74, 100, 108, 0, 0, (52, 52), "ours"),
    "mallets": Power(75, 93, 97, 0, 0, (60, 108), "ours"),
    "celesta": Power(68, 82, 86, 0, 0, (60, 108), "ours"),
    "harp": Power(68, 86, 90, 1, -2, (24, 103), "ours"),
    "piano": Power(80, 97, 104, 0, -2, (21, 108), "ours"),
    "violin": Power(74, 89, 94, 0, 0, (55, 100)),
    "viola": Power(73, 87, 91, 0, 0, (48, 88)),
    "cello": Power(74, 90, 96, 0, 0, (36, 81)),
    "double bass": Power(79, 92, 96, 0, 0, (28, 60)),
    "voice": Power(83, 103, 108, -2, 2, (40, 84)),  # a trained soloist
}

WAY_DB = {"pizzicato": -8.0, "col legno": -12.0, "muted": -5.0, "harmonic": -6.0, "stopped": -3.0}
"""What a way of playing takes away from the level of the plain one; *ours*, no source."""

_BY_WORD = (  # the first word found in the name decides; longer names first
    ("contrabassoon", "contrabassoon"), ("double bassoon", "contrabassoon"), ("bass clarinet", "bass clarinet"),
    ("english horn", "english horn"), ("cor anglais", "english horn"), ("piccolo", "piccolo"), ("flute", "flute"),
    ("oboe", "oboe"), ("clarinet", "clarinet"), ("bassoon", "bassoon"), ("sax", "saxophone"), ("horn", "horn"),
    ("trumpet", "trumpet"), ("cornet", "trumpet"), ("trombone", "trombone"), ("euphonium", "trombone"),
    ("tuba", "tuba"), ("timpani", "timpani"), ("glockenspiel", "mallets"), ("xylophone", "mallets"),
    ("marimba", "mallets"), ("vibraphone", "mallets"), ("bell", "mallets"), ("celesta", "celesta"), ("harp", "harp"),
    ("piano", "piano"), ("violin", "violin"), ("viola", "viola"), ("cello", "cello"), ("contrabass", "double bass"),
    ("double bass", "double bass"), ("basses", "double bass"), ("bass drum", "bass drum"),
    ("snare drum", "snare drum"), ("cymbal", "cymbals"), ("triangle", "triangle"), ("tambourine", "tambourine"),
    ("tam-tam", "tam-tam"), ("drum", "drums"), ("soprano", "voice"), ("alto", "voice"), ("tenor", "voice"),
    ("baritone", "voice"), ("voice", "voice"),
)  # fmt: skip

_BY_PROGRAM = {
    **dict.fromkeys(range(0, 8), "piano"), 8: "celesta", **dict.fromkeys(range(9, 16), "mallets"),
    40: "violin", 41: "viola", 42: "cello", 43: "double bass", 44: "violin", 45: "violin", 46: "harp", 47: "timpani",
    48: "violin", 49: "violin", 52: "voice", 53: "voice", 56: "trumpet", 57: "trombone", 58: "tuba", 59: "trumpet",
    60: "horn", 61: "trumpet", 64: "saxophone", 65: "saxophone", 66: "saxophone", 67: "saxophone", 68: "oboe",
    69: "english horn", 70: "bassoon", 71: "clarinet", 72: "piccolo", 73: "flute",
}  # fmt: skip

_STRUCK = frozenset({"bass drum", "snare drum", "cymbals", "tam-tam"})
_AS_TRUMPET = frozenset({"trumpet", "trombone", "tuba", "timpani", "drums"}) | _STRUCK
_AS_HORN = frozenset({"horn", "voice"})
"""The rule does not name the voice; that a soloist carries like a horn is ours."""
_STRINGS = frozenset({"violin", "viola", "cello", "double bass"})


def instrument_of(name: str, program: int = -1) -> str:
    """Return the row of POWER for an instrument by its name, else by its General MIDI program (from 0)."""
    words = name.lower()
    for word, instrument in _BY_WORD:
        if word in words:
            return instrument
    return _BY_PROGRAM.get(program, "clarinet")


def overruling_path() -> Path:
    """Return the file in which a user may overrule rows of POWER."""
    return data_folder() / "klangprobe" / "balance.json"


def power_table() -> dict[str, Power]:
    """Return POWER, with the rows the user overrules in :func:`overruling_path` exchanged.

    The file holds ``{"horn": {"pp": 84, "f": 98, "ff": 103}}``; what a row does not say stays as it was.

    Raises
    ------
    InputError
        Where the file is not such a table; names row and key.
    """
    path = overruling_path()
    try:
        text = path.read_text(encoding="utf-8")
    except OSError:
        return POWER
    return _overruled(text, str(path))


@cache
def _overruled(text: str, path: str) -> dict[str, Power]:
    """Exchange the rows named in the user's text."""
    try:
        rows = json.loads(text)
    except ValueError as error:
        raise InputError(f"this is not JSON ({error}).", path=path) from error
    table = dict(POWER)
    legal = ("pp", "f", "ff", "low_db", "high_db")
    for name, row in rows.items() if isinstance(rows, dict) else [("", None)]:
        if name not in POWER:
            raise InputError(f"no instrument is called '{name}' here.", path=path, hint=nearest(name, POWER))
        if not isinstance(row, dict) or not all(isinstance(one, int | float) for one in row.values()):
            raise InputError("expected numbers in dB.", path=path, place=name, hint='For example {"f": 98}.')
        for key in row:
            if key not in legal:
                raise InputError(f"unknown key '{key}'.", path=path, place=name, hint=nearest(key, legal))
        given: dict[str, Any] = {key: float(one) for key, one in row.items()}
        table[name] = replace(table[name], sure="yours", **given)
        levels = table[name].pp, table[name].f, table[name].ff
        if sorted(levels) != list(levels):
            raise InputError("pp, f and ff must rise.", path=path, place=name)
    return table


def power_db(
    instrument: str,
    dynamic: float,
    *,
    count: int = 1,
    key: float | None = None,
    way: str = "plain",
    balance: str = "sound power",
) -> float:
    """Return the sound power of *count* players in dB re 1 pW; see :func:`powers_db`."""
    keys = None if key is None else np.array([key], np.float64)
    return float(powers_db(instrument, np.array([dynamic]), count=count, keys=keys, way=way, balance=balance)[0])


def powers_db(
    instrument: str,
    dynamics: Floats,
    *,
    count: int = 1,
    keys: Floats | None = None,
    way: str = "plain",
    balance: str = "sound power",
) -> Floats:
    """Return the sound power of *count* players in dB re 1 pW, one figure for each dynamic.

    Parameters
    ----------
    instrument : str
        Row of POWER.
    dynamics : ndarray, float
        Places on the scale of reading.score.DYNAMICS: 2 is pp, 3 p, 5 mf, 6 f, 7 ff; between marks while it swells.
    count : int
        Players in unison; their powers add.
    keys : ndarray, float, optional
        Sounding MIDI keys, for the dependence on register.
    way : str
        Way of playing, as in mapping.arrangement.TECHNIQUES.
    balance : str
        ``sound power`` or ``orchestration rule``.
    """
    row, less_db = power_table()[instrument], WAY_DB.get(way, 0.0)
    if balance == "orchestration rule":
        return _by_rule(instrument, dynamics, count) + less_db
    power = _at(row, dynamics) + less_db + 10.0 * np.log10(max(1, count))
    if keys is not None:
        low, high = row.compass
        power = power + np.interp(keys, (low, (low + high) / 2.0, high), (row.low_db, 0.0, row.high_db))
    return np.asarray(power)


def _at(row: Power, dynamics: Floats) -> Floats:
    """Power at each dynamic: straight lines through pp, f and ff, 2 dB a step beyond."""
    low, high = _LEVELS["pp"], _LEVELS["ff"]
    inside = np.interp(dynamics, (low, _LEVELS["f"], high), (row.pp, row.f, row.ff))
    return np.asarray(inside + 2.0 * (np.minimum(0.0, dynamics - low) + np.maximum(0.0, dynamics - high)))


def _by_rule(instrument: str, dynamics: Floats, count: int) -> Floats:
    """Power by the rule of equivalences; a whole string department counts as the rule has it, whatever its size."""
    woodwind = _at(POWER["flute"], dynamics)
    loudness = np.clip((dynamics - _LEVELS["p"]) / (_LEVELS["f"] - _LEVELS["p"]), 0.0, 1.0)
    if instrument in _STRINGS and count > 1:
        return np.asarray(woodwind + 3.01 * loudness)
    at_forte = 6.02 if instrument in _AS_TRUMPET else 3.01 if instrument in _AS_HORN else 0.0
    return np.asarray(woodwind + at_forte * loudness + 10.0 * np.log10(max(1, count)))


def balance_tables() -> list[dict[str, Any]]:
    """Return both tables as they are shown to the user.

    Returns
    -------
    list of dict
        ``title``, ``head`` (column names), ``rows`` (texts), ``notes`` (sources and doubts).
    """
    marks = list(_LEVELS)
    power = [
        [name, *(f"{power_db(name, _LEVELS[mark]):.0f}" for mark in marks), row.sure]
        for name, row in power_table().items()
    ]
    names = ("flute", "oboe", "clarinet", "bassoon", "horn", "trumpet", "trombone", "tuba", "timpani")
    rule = [[name, *_relative(name, marks, 1)] for name in names]
    rule.append(["a string section", *_relative("violin", marks, 12)])
    return [
        {
            "title": "sound power: dB re 1 pW of one player, middle of the compass",
            "head": ["instrument", *marks, "certainty"],
            "rows": power,
            "notes": [
                "After J. Meyer, Acoustics and the Performance of Music, 5th ed. (2009), ch. 3 and 7, from memory: "
                "doubtful by 2 dB or more; the voice after J. Sundberg, The Science of the Singing Voice (1987), from "
                "memory. Rows marked 'ours' are guesses.",
                "Rows marked 'peaks': ff as far from the trombone's as the peak powers in F. A. Everest, Master "
                "Handbook of Acoustics, table 5-1 (bass drum 25 W, snare drum 12, cymbals 10, trombone 6, triangle "
                "0.05); the other dynamics are guesses. A stroke's level is that of its loudest 200 ms.",
                "The handbook has horn and trumpet level at forte; the orchestration rule makes one trumpet two horns. "
                "n players in unison: 10 log10(n) dB more. pp to f on a straight line through p, mp and mf.",
                f"Rows can be overruled in {overruling_path()}.",
            ],
        },
        {
            "title": "orchestration rule: dB against one flute of the same dynamic",
            "head": ["instrument", *marks],
            "rows": rule,
            "notes": [
                "N. Rimsky-Korsakov, Principles of Orchestration (1922), ch. I, p. 33: at f one trumpet = two horns = "
                "four woodwinds; at p all winds alike; a string section is one woodwind at p, two at f.",
            ],
        },
    ]


def _relative(instrument: str, marks: list[str], count: int) -> list[str]:
    """Levels by the rule against one flute of the same dynamic."""
    dynamics = np.array([_LEVELS[mark] for mark in marks])
    return [f"{level:+.1f}" for level in _by_rule(instrument, dynamics, count) - _at(POWER["flute"], dynamics)]
