"""Percussion without pitch against other readers, standards and published figures.

Sources: General MIDI System Level 1 (MIDI Association), percussion key map, as pretty_midi carries it; music21 and
verovio as second readers of the full score (the latter's MIDI too); MusicXML 4.0 (W3C Music Notation Community Group),
order of ``attributes`` and ``note``; F. A. Everest, *Master Handbook of Acoustics*, table 5-1, "Power of musical
sources"; N. Rimsky-Korsakov, *Principles of Orchestration* (1922), ch. IV, "Use of percussion instruments for rhythm
and colour".
"""

from __future__ import annotations

import base64
import io
import warnings
from pathlib import Path
from xml.etree import ElementTree as ET

import mido
import numpy as np
import pytest

from mapping import arrange, load_spec
from mapping.arrangement import TECHNIQUES
from mapping.fullscore import score_xml
from mapping.midi import midi_bytes
from mapping.orchestra import players_of
from reading import find_layers, read
from reading.score import TICKS_PER_QUARTER
from soundfonts.balance import POWER, instrument_of, power_db

Q = TICKS_PER_QUARTER
ROOT = Path(__file__).parents[2]
STEPS = """
      - {play: melody, on: violins 1}
      - {play: bass, on: [cellos, bass drum]}
      - {stress: accents, on: [timpani, cymbals, triangle]}
      - {double: accompaniment, on: tambourine, bars: 9-16}
      - {double: melody, on: snare drum, bars: 25-32, how: roll}
      - {build: all, on: suspended cymbal, bars: 5-8}
      - {stress: notes, on: cymbals, bars: 12, beats: 1, how: secco}
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The demo with percussion, and its full score."""
    path = tmp_path_factory.mktemp("percussion") / "spec.yaml"
    band = "{use: classical full, add: [bass drum, cymbals, suspended cymbal, snare drum, triangle, tambourine]}"
    path.write_text(f"piece: {{score: x}}\norchestra: {band}\nvariants:\n  a:\n    steps:{STEPS}")
    score = read(ROOT / "demo" / "weathercock.musicxml")
    arrangement = arrange(score, find_layers(score), load_spec(path), "a")
    return arrangement, score_xml(arrangement)


def strokes(arrangement) -> dict[str, set[float]]:
    """Onsets in quarters of every player without pitch."""
    return {
        one.player.name: {round(onset / Q, 4) for onset in one.notes["onset"].tolist()}
        for one in arrangement.parts
        if one.player.instrument.unpitched is not None
    }


def test_music21_reads_every_stroke(made) -> None:
    """music21 finds percussion clefs and unpitched notes, each at its onset, in the parts of their instruments."""
    from music21 import clef, converter, note

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it has no class for every key of the percussion map
        score = converter.parseData(made[1], format="musicxml")
    wanted = strokes(made[0])
    found = {}
    for part in score.parts:
        name = part.partName[:1].lower() + part.partName[1:]
        if name not in wanted:
            continue
        flat = part.flatten()
        assert isinstance(flat.getElementsByClass(clef.Clef)[0], clef.PercussionClef)
        assert all(isinstance(one, note.Unpitched) for one in flat.notes)
        found[name] = {round(float(one.offset), 4) for one in flat.notes if not _continues(one)}
        keys = {one.percMapPitch for one in part.getInstruments() if getattr(one, "percMapPitch", None)}
        assert not keys or keys == {player_key(made[0], name)}
    assert found == wanted
    assert all(wanted.values())


def _continues(note) -> bool:
    """Whether a note is tied to one before it."""
    return note.tie is not None and note.tie.type in ("stop", "continue")


def player_key(arrangement, name: str) -> int:
    """Key of a player without pitch."""
    return next(one.player.instrument.unpitched.key for one in arrangement.parts if one.player.name == name)


