"""The full score against the MusicXML schema's order of elements and against a second reader's sound.

Sources: MusicXML 4.0 (W3C Music Notation Community Group), complex types ``note``, ``attributes``, ``direction`` and
``measure``; verovio's own MIDI of the same file for the sounding pitch of transposing instruments (music21 reads it in
``tests/mapping``). One gap of verovio is known: it takes changes of key from the first part for all staves, so that
transposed parts are drawn with the first part's new signature; pitches and accidentals are not affected.
"""

from __future__ import annotations

import base64
import io
from pathlib import Path
from xml.etree import ElementTree as ET

import mido
import pytest

from mapping import arrange, load_spec
from mapping.fullscore import score_xml
from reading import find_layers, read

DEMO = Path(__file__).parents[2] / "demo"
NOTE = (
    *("grace", "chord", "rest", "pitch", "duration", "tie", "voice", "type", "dot", "accidental", "time-modification"),
    *("staff", "beam", "notations"),
)
ATTRIBUTES = ("divisions", "key", "time", "staves", "clef", "transpose")
NOTATIONS = {"tied", "slur", "tuplet", "ornaments", "technical", "articulations", "fermata", "arpeggiate"}
ARTICULATIONS = {"accent", "strong-accent", "staccato", "staccatissimo", "tenuto"}
TYPES = {"breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th"}


@pytest.fixture(scope="module")
def full() -> tuple:
    """The demo's richest variant and its full score."""
    score = read(DEMO / "weathercock.musicxml")
    spec = load_spec(DEMO / "weathercock.yaml")
    arrangement = arrange(score, find_layers(score), spec, list(spec.variants)[-1])
    return arrangement, score_xml(arrangement)


def in_order(element: ET.Element, order: tuple[str, ...]) -> bool:
    """Whether the children are known and stand in the schema's order."""
    places = [order.index(child.tag) for child in element]
    return places == sorted(places)


def test_elements_stand_in_the_schemas_order(full) -> None:
    """Children of every note, attributes and direction stand in MusicXML's order, with its names."""
    root = ET.fromstring(full[1].encode())
    assert root.get("version") == "4.0"
    assert [child.tag for child in root][:4] == ["work", "movement-title", "identification", "part-list"]
    for note in root.iter("note"):
        assert in_order(note, NOTE), [child.tag for child in note]
        assert note.findtext("type", "whole") in TYPES
    for attributes in root.iter("attributes"):
        assert in_order(attributes, ATTRIBUTES)
    for direction in root.iter("direction"):
        assert in_order(direction, ("direction-type", "offset", "staff", "sound"))
    for notations in root.iter("notations"):
        assert {child.tag for child in notations} <= NOTATIONS
    for articulations in root.iter("articulations"):
        assert {child.tag for child in articulations} <= ARTICULATIONS
    for transpose in root.iter("transpose"):
        assert in_order(transpose, ("diatonic", "chromatic", "octave-change"))


def test_starts_have_stops(full) -> None:
    """Ties, slurs, tuplets, wedges and beams that begin in a part end in it."""
    for part in ET.fromstring(full[1].encode()).iter("part"):
        for tag in ("tie", "slur", "tuplet"):
            kinds = [element.get("type") for element in part.iter(tag)]
            assert kinds.count("start") == kinds.count("stop"), tag
        wedges = [element.get("type") for element in part.iter("wedge")]
        assert 2 * wedges.count("stop") == len(wedges)
        beams = [element.text for element in part.iter("beam")]
        assert beams.count("begin") == beams.count("end")


def test_verovio_sounds_transposing_parts_where_they_should(full) -> None:
    """verovio's MIDI of the score has every wind player's sounding pitches in order, transposing or not."""
    import verovio

    arrangement, xml = full
    kit = verovio.toolkit()
    kit.loadData(xml)
    file = mido.MidiFile(file=io.BytesIO(base64.b64decode(kit.renderToMIDI())))
    heard = {}
    for part, track in zip(arrangement.parts, file.tracks[1:], strict=True):
        heard[part.player.name] = [m.note for m in track if m.type == "note_on" and m.velocity]
    for part in arrangement.parts:
        if part.player.family in ("woodwind", "brass"):  # strings have tremolo and arpeggios, which verovio plays out
            assert heard[part.player.name] == part.notes["pitch"].tolist(), part.player.name
    assert len(heard["clarinet 1"]) > 10
    assert len(heard["horn 1"]) > 10
