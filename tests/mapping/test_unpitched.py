"""Percussion without pitch: what steps give it, what the counts and checks make of it, how it is written down."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree as ET

import mido
import numpy as np
import pytest

from base.errors import SpecError
from mapping import check, faithfulness, load_spec, reduced
from mapping.arrangement import TECHNIQUES
from mapping.checks.percussion import USUAL
from mapping.fullscore import score_xml
from mapping.instruments import instrument
from mapping.midi import midi_bytes
from reading import read
from reading.accents import accents
from reading.layers import select
from reading.score import TICKS_PER_QUARTER, Flag

Q = TICKS_PER_QUARTER
BAND = "{use: classical full, add: [bass drum, cymbals, suspended cymbal, snare drum, triangle, tambourine, tam-tam]}"
PLAIN = [
    "{play: melody, on: violins 1}",
    "{play: accompaniment, on: [violins 2, violas]}",
    "{play: bass, on: [cellos, basses 8vb]}",
]
STRUCK = [
    *PLAIN,
    "{stress: accents, on: [trumpet 1, cymbals, bass drum]}",
    "{double: accompaniment, on: tambourine, bars: 1-16}",
    "{build: all, on: suspended cymbal, bars: 5-8}",
    "{stress: notes, on: tam-tam, bars: 9, beats: 1}",
]
ROLL = TECHNIQUES.index("roll")


def part(arrangement, name: str) -> np.ndarray:
    """Notes of one player."""
    return next(one.notes for one in arrangement.parts if one.player.name == name)


@pytest.fixture(scope="module")
def struck(tmp_path_factory):
    """The demo with strokes on accents, a rhythm, a roll; and without them."""
    from mapping import arrange_all
    from reading import find_layers

    path = tmp_path_factory.mktemp("struck") / "spec.yaml"
    lines = {"plain": PLAIN, "struck": STRUCK}
    steps = "".join(
        f"  {name}:\n    steps:\n" + "".join(f"      - {one}\n" for one in own) for name, own in lines.items()
    )
    path.write_text(f"piece: {{score: x}}\norchestra: {BAND}\nvariants:\n{steps}")
    score = read(Path(__file__).parents[2] / "demo/weathercock.musicxml")
    layers = find_layers(score)
    made = arrange_all(score, layers, load_spec(path))
    return {one.variant: one for one in made}, layers


# ---------------------------------------------------------------- steps


def test_a_layer_gives_its_rhythm(variants, piece) -> None:
    """``play`` gives one stroke for each attack of the layer, and takes nothing from the players named beside it."""
    score, layers = piece("demo")
    made = variants(
        "demo",
        {
            "with": ["{play: accompaniment, on: [violins 2, violas, tambourine]}"],
            "without": ["{play: accompaniment, on: [violins 2, violas]}"],
        },
        BAND,
    )
    notes = score.notes[select(layers, score, "accompaniment")]
    main = notes[(notes["duration"] > 0) & ((notes["flags"] & int(Flag.GRACE | Flag.CUE)) == 0)]
    strokes = part(made["with"], "tambourine")
    assert strokes["onset"].tolist() == np.unique(main["onset"]).tolist()
    assert set(strokes["pitch"].tolist()) == {54}
    for name in ("violins 2", "violas"):
        assert np.array_equal(part(made["with"], name), part(made["without"], name))


def test_double_takes_the_rhythm_of_notes_within_the_compass(variants, piece) -> None:
    """``compass`` chooses the notes whose rhythm is doubled; ``at`` moves no stroke."""
    score, layers = piece("demo")
    step = "{double: melody, on: triangle, at: 8va, compass: C5-C7}"
    strokes = part(variants("demo", {"a": [step]}, BAND)["a"], "triangle")
    tune = score.notes[select(layers, score, "melody")]
    high = tune[(tune["pitch"] >= 72) & (tune["pitch"] <= 96) & (tune["duration"] > 0)]
    assert strokes["onset"].tolist() == np.unique(high["onset"][(high["flags"] & int(Flag.GRACE)) == 0]).tolist()


def test_an_accent_is_one_stroke_left_ringing_or_dry(variants, piece) -> None:
    """Each accent is one stroke with its sign: as long as the chord where it rings, at most a beat if secco."""
    score, _ = piece("demo")
    made = variants(
        "demo",
        {
            "rings": ["{stress: accents, on: [cymbals, tambourine]}"],
            "dry": ["{stress: accents, on: cymbals, how: secco}"],
        },
        BAND,
    )
    found = {one.onset for one in accents(score) if one.marked or one.strength >= 0.35}
    rings, dry = part(made["rings"], "cymbals"), part(made["dry"], "cymbals")
    assert set(rings["onset"].tolist()) == set(dry["onset"].tolist()) == found
    assert np.all(rings["flags"] & int(Flag.ACCENT))
    assert rings["duration"].max() > Q >= dry["duration"].max()
    assert part(made["rings"], "tambourine")["duration"].max() <= Q
    assert {TECHNIQUES[way] for way in dry["technique"].tolist()} == {"secco"}


def test_strokes_leave_the_chord_of_the_others_alone(variants) -> None:
    """Percussion beside trumpets changes nothing of the chord that the trumpets strike."""
    made = variants(
        "demo",
        {
            "with": ["{stress: accents, on: [trumpet 1, trumpet 2, bass drum]}"],
            "without": ["{stress: accents, on: [trumpet 1, trumpet 2]}"],
        },
        BAND,
    )
    for name in ("trumpet 1", "trumpet 2"):
        assert np.array_equal(part(made["with"], name), part(made["without"], name))


def test_a_crescendo_is_one_roll(variants, piece) -> None:
    """``build`` rolls from the player's entry to the end of the bars, on the piano's dynamics."""
    score, _ = piece("demo")
    made = variants("demo", {"a": ["{build: all, on: [violins 1, suspended cymbal], bars: 5-8}"]}, BAND)["a"]
    (roll,) = part(made, "suspended cymbal")
    assert (int(roll["onset"]), int(roll["onset"] + roll["duration"])) == score.span(7, 8)
    assert (int(roll["technique"]), int(roll["dynamic"])) == (ROLL, -1)
    assert len(part(made, "violins 1"))


def test_one_thing_at_a_time(variants) -> None:
    """Strokes at one moment become one, and a roll pauses for a stroke: no two notes of a player overlap."""
    steps = [
        "{play: bass, on: bass drum}",
        "{stress: accents, on: bass drum}",
        "{build: all, on: bass drum, bars: 17-24}",
    ]
    notes = part(variants("demo", {"a": steps}, BAND)["a"], "bass drum")
    assert (np.diff(notes["onset"]) > 0).all()
    assert (notes["onset"][:-1] + notes["duration"][:-1] <= notes["onset"][1:]).all()
    assert {0, ROLL} == set(notes["technique"].tolist())


def test_syncopated_strokes_need_no_tie(variants) -> None:
    """A stroke ends at the bar line at the latest, and off the beat at the next beat: a rag's rhythm has no ties."""
    made = variants("rag", {"a": ["{play: melody, on: [triangle, snare drum]}"]}, BAND)["a"]
    for name in ("triangle", "snare drum"):
        assert len(part(made, name)) > 100
        assert "<tie " not in score_xml(made, players=(name,))


