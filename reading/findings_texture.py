"""Findings about texture: gaps, octaves, layers of one hand, full chords, figures, where the melody lies."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reading.features import beat_ticks
from reading.figuration import InstrumentFacts, playable
from reading.figuration_stretches import figure_words, stretches
from reading.findings import FIRST_RANK, Draft
from reading.findings_facts import counted, distance, runs
from reading.layers import Role
from reading.register import compass_words, note_name
from reading.score import DYNAMICS

if TYPE_CHECKING:
    from reading.figuration_stretches import Stretch
    from reading.findings_facts import Facts
    from reading.layers_texture import BoolArray, FloatArray

__all__ = [
    "bass_octave_findings",
    "chord_findings",
    "counterpoint_findings",
    "figure_findings",
    "gap_findings",
    "layer_findings",
    "low_melody_findings",
    "octave_findings",
    "pedal_point_findings",
]

_INSTRUMENTS = (  # sounding ranges of common textbooks and usual speeds, from memory
    InstrumentFacts("violas", 48, 88, 9.0, 15, 2),
    InstrumentFacts("cellos", 36, 81, 8.0, 15, 2),
    InstrumentFacts("clarinet", 50, 94, 9.0, 14, 1),
    InstrumentFacts("bassoon", 34, 75, 8.0, 16, 1),
)
_LOUD = DYNAMICS.index("f")
_PIANISTIC = ("broken", "oom-pah")  # one hand alone makes bass and harmony of them
_WAYS = {
    "broken": ("held and pulse", "repeated", "shared", "tremolo"),
    "repeated": ("repeated", "held and pulse", "tremolo"),
    "oom-pah": ("pizzicato", "natural", "held"),
    "octaves": ("natural", "pizzicato", "held"),
}


def gap_findings(facts: Facts) -> list[Draft]:
    """Passages where the hands lie wide apart for this piece."""
    drafts = []
    for region in facts.gap_regions:
        bars = region.last_bar - region.first_bar + 1
        wide = region.median - region.habit
        evidence = (
            f"{distance(round(region.median))} empty inside the texture (median), at most {distance(region.widest)}",
            f"usual in this piece: {distance(round(region.habit))}",
        )
        strength = min(0.95, 0.15 + 0.025 * wide + 0.08 * min(bars, 4))
        offers = facts.offers(region.first_bar, region.last_bar).gap()
        question = "Is the middle filled, or is the emptiness wanted?"
        drafts.append(Draft("gap", region.first_bar, region.last_bar, strength, evidence, question, offers))
    return drafts


def octave_findings(facts: Facts) -> list[Draft]:
    """Bars in which everything struck is one note in octaves."""
    bar, count, classes = facts.chords
    bare = facts.share_by_bar(((classes == 1) & (count >= 2)).astype(float), bar)
    sole = facts.share_by_bar((classes == 1).astype(float), bar)
    struck = np.bincount(bar, minlength=len(bare) + 1)[1:]
    drafts = []
    for first, last in runs(np.flatnonzero((bare >= 0.75) & (sole >= 0.9) & (struck >= 2)) + 1):
        inside = (bar >= first) & (bar <= last)
        many = int(np.median(count[inside]))
        evidence = (f"{int(inside.sum())} attacks, each one note in {many} octaves, no harmony",)
        strength = min(0.95, 0.45 + 0.1 * (last - first + 1) + 0.05 * (many - 2))
        question = "How many octaves, and who joins them?"
        drafts.append(
            Draft("bare octaves", first, last, strength, evidence, question, facts.offers(first, last).octaves())
        )
    return drafts


def chord_findings(facts: Facts) -> list[Draft]:
    """Loud passages of full chords struck by both hands together."""
    bar, count, classes = facts.chords
    full = facts.share_by_bar(((count >= 5) & (classes >= 3)).astype(float), bar)
    mean = facts.share_by_bar(count.astype(float), bar)
    loud = facts.degrees >= _LOUD
    drafts = []
    for first, last in runs(np.flatnonzero((full >= 0.6) & loud) + 1):
        notes = float(mean[first - 1 : last].mean())
        level = int(facts.degrees[first - 1 : last].max())
        ending = last == len(facts.score.bars)
        evidence = (
            f"{round(notes, 1):g} notes in each attack, {DYNAMICS[level]}",
            *(("the piece ends with them",) if ending else ()),
        )
        strength = 0.1 + 0.06 * notes + 0.08 * min(4, last - first + 1) + 0.05 * (level - _LOUD) + 0.1 * ending
        question = "Tutti or one choir: who fills the chords, who has the top?"
        offers = facts.offers(first, last).chords()
        drafts.append(Draft("full chords", first, last, min(0.95, strength), evidence, question, offers))
    return drafts


def layer_findings(facts: Facts) -> list[Draft]:
    """Bars in which the left hand holds a bass and moves above it."""
    rows = [row for row in facts.figuration.rows if row.staff == 2]
    layered = [row.bar_index for row in rows if row.held in ("bass", "top") and row.per_beat >= 0.75]
    drafts = []
    for first, last in runs(layered):
        inside = [row for row in rows if first <= row.bar_index <= last]
        place = inside[0].held
        words = f"a {'bass' if place == 'bass' else 'note above'} is held, the rest moves: {inside[0].figure}"
        evidence = (f"{words} in {inside[0].rhythm} notes, {counted(last - first + 1)}",)
        bars = facts.score.notes["bar"]
        counter = (bars >= first) & (bars <= last) & (facts.layers.roles == int(Role.COUNTER))
        line = "counter-melody" if counter.any() else "middle"
        strength = min(0.9, 0.4 + 0.1 * (last - first + 1))
        question = "Do the two layers of the left hand go to different players?"
        offers = facts.offers(first, last).layers(line)
        drafts.append(Draft("two layers in the left hand", first, last, strength, evidence, question, offers))
    return drafts


def bass_octave_findings(facts: Facts) -> list[Draft]:
    """Single bars or two in which a bass that runs in octaves loses its lower octave."""
    doubled, present = _bass_doubled(facts)
    drafts = []
    bars = np.flatnonzero(present & (doubled < 0.25)) + 1
    for first, last in runs(bars):
        around = [bar for bar in (first - 2, first - 1, last + 1) if 1 <= bar <= len(doubled)]
        near = [float(doubled[bar - 1]) for bar in around if present[bar - 1]]
        if last - first > 1 or len(near) < 3 or min(near) < 0.5:
            continue
        evidence = (f"the bass has its lower octave in the bars around ({min(near):.0%} of its notes), not here",)
        question = "Do the double basses rest with the missing octave?"
        offers = facts.offers(first, last).bass_octave()
        drafts.append(Draft("bass without its octave", first, last, 0.7, evidence, question, offers))
    return drafts


def _bass_doubled(facts: Facts) -> tuple[FloatArray, BoolArray]:
    """By bar: share of bass attacks with another left-hand note an octave above or below; whether there is a bass."""
    texture = facts.texture
    roles = facts.layers.roles[texture.ids]
    bass = np.flatnonzero((roles == int(Role.BASS)) & (texture.staff == texture.low))
    struck = set(zip(texture.onset.tolist(), texture.pitch.tolist(), texture.staff.tolist(), strict=True))
    low = texture.low
    octave = [
        any((onset, pitch + apart, low) in struck for apart in (12, -12))
        for onset, pitch in zip(texture.onset[bass].tolist(), texture.pitch[bass].tolist(), strict=True)
    ]
    share = facts.share_by_bar(np.asarray(octave, dtype=float), texture.bar[bass])
    present = np.bincount(texture.bar[bass], minlength=len(share) + 1)[1:] > 0
    return share, present


def counterpoint_findings(facts: Facts) -> list[Draft]:
    """Bars in which lines imitate each other, so that nobody can say which one is the melody; dialogues are none."""
    drafts = []
    talking = {bar for one in facts.dialogues for bar in range(one.first_bar, one.last_bar + 1)}
    for first, last in runs(list(facts.layers.contrapuntal), bridge=2):
        if 2 * len(talking.intersection(range(first, last + 1))) > last - first + 1:
            continue  # the lines take turns: one rests while the other speaks
        evidence = ("one line takes up another's pattern while that one goes on", "which one is the melody is a guess")
        strength = min(0.8, 0.45 + 0.07 * (last - first + 1))
        question = "Which colour has each line, so that the ear can follow it?"
        offers = facts.offers(first, last).counterpoint()
        drafts.append(Draft("counterpoint", first, last, strength, evidence, question, offers))
    return drafts


def pedal_point_findings(facts: Facts) -> list[Draft]:
    """Bars in which an inner note stays while the harmony changes."""
    score, roles = facts.score, facts.layers.roles
    drafts = []
    for first, last in runs(np.unique(score.notes["bar"][roles == int(Role.PEDAL_POINT)])):
        mine = (roles == int(Role.PEDAL_POINT)) & (score.notes["bar"] >= first) & (score.notes["bar"] <= last)
        names = ", ".join(note_name(score, int(pitch), first, last) for pitch in np.unique(score.notes["pitch"][mine]))
        evidence = (f"{names} held through {counted(last - first + 1)} while the harmony changes",)
        strength = min(0.7, 0.4 + 0.04 * (last - first + 1))
        offers = facts.offers(first, last).inner_pedal_point()
        question = "Who holds the note that stays?"
        drafts.append(Draft("pedal point", first, last, strength, evidence, question, offers))
    return drafts


def low_melody_findings(facts: Facts) -> list[Draft]:
    """Passages whose melody lies in the lowest staff while the upper staff plays too."""
    texture = facts.texture
    if texture.staves < 2:
        return []  # a tune alone has no left hand
    tune = facts.layers.roles[texture.ids] == int(Role.MELODY)
    low = facts.share_by_bar((texture.staff[tune] == texture.low).astype(float), texture.bar[tune])
    drafts = []
    for first, last in runs(np.flatnonzero(low >= 0.6) + 1):
        mine = tune & (texture.staff == texture.low) & (texture.bar >= first) & (texture.bar <= last)
        if last == first and mine.sum() < 4:
            continue
        sure = float(facts.layers.confidence[texture.ids[mine]].mean())
        compass = compass_words(facts.score, texture.pitch[mine].tolist(), first, last)
        evidence = (f"{int(mine.sum())} melody notes in the left hand, {compass}", f"confidence {sure:.2f}")
        strength = min(0.85, (0.35 + 0.08 * (last - first + 1)) * (0.5 + 0.5 * sure))
        question = "Which low voice sings here, and what keeps out of its way?"
        offers = facts.offers(first, last).low_melody()
        drafts.append(Draft("melody in the left hand", first, last, strength, evidence, question, offers))
    return drafts


def figure_findings(facts: Facts) -> list[Draft]:
    """Passages of one kind of left-hand motion that is the piano's own; broken chords to and fro are broken chords.

    The first accompaniment of the piece is asked first where it is the piano's own: it tells how the piece is scored.
    """
    found = stretches(row for row in facts.figuration.rows if row.staff == 2)
    return [_figure_draft(facts, one, opening=one is found[0] and one.kind in _PIANISTIC) for one in found]


def _figure_draft(facts: Facts, stretch: Stretch, *, opening: bool) -> Draft:
    """One passage of one figure."""
    first, last, rows = stretch.first, stretch.last, stretch.rows
    bars = f"{len(rows)} of " * (len(rows) < last - first + 1) + counted(last - first + 1)
    speed = float(np.median([row.per_beat for row in rows]))
    low, high = min(row.low for row in rows), max(row.high for row in rows)
    evidence = (
        f"{figure_words(stretch)}, {bars}",
        f"compass {compass_words(facts.score, (low, high), first, last)}",
        _who_plays_it(facts, stretch),
    )
    wide, leaps = max(row.high - row.low for row in rows) > 19, max(row.leap for row in rows) > 12
    hard = stretch.kind == "broken" and (wide or (leaps and speed >= 3))
    own = 0.25 if stretch.kind in ("broken", "repeated") else 0.2
    strength = min(0.9, own + 0.06 * min(len(rows), 6) + 0.06 * min(speed, 4) + 0.1 * hard)
    if opening:
        strength = max(strength, FIRST_RANK)
    question = "Which orchestral figure keeps this motion?"
    offers = facts.offers(first, last).figure(_WAYS[stretch.kind])
    return Draft("figuration", first, last, strength, evidence, question, offers)


def _who_plays_it(facts: Facts, stretch: Stretch) -> str:
    """Say which instruments could play the figure as written; where none could, what hinders the nearest."""
    beats = beat_ticks(facts.score)
    able, hindered = [], []
    for instrument in _INSTRUMENTS:
        reasons: list[str] = []
        for row in stretch.rows:
            start = int(facts.score.bars["onset"][row.bar_index - 1])
            beat_s = facts.timeline.seconds(start + int(beats[row.bar_index - 1])) - facts.timeline.seconds(start)
            reasons += playable(row, instrument, beat_s=beat_s)[1]
        if reasons:
            hindered.append((len(reasons), f"{instrument.name}: {reasons[0]}"))
        else:
            able.append(instrument.name)
    if able:
        return f"as written it could go to {' or '.join(able)}"
    return f"nobody plays it as written; nearest, {min(hindered, key=lambda one: one[0])[1]}"
