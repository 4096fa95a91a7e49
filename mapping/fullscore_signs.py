"""Signs of a part: dynamics, hairpins, words, slurs, articulations, by where they are written."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from mapping.arrangement import TECHNIQUES
from mapping.fullscore_text import plain
from mapping.levels import UNMARKED
from reading.score import DYNAMICS, TICKS_PER_QUARTER, Flag

if TYPE_CHECKING:
    from mapping.arrangement import Arrangement, Part
    from mapping.draft import Rows
    from reading.score import Mark, Score

__all__ = ["Signs", "articulations", "global_signs", "signs_of"]

_ARTICULATIONS = (
    (Flag.ACCENT, "accent"),
    (Flag.MARCATO, "strong-accent"),
    (Flag.STACCATO, "staccato"),
    (Flag.STACCATISSIMO, "staccatissimo"),
    (Flag.TENUTO, "tenuto"),
)
_ORNAMENTS = (
    (Flag.TRILL, "trill-mark"),
    (Flag.MORDENT, "mordent"),
    (Flag.INVERTED_MORDENT, "inverted-mordent"),
    (Flag.TURN, "turn"),
    (Flag.INVERTED_TURN, "inverted-turn"),
)
_WORDS = {"pizzicato": "pizz.", "muted": "con sord.", "col legno": "col legno"}
_BACK = {"pizzicato": "arco", "muted": "senza sord.", "col legno": "arco"}
_NOTE_TECHNIQUES = {"harmonic": "<harmonic/>", "stopped": "<stopped/>"}
_REST_AGAIN = 2  # bars of silence after which a dynamic is written again


@dataclass
class Signs:
    """What is written into one part.

    Attributes
    ----------
    directions : dict of int to list of str
        Tick to the XML of what stands in ``<direction-type>``, with its placement: ``(placement, xml)``.
    slurs : dict of int to list of (str, int)
        Row of a note to starts and stops with their numbers.
    """

    directions: dict[int, list[tuple[str, str]]] = field(default_factory=lambda: defaultdict(list))
    slurs: dict[int, list[tuple[str, int]]] = field(default_factory=lambda: defaultdict(list))


def signs_of(part: Part, arrangement: Arrangement) -> Signs:
    """Return the signs of one part, found from the piano's marks and the steps' own."""
    signs = Signs()
    if not len(part.notes):
        return signs
    _dynamics(part, arrangement.score, signs)
    _techniques(part.notes, signs)
    _divisi(part, arrangement, signs)
    _hairpins(part, arrangement.score, signs)
    _texts(part, arrangement.score, signs)
    _slurs(part.notes, arrangement.score, signs)
    return signs


def _dynamics(part: Part, score: Score, signs: Signs) -> None:
    """A dynamic where the part's level changes, at its first note, and again after some bars of silence."""
    notes = part.notes
    marked = _marked(notes, score)
    before, sounded = -1, -1
    onsets, firsts = np.unique(notes["onset"], return_index=True)
    for onset, row in zip(onsets.tolist(), firsts.tolist(), strict=True):
        level = int(marked[row])
        bar = score.bar_at(onset)
        again = sounded >= 0 and bar - sounded > _REST_AGAIN
        flags = int(notes["flags"][row])
        if flags & int(Flag.SFORZANDO | Flag.FP):  # the sign stands in place of a level, which comes with the next note
            sign = "sf" if flags & int(Flag.SFORZANDO) else "fp"
            signs.directions[onset].append(("below", f"<dynamics><{sign}/></dynamics>"))
        elif level >= 0:
            if level != before or again:
                signs.directions[onset].append(("below", f"<dynamics><{DYNAMICS[level]}/></dynamics>"))
            before = level
        last = notes["onset"] == onset
        sounded = score.bar_at(int((notes["onset"][last] + notes["duration"][last]).max()) - 1)


def _marked(notes: Rows, score: Score) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """The dynamic written at or before each note (row in DYNAMICS): the step's own, else the piano's, else −1."""
    marks = [mark for mark in score.marks_of("dynamic") if mark.value in DYNAMICS]
    ticks = np.array([mark.onset for mark in marks], dtype=np.int64)
    levels = np.array([-1, *(DYNAMICS.index(mark.value) for mark in marks)], dtype=np.int64)
    found = levels[np.searchsorted(ticks, notes["onset"], side="right")]
    own = notes["dynamic"] >= 0
    found[own] = notes["dynamic"][own]
    silent = (found < 0) & ~own
    found[silent] = UNMARKED if own.any() else -1
    return np.asarray(found, dtype=np.int64)


