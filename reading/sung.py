"""Sung text: which parts are sung, what they sing, and the piece without them.

A part is sung where it has one staff and text under its notes, or is named after a voice; and where something else is
left to accompany it. In tables of notes text is sparse, so it lives in the marks of kind ``lyric``, one for each
syllable and verse, which go with their notes through ties, repeats and the cache.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import numpy as np

from reading.score import Mark, Score

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reading.layers import Layers
    from reading.palette import Palette
    from reading.survey import Survey

__all__ = [
    "ELISION",
    "SYLLABIC",
    "Syllable",
    "accompaniment",
    "cleaned",
    "find_song_layers",
    "lead_part",
    "sung_notes",
    "sung_parts",
    "survey_song",
    "syllable_value",
    "syllables",
    "voice_type",
]

SYLLABIC = ("single", "begin", "middle", "end")
"""Place of a syllable in its word, as MusicXML names it."""
ELISION = "\u203f"
"""The tie between syllables sung on one note."""

_MOST_LETTERS = 200
_LEAST_SHARE = 0.1
"""Share of a part's notes under which text makes it a sung one; a word or two over an instrument is a remark."""
_JOINERS = "\u200c\u200d"  # letters of Persian and of Indian scripts are told apart by them
_FONT_ELISIONS = dict.fromkeys((0xE550, 0xE551, 0xE552), ELISION)
_TYPES = {
    "soprano": ("soprano", "sopran", "soprani", "canto", "cantus", "treble", "discant", "diskant"),
    "mezzo-soprano": ("mezzo", "mezzosoprano", "mezzosopran"),
    "alto": ("alto", "alt", "alti", "contralto", "contralt", "altus"),
    "tenor": ("tenor", "tenore", "tenori", "ténor", "taille"),
    "baritone": ("baritone", "bariton", "baritono", "baryton"),
    "bass voice": ("bass", "basso", "basse", "bassi", "bassus"),
    "voice": ("voice", "voices", "vocal", "vocals", "voix", "voce", "voci", "chant", "gesang", "singstimme", "stimme",
              "sang", "zang", "canto", "solo", "singer", "vox"),
}  # fmt: skip
_BY_WORD = {word: kind for kind, words in reversed(_TYPES.items()) for word in words}
_SURE = {"voice", "voices", "vocal", "vocals", "voix", "voce", "gesang", "singstimme", "soprano", "sopran", "tenor",
         "tenore", "ténor", "mezzo", "mezzosoprano", "contralto"}  # fmt: skip
"""Words that make a part a sung one even where no text is given; alto, bass and baritone may be instruments."""
_FOR_ALL = ("tempo", "text", "jump", "rehearsal")
"""Marks printed above the top staff, though they are for everybody."""

Mask = np.ndarray[Any, np.dtype[np.bool_]]
_known: WeakKeyDictionary[Score, dict[str, Any]] = WeakKeyDictionary()


@dataclass(frozen=True)
class Syllable:
    """What is sung on one note in one verse.

    Attributes
    ----------
    note : int
        Id of the note.
    onset : int
        Ticks; within the note where a verse begins a syllable on a tied note.
    verse : str
        Number or name as in the file.
    text : str
        Without hyphens; several syllables on one note stand with :data:`ELISION` between them.
    syllabic : tuple of str
        Of :data:`SYLLABIC`, one for each of the syllables on the note.
    extend : bool
        Whether a line after it shows that it is held on.
    """

    note: int
    onset: int
    verse: str
    text: str
    syllabic: tuple[str, ...] = ("single",)
    extend: bool = False


def syllable_value(verse: str, text: str, syllabic: Iterable[str], *, extend: bool) -> str:
    """Return a syllable as the value of its mark: ``1 begin|Bäch``, ``2 end,single_|te‿a``."""
    return f"{verse} {','.join(syllabic)}{'_' if extend else ''}|{text}"


def syllables(score: Score) -> tuple[Syllable, ...]:
    """Return all that is sung, in the order of time."""
    found = _facts(score)
    if "syllables" not in found:
        found["syllables"] = tuple(_syllable(mark) for mark in score.marks_of("lyric") if mark.notes)
    told: tuple[Syllable, ...] = found["syllables"]
    return told


def _syllable(mark: Mark) -> Syllable:
    """A mark taken apart."""
    head, _, text = mark.value.partition("|")
    verse, _, kinds = head.partition(" ")
    syllabic = tuple(kinds.removesuffix("_").split(","))
    return Syllable(mark.notes[0], mark.onset, verse, text, syllabic, kinds.endswith("_"))


def cleaned(text: str) -> str:
    """Return text fit to be sung and printed: no control signs, single spaces, at most 200 letters.

    Music fonts have elisions of their own (SMuFL 1.4, range "Lyrics", U+E550 to U+E552); they become :data:`ELISION`.
    """
    text = text[: 8 * _MOST_LETTERS].translate(_FONT_ELISIONS)
    kept = "".join(sign if sign.isprintable() or sign in _JOINERS else " " for sign in text)
    return " ".join(kept.split())[:_MOST_LETTERS]