@pytest.mark.parametrize(
    ("step", "says"),
    [
        ("{hold: harmony, on: triangle}", "'hold' asks for pitches"),
        ("{fill: gap, on: [horn 1, tam-tam]}", "'fill' asks for pitches"),
        ("{refigure: accompaniment, on: snare drum, as: held}", "'refigure' asks for pitches"),
        ("{build: all, on: cymbals}", "the cymbals cannot be rolled. Name the suspended cymbal"),
        ("{play: bass, on: cymbals, how: roll}", "cannot be rolled"),
        ("{stress: accents, on: bass drum, how: pizzicato}", "no 'pizzicato' on the bass drum"),
        ("{play: bass, on: bass drum 8vb}", "no octave on the bass drum"),
        ("{build: all, on: bass drum, how: secco}", "cannot be secco"),
    ],
)
def test_what_strokes_cannot_do_is_refused(tmp_path, step, says) -> None:
    """A step that asks a player without pitch for pitches, octaves or a way it has not is refused with its line."""
    path = tmp_path / "spec.yaml"
    path.write_text(f"piece: {{score: x}}\norchestra: {BAND}\nvariants:\n  a:\n    steps:\n      - {step}\n")
    with pytest.raises(SpecError, match=re.escape(says)) as caught:
        load_spec(path)
    assert ":6:" in str(caught.value)


