"""Two readers, one score: our notes against verovio's timemap, on scores shipped with music21.

The second reader is verovio's own MusicXML import (verovio 5 or newer; its code and ours share nothing but the file).
It is asked for the plain notes: repeats, arpeggio signs and grace notes are taken out of its copy of the file, because
its timemap plays them out. Each file and every known difference, with the reason, is in ``data/reading_agreement.tsv``;
a difference that is not listed there fails. More files: ``bench/reading_speed.py --agreement``.
"""

from __future__ import annotations

import csv
from collections import Counter
from pathlib import Path

import pytest

from reading.reader import read
from reading.safety import unpacked
from reading.score import TICKS_PER_QUARTER, Flag

TABLE = Path(__file__).with_name("data") / "reading_agreement.tsv"
ROUNDING_TICKS = 11
"""Files round durations to their divisions; verovio counts on in floats. 11 ticks are a thousandth of a quarter."""


def corpus():
    """Folder of the scores inside music21 (not imported: its import takes longer than the test)."""
    from importlib.util import find_spec

    return Path(find_spec("music21").origin).parent / "corpus"


def rows():
    """The table of files."""
    with TABLE.open(encoding="utf-8") as stream:
        return list(csv.DictReader(stream, delimiter="\t"))


def plain_copy(path):
    """The file without repeats, arpeggio signs and graces; struck notes are named n…, tied ones t…."""
    from lxml import etree

    data = path.read_bytes()
    root = etree.fromstring(unpacked(data, path) if data[:2] == b"PK" else data)
    for tag in ("repeat", "ending", "arpeggiate"):
        for element in list(root.iter(tag)):
            element.getparent().remove(element)
    for sound in root.iter("sound"):
        for name in ("dacapo", "dalsegno", "tocoda", "fine", "segno", "coda"):
            sound.attrib.pop(name, None)
    for note in list(root.iter("note")):
        if note.find("grace") is not None:
            note.getparent().remove(note)
    for row, note in enumerate(root.iter("note")):
        note.set("id", ("t" if note.find('tie[@type="stop"]') is not None else "n") + str(row))
    return etree.tostring(root, encoding="unicode")


def second_reading(path):
    """Onset in ticks and sounding pitch of every struck note, as verovio reads the file."""
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions({"breaks": "none", "inputFrom": "xml"})
    assert toolkit.loadData(plain_copy(path))
    found = Counter()
    for moment in toolkit.renderToTimemap({}):
        for name in moment.get("on", []):
            if name.startswith("n"):
                pitch = toolkit.getMIDIValuesForElement(name)["pitch"]
                found[round(moment["qstamp"] * TICKS_PER_QUARTER), pitch] += 1
    return found


def differences(ours, theirs):
    """How many notes only we have, and only they, when onsets may differ by rounding."""
    mine, other = ours - theirs, theirs - ours
    for onset, pitch in list(mine):
        for shift in range(-ROUNDING_TICKS, ROUNDING_TICKS + 1):
            pairs = min(mine[onset, pitch], other[onset + shift, pitch])
            mine[onset, pitch] -= pairs
            other[onset + shift, pitch] -= pairs
    return (+mine).total(), (+other).total()


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["file"])
def test_second_reader_agrees(row):
    """Onsets and pitches equal those of the second reader, but for the differences listed with their reason."""
    path = corpus() / row["file"]
    score = read(path)
    struck = score.notes[(score.notes["flags"] & Flag.GRACE) == 0]
    ours = Counter(zip(struck["onset"].tolist(), struck["pitch"].tolist(), strict=True))
    only_ours, only_theirs = differences(ours, second_reading(path))
    assert (only_ours, only_theirs) == (int(row["only_ours"]), int(row["only_theirs"]))
    assert bool(row["reason"]) == bool(only_ours or only_theirs)


def test_enough_files_agree():
    """Forty files or more, of quartets, piano pieces, songs and choral music."""
    table = rows()
    assert len(table) >= 40
    assert len({row["file"].split("/")[0] for row in table}) >= 10