def _techniques(notes: Rows, signs: Signs) -> None:
    """Words where the way of playing changes."""
    before = 0
    for row in np.argsort(notes["onset"], kind="stable").tolist():
        technique = int(notes["technique"][row])
        if technique == before:
            continue
        onset, old, new = int(notes["onset"][row]), TECHNIQUES[before], TECHNIQUES[technique]
        word = _WORDS.get(new) or _BACK.get(old, "")
        if new not in _WORDS and new != "plain" and old not in _BACK:
            word = ""
        if word:
            signs.directions[onset].append(("above", f"<words>{word}</words>"))
        before = technique


def _divisi(part: Part, arrangement: Arrangement, signs: Signs) -> None:
    """``div.`` where a section begins to have several notes at once, ``unis.`` at the first whole bar without.

    Chords that an accent asks for in multiple stops are not divided.
    """
    if part.player.count < 2:
        return
    struck = [row for row, step in enumerate(arrangement.steps) if step.verb == "stress"]
    notes = part.notes[~np.isin(part.notes["cause"], struck) & (part.notes["duration"] > 0)]
    busy = np.maximum.accumulate(notes["onset"] + notes["duration"]) if len(notes) else notes["onset"]
    several = np.zeros(len(notes), dtype=bool)
    several[1:] = busy[:-1] > notes["onset"][1:]
    divided = False
    for bar in np.unique(notes["bar"]).tolist():
        here = notes["bar"] == bar
        now = bool(several[here].any())
        if now != divided:
            rows = here & several if now else here
            onset = int(notes["onset"][rows].min())
            signs.directions[onset].append(("above", f"<words>{'div.' if now else 'unis.'}</words>"))
            divided = now


def _hairpins(part: Part, score: Score, signs: Signs) -> None:
    """Hairpins of the piano where the part plays at the piano's level, and those of steps."""
    notes = part.notes
    wanted = [(mark, True) for mark in score.marks_of("hairpin")]
    wanted += [(mark, False) for mark in part.marks if mark.kind == "hairpin"]
    done: set[tuple[int, int]] = set()
    for mark, piano in wanted:
        inside = (notes["onset"] < mark.end) & (notes["onset"] + notes["duration"] > mark.onset)
        if piano:
            inside &= notes["dynamic"] < 0
        if mark.end <= mark.onset or not inside.any() or (mark.onset, mark.end) in done:
            continue
        done.add((mark.onset, mark.end))
        number = 1 + len(done) % 6
        kind = "crescendo" if mark.value == "cresc" else "diminuendo"
        signs.directions[mark.onset].append(("below", f'<wedge type="{kind}" number="{number}"/>'))
        signs.directions[mark.end].insert(0, ("below", f'<wedge type="stop" number="{number}"/>'))


def _texts(part: Part, score: Score, signs: Signs) -> None:
    """Words of the piano at notes the part has from it, and words of steps."""
    from_piano = set(part.notes["onset"][part.notes["source"] >= 0].tolist())
    tempo = {mark.onset for mark in score.marks_of("tempo")}
    said: set[tuple[int, str]] = set()
    for mark in score.marks_of("text"):
        if mark.onset in from_piano and mark.onset not in tempo and (mark.onset, mark.value) not in said:
            said.add((mark.onset, mark.value))
            signs.directions[mark.onset].append(("above", _words(mark.value, 'font-style="italic"')))
    for mark in part.marks:
        if mark.kind == "text":
            signs.directions[mark.onset].append(("above", _words(mark.value, 'font-style="italic"')))


def _words(text: str, style: str) -> str:
    """Words as XML."""
    return f"<words {style}>{plain(text)}</words>"


