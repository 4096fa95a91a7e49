"""Kern read twice: our notes against music21's kern reader, on files of its corpus where no staff splits in three.

music21 10.5 is an independent reader of the format; where staves split into three or more voices it loses notes, so
those are checked against the file's own tokens instead (``tests/reading/test_reading_kern.py``).
"""

from __future__ import annotations

from collections import Counter

import pytest

from reading.reader import read
from reading.score import Flag, ticks

FILES = ("chopin/mazurka06-2.krn", "palestrina/Agnus_00.krn", "palestrina/Kyrie_100.krn")


def by_music21(path):
    """Onset and pitch of every struck note, as music21 reads the file."""
    from music21 import converter

    found = Counter()
    for element in converter.parse(path, forceSource=True).flatten().notes:
        for note in getattr(element, "notes", (element,)):
            if not element.duration.isGrace and (note.tie is None or note.tie.type == "start"):
                found[ticks(element.offset), note.pitch.midi] += 1
    return found


@pytest.mark.parametrize("name", FILES)
def test_kern_agrees_with_music21(name):
    """Every struck note is at the same time and pitch in both readings."""
    from music21 import common

    path = common.getCorpusFilePath() / name
    if not path.exists():
        pytest.fail(f"music21 no longer ships {name}")
    score = read(path)
    struck = score.notes[(score.notes["flags"] & Flag.GRACE) == 0]
    ours = Counter(zip(struck["onset"].tolist(), struck["pitch"].tolist(), strict=True))
    theirs = by_music21(path)
    assert ours - theirs == theirs - ours == Counter()
