"""Real scores nobody here wrote: what was read of their signs is in the written full score, at the same place.

Source: the music21 corpus (piano music: Joplin, Bach, Chopin, Clara Schumann, Schoenberg, Mozart, C. P. E. Bach, in the
encodings it ships), written as the piano's own arrangement and read again. A tie may be written by other values.
"""

from __future__ import annotations

import importlib.util
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

import mapping
import reading
from reading.score import Flag

CORPUS = Path(importlib.util.find_spec("music21").submodule_search_locations[0]) / "corpus"
PIECES = (
    "joplin/maple_leaf_rag.mxl",
    "bach/bwv846.mxl",
    "chopin/mazurka06-2.krn",
    "schumann_clara/polonaise_op1n1.mxl",
    "schoenberg/opus19/movement2.mxl",
    "schoenberg/opus19/movement6.mxl",
    "mozart/k545/movement1_exposition.mxl",
    "cpebach/h186.mxl",
)
EXPLAINED = {"cpebach/h186.mxl": {("slur", 3)}}
"""Signs that stand elsewhere: three slurs end inside a note of two tied values, which is written as one value."""

LONG = ("hairpin", "ottava", "pedal", "slur")
BY_STAFF = ("dynamic", "hairpin", "ottava", "slur", "ornament", "tremolo", "arpeggio")


def rows(score: reading.Score, flag: Flag) -> Counter[tuple[Any, ...]]:
    """Onsets and pitches of the notes with a flag."""
    notes = score.notes[(score.notes["flags"] & int(flag)) != 0]
    return Counter(zip(notes["onset"].tolist(), notes["pitch"].tolist(), strict=True))


def marks(score: reading.Score, kind: str) -> Counter[tuple[Any, ...]]:
    """Places and values of the marks of a kind."""
    return Counter(
        (mark.onset, mark.end if kind in LONG else 0, mark.staff if kind in BY_STAFF else 0, mark.value)
        for mark in score.marks_of(kind)
    )


@pytest.mark.parametrize("name", PIECES)
def test_every_sign_of_a_real_score_is_written(name: str, tmp_path: Path) -> None:
    """Notes, spelling, staves, flags, bars and every kind of mark are read back from the written score as they were."""
    score = reading.read(CORPUS / name)
    path = tmp_path / "again.musicxml"
    mapping.write_score(mapping.piano(score), path)
    again = reading.read(path)
    columns = ["onset", "duration", "pitch", "step", "alter", "octave", "staff"]
    assert Counter(again.notes[columns].tolist()) == Counter(score.notes[columns].tolist())
    for column in (
        "onset",
        "duration",
        "beats",
        "beat_type",
        "fifths",
        "pickup",
        "repeat_start",
        "repeat_end",
        "volta",
    ):
        assert again.bars[column].tolist() == score.bars[column].tolist(), column
    assert again.bar_numbers == score.bar_numbers
    for flag in Flag:
        if flag != Flag.TIED:
            assert rows(again, flag) == rows(score, flag), flag.name
    moved = set()
    for kind in sorted({mark.kind for mark in (*score.marks, *again.marks)}):
        lost, new = marks(score, kind) - marks(again, kind), marks(again, kind) - marks(score, kind)
        assert lost.total() == new.total(), (kind, lost, new)
        if lost:
            moved.add((kind, lost.total()))
    assert moved == EXPLAINED.get(name, set())