def test_the_steps_of_the_guide_run(variants) -> None:
    """The steps printed in docs/spec.md under "Percussion without pitch" are valid and give strokes."""
    text = (Path(__file__).parents[2] / "docs/spec.md").read_text().split("## Percussion without pitch")[1]
    steps = re.findall(r"^    - (\{.*?\})", text, flags=re.M)
    made = variants("demo", {"a": steps}, BAND)["a"]
    assert len(steps) == 5
    for name in ("bass drum", "cymbals", "suspended cymbal", "tambourine", "snare drum"):
        assert len(part(made, name))


# ---------------------------------------------------------------- counts and checks


def test_strokes_belong_to_no_melody_bass_or_harmony(struck) -> None:
    """Faithfulness and reduction are those of the same variant without its percussion; momentum is not lowered."""
    found, layers = struck
    silent = replace(
        found["struck"],
        parts=tuple(one for one in found["struck"].parts if one.player.instrument.unpitched is None),
    )
    with_it, without = faithfulness(found["struck"], layers), faithfulness(silent, layers)
    for name in ("melody", "bass", "harmony", "register"):
        assert getattr(with_it, name) == getattr(without, name)
    assert with_it.momentum.value >= without.momentum.value
    ours, theirs = (reduced(one).arrangement.parts[0].notes for one in (found["struck"], silent))
    assert np.array_equal(
        ours[["onset", "pitch", "duration", "staff"]], theirs[["onset", "pitch", "duration", "staff"]]
    )


def test_strokes_may_keep_the_momentum(variants, piece) -> None:
    """Where nobody else strikes them, a drum keeps the piano's onsets, and none of its strokes counts as added."""
    _, layers = piece("demo")
    made = variants(
        "demo",
        {"without": ["{play: bass, on: cellos}"], "with": ["{play: bass, on: cellos}", "{play: all, on: snare drum}"]},
        BAND,
    )
    less, more = (faithfulness(made[name], layers).momentum for name in ("without", "with"))
    assert less.value < 0.7
    assert more.value > 0.97
    assert not any("added" in one.what for one in more.departures)


def test_strokes_bury_no_tune_and_lie_in_no_wrong_range(struck) -> None:
    """Remarks about range, balance and texture are those of the variant without its percussion."""
    found, layers = struck
    kinds = {"range", "comfort", "balance", "low interval", "empty middle", "notes at once", "crossing"}
    silent = replace(
        found["struck"],
        parts=tuple(one for one in found["struck"].parts if one.player.instrument.unpitched is None),
    )
    ours, theirs = ([one for one in check(made, layers) if one.kind in kinds] for made in (found["struck"], silent))
    assert ours == theirs
    assert ours


