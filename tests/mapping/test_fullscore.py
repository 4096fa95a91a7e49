"""The full score: what music21 and verovio read back is what the arrangement holds."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mapping import arrange_all, load_spec, piano
from mapping.arrangement import PART_DTYPE, TECHNIQUES, Arrangement, Part
from mapping.fullscore import score_xml, write_score
from mapping.fullscore_pitch import Transposition, clefs_by_bar
from mapping.fullscore_rhythm import Event, beamed, written
from mapping.fullscore_strokes import abbreviated
from mapping.instruments import instrument
from mapping.orchestra import player
from mapping.spelling import spell
from reading.score import TICKS_PER_QUARTER

Q = TICKS_PER_QUARTER
PLAIN = [
    "{play: melody, on: [clarinet 1, horn 1]}",
    "{play: accompaniment, on: [violins 2, violas, cellos, basses]}",
    "{play: bass, on: [cellos, basses, bassoon 1], share: divide}",
]


def heads(xml: str) -> list[Counter]:
    """(onset in quarters, sounding pitch) of every struck note, by part, as music21 reads the score."""
    from music21 import converter

    score = converter.parseData(xml, format="musicxml").toSoundingPitch()
    found = []
    for part in score.parts:
        count: Counter = Counter()
        for element in part.flatten().notes:
            for note in element.notes if element.isChord else [element]:
                if note.tie is None or note.tie.type == "start":
                    count[round(float(element.offset), 4), note.pitch.midi] += 1
        found.append(count)
    return found


def wanted(arrangement) -> list[Counter]:
    """The same from the arrangement; a run of tremolo attacks is one note with strokes."""
    return [
        Counter((round(int(note["onset"]) / Q, 4), int(note["pitch"])) for note in abbreviated(part).notes)
        for part in arrangement.parts
    ]


@pytest.mark.parametrize("name", ["mazurka", "opus 19"])
def test_music21_reads_back_every_sounding_note(name: str, variants) -> None:
    """Onsets and sounding pitches of every part, clarinets, horns and basses too, survive writing and reading."""
    arrangement = variants(name, {"a": PLAIN}, "classical full")["a"]
    assert heads(score_xml(arrangement)) == wanted(arrangement)


def test_a_full_demo_variant_reads_back(piece) -> None:
    """The same holds for the demo's richest variant, with held notes, accents and refigured accompaniment."""
    score, layers = piece("demo")
    spec = load_spec(Path(__file__).parents[2] / "demo/weathercock.yaml")
    (arrangement,) = arrange_all(score, layers, spec, ["full daylight"])
    assert heads(score_xml(arrangement)) == wanted(arrangement)


def test_a_run_of_tremolo_attacks_is_one_note_with_strokes(variants) -> None:
    """A figure refigured as tremolo is written with one head per pitch and bar at most, covering the same time."""
    (made,) = variants(
        "sonata",
        {"a": [*PLAIN, "{refigure: accompaniment, on: [violins 2, violas], as: tremolo, bars: 1-4}"]},
    ).values()
    for part in made.parts:
        found = abbreviated(part).notes
        bowed = found["technique"] == TECHNIQUES.index("tremolo")
        assert int(found["duration"].sum()) == int(part.notes["duration"].sum())
        assert set(zip(found["pitch"].tolist(), found["onset"].tolist(), strict=True)) <= set(
            zip(part.notes["pitch"].tolist(), part.notes["onset"].tolist(), strict=True)
        )
        for note in found[bowed]:
            follows = bowed & (found["onset"] == note["onset"] + note["duration"]) & (found["bar"] == note["bar"])
            assert int(note["pitch"]) not in found["pitch"][follows].tolist()
    assert any(len(abbreviated(part).notes) < len(part.notes) for part in made.parts)
    assert '<tremolo type="single">3</tremolo>' in score_xml(made)


