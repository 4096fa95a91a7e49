"""Small scores from text: one string per bar and hand, so that a test shows the music it speaks of.

A bar is a row of tokens ``pitches/length``: pitches joined by ``+`` (``C3+E3``, ``Bb2``), ``-`` for a rest, the length
in quarters (left out: the *unit* of the call). ``&`` starts another voice at the beginning of the bar.
"""

import numpy as np

from reading.score import BAR_DTYPE, NOTE_DTYPE, TICKS_PER_QUARTER, Mark, PartInfo, Score, ticks

STEPS_UP = "CDEFGAB"
STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def midi(name):
    """Return the MIDI pitch of a name such as ``C4``, ``Eb3``, ``F#5``."""
    return 12 * (int(name[-1]) + 1) + STEPS[name[0]] + name.count("#") - name[1:].count("b")


def spelling(name):
    """Return step, alter and octave of such a name."""
    return STEPS_UP.index(name[0]), name.count("#") - name[1:].count("b"), int(name[-1])


def bar_notes(text, unit):
    """Yield (onset in quarters, length, names) of one bar and hand."""
    for voice in text.split("&"):
        place = 0.0
        for token in voice.split():
            names, _, length = token.partition("/")
            quarters = float(length) if length else unit
            if names != "-":
                yield place, quarters, names.split("+")
            place += quarters


def build(upper, lower, *, metre=(4, 4), unit=0.5, pickup_quarters=0.0, staves=True, **extra):
    """Return a Score from bars of text for both hands.

    Parameters
    ----------
    upper, lower : list of str
        One text per bar; the shorter list is filled with rests.
    metre : tuple of int
    unit : float
        Length in quarters of tokens without one.
    pickup_quarters : float
        Length of the first bar where it is a pickup.
    staves : bool
        One part on two staves; otherwise two parts.
    extra : dict
        ``double_bars``, ``voltas`` (bar index: bits), ``marks``.
    """
    n_bars = max(len(upper), len(lower))
    full = ticks(4 * metre[0]) // metre[1]
    bars = np.zeros(n_bars, BAR_DTYPE)
    lengths = np.full(n_bars, full)
    if pickup_quarters:
        lengths[0] = ticks(pickup_quarters)
        bars["pickup"][0] = True
    bars["index"], bars["duration"] = np.arange(1, n_bars + 1), lengths
    bars["onset"] = np.cumsum(lengths) - lengths
    bars["beats"], bars["beat_type"] = metre
    bars["minor"] = -1
    for index in extra.get("double_bars", ()):
        bars["double_bar"][index - 1] = True
    for index, bits in extra.get("voltas", {}).items():
        bars["volta"][index - 1] = bits
    rows = []
    for staff, texts in ((1, upper), (2, lower)):
        for row, text in enumerate(texts):
            for place, length, names in bar_notes(text, unit):
                onset = int(bars["onset"][row]) + ticks(place)
                rows += [(onset, ticks(length), midi(name), staff, row + 1, *spelling(name)) for name in names]
    rows.sort(key=lambda note: (note[0], note[2], note[3]))
    notes = np.zeros(len(rows), NOTE_DTYPE)
    columns = ("onset", "duration", "pitch", "staff", "bar", "step", "alter", "octave")
    for name, column in zip(columns, zip(*rows, strict=True), strict=False):
        notes[name] = column
    notes["id"], notes["voice"], notes["velocity"] = np.arange(len(rows)), 1, -1
    parts = (PartInfo("Piano", 2),) if staves else (PartInfo("Right"), PartInfo("Left"))
    if not staves:
        notes["part"], notes["staff"] = notes["staff"] - 1, 1
    return Score("", "", "", "", parts, notes, bars, tuple(str(i + 1) for i in range(n_bars)), extra.get("marks", ()))


def pedal_mark(bar, start_quarters, end_quarters, bar_quarters=4):
    """Return a printed pedal within one bar."""
    offset = (bar - 1) * bar_quarters
    return Mark("pedal", ticks(offset + start_quarters), ticks(offset + end_quarters))


def transposed(score, semitones):
    """Return the score moved by *semitones*."""
    notes = score.notes.copy()
    notes["pitch"] += semitones
    return _with(score, notes=notes)


def stretched(score, numerator, denominator=1):
    """Return the score with all note values scaled, and the metre's lower figure with them."""
    notes, bars = score.notes.copy(), score.bars.copy()
    for table in (notes, bars):
        for name in ("onset", "duration"):
            table[name] = table[name] * numerator // denominator
    bars["beat_type"] = bars["beat_type"] * denominator // numerator
    marks = tuple(
        Mark(m.kind, m.onset * numerator // denominator, m.end * numerator // denominator, m.part, m.staff, m.value)
        for m in score.marks
    )
    return _with(score, notes=notes, bars=bars, marks=marks)


def renamed_voices(score, seed=0):
    """Return the score with voice numbers drawn at random."""
    notes = score.notes.copy()
    notes["voice"] = np.random.default_rng(seed).integers(1, 5, len(notes))
    return _with(score, notes=notes)


def divided(score, indices, repeat=False):
    """Return the score with bars (indices from 1) divided before their last beat, at a repeat sign where asked."""
    pieces, numbers = [], []
    for index, bar in enumerate(score.bars, start=1):
        beat = 4 * TICKS_PER_QUARTER // int(bar["beat_type"])
        parts = [bar]
        if index in indices:
            early, late = bar.copy(), bar.copy()
            early["duration"] -= beat
            late["onset"] += early["duration"]
            late["duration"] = beat
            early["repeat_end"], late["repeat_start"] = 2 * repeat, repeat
            parts = [early, late]
        pieces += parts
        numbers += [score.bar_numbers[index - 1]] * len(parts)
    bars = np.array([part.tolist() for part in pieces], BAR_DTYPE)
    bars["index"] = np.arange(1, len(bars) + 1)
    notes = score.notes.copy()
    notes["bar"] = np.searchsorted(bars["onset"], notes["onset"], side="right")
    return _with(score, notes=notes, bars=bars, bar_numbers=tuple(numbers))


def shuffled_bars(score, seed):
    """Return the score with its bars in random order: nothing but chance repeats is left."""
    order = np.random.default_rng(seed).permutation(len(score.bars))
    bars, notes = score.bars[order].copy(), score.notes.copy()
    place = np.argsort(order)
    bars["index"] = np.arange(1, len(bars) + 1)
    bars["onset"] = np.cumsum(bars["duration"]) - bars["duration"]
    bars["pickup"] = False
    row = notes["bar"] - 1
    notes["onset"] += bars["onset"][place[row]] - score.bars["onset"][row]
    notes["bar"] = place[row] + 1
    notes = notes[np.lexsort((notes["pitch"], notes["onset"]))]
    notes["id"] = np.arange(len(notes))
    return _with(score, notes=notes, bars=bars, marks=())


def _with(score, **changes):
    fields = ("title", "composer", "source", "sha256", "parts", "notes", "bars", "bar_numbers", "marks")
    return Score(**{name: changes.get(name, getattr(score, name)) for name in fields})


QUARTER = TICKS_PER_QUARTER
