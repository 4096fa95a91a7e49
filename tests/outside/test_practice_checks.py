"""Player checks on music that has been played for two centuries: hardly anything may be called impossible.

Source: string quartets of the music21 corpus (Haydn op. 74 no. 1, Mozart K. 458, Beethoven op. 18 no. 1, R. Schumann
op. 41 no. 1; first movements), each part taken as it stands for one player.
"""

from collections import Counter
from pathlib import Path

import numpy as np
import pytest

QUARTETS = [
    "haydn/opus74no1/movement1.mxl",
    "mozart/k458/movement1.mxl",
    "beethoven/opus18no1/movement1.mxl",
    "schumann_robert/opus41no1/movement1.mxl",
]
PLAYERS = ("violin 1", "violin 2", "viola", "cello")


@pytest.fixture(scope="module")
def remarks():
    """Per quartet: remarks, number of notes, number of bars."""
    import music21

    import reading
    from mapping.arrangement import PART_DTYPE, Arrangement, Part, StepWords
    from mapping.checks import check
    from mapping.orchestra import player

    folder = Path(music21.__file__).parent / "corpus"
    found = {}
    for path in QUARTETS:
        score = reading.read(folder / path)
        parts = []
        for row, name in enumerate(PLAYERS):
            mine = score.notes[score.notes["part"] == row]
            notes = np.zeros(len(mine), PART_DTYPE)
            for field in mine.dtype.names:
                notes[field] = mine[field]
            notes["source"] = notes["dynamic"] = -1
            parts.append(Part(player(name), notes))
        arrangement = Arrangement("as written", "", score, tuple(parts), (StepWords("play", "play"),))
        found[path] = check(arrangement), len(score.notes), len(score.bars)
    return found


@pytest.mark.parametrize("path", QUARTETS)
def test_nothing_is_called_impossible(remarks, path):
    """No error: range, stops, speed and tuning limits admit all that was really played."""
    found, notes, _ = remarks[path]
    assert notes > 2000
    assert [one.message for one in found if one.severity == "error"] == []


@pytest.mark.parametrize("path", QUARTETS)
def test_advice_is_rare(remarks, path):
    """Fewer than one remark in five bars, and of low intervals fewer than one in ten bars."""
    found, _, bars = remarks[path]
    assert len(found) < bars / 5
    assert Counter(one.kind for one in found)["low interval"] < bars / 10
