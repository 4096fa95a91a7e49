"""What each orchestral player finds in the written part of the piano's signs: carried, transposed, or told."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pytest

import reading
from mapping.arrangement import PART_DTYPE, Arrangement, Part
from mapping.fullscore import score_xml
from mapping.fullscore_account import not_written
from mapping.orchestra import player

HEAD = (
    '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Piano</part-name></score-part></part-list>'
    '<part id="P1"><measure number="1"><attributes><divisions>4</divisions><key><fifths>{fifths}</fifths></key><time>'
    "<beats>4</beats><beat-type>4</beat-type></time><staves>2</staves></attributes>{bars}</measure></part>"
    "</score-partwise>"
)


def note(pitch: str, length: int, signs: str = "", *, staff: int = 1, before: str = "") -> str:
    """One <note> of a file with 4 divisions."""
    alter = {"#": 1, "b": -1}.get(pitch[1], 0)
    duration = "" if "<grace" in before else f"<duration>{length}</duration>"
    return (
        f"<note>{before}<pitch><step>{pitch[0]}</step><alter>{alter}</alter><octave>{pitch[-1]}</octave></pitch>"
        f"{duration}<voice>{staff * 4 - 3}</voice><staff>{staff}</staff>"
        + (f"<notations>{signs}</notations></note>" if signs else "</note>")
    )


def sign(xml: str, *, staff: int = 1, placement: str = "below") -> str:
    """One <direction>."""
    kind = f"<direction-type>{xml}</direction-type>"
    return f'<direction placement="{placement}">{kind}<staff>{staff}</staff></direction>'


def rest(length: int, signs: str = "") -> str:
    """One rest."""
    notations = f"<notations>{signs}</notations>" if signs else ""
    tail = f"<voice>1</voice><type>quarter</type><staff>1</staff>{notations}</note>"
    return f"<note><rest/><duration>{length}</duration>{tail}"


BACK = "<backup><duration>16</duration></backup>"
BAR = "</measure><measure number='{}'>"


@pytest.fixture
def orchestrated(tmp_path: Path) -> Any:
    """Give the staves of a small piano score to players: name to (staff, semitones to shift by)."""

    def made(bars: str, players: dict[str, tuple[int, int]], fifths: int = 0) -> Arrangement:
        path = tmp_path / "piano.musicxml"
        path.write_text(HEAD.format(bars=bars, fifths=fifths))
        score = reading.read(path)
        parts = []
        for row, (name, (staff, shift)) in enumerate(players.items()):
            rows = score.notes[score.notes["staff"] == staff]
            notes = np.zeros(len(rows), PART_DTYPE)
            for field in score.notes.dtype.names:
                notes[field] = rows[field]
            notes["source"], notes["part"], notes["dynamic"] = rows["id"], row, -1
            notes["pitch"] += shift
            notes["octave"] += shift // 12
            parts.append(Part(player(name), notes))
        return Arrangement("a", "", score, tuple(parts))

    return made


def parts_of(arrangement: Arrangement) -> dict[str, ET.Element]:
    """Written parts by player."""
    root = ET.fromstring(score_xml(arrangement).encode())
    return {part.player.name: xml for part, xml in zip(arrangement.parts, root.iter("part"), strict=True)}


def test_accidental_of_a_trill_is_transposed(orchestrated: Any) -> None:
    """A trill D–E♭ is, for a clarinet in B♭, a trill E–F natural; for a horn in F, A–B flat; for a flute, D–E flat."""
    trill = "<ornaments><trill-mark/><accidental-mark>flat</accidental-mark></ornaments>"
    players = {"flute 1": (1, 0), "clarinet 1": (1, 0), "horn 1": (1, -12)}
    parts = parts_of(orchestrated(note("D5", 16, trill), players))
    found = {name: (part.findtext(".//step"), part.findtext(".//accidental-mark")) for name, part in parts.items()}
    assert found == {"flute 1": ("D", "flat"), "clarinet 1": ("E", "natural"), "horn 1": ("A", "flat")}


def test_a_fermata_stands_in_every_part(orchestrated: Any) -> None:
    """Where the piano waits, a player who rests, one who holds, and one with no note at all have the fermata too."""
    upper = note("C5", 8) + note("D5", 8, "<fermata>normal</fermata>")
    arrangement = orchestrated(upper + BACK + note("C3", 16, staff=2), {"oboe 1": (1, 0), "bassoon 1": (2, 0)})
    silent = Part(player("flute 1"), np.zeros(0, PART_DTYPE))
    parts = parts_of(Arrangement("a", "", arrangement.score, (*arrangement.parts, silent)))
    assert [len(list(part.iter("fermata"))) for part in parts.values()] == [1, 1, 1]
    assert parts["flute 1"].find("measure/note/rest") is not None
    on_rest = note("C5", 8) + rest(8, "<fermata>square</fermata>")
    parts = parts_of(orchestrated(on_rest + BACK + note("C3", 16, staff=2), {"oboe 1": (1, 0), "bassoon 1": (2, 0)}))
    for part in parts.values():
        assert [element.text for element in part.iter("fermata")] == ["square"]
    assert parts["oboe 1"].find("measure/note[rest]/notations/fermata") is not None


def test_each_hand_has_its_own_dynamic(orchestrated: Any) -> None:
    """Where the hands are marked apart, players have the dynamic of the hand they play from, also under a held note."""
    upper = sign("<dynamics><f/></dynamics>", placement="above") + note("C5", 16)
    lower = sign("<dynamics><pp/></dynamics>", staff=2) + note("C3", 16, staff=2)
    second = sign("<dynamics><p/></dynamics>") + note("C5", 8) + sign("<dynamics><mf/></dynamics>") + note("D5", 8)
    bars = upper + BACK + lower + BAR.format(2) + second + BACK + note("C3", 16, staff=2)
    parts = parts_of(orchestrated(bars, {"violins 1": (1, 0), "cellos": (2, 0)}))
    found = {
        name: [element.tag for marks in part.iter("dynamics") for element in marks] for name, part in parts.items()
    }
    assert found == {"violins 1": ["f", "p", "mf"], "cellos": ["pp", "p", "mf"]}


def test_accent_words_and_character_words_reach_players(orchestrated: Any) -> None:
    """A rfz stays a rfz for those who strike it; ``dolce`` is for who plays there, ``rit.`` stands once on top."""
    upper = sign("<dynamics><rfz/></dynamics>", placement="above") + sign("<words>dolce</words>", placement="above")
    upper += note("C5", 8) + sign("<words>rit.</words>", placement="above") + note("D5", 8)
    parts = parts_of(orchestrated(upper + BACK + note("C3", 16, staff=2), {"oboe 1": (1, 0), "bassoon 1": (2, 0)}))
    words = {name: [element.text for element in part.iter("words")] for name, part in parts.items()}
    assert sorted(words["oboe 1"]) == ["dolce", "rit."]
    assert words["bassoon 1"] == []
    assert parts["oboe 1"].find(".//dynamics/rfz") is not None
    assert parts["bassoon 1"].find(".//dynamics") is None


def test_pedal_and_octave_lines_where_they_mean_something(orchestrated: Any) -> None:
    """Pedal goes to a vibraphone, not to a harp or violins; an octave line to violins high up; the rest is told."""
    line = '<octave-shift type="{}" size="8"/>'
    high = sign(line.format("down"), placement="above") + note("E7", 8) + note("C7", 8)
    bars = sign('<pedal type="start"/>', staff=2) + high + sign(line.format("stop")) + sign('<pedal type="stop"/>')
    for name, shift, pedals, lines in (
        ("vibraphone", -24, 2, 0),
        ("harp", 0, 0, 2),
        ("violins 1", 0, 0, 2),
        ("violins 2", -12, 0, 0),
        ("clarinet 1", -12, 0, 0),
    ):
        arrangement = orchestrated(bars, {name: (1, shift)})
        part = parts_of(arrangement)[name]
        assert (len(list(part.iter("pedal"))), len(list(part.iter("octave-shift")))) == (pedals, lines), name
        told = {remark.kind: remark.message for remark in not_written(arrangement)}
        assert set(told) == {kind for kind, count in (("pedal", pedals), ("ottava", lines)) if not count}
        assert all("1 in bar 1" in message for message in told.values())


def test_arpeggio_belongs_to_chords(orchestrated: Any) -> None:
    """Strings with two notes of the chord have the wavy line; a wind player with one note has none, and it is told."""
    sign_of = '<arpeggiate number="1"/>'
    chord = note("C5", 16, sign_of) + note("E5", 16, sign_of, before="<chord/>")
    both = orchestrated(chord, {"violins 2": (1, 0)})
    assert len(list(parts_of(both)["violins 2"].iter("arpeggiate"))) == 2
    assert not_written(both) == ()
    one = orchestrated(note("C5", 16, sign_of), {"flute 1": (1, 0)})
    assert parts_of(one)["flute 1"].find(".//arpeggiate") is None
    assert [remark.kind for remark in not_written(one)] == ["arpeggio"]


def test_slurs_end_before_rests_and_begin_at_grace_notes(orchestrated: Any) -> None:
    """A slur over a player's rest is two slurs or none; a slur from a grace note to its note is kept."""
    start, stop = '<slur type="start" number="1"/>', '<slur type="stop" number="1"/>'
    upper = note("C5", 4, start) + note("D5", 2) + rest(2) + note("E5", 4) + note("F5", 4, stop)
    part = parts_of(orchestrated(upper, {"flute 1": (1, 0)}))["flute 1"]
    slurred = [
        (item.findtext("pitch/step"), slur.get("type")) for item in part.iter("note") for slur in item.iter("slur")
    ]
    assert slurred == [("C", "start"), ("D", "stop"), ("E", "start"), ("F", "stop")]
    grace = note("D5", 0, start, before='<grace slash="yes"/>') + note("C5", 16, stop)
    part = parts_of(orchestrated(grace, {"flute 1": (1, 0)}))["flute 1"]
    assert [slur.get("type") for slur in part.iter("slur")] == ["start", "stop"]
    assert part.find("measure/note/grace") is not None


