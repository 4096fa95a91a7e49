"""Headings of tempo (``Poco più tranquillo``) told from words of expression (``dolce``)."""

from __future__ import annotations

import re
from collections import defaultdict
from typing import TYPE_CHECKING

from reading.timeline import TEMPO_WORDS

if TYPE_CHECKING:
    from reading.score import Mark, Score

__all__ = ["changes_tempo", "headings", "is_heading", "names_tempo"]

_FIRST = {phrase.split(" ")[0] for phrase, _ in TEMPO_WORDS} | {"tempo", "trio", "coda", "minore", "maggiore", "doppio"}
"""First words of headings; common practice, no source."""
_CHANGE = re.compile(
    r"\b(rit|ritard|ritardando|rall|rallentando|riten|ritenuto|accel|accelerando|stringendo|string|affrettando|"
    r"slargando|allargando|a tempo|tempo|più mosso|meno mosso|rubato)\b",
    re.IGNORECASE,
)
_PACE = re.compile(
    r"\b(mosso|moto|tranquillo|maestoso|animato|agitato|sostenuto|calmo|vivo|lento|presto|allegro|allegretto|andante|"
    r"adagio|largo|moderato|vivace|langsam(er)?|schnell(er)?|lebhaft(er)?|bewegt(er)?|ruhig(er)?|"
    r"vite|lent|animé|modéré|vif)\b",
    re.IGNORECASE,
)
"""Words of pace, wherever they stand in a heading (``Poco più tranquillo``); common practice, no source."""
_EXPRESSION = re.compile(
    r"\b(dolce|dolcissimo|espr\w*|cant\w*|legat\w*|leggi?er\w*|misterioso|(sotto|mezza) voce|marc\w*|stacc\w*|sim\w*|"
    r"cresc\w*|dim\w*|decresc\w*|ped\w*|sord\w*|pizz\w*|arco|sempre|ten\w*|perdendosi|morendo|grazioso|con \w+)\b",
    re.IGNORECASE,
)
_NEVER = 3  # as unlike a heading as this, and no metronome figure belongs to the words


def names_tempo(text: str, *, figure: bool = False) -> bool:
    """Say whether words name a tempo, or a part of the piece, as a heading does: capital first, a word of pace in it.

    Parameters
    ----------
    text : str
        As printed.
    figure : bool
        Whether a metronome figure stands beside it: how far words that only compare (``Poco più tranquillo``) lead to
        another tempo is then the figure's to say.
    """
    first = text.strip().split(" ")[0]
    named = first.lower().strip(".,:") in _FIRST
    return first[:1].isupper() and (named or (not figure and bool(_PACE.search(text))))


def is_heading(text: str) -> bool:
    """Say whether words are printed as a heading: they name a tempo, or a change of it (``Rit.``) with a capital.

    Parameters
    ----------
    text : str
        As printed.
    """
    return names_tempo(text) or (text.strip()[:1].isupper() and changes_tempo(text))


def changes_tempo(text: str) -> bool:
    """Say whether words change the tempo for a while or back (``poco rit.``, ``a tempo``).

    Parameters
    ----------
    text : str
        As printed.
    """
    return bool(_CHANGE.search(text))


def headings(score: Score) -> set[tuple[int, str]]:
    """Return (onset, words) of the headings: named as such, or the one text that carries the metronome figure there.

    A figure at a moment without a heading belongs to the words printed like one: capital first, before small letters
    above the staff; words of expression in small letters carry none.

    Parameters
    ----------
    score : Score
    """
    figures = {mark.onset for mark in score.marks_of("tempo")}
    there: dict[int, list[Mark]] = defaultdict(list)
    for mark in score.marks_of("text"):
        there[mark.onset].append(mark)
    found = {(onset, mark.value) for onset, marks in there.items() for mark in marks if is_heading(mark.value)}
    named = {onset for onset, _ in found}
    for onset in figures & set(there) - named:
        carrier = min(there[onset], key=_unlike)
        if _unlike(carrier) < _NEVER:
            found.add((onset, carrier.value))
    return found


def _unlike(mark: Mark) -> int:
    """How little words look like what a metronome figure stands beside; from ``_NEVER`` on they do not."""
    words = mark.value
    if _EXPRESSION.search(words) and not changes_tempo(words):
        return 2 if words.strip()[:1].isupper() else _NEVER
    if words.strip()[:1].isupper():
        return 0
    return 1 if changes_tempo(words) or _PACE.search(words) else _NEVER if mark.notes else 2