def voice_type(name: str) -> str:
    """Return the voice a part's name speaks of (``soprano`` … ``bass voice``); ``voice`` where it does not say."""
    found = [_BY_WORD[word] for word in _words(name) if word in _BY_WORD]
    if "mezzo-soprano" in found:
        return "mezzo-soprano"
    return next((kind for kind in found if kind != "voice"), "voice")


def _words(name: str) -> list[str]:
    """Words of a name in small letters."""
    return re.findall(r"[^\W\d_]+", name[:200].casefold())


def _facts(score: Score) -> dict[str, Any]:
    """What is known of a score; it goes when the score goes."""
    return _known.setdefault(score, {})


def sung_parts(score: Score) -> tuple[int, ...]:
    """Return the rows of the parts that are sung; none where nothing else would be left to orchestrate.

    Parameters
    ----------
    score : Score
    """
    found = _facts(score)
    if "parts" not in found:
        found["parts"] = _sung_parts(score)
    rows: tuple[int, ...] = found["parts"]
    return rows


def _sung_parts(score: Score) -> tuple[int, ...]:
    """Find them."""
    notes = np.bincount(score.notes["part"], minlength=len(score.parts)) if len(score.notes) else [0] * len(score.parts)
    texts = Counter(row for row, _ in {(mark.part, mark.notes) for mark in score.marks_of("lyric")})
    keyboard = any(part.staves > 1 for part in score.parts)
    rows = []
    for row, part in enumerate(score.parts):
        words = _words(part.name)
        named = keyboard and bool(words) and any(word in _SURE for word in words) and all(w in _BY_WORD for w in words)
        if part.staves == 1 and notes[row] and (named or texts[row] > _LEAST_SHARE * notes[row]):
            rows.append(row)
    rest = sum(int(notes[row]) for row in range(len(score.parts)) if row not in rows)
    return tuple(rows) if rest else ()


def sung_notes(score: Score) -> Mask:
    """Return which notes are sung, shape (notes,)."""
    return np.isin(score.notes["part"], sung_parts(score))


def lead_part(score: Score) -> int:
    """Return the row of the part whose marks hold where a note has none of its own: the first that is not sung."""
    sung = sung_parts(score)
    return next((row for row in range(len(score.parts)) if row not in sung), 0)


def accompaniment(score: Score) -> Score:
    """Return the piece without its sung parts, bar for bar; the score itself where nothing is sung.

    Tempo, words and jumps above the voice stay, since they are for everybody.
    """
    sung = sung_parts(score)
    if not sung:
        return score
    found = _facts(score)
    if "accompaniment" not in found:
        found["accompaniment"] = _without(score, sung)
    made: Score = found["accompaniment"]
    return made


def _without(score: Score, sung: tuple[int, ...]) -> Score:
    """The piece without some parts."""
    kept = [row for row in range(len(score.parts)) if row not in sung]
    part = {old: new for new, old in enumerate(kept)}
    rows = np.flatnonzero(~sung_notes(score))
    notes = score.notes[rows].copy()
    notes["id"] = np.arange(len(notes))
    notes["part"] = [part[int(row)] for row in notes["part"]]
    new = {int(old): row for row, old in enumerate(rows)}
    marks = []
    for mark in score.marks:
        own = mark.part in part
        if own or (mark.kind in _FOR_ALL and not (mark.kind == "text" and mark.notes)):
            ids = tuple(new[one] for one in mark.notes if one in new)
            marks.append(replace(mark, part=part.get(mark.part, 0), staff=mark.staff if own else 0, notes=ids))
    return replace(score, parts=tuple(score.parts[row] for row in kept), notes=notes, marks=tuple(marks))


def find_song_layers(score: Score) -> Layers:
    """Give every note its role: the voice has the tune, and the accompaniment is read as the piano piece it is.

    So ``melody`` in the accompaniment is what the piano sings itself: in preludes, in answers, along with the voice.
    The layers of :func:`reading.layers.find_layers` where nothing is sung.
    """
    from reading.layers import Layers, Role, find_layers
    from reading.layers_texture import staff_rows

    if not sung_parts(score):
        return find_layers(score)
    sung, own = sung_notes(score), find_layers(accompaniment(score))
    roles = np.full(len(score.notes), int(Role.MELODY), dtype=np.int8)
    confidence = np.ones(len(score.notes), dtype=np.float32)
    roles[~sung], confidence[~sung] = own.roles, own.confidence
    return Layers(roles, confidence, own.evidence, own.contrapuntal, staff_rows(score))


def survey_song(score: Score, palette: Palette | None = None, layers: Layers | None = None) -> Survey:
    """Say what must be rethought in the accompaniment: what is sung stays as it is.

    Parameters
    ----------
    score : Score
    palette : Palette, optional
    layers : Layers, optional
        Of the whole piece, as the spec overrules them.

    Returns
    -------
    Survey
        With the whole piece's notes and layers; findings and tables are the accompaniment's.
    """
    from reading.survey import survey

    if not sung_parts(score):
        return survey(score, layers, palette)
    layers, sung = layers or find_song_layers(score), sung_notes(score)
    piano = accompaniment(score)
    from reading.layers_texture import staff_rows

    own = replace(layers, roles=layers.roles[~sung], confidence=layers.confidence[~sung], staff=staff_rows(piano))
    return replace(survey(piano, own, palette, score), score=score, layers=layers)