def test_heading_and_figure_are_one_sign(orchestrated: Any) -> None:
    """``Maestoso`` and its metronome figure stand in one direction, and a word of character beside them in the part."""
    figure = "<metronome><beat-unit>quarter</beat-unit><per-minute>76</per-minute></metronome>"
    bars = sign("<words>Andante</words>", placement="above") + sign(figure, placement="above")
    bars += sign("<words>espressivo</words>", placement="above") + note("C5", 16)
    parts = parts_of(orchestrated(bars, {"flute 1": (1, 0), "oboe 1": (1, 0)}))
    (direction,) = [item for item in parts["flute 1"].iter("direction") if item.find(".//metronome") is not None]
    assert direction.findtext(".//words") == "Andante "  # the space keeps the note of the figure off the word
    assert direction.find("sound").get("tempo") == "76"
    assert [element.text for element in parts["oboe 1"].iter("words")] == ["espressivo"]


def test_dotted_values_show_the_middle_of_the_bar(orchestrated: Any) -> None:
    """In common time a dotted quarter from the second beat is tied over the middle; four eighths share a beam."""
    part = parts_of(
        orchestrated(note("C5", 4) + note("D5", 6) + note("E5", 2) + note("F5", 4), {"flute 1": (1, 0)}),
    )["flute 1"]
    assert [item.findtext("type") for item in part.iter("note")] == [
        "quarter",
        "quarter",
        "eighth",
        "eighth",
        "quarter",
    ]
    eighths = "".join(note("C5", 2) for _ in range(8))
    part = parts_of(orchestrated(eighths, {"flute 1": (1, 0)}))["flute 1"]
    assert [element.text for element in part.iter("beam")] == ["begin", "continue", "continue", "end"] * 2


def test_hairpins_keep_off_rests(orchestrated: Any) -> None:
    """A hairpin that begins over a player's rest begins, in that part, at the first note."""
    upper = sign('<wedge type="crescendo"/>') + rest(8) + note("C5", 4) + note("D5", 4) + sign('<wedge type="stop"/>')
    part = parts_of(orchestrated(upper, {"flute 1": (1, 0)}))["flute 1"]
    measure = list(part.find("measure"))
    (start,) = [place for place, item in enumerate(measure) if item.find(".//wedge[@type='crescendo']") is not None]
    assert measure[start].find("offset") is None
    assert measure[start + 1].findtext("pitch/step") == "C"