@pytest.mark.parametrize(
    ("steps", "says"),
    [
        (["{stress: notes, on: bass drum, bars: 9}"], ""),
        (["{stress: notes, on: [bass drum, cymbals], bars: 9, beats: 1}"], "two players: .* play together"),
        (["{stress: notes, on: bass drum, bars: 9, beats: 1}", "{stress: notes, on: triangle, bars: 9, beats: 2}"],
         r"two players: \d\.\d s to change from the bass drum to the triangle, which takes about 3 s"),
        (["{stress: notes, on: bass drum, bars: 9, beats: 1}", "{stress: notes, on: triangle, bars: 20}"], ""),
    ],
)  # fmt: skip
def test_percussionists_are_counted(variants, steps, says) -> None:
    """One percussionist plays one instrument at a time and needs time to change (times from memory)."""
    found = [one for one in check(variants("demo", {"a": steps}, BAND)["a"]) if one.kind == "percussion"]
    assert bool(found) == bool(says)
    assert not says or re.search(says, found[0].message)


def test_more_than_a_usual_section_is_said(variants) -> None:
    """Four instruments at once are one more than the three players usual beside the timpanist (common practice)."""
    step = "{stress: notes, on: [bass drum, cymbals, triangle, tam-tam, timpani], bars: 9, beats: 1}"
    found = [one for one in check(variants("demo", {"a": [step]}, BAND)["a"]) if one.kind == "percussion"]
    assert USUAL == 3
    assert [("four players" in one.message, "3 players are usual" in one.message) for one in found] == [
        (True, False), (False, True),
    ]  # fmt: skip


def test_a_drum_repeats_and_does_not_tongue(variants) -> None:
    """Strokes faster than a player's hands are remarked on in a percussionist's words."""
    made = variants("solfeggio", {"a": ["{play: all, on: [cymbals, snare drum]}"]}, BAND)["a"]
    found = next(one for one in check(made) if one.kind == "speed" and one.player == "cymbals")
    assert "the cymbals repeat about 4" in found.message
    assert "slur" not in found.remedy


# ---------------------------------------------------------------- files


