"""Layers: a role for every note, with its confidence and the evidence.

The tune is the best path through six simple lines (top, bottom and longest notes of each hand), scored bar by bar and
joined with costs for changing; runs of lone left-hand notes that answer a resting right hand are added. Octave
doublings, the bass and the middle follow from it. No trained model is used at run time. ``docs/survey.md`` explains the
method and says how well it does against human annotations.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import IntEnum
from typing import TYPE_CHECKING, Any

import numpy as np

from base.errors import Problem, SpecError, nearest
from reading.features_whole import whole_bars
from reading.layers_bass import bass_rows
from reading.layers_evidence import Evidence, evidence_of, more_evidence
from reading.layers_idle import drummed_bars, nobody_leads
from reading.layers_inner import contrapuntal_bars, counter_rows, pedal_point_rows
from reading.layers_lines import lines_of
from reading.layers_path import best_path, change_costs, posterior
from reading.layers_phrases import finish_phrases
from reading.layers_roles import doubling_rows, hand_overs
from reading.layers_scores import scores_of
from reading.layers_texture import staff_rows, texture_of
from reading.layers_themes import taken_up
from reading.score import Flag

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from reading.features_whole import WholeBars
    from reading.layers_lines import Line
    from reading.layers_roles import HandOver
    from reading.layers_texture import BoolArray, FloatArray, IntArray, Texture
    from reading.score import Score

__all__ = ["LAYER_NAMES", "Evidence", "Layers", "Role", "find_layers", "overruled", "select"]


class Role(IntEnum):
    """What a note is in the texture."""

    MELODY = 0
    BASS = 1
    MIDDLE = 2
    DOUBLING = 3
    PEDAL_POINT = 4
    COUNTER = 5


_ROLE_OF = {
    "melody": Role.MELODY,
    "bass": Role.BASS,
    "middle": Role.MIDDLE,
    "doubling": Role.DOUBLING,
    "pedal point": Role.PEDAL_POINT,
    "counter-melody": Role.COUNTER,
}

LAYER_NAMES = (*_ROLE_OF, "accompaniment", "all", "upper staff", "lower staff")
"""The layers a spec may name: the roles and their sums."""


@dataclass(frozen=True, eq=False)
class Layers:
    """A role for every note.

    Attributes
    ----------
    roles : ndarray of int8, shape (notes,), read-only
        ``Role`` by note id.
    confidence : ndarray of float32, shape (notes,), read-only
        0 to 1 by note id; below 0.8 means "please check".
    evidence : tuple of Evidence
        By rising first bar.
    contrapuntal : tuple of int
        Bar indices in which several lines have equal rights, so that naming one the melody is a guess.
    staff : ndarray of int64, shape (notes,), read-only
        Staff counted over all parts from the top (0 = uppermost), by note id.
    """

    roles: np.ndarray[Any, np.dtype[np.int8]]
    confidence: np.ndarray[Any, np.dtype[np.float32]]
    evidence: tuple[Evidence, ...]
    contrapuntal: tuple[int, ...]
    staff: IntArray

    def __post_init__(self) -> None:
        for array in (self.roles, self.confidence, self.staff):
            array.setflags(write=False)


def find_layers(score: Score) -> Layers:
    """Give every note of *score* a role.

    Parameters
    ----------
    score : Score
        Any number of parts; their staves are taken from the top downwards and the lowest is the left hand.

    Returns
    -------
    Layers
    """
    page = whole_bars(score)
    found = _layers(page.score)
    if not page.divided:
        return found
    evidence = tuple(_on_page(page, one) for one in found.evidence)
    inside = np.isin(page.row, found.contrapuntal)
    return replace(found, evidence=evidence, contrapuntal=tuple((np.flatnonzero(inside) + 1).tolist()))


def _on_page(page: WholeBars, said: Evidence) -> Evidence:
    """A sentence about whole bars, with the bars of the page."""
    first, last = page.on_page(said.first_bar, said.last_bar)
    return replace(said, first_bar=first, last_bar=last)


def _layers(score: Score) -> Layers:
    """The layers of a score without divided bars."""
    roles = np.full(len(score.notes), int(Role.MIDDLE), dtype=np.int8)
    confidence = np.zeros(len(score.notes), dtype=np.float32)
    texture, staff = texture_of(score), staff_rows(score)
    if not len(texture.onset) or not texture.bars:
        return Layers(roles, confidence, (), (), staff)
    lines = lines_of(texture)
    drummed = drummed_bars(texture, lines)
    judged = scores_of(texture, lines, drummed)
    choices, costs = np.column_stack([judged[0], nobody_leads(texture, lines, drummed)]), change_costs(lines)
    choices += taken_up(texture, lines, best_path(choices, costs), drummed)
    path, chance = best_path(choices, costs), posterior(choices, costs)
    answers, figure = hand_overs(texture)
    melody, sure = _melody(texture, lines, path, chance, answers, figure)
    doubling = doubling_rows(texture, melody)
    bass = bass_rows(texture, melody | doubling)
    free = ~(melody | doubling | bass)
    pedal = pedal_point_rows(texture, free)
    counter = counter_rows(texture, melody, free & ~pedal)
    found = np.full(len(texture.onset), int(Role.MIDDLE), dtype=np.int8)
    masks = (melody, doubling, bass, pedal, counter)
    for mask, role in zip(masks, (Role.MELODY, Role.DOUBLING, Role.BASS, Role.PEDAL_POINT, Role.COUNTER), strict=True):
        found[mask] = role
    roles[texture.ids], confidence[texture.ids] = found, sure
    _follow_main_notes(score, roles, confidence)
    contrapuntal = contrapuntal_bars(texture, lines)
    said = evidence_of(texture, lines, path, judged) + more_evidence(texture, answers, doubling, contrapuntal)
    said.sort(key=lambda one: (one.first_bar, one.last_bar))
    return Layers(roles, confidence, tuple(said), contrapuntal, staff)


def _melody(
    texture: Texture,
    lines: list[Line],
    path: IntArray,
    chance: FloatArray,
    answers: list[HandOver],
    figure: BoolArray,
) -> tuple[BoolArray, np.ndarray[Any, np.dtype[np.float32]]]:
    """Mark the chosen line of each bar and the hand-overs as tune; say how sure every note's own role is."""
    melody = np.zeros(len(texture.onset), dtype=bool)
    in_tune = np.zeros(len(texture.onset))
    for column, line in enumerate(lines):
        bar = texture.bar[line.rows] - 1
        melody[line.rows[path[bar] == column]] = True
        in_tune[line.rows] += chance[bar, column]
    finish_phrases(texture, lines, path, melody)
    melody &= ~figure
    in_tune = np.minimum(in_tune, 1.0)
    for answer in answers:
        melody[answer.rows] = True
        in_tune[answer.rows] = np.maximum(in_tune[answer.rows], answer.sure)
    return melody, np.where(melody, in_tune, 1.0 - in_tune).astype(np.float32)