def test_added_notes_follow_a_swell_with_a_hairpin(variants) -> None:
    """Filling voices that grow through the piano's crescendo have a hairpin there and no step of dynamics inside it."""
    made = variants("demo", {"a": [*PLAIN, "{fill: gap, on: [clarinet 2, horn 2], bars: 37-40}"]})["a"]
    root = ET.fromstring(score_xml(made, players=("clarinet 2",)).encode())
    bars = root.findall("part/measure")
    wedges = [(bar.get("number"), one.get("type")) for bar in bars for one in bar.iter("wedge")]
    assert wedges == [("37", "crescendo"), ("40", "stop")]
    assert not [bar.get("number") for bar in bars[37:40] if bar.find(".//dynamics") is not None]


def test_the_piano_itself_is_written_on_two_staves(piece) -> None:
    """The piano as an arrangement reads back whole, on a brace of two staves."""
    score, _ = piece("polonaise")
    xml = score_xml(piano(score))
    assert "<staves>2</staves>" in xml
    root = ET.fromstring(xml.encode())
    staves = Counter(element.text for element in root.iter("staff"))
    assert set(staves) == {"1", "2"}
    struck = [note for note in root.iter("note") if note.find("pitch") is not None]
    stops = [tie for tie in root.iter("tie") if tie.get("type") == "stop"]
    assert len(struck) - len(stops) == len(score.notes)


@pytest.mark.parametrize("name", ["demo", "mazurka", "solfeggio", "rag"])
def test_every_bar_of_every_voice_is_full(name: str, variants) -> None:
    """In each bar the voices' durations add up to the bar, whatever tuplets, ties and silences they hold."""
    arrangement = variants(name, {"a": PLAIN})["a"]
    root = ET.fromstring(score_xml(arrangement).encode())
    lengths = arrangement.score.bars["duration"].tolist()
    for part in root.iter("part"):
        for measure, length in zip(part.iter("measure"), lengths, strict=True):
            now = furthest = 0
            for element in measure:
                duration = int(element.findtext("duration") or 0)
                if element.tag == "backup":
                    assert now == length
                    now -= duration
                elif element.tag in ("note", "forward") and element.find("chord") is None:
                    now += duration
                furthest = max(furthest, now)
            assert now == furthest == length


def test_verovio_draws_it_without_a_warning(piece, capfd: pytest.CaptureFixture[str]) -> None:
    """verovio loads a demo variant, draws all pages and has nothing to say about it."""
    import verovio

    score, layers = piece("demo")
    spec = load_spec(Path(__file__).parents[2] / "demo/weathercock.yaml")
    arrangement = arrange_all(score, layers, spec)[-1]
    kit = verovio.toolkit()
    assert kit.loadData(score_xml(arrangement))
    assert kit.getPageCount() >= 3
    pages = "".join(kit.renderToSVG(page) for page in range(1, kit.getPageCount() + 1))
    assert pages.count('class="note"') > 1000
    noise = capfd.readouterr()
    assert "arning" not in noise.err + noise.out, noise.err
    assert "rror" not in noise.err + noise.out, noise.err


def test_parts_stand_in_score_order_with_brackets(variants) -> None:
    """Families come in score order, each bracketed; the keys stand transposed: B flat clarinets two fifths sharper."""
    root = ET.fromstring(score_xml(variants("demo", {"a": PLAIN})["a"]).encode())
    names = [element.text for element in root.iter("part-name")]
    assert names[0] == "Flute 1"
    assert (
        names.index("Clarinet 1 in B♭") < names.index("Horn 1 in F") < names.index("Timpani") < names.index("Violins 1")
    )
    assert names[-1] == "Basses"
    symbols = [element.text for element in root.iter("group-symbol")]
    assert symbols.count("bracket") == 3
    groups = list(root.iter("part-group"))
    assert len([g for g in groups if g.get("type") == "start"]) == len([g for g in groups if g.get("type") == "stop"])
    fifths = {part.get("id"): int(part.findtext("measure/attributes/key/fifths")) for part in root.iter("part")}
    by_name = dict(zip(names, fifths.values(), strict=True))
    assert by_name["Clarinet 1 in B♭"] == by_name["Flute 1"] + 2
    assert by_name["Horn 1 in F"] == by_name["Flute 1"] + 1