def test_midi_has_the_strokes_on_channel_ten(struck) -> None:
    """Every stroke is in its player's track on channel 10 with the instrument's key at the score's tick; no program."""
    found, _ = struck
    file = mido.MidiFile(file=io.BytesIO(midi_bytes(found["struck"])))
    for one, track in zip(found["struck"].parts, file.tracks[1:], strict=True):
        item = one.player.instrument.unpitched
        if item is None:
            assert not any(getattr(message, "channel", 0) == 9 for message in track)
            continue
        now, onsets = 0, []
        for message in track:
            now += message.time
            if message.type == "note_on":
                assert (message.channel, message.note) == (9, item.key)
                onsets.append(now * Q // file.ticks_per_beat)
            assert message.type != "program_change"
        single = one.notes["onset"][one.notes["technique"] != ROLL].tolist()
        assert set(single) <= set(onsets)
        assert len(onsets) == len(single) or ROLL in one.notes["technique"]


def test_a_roll_grows_in_the_midi_file(variants, piece) -> None:
    """A roll is written out in 32nds from its start to its end, each as loud as the hairpin has it."""
    score, _ = piece("demo")
    made = variants("demo", {"a": ["{build: all, on: suspended cymbal, bars: 37-40}"]}, BAND)["a"]
    file = mido.MidiFile(file=io.BytesIO(midi_bytes(made)))
    track = next(one for one in file.tracks if one.name == "suspended cymbal")
    now, found = 0, []
    for message in track:
        now += message.time
        if message.type == "note_on":
            found.append((now * Q // file.ticks_per_beat, message.velocity))
    start, end = score.span(37, 40)
    assert [onset for onset, _ in found] == list(range(start, end, Q // 8))
    loud = [velocity for _, velocity in found]
    assert loud[-1] > loud[0] + 10
    assert all(a <= b for a, b in pairwise(loud))


def test_strokes_are_written_without_pitch(struck) -> None:
    """MusicXML 4.0: percussion clef, one line, ``unpitched`` notes, no key, channel 10 with the key counted from 1."""
    root = ET.fromstring(score_xml(struck[0]["struck"]).encode())
    names = {one.get("id"): one for one in root.iter("score-part")}
    seen = 0
    for one in root.iter("part"):
        listed = names[one.get("id")]
        item = instrument(listed.findtext("score-instrument/instrument-name")).unpitched
        assert (one.find(".//unpitched") is None) or item is not None
        if item is None:
            continue
        seen += 1
        first = one.find("measure/attributes")
        assert first.findtext("clef/sign") == "percussion"
        assert first.findtext("staff-details/staff-lines") == "1"
        assert first.find("key") is None
        assert listed.findtext("midi-instrument/midi-channel") == "10"
        assert listed.findtext("midi-instrument/midi-unpitched") == str(item.key + 1)
        assert one.find(".//pitch") is None
        assert one.find(".//accidental") is None
    assert seen == 7


def test_percussion_stands_under_the_timpani(struck) -> None:
    """Timpani, then percussion from the high to the low as Rimsky-Korsakov lists it (ch. I), then strings."""
    root = ET.fromstring(score_xml(struck[0]["struck"]).encode())
    names = [one.text for one in root.iter("part-name")]
    wanted = ["Timpani", "Triangle", "Tambourine", "Snare drum", "Cymbals", "Suspended cymbal", "Bass drum", "Tam-tam"]
    assert names[names.index("Timpani") : names.index("Violins 1")] == wanted


def test_our_reader_keeps_every_stroke(struck, tmp_path) -> None:
    """Read again, each stroke of the full score is a mark with its onset, end, roll and accent; none is lost."""
    made = struck[0]["struck"]
    path = tmp_path / "struck.musicxml"
    path.write_text(score_xml(made))
    again = read(path)
    marks = [mark for mark in again.marks if mark.kind == "stroke"]
    for row, one in enumerate(made.parts):
        if one.player.instrument.unpitched is None:
            continue
        found = {(m.onset, m.end, "roll" in m.value, "accent" in m.value) for m in marks if m.part == row}
        assert found == {
            (
                int(n["onset"]),
                int(n["onset"] + n["duration"]),
                int(n["technique"]) == ROLL,
                bool(n["flags"] & Flag.ACCENT),
            )
            for n in one.notes
        }
    pitched = sum(len(one.notes) for one in made.parts if one.player.instrument.unpitched is None)
    assert len(again.notes) == pitched
    assert any(remark.kind == "unpitched" for remark in again.not_carried)


def test_dry_and_ringing_strokes_are_told_in_words(variants) -> None:
    """``secco`` stands where strokes are damped; ``l.v.`` where one rings into silence, and nowhere on a dry drum."""
    steps = [
        "{stress: notes, on: [cymbals, tambourine], bars: 9, beats: 1}",
        "{stress: notes, on: cymbals, bars: 12, beats: 1, how: secco}",
    ]
    made = variants("demo", {"a": steps}, BAND)["a"]
    words = {}
    for name in ("cymbals", "tambourine"):
        root = ET.fromstring(score_xml(made, players=(name,)).encode())
        words[name] = [
            (bar.get("number"), one.text)
            for bar in root.iter("measure")
            for one in bar.iter("words")
            if one.text in ("secco", "l.v.")
        ]
    assert words == {"cymbals": [("9", "l.v."), ("12", "secco")], "tambourine": []}


def test_strokes_are_not_slurred_and_a_roll_is_not_left_ringing(variants) -> None:
    """The piano's slurs go to the violins and not to the triangle; ``l.v.`` stands at no roll."""
    steps = ["{play: melody, on: [violins 1, triangle], bars: 9-12}", "{build: all, on: suspended cymbal, bars: 5-8}"]
    made = variants("demo", {"a": steps}, BAND)["a"]
    bound = {name: score_xml(made, players=(name,)).count("<slur ") for name in ("violins 1", "triangle")}
    assert bound["violins 1"] > 0
    assert bound["triangle"] == 0
    roll = score_xml(made, players=("suspended cymbal",))
    assert roll.count('<tremolo type="single">3</tremolo>') == 4
    assert "l.v." not in roll
