"""From written time to seconds: tempo marks and words, ritardandi, accelerandi and fermatas as one piecewise map.

Numbers for Italian, German and French tempo words are *common practice, from memory*: the middle of the ranges that
metronomes are printed with. A metronome figure in the score always wins over a word.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np

from reading.score import TICKS_PER_QUARTER

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reading.score import Mark, Score

__all__ = ["DEFAULT_QPM", "TEMPO_WORDS", "Timeline"]

DEFAULT_QPM = 100.0

TEMPO_WORDS: tuple[tuple[str, float], ...] = (
    # Longest first: "allegro assai" before "allegro". Beats per minute, common practice, from memory.
    ("prestissimo", 200.0),
    ("presto", 176.0),
    ("allegro vivace", 152.0),
    ("allegro assai", 144.0),
    ("allegro molto", 144.0),
    ("allegro moderato", 112.0),
    ("allegro ma non troppo", 116.0),
    ("allegro non troppo", 116.0),
    ("allegretto", 108.0),
    ("allegro", 132.0),
    ("vivacissimo", 172.0),
    ("vivace", 152.0),
    ("molto vivace", 160.0),
    ("vivo", 152.0),
    ("andantino", 84.0),
    ("andante", 76.0),
    ("moderato", 96.0),
    ("marcia", 108.0),
    ("menuetto", 120.0),
    ("tempo di valse", 160.0),
    ("adagietto", 70.0),
    ("adagio", 60.0),
    ("larghetto", 60.0),
    ("larghissimo", 40.0),
    ("largo", 48.0),
    ("lento", 54.0),
    ("lentement", 54.0),
    ("grave", 44.0),
    ("sehr langsam", 46.0),
    ("langsam", 54.0),
    ("mäßig", 92.0),
    ("mässig", 92.0),
    ("sehr lebhaft", 152.0),
    ("lebhaft", 132.0),
    ("sehr rasch", 160.0),
    ("rasch", 144.0),
    ("schnell", 152.0),
    ("modéré", 96.0),
    ("lent", 54.0),
    ("vif", 144.0),
    ("animé", 126.0),
)

_SLOWER = re.compile(r"\b(rit(ard)?|ritardando|rallentando|rall|ritenuto|riten|slargando|calando|smorzando)\b", re.I)
_FASTER = re.compile(r"\b(accel|accelerando|stringendo|string|affrettando)\b", re.I)
_BACK = re.compile(r"\ba\s+tempo\b|\btempo\s+(i|1|primo)\b|\bim\s+tempo\b", re.I)
_SYMBOLS = {"♩": 1.0, "♪": 0.5, "𝅗𝅥": 2.0, "𝅘𝅥": 1.0, "𝅘𝅥𝅮": 0.5, "m.m.": 1.0, "mm": 1.0}
_FIGURE = re.compile(r"(♩|♪|𝅗𝅥|𝅘𝅥𝅮|𝅘𝅥|m\.m\.|mm)\s*=\s*(?:ca?\.?\s*)?(\d{2,3})")
_FIRST = re.compile(r"\btempo\s+(i|1|primo)\b", re.I)
_RIT_TO, _ACCEL_TO = 0.75, 1.25
_RIT_BARS = 2
_FERMATA_STRETCH = {"normal": 1.0, "": 1.0, "angled": 0.5, "square": 1.5}
_STEPS = 8


class Timeline:
    """A score's time in seconds.

    Parameters
    ----------
    score : Score
    default_qpm : float
        Quarters per minute where the score says nothing.
    fermatas : bool
        Whether fermatas stretch time.

    Attributes
    ----------
    at_ticks, qpm : ndarray
        Starts of the pieces of constant tempo (ticks, from 0) and their tempo in quarters per minute.
    source : str
        Where the first tempo comes from: ``metronome``, ``words``, or ``default``.
    """

    def __init__(self, score: Score, *, default_qpm: float = DEFAULT_QPM, fermatas: bool = True) -> None:
        changes, self.source = _changes(score, default_qpm)
        pieces = _pieces(score, changes)
        if fermatas:
            pieces = _stretched(pieces, _fermata_spans(score))
        ticks, qpm = zip(*sorted(pieces.items()), strict=True)
        self.at_ticks = np.asarray(ticks, dtype=np.float64)
        self.qpm = np.asarray(qpm, dtype=np.float64)
        self._per_tick = 60.0 / (self.qpm * TICKS_PER_QUARTER)
        self._at_s = np.concatenate(([0.0], np.cumsum(np.diff(self.at_ticks) * self._per_tick[:-1])))

    def seconds(self, ticks: Any) -> Any:
        """Return times in seconds.

        Parameters
        ----------
        ticks : int, float or ndarray
            Any shape; times before 0 and after the end go on at the first and last tempo.
        """
        places = np.asarray(ticks, dtype=np.float64)
        row = np.clip(np.searchsorted(self.at_ticks, places, side="right") - 1, 0, len(self.qpm) - 1)
        found = self._at_s[row] + (places - self.at_ticks[row]) * self._per_tick[row]
        return float(found) if found.ndim == 0 else found

    def ticks(self, seconds: Any) -> Any:
        """Return times in ticks (floats), the inverse of :meth:`seconds`."""
        times = np.asarray(seconds, dtype=np.float64)
        row = np.clip(np.searchsorted(self._at_s, times, side="right") - 1, 0, len(self.qpm) - 1)
        found = self.at_ticks[row] + (times - self._at_s[row]) / self._per_tick[row]
        return float(found) if found.ndim == 0 else found


def tempo_of_words(words: str, beats: int = 4, beat_type: int = 4) -> float | None:
    """Return quarters per minute for tempo words in a metre, or None where they name no tempo.

    Parameters
    ----------
    words : str
        ``Allegro con brio``, ``Sehr langsam``.
    beats, beat_type : int
        The metre. In cut time and compound metres a quick word counts a longer beat than the quarter, though not in
        full: the ratios (1.6 for 2/2, 1.05 for compound) are common practice, from memory.
    """
    plain = " ".join(re.sub(r"[^\w ]", " ", words.lower()).split())
    for name, speed in sorted(TEMPO_WORDS, key=lambda item: -len(item[0])):
        if re.search(rf"\b{name}\b", plain):
            quick = speed >= 100
            if beat_type == 2:
                return speed * (1.6 if quick else 1.25)
            if beat_type >= 8 and beats % 3 == 0 and beats > 3:
                return speed * (1.05 if quick else 0.9)
            return speed
    return None


def _changes(score: Score, default_qpm: float) -> tuple[list[tuple[int, str, float]], str]:
    """Return every change of tempo as ``(tick, kind, value)``: set, back, first, slow, fast or by; and its source."""
    figures = {mark.onset: float(mark.value) for mark in score.marks_of("tempo")}
    found = [(onset, "set", speed) for onset, speed in figures.items()]
    source = "metronome" if 0 in figures else ""
    for mark in _words(score.marks_of("text")):
        if mark.onset not in figures and (made := _worded(score, mark)):
            found.append(made)
            if made[0] == 0 and made[1] == "set":
                source = source or "words"
    found.sort(key=lambda item: (item[0], item[1] in ("slow", "fast")))
    if not any(onset == 0 and kind == "set" for onset, kind, _ in found):
        found.insert(0, (0, "set", default_qpm))
    return found, source or "default"


def _words(marks: Iterable[Mark]) -> list[Mark]:
    """Words once each per place, however many staves carry them."""
    return list({(mark.onset, mark.value.lower()): mark for mark in marks}.values())


def _worded(score: Score, mark: Mark) -> tuple[int, str, float] | None:
    """Return what words change about the tempo."""
    words = mark.value.lower()
    if _BACK.search(words):
        return mark.onset, "first" if _FIRST.search(words) else "back", 0.0
    if _SLOWER.search(words):
        return mark.onset, "slow", _RIT_TO
    if _FASTER.search(words):
        return mark.onset, "fast", _ACCEL_TO
    if figure := _FIGURE.search(words):
        return mark.onset, "set", float(figure[2]) * _SYMBOLS[figure[1]]
    if re.search(r"\bmeno\s+mosso\b", words):
        return mark.onset, "by", 0.85
    if re.search(r"\bpi[uù]\s+mosso\b", words):
        return mark.onset, "by", 1.15
    bar = score.bars[score.bar_at(mark.onset) - 1]
    speed = tempo_of_words(words, int(bar["beats"]), int(bar["beat_type"]))
    return (mark.onset, "set", speed) if speed else None


def _pieces(score: Score, changes: list[tuple[int, str, float]]) -> dict[int, float]:
    """Tempo by the tick it starts at; ritardandi and accelerandi as small steps.

    A ritardando lasts to the next word about tempo, but no longer than two bars; then the tempo is as before, because
    an "a tempo" left out is commoner than a piece that stays slow.
    """
    pieces: dict[int, float] = {}
    first = base = 0.0
    for place, (onset, kind, value) in enumerate(changes):
        if kind in ("slow", "fast"):
            end = _ramp_end(score, onset, changes[place + 1 :])
            for step in range(_STEPS):
                at = onset + (end - onset) * step // _STEPS
                pieces[at] = base * (1 + (value - 1) * (step + 0.5) / _STEPS)
            pieces[end] = base
            continue
        base = {"set": value, "first": first, "by": base * value}.get(kind, base)
        first = first or base
        pieces[onset] = base
    return pieces


def _ramp_end(score: Score, onset: int, later: list[tuple[int, str, float]]) -> int:
    """Where a ritardando or accelerando ends."""
    bar = score.bar_at(onset)
    last = min(bar + _RIT_BARS - 1, len(score.bars))
    end = score.span(last, last)[1]
    after = [at for at, _, _ in later if at > onset]
    return max(onset + _STEPS, min([end, *after]))


def _fermata_spans(score: Score) -> list[tuple[int, int, float]]:
    """``(start, end, extra)`` of every fermata: the time from *start* to *end* lasts 1 + *extra* times as long.

    The hold is the last note's own length again, at most two quarters' worth (common practice, no source).
    """
    ends: dict[int, tuple[int, float]] = {}
    for mark in score.marks_of("fermata"):
        notes = score.notes[list(mark.notes)] if mark.notes else None
        start, end = mark.onset, mark.onset + TICKS_PER_QUARTER
        if notes is not None and len(notes):
            start, end = int(notes["onset"].max()), int((notes["onset"] + notes["duration"]).max())
        elif mark.onset in set(score.bars["onset"]) or mark.onset >= score.end:
            start, end = max(0, mark.onset - TICKS_PER_QUARTER), mark.onset
        if end <= start:
            continue
        extra = _FERMATA_STRETCH.get(mark.value, 1.0)
        before = ends.get(end, (start, 0.0))
        ends[end] = (max(before[0], start), max(before[1], extra))
    spans = []
    for end, (start, extra) in sorted(ends.items()):
        longest = 2 * TICKS_PER_QUARTER
        spans.append((start, end, extra * min(1.0, longest / (end - start))))
    return spans


def _stretched(pieces: dict[int, float], spans: list[tuple[int, int, float]]) -> dict[int, float]:
    """Slow the tempo down within the spans; overlapping ones are cut at the later start."""
    made = dict(pieces)
    for row, (start, end, extra) in enumerate(spans):
        if row and start < spans[row - 1][1]:
            start = spans[row - 1][1]
        if start >= end:
            continue
        made[end] = _tempo_at(made, end)
        made[start] = _tempo_at(made, start)
        for at in [at for at in made if start <= at < end]:
            made[at] /= 1 + extra
    return made


def _tempo_at(pieces: dict[int, float], tick: int) -> float:
    """Tempo in force at a tick."""
    return pieces[max(at for at in pieces if at <= tick)]
