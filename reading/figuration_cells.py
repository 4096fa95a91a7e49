"""Name the figure one hand plays in one bar: an ordered list of tests, each of which may claim the bar.

Order matters: the narrow figures are asked first (tremolo, repeated notes, bass and chord), the wide ones last.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from reading.features import Ints
    from reading.figuration_strokes import Strokes

__all__ = ["FAMILIES", "name_figure"]

FAMILIES = (
    "rest",
    "held",
    "block",
    "repeated",
    "broken",
    "oom-pah",
    "oscillation",
    "octaves",
    "scale",
    "line",
    "mixed",
)
HAND_SPAN = 14
"""Semitones one hand takes without leaping: a broken chord within it, an arpeggio beyond."""
NEAR_BEAT = 0.02
BLUR_BEATS = 1 / 6
"""Alternations this close are a tremolo; slower ones can be counted."""
Name = tuple[str, str]


def name_figure(strokes: Strokes) -> Name:
    """Return family and finer class of the figure.

    Parameters
    ----------
    strokes : Strokes
        At least one attack.

    Returns
    -------
    tuple of str
        A member of ``FAMILIES`` and a finer name (``Alberti``, ``wide arpeggio`` ...).
    """
    for test in _TESTS:
        name = test(strokes)
        if name is not None:
            return name
    return "mixed", "mixed"


def _single(strokes: Strokes) -> Name | None:
    """One attack: held when it lasts half the bar, otherwise a lone chord or note."""
    if len(strokes.pitches) > 1:
        return None
    size = int(strokes.size[0])
    if strokes.length[0] >= 0.5 * strokes.bar_beats - NEAR_BEAT:
        return "held", "held chord" if size > 1 else "held note"
    return ("block", "single chord") if size > 1 else ("line", "single note")


def _repeated(strokes: Strokes) -> Name | None:
    """Say whether the same note or chord comes again and again."""
    if len(strokes.pitches) < 3 or _same(strokes, 1) < 0.66:
        return None
    on_beat = np.abs(strokes.place - np.round(strokes.place)) < NEAR_BEAT
    what = "chords" if np.median(strokes.size) > 1 else "notes"
    if np.median(strokes.size) == 2 and all(p[-1] - p[0] == 12 for p in strokes.pitches):
        what = "octaves"
    return "repeated", f"after-beat {what}" if not on_beat.any() else f"repeated {what}"


def _off_beats(strokes: Strokes) -> Name | None:
    """Say whether every attack falls after the beat."""
    on_beat = np.abs(strokes.place - np.round(strokes.place)) < NEAR_BEAT
    if len(strokes.pitches) < 2 or on_beat.any() or strokes.chords < 0.75:
        return None
    return "repeated", "after-beat chords"


def _after_beats_in_three(strokes: Strokes) -> Name | None:
    """Say whether chords fill the weak beats while the first is left to the bass."""
    if len(strokes.pitches) < 2 or strokes.place[0] < 1 - NEAR_BEAT or strokes.chords < 0.75:
        return None
    return ("repeated", "after-beat chords") if _same(strokes, 1) >= 0.5 and strokes.bar_beats <= 4 else None


def _alternates(strokes: Strokes) -> bool:
    """Say whether two sonorities alternate."""
    return len(strokes.pitches) >= 4 and _same(strokes, 2) >= 0.75 and _same(strokes, 1) < 0.3


def _tremolo(strokes: Strokes) -> Name | None:
    """Say whether two sonorities alternate four times a beat or faster, and so fast that they blur."""
    usual = strokes.usual_wait
    if not _alternates(strokes) or len(strokes.pitches) < 8 or usual > 0.25 + NEAR_BEAT:
        return None
    if np.all(np.abs(np.diff(strokes.low)) == 12) and strokes.size.max() == 1:
        return "octaves", "octave tremolo" if usual <= BLUR_BEATS + NEAR_BEAT else "broken octaves"
    return "oscillation", "tremolo" if usual <= BLUR_BEATS + NEAR_BEAT else "quick oscillation"


def _oscillation(strokes: Strokes) -> Name | None:
    """Say whether two sonorities alternate at a walking pace."""
    if not _alternates(strokes):
        return None
    if strokes.size.max() == 1:
        step = int(np.median(np.abs(np.diff(strokes.low))))
        return "oscillation", "trill-like oscillation" if step <= 2 else "oscillation"
    return ("oscillation", "oscillating chords") if np.all(strokes.size > 1) else None


def _bass_and_chord(strokes: Strokes) -> Name | None:
    """Say whether bass notes or octaves on the beat are answered by chords above."""
    n, low, size = len(strokes.pitches), strokes.low, strokes.size
    if n < 2:
        return None
    is_bass = np.array([s == 1 or (s <= 3 and p[-1] - p[0] == 12) for s, p in zip(size, strokes.pitches, strict=True)])
    is_bass &= np.abs(strokes.place - np.round(strokes.place)) < NEAR_BEAT
    answered, bass, chords = 0, -1, 0
    for row in range(n):
        if bass >= 0 and size[row] >= 2 and _stands_above(strokes, bass, row):
            answered += 1
            chords += 1
        elif is_bass[row]:
            bass = row
            answered += row + 1 < n and size[row + 1] >= 2 and low[row + 1] > low[row] + 2
    if answered < 0.75 * n or not chords:
        return None
    wide = any(strokes.top[row + 1] - low[row] > 19 for row in range(n - 1) if is_bass[row])
    return "oom-pah", "wide bass and chord" if wide else "bass and chord"


def _stands_above(strokes: Strokes, bass: int, row: int) -> bool:
    """Say whether a chord lies above a bass note; the upper note of an octave in the bass may lie inside the chord."""
    low, top = strokes.low, strokes.top
    if low[row] <= low[bass] + 2:
        return False
    chord = len({pitch % 12 for pitch in strokes.pitches[row]}) > 1
    octave = strokes.size[bass] > 1
    return bool(low[row] >= top[bass] - 1 or (octave and chord and top[row] > top[bass]))


def _octaves(strokes: Strokes) -> Name | None:
    """Say whether the hand moves in octaves, struck together or broken in pairs."""
    together = np.mean([len(p) >= 2 and p[-1] - p[0] == 12 for p in strokes.pitches])
    if together >= 0.75 and np.median(strokes.size) <= 3:
        return "octaves", "octave line"
    low = strokes.low
    if len(low) < 4 or strokes.size.max() > 1:
        return None
    pairs = np.abs(low[1::2] - low[: len(low) // 2 * 2 : 2])
    return ("octaves", "broken octaves") if np.mean(pairs == 12) >= 0.75 else None


def _chords(strokes: Strokes) -> Name | None:
    """Say whether nearly every attack is a chord or an interval."""
    if strokes.chords < 0.75:
        return None
    if np.median(strokes.size) == 2 and len(strokes.pitches) >= 3:
        width = np.array([p[-1] - p[0] for p in strokes.pitches])
        for name, wanted in (("thirds", (3, 4)), ("sixths", (8, 9))):
            if np.mean(np.isin(width, wanted)) >= 0.75:
                return "line", f"line in {name}"
    return "block", "chord motion"


def _alberti(strokes: Strokes) -> Name | None:
    """Say whether single notes go low, high, middle, high, in fours or sixes."""
    if strokes.size.max() > 1 or not _even(strokes):
        return None
    for cell, name in ((4, "Alberti"), (6, "Alberti in six")):
        if len(strokes.pitches) < cell or (cell == 6) != (len(strokes.pitches) % 6 == 0 and len(strokes.pitches) < 8):
            continue
        cells = [strokes.low[i : i + cell] for i in range(0, len(strokes.pitches) - cell + 1, cell)]
        if np.mean([_is_alberti(notes) for notes in cells]) >= 0.75:
            return "broken", name
    return None


def _is_alberti(notes: Ints) -> bool:
    """Say whether a cell starts with its lowest note and then goes up, down, up within the hand."""
    rise = np.sign(np.diff(notes))
    alternates = np.array_equal(rise, np.resize([1, -1], len(rise)))
    if len(notes) == 6:  # low, middle, high, middle, high, middle
        alternates = alternates or np.array_equal(rise, [1, 1, -1, 1, -1])
    three = len(set(notes.tolist())) == 3
    return bool(alternates and three and notes[0] == notes.min() and np.ptp(notes) <= HAND_SPAN)


def _scale(strokes: Strokes) -> Name | None:
    """Say whether single notes move mostly by step."""
    step = np.diff(strokes.top)
    if len(step) < 3 or strokes.chords > 0.25:
        return None
    by_step = (np.abs(step) <= 2) & (step != 0)
    if by_step.mean() < 0.7:
        return None
    turns = np.mean(step[1:] * step[:-1] < 0)
    quick = strokes.usual_wait <= 0.5 + NEAR_BEAT
    if turns <= 0.34 and quick and len(step) >= 5:
        return "scale", "chromatic scale" if np.mean(np.abs(step) == 1) > 0.8 else "scale"
    return "line", "stepwise figure" if quick else "stepwise line"


def _broken(strokes: Strokes) -> Name | None:
    """Say whether the notes of one or two chords are taken one after another."""
    if len(strokes.pitches) < 4 or strokes.chords > 0.5:
        return None
    leap = np.mean(np.abs(np.diff(strokes.low)) > 2)
    used = {pitch % 12 for pitches in strokes.pitches for pitch in pitches}
    # With rests between the notes only plain leaps tell a broken chord from a line.
    if leap < (0.6 if _even(strokes) else 0.8) or len(used) > 5:
        return None
    if np.ptp(strokes.low) > HAND_SPAN:
        return "broken", "wide arpeggio"
    rise = np.diff(strokes.low)
    turns = np.mean(rise[1:] * rise[:-1] < 0) if len(rise) > 1 else 0.0
    return "broken", "broken chord to and fro" if turns > 0.7 else "broken chord"


def _line(strokes: Strokes) -> Name | None:
    """Say whether single notes lead on in no figure of the above."""
    return ("line", "line") if strokes.chords <= 0.34 else None


def _block(strokes: Strokes) -> Name | None:
    """Say whether at least half the attacks are chords."""
    return ("block", "chords and single notes") if strokes.chords >= 0.5 else None


def _same(strokes: Strokes, lag: int) -> float:
    """Return the share of attacks equal to the attack *lag* before."""
    pairs = list(zip(strokes.pitches[lag:], strokes.pitches, strict=False))
    return float(np.mean([a == b for a, b in pairs])) if pairs else 0.0


def _even(strokes: Strokes) -> bool:
    """Say whether most waits are the usual one."""
    wait = strokes.wait
    return bool(len(wait)) and float(np.mean(np.abs(wait - strokes.usual_wait) < NEAR_BEAT)) >= 0.6


_TESTS: tuple[Callable[[Strokes], Name | None], ...] = (
    _single,
    _tremolo,
    _repeated,
    _off_beats,
    _after_beats_in_three,
    _bass_and_chord,
    _octaves,
    _alberti,
    _oscillation,
    _chords,
    _scale,
    _broken,
    _line,
    _block,
)