def _follow_main_notes(score: Score, roles: IntArray | Any, confidence: Any) -> None:
    """Give a grace note the role of its main note: the next of its staff and voice, or the last for an after-beat.

    A cue note gets the role of the next note on its staff: it usually has a voice number of its own.
    """
    notes = score.notes
    silent = notes["flags"] & int(Flag.CUE) != 0
    small = np.flatnonzero((notes["flags"] & int(Flag.GRACE) != 0) | silent)
    real = np.flatnonzero((notes["duration"] > 0) & ~silent)
    if not len(small) or not len(real):
        return
    staff = staff_rows(score)
    for row in small.tolist():
        mates = real[(staff[real] == staff[row]) & (silent[row] | (notes["voice"][real] == notes["voice"][row]))]
        if not len(mates):
            continue
        place = int(np.searchsorted(notes["onset"][mates], notes["onset"][row], side="left"))
        main = mates[min(max(place - bool(notes["flags"][row] & int(Flag.GRACE_AFTER)), 0), len(mates) - 1)]
        same = mates[notes["onset"][mates] == notes["onset"][main]]
        best = same[np.argmin(np.abs(notes["pitch"][same].astype(int) - int(notes["pitch"][row])))]
        roles[row], confidence[row] = roles[best], confidence[best]


def select(layers: Layers, score: Score, name: str) -> BoolArray:
    """Return which notes belong to a layer.

    Parameters
    ----------
    layers : Layers
    score : Score
    name : str
        One of :data:`LAYER_NAMES`.

    Returns
    -------
    ndarray of bool, shape (notes,)
        By note id.

    Raises
    ------
    SpecError
        If there is no layer of that name.
    """
    if name in _ROLE_OF:
        return np.asarray(layers.roles == int(_ROLE_OF[name]))
    lowest = int(layers.staff.max(initial=0))
    masks = {
        "accompaniment": (layers.roles != int(Role.MELODY)) & (layers.roles != int(Role.BASS)),
        "all": np.ones(len(score.notes), dtype=bool),
        "upper staff": layers.staff < max(lowest, 1),
        "lower staff": layers.staff == max(lowest, 1),
    }
    if name not in masks:
        raise SpecError([Problem(f"there is no layer '{name}'.", hint=nearest(name, LAYER_NAMES))])
    return np.asarray(masks[name])