def _slurs(notes: Rows, score: Score, signs: Signs) -> None:
    """Slurs of the piano over the notes the part has of them; a part of a slur is still one breath or bow."""
    rows_of: dict[int, list[int]] = defaultdict(list)
    for row, source in enumerate(notes["source"].tolist()):
        rows_of[source].append(row)
    lines: dict[tuple[int, int, int], list[int]] = defaultdict(list)
    for row, source in enumerate(notes["source"].tolist()):
        if source >= 0:
            piano = score.notes[source]
            lines[int(piano["part"]), int(piano["staff"]), int(piano["voice"])].append(row)
    open_until: dict[int, int] = {}
    for mark in score.marks_of("slur"):
        ends = [score.notes[one] for one in mark.notes if 0 <= one < len(score.notes)]
        if len(ends) < 2:
            continue
        first, last = min(ends, key=lambda one: one["onset"]), max(ends, key=lambda one: one["onset"])
        line = lines[int(first["part"]), int(first["staff"]), int(first["voice"])]
        under = [row for row in line if first["onset"] <= notes["onset"][row] <= last["onset"]]
        under += rows_of.get(int(last["id"]), [])
        start, stop = min(under, key=_by(notes), default=-1), max(under, key=_by(notes), default=-1)
        if start < 0 or notes["onset"][start] == notes["onset"][stop]:
            continue
        number = next((n for n in range(1, 7) if open_until.get(n, -1) < int(notes["onset"][start])), 0)
        if number:
            open_until[number] = int(notes["onset"][stop])
            signs.slurs[start].append(("start", number))
            signs.slurs[stop].append(("stop", number))


def _by(notes: Rows):  # type: ignore[no-untyped-def]
    """Key that sorts rows by onset, real notes after grace notes."""
    return lambda row: (int(notes["onset"][row]), int(notes["duration"][row] > 0))


def articulations(flags: int, technique: str, *, first: bool, last: bool, beams: int = 0) -> str:
    """Return the XML of what stands in ``<notations>`` at a note.

    Parameters
    ----------
    flags : int
        Bits of Flag.
    technique : str
        Way of playing.
    first, last : bool
        Whether this is the first, the last written value of the note.
    beams : int
        Flags or beams of its value.
    """
    found = []
    ornaments = [f"<{name}/>" for flag, name in _ORNAMENTS if first and flags & int(flag)]
    if technique in ("tremolo", "roll") or flags & int(Flag.TREMOLO):
        ornaments.append(f'<tremolo type="single">{max(1, 3 - beams)}</tremolo>')  # beams count among the strokes
    if ornaments:
        found.append(f"<ornaments>{''.join(ornaments)}</ornaments>")
    if technique in _NOTE_TECHNIQUES and first:
        found.append(f"<technical>{_NOTE_TECHNIQUES[technique]}</technical>")
    signs = [f"<{name}/>" for flag, name in _ARTICULATIONS if first and flags & int(flag)]
    if signs:
        found.append(f"<articulations>{''.join(signs)}</articulations>")
    if last and flags & int(Flag.FERMATA):
        found.append('<fermata type="upright"/>')
    if first and flags & int(Flag.ARPEGGIO | Flag.ARPEGGIO_DOWN):
        found.append('<arpeggiate direction="down"/>' if flags & int(Flag.ARPEGGIO_DOWN) else "<arpeggiate/>")
    return "".join(found)


def global_signs(score: Score) -> dict[int, list[tuple[str, str]]]:
    """Return the signs that stand once above the score: tempo, rehearsal letters, jumps; tick to (placement, XML)."""
    found: dict[int, list[tuple[str, str]]] = defaultdict(list)
    words: dict[int, Mark] = {mark.onset: mark for mark in score.marks_of("text")}
    for mark in score.marks_of("tempo"):
        if mark.onset in words:
            found[mark.onset].append(("above", _words(words[mark.onset].value, 'font-weight="bold"')))
        metronome = _metronome(mark.value)
        if metronome:
            found[mark.onset].append(("above", metronome))
    for mark in score.marks_of("rehearsal"):
        found[mark.onset].append(("above", f"<rehearsal>{plain(mark.value)}</rehearsal>"))
    for mark in score.marks_of("jump"):
        found[mark.onset].append(("above", _words(mark.value, 'font-style="italic"')))
    return found


def _metronome(value: str) -> str:
    """Metronome mark from quarters a minute."""
    try:
        rate = float(value)
    except ValueError:
        return ""
    return f"<metronome><beat-unit>quarter</beat-unit><per-minute>{rate:g}</per-minute></metronome>" if rate > 0 else ""


QUARTER = TICKS_PER_QUARTER