def test_sections_divide_and_join_again(variants) -> None:
    """A section with chords is marked ``div.`` where they begin and ``unis.`` after them; solo players never are."""
    steps = ["{play: melody, on: [violins 1, flute 1]}", "{play: all, on: violins 1, bars: 5-8}"]
    root = ET.fromstring(score_xml(variants("demo", {"a": steps})["a"]).encode())
    names = [element.text for element in root.iter("part-name")]
    words = {}
    for name, part in zip(names, root.iter("part"), strict=True):
        words[name] = [
            (measure.get("number"), element.text)
            for measure in part.iter("measure")
            for element in measure.iter("words")
            if element.text in ("div.", "unis.")
        ]
    assert words["Violins 1"][0] == ("5", "div.")
    assert ("9", "unis.") in words["Violins 1"]
    assert words["Flute 1"] == []


def test_a_part_for_the_stand_holds_one_player(tmp_path: Path, variants) -> None:
    """A single part can be written instead of the score, with the tempo on it."""
    path = tmp_path / "viola.musicxml"
    write_score(variants("demo", {"a": PLAIN})["a"], path, players=("violas",))
    root = ET.fromstring(path.read_bytes())
    assert [element.text for element in root.iter("part-name")] == ["Violas"]
    assert root.find(".//metronome") is not None


@pytest.mark.parametrize(
    ("name", "sounding", "fifths", "written_note"),
    [  # standard transpositions: common practice; names as (pitch, step, octave) to (step, alter, octave)
        ("clarinet", (60, 0, 4), 0, (1, 0, 4)),  # C4 is written D4
        ("horn", (53, 3, 3), 0, (0, 0, 4)),  # F3 is written C4
        ("double bass", (36, 0, 2), 0, (0, 0, 3)),  # C2 is written C3
        ("clarinet", (61, 0, 4), 7, (2, -1, 4)),  # C♯ in C♯ major: the part stands in E♭ major, not in D♯
        ("piccolo", (84, 0, 6), 0, (0, 0, 5)),
    ],
)
def test_written_pitch_follows_the_transposition(name, sounding, fifths, written_note) -> None:
    """Notes are written where the instrument's transposition puts them, in a key a player would be given."""
    transposition = Transposition.of(instrument(name), fifths)
    assert transposition.written(*sounding) == written_note
    assert abs(transposition.fifths) <= 6