def overruled(layers: Layers, score: Score, overrules: Iterable[Mapping[str, Any]]) -> Layers:
    """Return *layers* with the roles the spec's ``layers:`` entries ask for.

    Parameters
    ----------
    layers : Layers
    score : Score
    overrules : iterable of mapping
        Each has ``bars`` (``"5-6"``, or pairs of first and last bar index) and ``role``; it may have ``part`` (from
        1), ``staff`` (1 = upper, within its part), ``voice``, ``notes`` (``top``, ``bottom``, ``all`` of each attack).

    Returns
    -------
    Layers
        Notes named have confidence 1.

    Raises
    ------
    SpecError
        If a role is not known.
    """
    roles, confidence = layers.roles.copy(), layers.confidence.copy()
    said = list(layers.evidence)
    for rule in overrules:
        name = str(rule["role"])
        if name not in _ROLE_OF:
            raise SpecError([Problem(f"there is no role '{name}'.", hint=nearest(name, _ROLE_OF))])
        spans = _spans(score, rule["bars"])
        chosen = _rows_of_rule(score, rule, spans)
        roles[chosen], confidence[chosen] = int(_ROLE_OF[name]), 1.0
        said.extend(Evidence(a, b, f"{name}: {len(chosen)} notes, as the spec says") for a, b in spans[:1])
    said.sort(key=lambda one: one.first_bar)
    return replace(layers, roles=roles, confidence=confidence, evidence=tuple(said))


def _spans(score: Score, bars: Any) -> list[tuple[int, int]]:
    """Bar indices of a rule's bars."""
    if isinstance(bars, str | int):
        from reading.barwords import bars_named

        return [(int(a), int(b)) for a, b in bars_named(score, str(bars))]
    pairs = [bars] if isinstance(bars[0], int) else list(bars)
    return [(int(a), int(b)) for a, b in pairs]


def _rows_of_rule(score: Score, rule: Mapping[str, Any], spans: list[tuple[int, int]]) -> IntArray:
    """Ids of the notes a rule speaks of."""
    notes = score.notes
    mask = np.zeros(len(notes), dtype=bool)
    for first, last in spans:
        mask |= (notes["bar"] >= first) & (notes["bar"] <= last)
    for key, shift in (("staff", 0), ("voice", 0), ("part", -1)):
        if rule.get(key) is not None:
            mask &= notes[key] == int(rule[key]) + shift
    rows = np.flatnonzero(mask)
    which = rule.get("notes") or "all"
    if which == "all" or not len(rows):
        return rows
    order = rows[np.lexsort((notes["pitch"][rows], notes["onset"][rows]))]
    starts = np.flatnonzero(np.diff(notes["onset"][order], prepend=-1))
    return np.asarray(order[starts] if which == "bottom" else order[np.append(starts[1:], len(order)) - 1])
