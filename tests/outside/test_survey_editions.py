"""Two encodings of one piece, made by others or by another program, give the same findings.

Scores: corpus of music21. The scherzo of op. 18 no. 1 is there in Humdrum and in MusicXML, typed by different people;
their files differ in marks (the Humdrum file has no sforzandos), so both are given those of the MusicXML. Songs and
piano pieces go through Verovio's MEI (music-encoding.org) and back.
"""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
import verovio

from reading.reader import read
from reading.survey import survey

PIECES = ("schubert/Lindenbaum.xml", "beach/prayer_of_a_tired_child.musicxml", "schumann_clara/polonaise_op1n4.mxl")


def corpus(name):
    """The path of a score of the corpus."""
    import music21

    return Path(music21.__file__).parent / "corpus" / name


def missing(one, two):
    """First-rank findings of one survey that the other has not in any rank: kind, both ends within a bar."""
    places = {(found.kind, found.first_bar_index, found.last_bar_index) for found in two.findings}
    near = range(-1, 2)
    return [
        found.name
        for found in one.findings
        if found.rank == 1
        and not any(
            (found.kind, found.first_bar_index + a, found.last_bar_index + b) in places for a in near for b in near
        )
    ]


@pytest.mark.parametrize("name", PIECES)
def test_through_mei(name, tmp_path):
    """What another program writes in another format is surveyed alike."""
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    assert toolkit.loadFile(str(corpus(name)))
    path = tmp_path / "other.mei"
    path.write_text(toolkit.getMEI(), encoding="utf-8")
    one, two = survey(read(corpus(name))), survey(read(path))
    assert [part.staves for part in one.score.parts] == [part.staves for part in two.score.parts]
    assert missing(one, two) == []
    assert missing(two, one) == []


def test_humdrum_and_musicxml_with_the_same_marks():
    """With one edition's marks in both, the scherzo has the same findings in either file."""
    one, two = (read(corpus(f"beethoven/opus18no1/movement3.{end}")) for end in ("krn", "mxl"))
    onset = np.array([mark.onset for mark in two.marks])
    bar = np.searchsorted(two.bars["onset"], onset, side="right") - 1
    moved = onset - two.bars["onset"][bar] + one.bars["onset"][bar]
    marks = tuple(
        dataclasses.replace(mark, onset=int(at), end=int(at) + mark.end - mark.onset, notes=())
        for mark, at in zip(two.marks, moved, strict=True)
    )
    notes, bars = one.notes.copy(), one.bars.copy()
    signs = {(int(note["onset"]), int(note["pitch"])): int(note["flags"]) for note in two.notes}
    notes["flags"] = [signs.get((int(note["onset"]), int(note["pitch"])), 0) for note in one.notes]
    for name in ("double_bar", "repeat_start", "repeat_end"):
        bars[name] = two.bars[name]
    first, second = survey(dataclasses.replace(one, notes=notes, bars=bars, marks=marks)), survey(two)
    assert sum(found.rank == 1 for found in second.findings) >= 20
    assert missing(first, second) == []
    assert missing(second, first) == []