@pytest.mark.parametrize(
    ("events", "beat", "expected"),
    [
        ([(0, 4 * Q)], Q, [("whole", 0)]),
        ([(0, 3 * Q), (3 * Q, Q)], Q, [("half", 1), ("quarter", 0)]),
        ([(0, Q // 2), (Q // 2, Q), (3 * Q // 2, Q // 2)], Q, [("eighth", 0), ("quarter", 0), ("eighth", 0)]),
        ([(0, Q // 3), (Q // 3, Q // 3), (2 * Q // 3, Q // 3)], Q, [("eighth", 0)] * 3),
        (
            [(0, 2 * Q // 5)] + [(2 * Q // 5 + n * Q // 5, Q // 5) for n in range(3)],
            Q,
            [("eighth", 0)] + [("16th", 0)] * 3,
        ),
        ([(0, 3 * Q // 4), (3 * Q // 4, Q // 4)], Q, [("eighth", 1), ("16th", 0)]),
        ([(0, 5 * Q // 4)], Q, [("quarter", 0), ("16th", 0)]),
        ([(Q // 2, 2 * Q)], Q, [("eighth", 0), ("quarter", 1)]),
        ([(0, 9 * Q // 2)], 3 * Q // 2, [("half", 1), ("quarter", 1)]),
    ],
)
def test_note_values_show_the_beats(events, beat, expected) -> None:
    """Lengths become note values that a player counts: dots, ties at the beat, tuplets."""
    glyphs = written([Event(start, length, (0,)) for start, length in events], beat)
    assert [(glyph.kind, glyph.dots) for glyph in glyphs] == expected
    assert sum(glyph.length for glyph in glyphs) == sum(length for _, length in events)


def test_beams_join_the_notes_of_a_beat() -> None:
    """Two sixteenths and an eighth share a beam; the sixteenths share a second; a rest breaks it."""
    events = [Event(0, Q // 4, (0,)), Event(Q // 4, Q // 4, (0,)), Event(Q // 2, Q // 2, (0,)), Event(Q, Q // 2, (0,))]
    glyphs = written([*events, Event(3 * Q // 2, Q // 2)], Q)
    beamed(glyphs, Q)
    assert [glyph.beams for glyph in glyphs] == [("begin", "begin"), ("continue", "end"), ("end",), (), ()]


def test_clefs_change_only_where_it_pays() -> None:
    """A cello stays in the bass clef for one high note, and changes for a high passage."""
    low, high = [15, 16, 15, 18], [32, 33, 34, 33, 32, 34]
    assert set(clefs_by_bar([low, [30], low], ("bass", "tenor", "treble"))) == {"bass"}
    found = clefs_by_bar([low, high, high, high, low], ("bass", "tenor", "treble"))
    assert found[0] == found[4] == "bass"
    assert "bass" not in found[1:4]


@settings(max_examples=60)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 56 * 4 * 24 - 1),  # onset in 24ths of a quarter
            st.integers(1, 200),
            st.integers(60, 96),
            st.sampled_from([420, 360, 504]),  # what a unit is: 24ths, 28ths (sevens), 20ths (fives)
        ),
        min_size=1,
        max_size=30,
    )
)
def test_any_rhythm_is_written_whole(piece, rows: list[tuple[int, int, int, int]]) -> None:
    """Whatever overlaps, crosses bars or mixes threes, fives and sevens: bars are full, no sounding time is lost."""
    score, _ = piece("demo")
    notes = np.zeros(len(rows), PART_DTYPE)
    for row, (onset, length, pitch, unit) in enumerate(rows):
        start = min(onset * unit, score.end - unit)
        notes[row]["onset"], notes[row]["duration"] = start, min(length * unit, score.end - start)
        notes[row]["pitch"] = pitch
        notes[row]["step"], notes[row]["alter"], notes[row]["octave"] = spell(pitch, 0)
        notes[row]["bar"] = score.bar_at(start)
    notes["source"], notes["dynamic"], notes["voice"], notes["staff"] = -1, -1, 1, 1
    notes = notes[np.lexsort((notes["pitch"], notes["onset"]))]
    part = Part(player("flute 1"), notes)
    root = ET.fromstring(score_xml(Arrangement("a", "", score, (part,))).encode())
    written_ticks = 0
    for measure, length in zip(root.iter("measure"), score.bars["duration"].tolist(), strict=True):
        now = 0
        for element in measure:
            duration = int(element.findtext("duration") or 0)
            written_ticks += duration if element.find("pitch") is not None else 0
            if element.tag == "backup":
                assert now == length
                now = 0
            elif element.tag in ("note", "forward") and element.find("chord") is None:
                now += duration
        assert now == length
    assert written_ticks == int(notes["duration"].sum())


def test_text_that_xml_cannot_hold_is_cleaned(piece) -> None:
    """Control signs, angle brackets and quotes in a title leave the file well formed, the words readable."""
    score, _ = piece("opus 19")
    odd = replace(score, title='a <b> & "c"\x00\x0b', composer="\ud800x")
    root = ET.fromstring(score_xml(piano(odd)).encode())
    assert root.findtext("work/work-title") == 'a <b> & "c"'
    assert root.findtext("identification/creator") == "x"