def test_verovio_draws_and_plays_every_stroke(made, capfd: pytest.CaptureFixture[str]) -> None:
    """verovio draws the score without a word, percussion clefs among it, and its own MIDI has the strokes."""
    import verovio

    kit = verovio.toolkit()
    assert kit.loadData(made[1])
    pages = "".join(kit.renderToSVG(page) for page in range(1, kit.getPageCount() + 1))
    assert "E069" in pages  # unpitchedPercussionClef1 of SMuFL
    noise = capfd.readouterr()
    assert "arning" not in noise.err + noise.out, noise.err
    file = mido.MidiFile(file=io.BytesIO(base64.b64decode(kit.renderToMIDI())))
    onsets = {name: set() for name in strokes(made[0])}
    for track in file.tracks:
        now, name = 0, track.name[:1].lower() + track.name[1:]
        for message in track:
            now += message.time
            if name in onsets and message.type == "note_on" and message.velocity:
                onsets[name].add(round(now / file.ticks_per_beat, 1))
    for name, wanted in strokes(made[0]).items():
        assert onsets[name] >= {round(one, 1) for one in wanted}, name


def test_elements_stand_in_the_schemas_order(made) -> None:
    """Attributes and notes of one-line staves keep the order of MusicXML 4.0, ``staff-details`` after the clef."""
    note = (
        *("grace", "chord", "rest", "pitch", "unpitched", "duration", "tie", "voice", "type", "dot", "accidental"),
        *("time-modification", "staff", "beam", "notations"),
    )
    attributes = ("divisions", "key", "time", "staves", "clef", "staff-details", "transpose")
    root = ET.fromstring(made[1].encode())
    for tag, order in (("note", note), ("attributes", attributes)):
        for element in root.iter(tag):
            places = [order.index(child.tag) for child in element]
            assert places == sorted(places)
    for element in root.iter("unpitched"):
        assert [(child.tag, child.text) for child in element] == [("display-step", "E"), ("display-octave", "4")]
    for element in root.iter("midi-unpitched"):
        assert 1 <= int(element.text) <= 128


def test_pretty_midi_hears_the_drums_by_name(made) -> None:
    """pretty_midi takes the tracks for drums, and General MIDI's names of their keys are the instruments meant."""
    import pretty_midi

    file = pretty_midi.PrettyMIDI(io.BytesIO(midi_bytes(made[0])))
    drums = {one.name: {note.pitch for note in one.notes} for one in file.instruments if one.is_drum}
    assert {
        name: {pretty_midi.note_number_to_drum_name(key) for key in keys} for name, keys in drums.items()
    } == {
        "bass drum": {"Acoustic Bass Drum"}, "cymbals": {"Crash Cymbal 1"}, "suspended cymbal": {"Crash Cymbal 2"},
        "snare drum": {"Acoustic Snare"}, "triangle": {"Open Triangle"}, "tambourine": {"Tambourine"},
    }  # fmt: skip
    for one in file.instruments:
        if one.is_drum:
            notes = next(part.notes for part in made[0].parts if part.player.name == one.name)
            rolled = (notes["technique"] == TECHNIQUES.index("roll")).any()
            assert len(one.notes) == len(notes) or rolled


PEAKS_W = {"bass drum": 25.0, "snare drum": 12.0, "cymbals": 10.0, "triangle": 0.05}
TROMBONE_W = 6.0


@pytest.mark.parametrize("name", PEAKS_W)
def test_loudest_levels_lie_as_far_apart_as_the_published_peaks(name) -> None:
    """At ff each instrument differs from the trombone as their published peak powers do, within half a decibel."""
    apart_db = 10.0 * np.log10(PEAKS_W[name] / TROMBONE_W)
    assert power_db(name, 7.0) - power_db("trombone", 7.0) == pytest.approx(apart_db, abs=0.5)
    assert instrument_of(name) == name
    assert POWER[name].sure == "peaks"


def test_percussion_in_fortissimo_overpowers_a_tutti() -> None:
    """Bass drum, cymbals, tam-tam and snare drum in ff have the power of a classical tutti in ff, as the book says."""
    struck = ("bass drum", "cymbals", "tam-tam", "snare drum")
    tutti = [(instrument_of(one.instrument.name), one.count) for one in players_of("classical full")]
    noise, music = (
        10.0 * np.log10(sum(10.0 ** (power_db(name, 7.0, count=count) / 10.0) for name, count in group))
        for group in ([(name, 1) for name in struck], tutti)
    )
    assert noise > music - 1.0
