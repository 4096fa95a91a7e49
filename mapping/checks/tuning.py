"""Timpani that must be retuned, harp pedals, hands of keyboard players and harpists."""

from __future__ import annotations

from typing import TYPE_CHECKING

from mapping.checks.report import Check, Fault, gathered
from reading.register import note_name

if TYPE_CHECKING:
    from collections.abc import Iterator

    from mapping.checks.lines import Hearing, Line
    from mapping.instruments import Drums

__all__ = ["checks"]


def checks(hearing: Hearing) -> Iterator[Check]:
    """Yield the remarks about tuning, pedals and hands."""
    for line in hearing.lines:
        item = line.player.instrument
        if item.drums:
            yield from _timpani(hearing, line, item.drums)
        if item.pedal_s is not None:
            yield from _pedals(hearing, line, item.pedal_s)
        if item.hand_span is not None:
            yield from _hands(hearing, line, item.hand_span)


def _timpani(hearing: Hearing, line: Line, drums: Drums) -> Iterator[Check]:
    """Notes for which no drum is tuned and none can be retuned in time."""
    tuned: dict[int, float] = {}  # pitch of each drum, and when it was last struck
    faults, name = [], line.player.name
    for rows in line.attacks:
        now, end = float(line.onset_s[rows[0]]), float(line.end_s[rows].max())
        for pitch in line.pitch[rows].tolist():
            if pitch not in tuned and len(tuned) >= drums.usual:
                idle = min(tuned, key=lambda one: tuned[one])
                left = now - tuned.pop(idle)
                if left < drums.tuning_s:
                    bar = int(line.notes["bar"][rows[0]])
                    new, old = (note_name(hearing.score, one, bar, bar) for one in (pitch, idle))
                    message = (
                        f"{new} needs a drum retuned from {old} in {max(left, 0):.0f} s;"
                        f" allow {drums.tuning_s:.0f} s with {drums.usual} drums"
                    )
                    faults.append(Fault(int(line.onset[rows[0]]), message, int(rows[0])))
            tuned[pitch] = end
    step = lambda bars: {"rest": [name], "bars": bars}  # noqa: E731 - a remedy per stretch
    yield from gathered(hearing.score, faults, name, "advice", "tuning", step)


def _pedals(hearing: Hearing, line: Line, pedal_s: float) -> Iterator[Check]:
    """Pedal changes of the harp: two accidentals of one letter at once, more changes than there is time for."""
    state: dict[int, int] = {}
    crossed, quick, last = [], [], 0.0
    for rows in line.attacks:
        tick, now = int(line.onset[rows[0]]), float(line.onset_s[rows[0]])
        wanted: dict[int, int] = {}
        for row in rows.tolist():
            step, alter = int(line.notes["step"][row]), int(line.notes["alter"][row])
            if wanted.setdefault(step, alter) != alter:
                crossed.append(
                    Fault(tick, f"{'CDEFGAB'[step]} is wanted with two accidentals at once: one pedal, one string")
                )
        changes = [step for step, alter in wanted.items() if state.get(step, alter) != alter]
        if changes and now - last < pedal_s * len(changes):
            letters = ", ".join("CDEFGAB"[step] for step in sorted(changes))
            quick.append(Fault(tick, f"pedals to change ({letters}) within {now - last:.1f} s"))
        state.update(wanted)
        last = now
    words = "spell it enharmonically, or give the chromatic notes to another player"
    yield from gathered(hearing.score, crossed, line.player.name, "error", "pedal", words)
    yield from gathered(hearing.score, quick, line.player.name, "advice", "pedal", words)


def _hands(hearing: Hearing, line: Line, reach: int) -> Iterator[Check]:
    """Chords two hands cannot take."""
    faults = []
    for rows in line.attacks:
        pitches = line.pitch[rows]
        upper = pitches[pitches > pitches[0] + reach]
        if len(upper) and int(upper[-1] - upper[0]) > reach:
            faults.append(Fault(int(line.onset[rows[0]]), f"a chord two hands cannot span ({reach} semitones each)"))
    yield from gathered(
        hearing.score, faults, line.player.name, "advice", "hands", "break the chord, or leave an inner note out"
    )
