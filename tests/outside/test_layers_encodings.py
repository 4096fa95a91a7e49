"""Another encoding of the same piece, made by another program, must be read and surveyed alike."""

from pathlib import Path

import numpy as np
import pytest
import verovio

from reading.layers import find_layers
from reading.reader import read
from reading.survey import survey

DEMO = Path(__file__).parents[2] / "demo" / "weathercock.musicxml"


@pytest.fixture(scope="module")
def pair(tmp_path_factory):
    """The demo piece as written, and as Verovio turns it into MEI (music-encoding.org)."""
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.loadFile(str(DEMO))
    path = tmp_path_factory.mktemp("mei") / "weathercock.mei"
    path.write_text(toolkit.getMEI(), encoding="utf-8")
    return read(DEMO), read(path)


def test_findings_of_two_encodings_are_the_same(pair):
    """Every finding of the first rank is there in both, at the same bars within one."""
    one, two = (survey(score).findings for score in pair)
    for here, there in ((one, two), (two, one)):
        for finding in (finding for finding in here if finding.rank == 1):
            assert any(
                other.kind == finding.kind
                and abs(other.first_bar_index - finding.first_bar_index) <= 1
                and abs(other.last_bar_index - finding.last_bar_index) <= 1
                for other in there
            ), finding.name


def test_roles_of_two_encodings_are_the_same(pair):
    """Note for note the roles agree: onset, pitch and role make the same set."""
    sets = []
    for score in pair:
        roles = find_layers(score).roles
        keys = np.stack([score.notes["onset"], score.notes["pitch"], score.notes["staff"], roles], axis=1)
        sets.append({tuple(key) for key in keys.tolist()})
    assert len(sets[0] ^ sets[1]) <= 0.01 * len(sets[0])
