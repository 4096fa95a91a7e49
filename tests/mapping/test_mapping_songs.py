"""Songs: the singer keeps the line and its text, the piano is what is orchestrated, the spec may say otherwise."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import mapping
from base.errors import SpecError
from mapping.draft import Piece
from mapping.fullscore import score_xml
from mapping.fullscore_account import not_written
from mapping.orchestra import palette_of, player, seat_of
from mapping.singing import singing_of
from reading import Score, read
from reading.sung import accompaniment, find_song_layers, sung_notes, sung_parts, syllables

PLAIN = (
    "{play: melody, on: violins 1}",
    "{play: accompaniment, on: [violins 2, violas]}",
    "{play: bass, on: [cellos, basses]}",
)
MAJOR = (60, 62, 64, 65, 67, 69, 71, 72)
TEXT = "Wer rei tet so spät durch Nacht und"


def head(fifths: int = 0, staves: int = 1) -> str:
    """Attributes of a part."""
    return (
        f"<attributes><divisions>2</divisions><key><fifths>{fifths}</fifths></key><time><beats>4</beats>"
        f"<beat-type>4</beat-type></time><staves>{staves}</staves></attributes>"
    )


def note(midi: int, length: int, tail: str = "", *, voice: int = 1, staff: int = 1) -> str:
    """A note of the white keys."""
    octave, rest = divmod(midi, 12)
    step = {0: "C", 2: "D", 4: "E", 5: "F", 7: "G", 9: "A", 11: "B"}[rest]
    return (
        f"<note><pitch><step>{step}</step><octave>{octave - 1}</octave></pitch><duration>{length}</duration>"
        f"<voice>{voice}</voice><staff>{staff}</staff>{tail}</note>"
    )


def lyric(text: str, verse: int = 1) -> str:
    """A syllable."""
    return f'<lyric number="{verse}"><syllabic>single</syllabic><text>{text}</text></lyric>'


def vocal(shift: int = 0, texts: str = TEXT, bars: int = 2, marks: str = "") -> list[str]:
    """A sung part: eight eighths a bar, one syllable each."""
    notes = [note(midi + shift, 1, lyric(text)) for midi, text in zip(MAJOR, texts.split(), strict=True)]
    return [(head() + marks if not row else "") + "".join(notes) for row in range(bars)]


def keyboard(bars: int = 2) -> list[str]:
    """A piano of a chord and a bass note in each bar, marked f in the first."""
    loud = "<direction><direction-type><dynamics><f/></dynamics></direction-type><staff>1</staff></direction>"
    found = []
    for row in range(bars):
        right = note(76, 8) + "<note><chord/>" + note(79, 8).removeprefix("<note>")
        left = "<backup><duration>8</duration></backup>" + note(48, 8, voice=5, staff=2)
        found.append((head(staves=2) + loud if not row else "") + right + left)
    return found


@pytest.fixture
def song(tmp_path: Path) -> Callable[..., Score]:
    """Write a song of the parts given (name and bars) and read it."""

    def made(*parts: tuple[str, list[str]]) -> Score:
        listed = "".join(
            f'<score-part id="P{row}"><part-name>{name}</part-name></score-part>' for row, (name, _) in enumerate(parts)
        )
        body = "".join(
            f'<part id="P{row}">'
            + "".join(f'<measure number="{place}">{bar}</measure>' for place, bar in enumerate(bars, start=1))
            + "</part>"
            for row, (_, bars) in enumerate(parts)
        )
        path = tmp_path / "song.musicxml"
        path.write_text(f'<score-partwise version="4.0"><part-list>{listed}</part-list>{body}</score-partwise>')
        return read(path)

    return made


@pytest.fixture
def arranged(tmp_path: Path) -> Callable[..., Any]:
    """Arrange a song by the plain steps and more; *top* stands above the variants."""

    def made(score: Score, *steps: str, top: str = "", orchestra: str = "classical full") -> Any:
        lines = "".join(f"      - {step}\n" for step in (*PLAIN, *steps))
        path = tmp_path / "spec.yaml"
        path.write_text(f"piece: {{score: x}}\norchestra: {orchestra}\n{top}variants:\n  v:\n    steps:\n{lines}")
        spec = mapping.load_spec(path)
        mapping.check_against(spec, score)
        return mapping.arrange(score, find_song_layers(score), spec, "v")

    return made


def having(arrangement: Any) -> dict[str, Any]:
    """Notes by player, of those who play."""
    return {part.player.name: part.notes for part in arrangement.parts if len(part.notes)}


def who_has(arrangement: Any) -> set[str]:
    """Players who have sung notes."""
    sung = np.flatnonzero(sung_notes(arrangement.score))
    return {name for name, notes in having(arrangement).items() if np.isin(notes["source"], sung).any()}


def test_the_singer_needs_no_step(song, arranged) -> None:
    """The sung part is its singer's, note for note, though no step gives it; no instrument has it."""
    score = song(("Tenor", vocal(-12)), ("Piano", keyboard()))
    found = arranged(score)
    own = having(found)["tenor"]
    fields = ["onset", "duration", "pitch", "step", "octave", "flags"]
    assert np.array_equal(own[fields], score.notes[sung_notes(score)][fields])
    assert set(own["cause"].tolist()) == {-1}
    assert who_has(found) == {"tenor"}


def test_the_orchestra_plays_what_it_would_play_without_the_singer(song, arranged) -> None:
    """Metamorphic: take the voice away, and every instrument has the notes it had."""
    score = song(("Soprano", vocal()), ("Piano", keyboard()))
    with_voice, without = having(arranged(score)), having(arranged(accompaniment(score)))
    assert with_voice.pop("soprano") is not None
    assert with_voice.keys() == without.keys()
    fields = ["onset", "duration", "pitch", "staff", "cause", "dynamic"]
    for name, notes in without.items():
        assert np.array_equal(with_voice[name][fields], notes[fields])


@pytest.mark.parametrize(
    ("step", "players"),
    [
        ("{play: melody, on: oboe 1}", {"voice"}),
        ("{play: all, on: horn 1}", {"voice"}),
        ("{play: upper staff, on: horn 1}", {"voice"}),
        ("{vary: melody, on: flute 1}", {"voice"}),
        ("{double: voice, on: flute 1}", {"voice", "flute 1"}),
        ("{play: voice, on: [oboe 1, clarinet 1], bars: 1}", {"voice", "oboe 1", "clarinet 1"}),
        ("{vary: voice, on: oboe 1}", {"oboe 1"}),
        ("{rest: singers}", set()),
        ("{rest: voice}", set()),
    ],
)
def test_only_the_word_voice_touches_the_sung_line(song, arranged, step: str, players: set[str]) -> None:
    """Melody, all and upper staff are the piano's; voice doubles, moves or gives away the sung line; singers rest."""
    assert who_has(arranged(song(("Voice", vocal()), ("Piano", keyboard())), step)) == players


def test_figures_and_accents_are_the_pianos(song, arranged) -> None:
    """What the voice does gives no attack to strike and no figure to replace."""
    score = song(("Voice", vocal()), ("Piano", keyboard()))
    horns = having(arranged(score, "{stress: notes, on: [horn 1, horn 2], by: chord}"))
    assert set(horns["horn 1"]["onset"].tolist()) == set(score.bars["onset"].tolist())
    struck = {int(one) % 12 for name in ("horn 1", "horn 2") for one in horns[name]["pitch"]}
    assert struck <= {76 % 12, 79 % 12, 48 % 12}
    layers = find_song_layers(score)
    with_voice = Piece(score, layers, singing_of(mapping.players_of(), score))
    assert with_voice.figuration.rows == Piece(accompaniment(score), layers).figuration.rows


def test_a_spec_may_name_the_voice_or_do_without(song, arranged) -> None:
    """``singers: tenor`` is a tenor whatever the part is called; with ``none`` the sung line is the material's tune."""
    score = song(("Gesang", vocal()), ("Piano", keyboard()))
    assert who_has(arranged(score, top="singers: tenor\n")) == {"tenor"}
    assert who_has(arranged(score, top="singers: none\n")) == {"violins 1"}
    assert "voice" not in {part.player.name for part in arranged(score, top="singers: none\n").parts}


def test_singers_of_one_kind_are_numbered(song, arranged) -> None:
    """Two voices are voice 1 and voice 2, and each has its own part; a duet has two names."""
    two = song(("Voice", vocal()), ("Voice", vocal(-12)), ("Piano", keyboard()))
    found = having(arranged(two))
    assert found["voice 1"]["pitch"].min() == 60
    assert found["voice 2"]["pitch"].min() == 48
    duet = song(("Sopran", vocal()), ("Bass", vocal(-24)), ("Piano", keyboard()))
    assert who_has(arranged(duet)) == {"soprano", "bass voice"}


def test_wrong_singers_are_named(song, arranged) -> None:
    """Too many singers, no voice, a player who is not there, a sung line that is not there: each with its line."""
    score = song(("Voice", vocal()), ("Piano", keyboard()))
    dumb = song(("Violin", [head() + note(72, 8), note(72, 8)]), ("Piano", keyboard()))
    for piece, steps, top, words in (
        (score, (), "singers: [tenor, alto]\n", "2 singers are named, but the score has 1 sung part"),
        (score, (), "singers: tenro\n", "'tenro' is no voice. Did you mean 'tenor'"),
        (score, ("{rest: tenor}",), "", "the orchestra has no 'tenor'"),
        (score, ("{rest: tenro}",), "", "the orchestra has no 'tenro'"),
        (dumb, ("{double: voice, on: flute 1}",), "", "the score has no sung part"),
        (dumb, (), "singers: alto\n", "the score has no sung part"),
        (score, (), "singers: {a: b}\n", "a voice, a list of voices, or none is expected here"),
    ):
        with pytest.raises(SpecError, match=re.escape(words)) as caught:
            arranged(piece, *steps, top=top)
        assert caught.value.problems[0].line


def test_the_sung_line_counts_as_kept(song, arranged) -> None:
    """Faithfulness is whole with the singer, and falls where nobody sings."""
    score = song(("Voice", vocal()), ("Piano", keyboard()))
    layers = find_song_layers(score)
    assert mapping.faithfulness(arranged(score), layers).melody.value == 1.0
    silent = mapping.faithfulness(arranged(score, "{rest: singers}"), layers)
    assert silent.melody.value < 0.5
    assert not any(departure.intended for departure in silent.melody.departures)


def test_the_voice_stands_above_the_strings_with_its_text(song, arranged) -> None:
    """Score order; every syllable under its note; signs of the singer's staff above it; no brackets."""
    soft = "<direction><direction-type><dynamics><p/></dynamics></direction-type></direction>"
    text = score_xml(arranged(song(("Alto", vocal(marks=soft)), ("Piano", keyboard()))))
    names = re.findall(r"<part-name>([^<]*)", text)
    assert names[names.index("Alto") :] == ["Alto", "Violins 1", "Violins 2", "Violas", "Cellos", "Basses"]
    part = text.split("<part id=")[names.index("Alto") + 1]
    assert re.findall(r"<text>([^<]*)", part) == TEXT.split() * 2
    assert text.count("<lyric") == 16
    assert re.findall(r'<direction placement="(\w+)"><direction-type><dynamics>', part) == ["above"]


def test_no_beam_runs_into_a_new_syllable(song, arranged) -> None:
    """Eighths with a syllable each have flags; the notes of a melisma are beamed, as is an instrument's line."""
    melisma = [head() + "".join(note(72, 1, lyric("a") if not row % 4 else "") for row in range(8))]
    beams = {}
    for name, bars in (("syllabic", vocal(bars=1)), ("melisma", melisma)):
        score = song(("Voice", bars), ("Piano", keyboard(1)))
        part = score_xml(arranged(score, "{double: voice, on: flute 1}"))
        beams[name] = [re.findall(r"<beam[^>]*>(\w+)", piece) for piece in part.split("<part id=")]
    voice = 14
    assert not beams["syllabic"][voice]
    assert beams["syllabic"][1]
    assert beams["melisma"][voice] == ["begin", "continue", "continue", "end"] * 2


def test_the_singer_has_the_values_of_the_file(song, arranged) -> None:
    """Ties within a bar and notes across its middle are written as the composer wrote them, for the singer alone."""
    held = note(72, 3, lyric("a")).replace("</duration>", '</duration><tie type="start"/>')
    tied = note(72, 1).replace("</duration>", '</duration><tie type="stop"/>')
    plain = note(74, 1, lyric("b")) + note(76, 2, lyric("c")) + note(77, 1, lyric("d"))
    across = note(72, 3, lyric("e")) + note(74, 2, lyric("f")) + note(72, 3, lyric("g"))
    score = song(("Voice", [head() + held + tied + plain, across]), ("Piano", keyboard()))
    text = score_xml(arranged(score, "{double: voice, on: flute 1}"))
    values = [re.findall(r"<type>(\w+)</type>(<dot/>)?", part) for part in text.split("<part id=")]
    assert [kind + "." * bool(dot) for kind, dot in values[14]] == [
        "quarter.", "eighth", "eighth", "quarter", "eighth", "quarter.", "quarter", "quarter.",
    ]  # fmt: skip
    assert values[1][0] == ("half", "")


def test_verses_stand_under_each_other_where_they_differ(song, arranged, tmp_path) -> None:
    """A syllable of the second verse on a note the first holds on gets its own note head, tied; all comes back."""
    tie = '<tie type="{0}"/>'
    first = note(72, 4, "").replace("</duration>", "</duration>" + tie.format("start")).replace(
        "</note>", lyric("long") + lyric("one", 2) + "</note>"
    )  # fmt: skip
    second = note(72, 4, "").replace("</duration>", "</duration>" + tie.format("stop")).replace(
        "</note>", lyric("two", 2) + "</note>"
    )  # fmt: skip
    score = song(("Voice", [head() + first + second]), ("Piano", keyboard(1)))
    assert sung_parts(score) == (0,)
    path = tmp_path / "out.musicxml"
    mapping.write_score(arranged(score), path)
    again = read(path)
    assert [(one.onset, one.verse, one.text) for one in syllables(again)] == [
        (one.onset, one.verse, one.text) for one in syllables(score)
    ]
    assert again.notes["duration"][syllables(again)[0].note] == score.notes["duration"][syllables(score)[0].note]


def test_the_midi_file_has_the_first_verse(song, arranged, tmp_path) -> None:
    """A lyric event for each syllable at its note (Standard MIDI Files 1.0, meta event 05)."""
    import mido

    both = [head() + note(72, 4, lyric("ü") + lyric("two", 2)) + note(74, 4, lyric("me"))]
    score = song(("Voice", both), ("Piano", keyboard(1)))
    path = tmp_path / "song.mid"
    mapping.write_midi(arranged(score, "{double: voice, on: flute 1}"), path)
    tracks = {track.name: track for track in mido.MidiFile(path, charset="utf-8").tracks}
    now, said, begun = 0, [], []
    for event in tracks["voice"]:
        now += event.time
        said += [(now, event.text)] if event.type == "lyrics" else []
        begun += [now] if event.type == "note_on" and event.velocity else []
    assert said == list(zip(begun, ["ü", "me"], strict=True))
    assert not [event for event in tracks["flute 1"] if event.type == "lyrics"]


def test_tenors_read_the_treble_clef_an_octave_down(song, arranged) -> None:
    """The octave is in the clef, the pitch is the sounding one (common practice, no source)."""
    score = song(("Tenor", vocal(-12)), ("Piano", keyboard()))
    text = score_xml(arranged(score), players=("tenor",))
    assert "<clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>" in text
    assert "<transpose>" not in text
    assert text.count("<octave>3</octave>") == 14


def test_text_that_cannot_be_written_is_told(song, arranged) -> None:
    """Where nobody sings the account says so; an instrument that doubles the voice gets no text."""
    score = song(("Voice", vocal()), ("Piano", keyboard()))
    assert not [one for one in not_written(arranged(score)) if one.kind == "lyric"]
    silent = arranged(score, "{vary: voice, on: oboe 1}")
    assert [one.message for one in not_written(silent) if one.kind == "lyric"]
    assert "<lyric" not in score_xml(silent)
    assert score_xml(arranged(score, "{double: voice, on: oboe 1}")).count("<lyric") == 16


def test_hostile_text_cannot_break_the_score(song, arranged, tmp_path) -> None:
    """Angle brackets, quotes and ampersands in text and verse stay text."""
    bad = "&lt;note&gt;&amp;&quot;]]&gt;"
    bars = [head() + note(72, 8, lyric(bad).replace('number="1"', 'number="&lt;1&gt;"'))]
    score = song(("Voice", bars), ("Piano", keyboard(1)))
    path = tmp_path / "out.musicxml"
    mapping.write_score(arranged(score), path)
    (one,) = syllables(read(path))
    assert (one.text, one.verse) == ('<note>&"]]>', "1")


def test_a_singer_goes_by_the_piano_where_the_voice_has_no_dynamics(song) -> None:
    """The piano's f holds for a voice without marks, and after the few of one that has few; added notes go by it."""
    from mapping.levels import levels, levels_at
    from reading.score import DYNAMICS

    soft = "<direction><direction-type><dynamics><pp/></dynamics></direction-type></direction>"
    loud, often = keyboard()[0], keyboard(4)
    often[1:] = [loud[loud.index("<direction>") : loud.index("</direction>") + 12] + bar for bar in often[1:]]
    for marks, piano, found in (("", keyboard(4), "ffff"), (soft, keyboard(4), "pppp"), (soft, often, "pfff")):
        score = song(("Voice", vocal(marks=marks, bars=4)), ("Piano", piano))
        level = levels(score)[sung_notes(score)]
        wanted = [DYNAMICS.index({"p": "pp"}.get(one, one)) for one in found]
        assert [set(level[score.notes["bar"][sung_notes(score)] == bar].tolist()) for bar in (1, 2, 3, 4)] == [
            {float(one)} for one in wanted
        ]
        assert levels_at(score, np.array([0]))[0] == DYNAMICS.index("f")


def test_the_reduction_leaves_the_voice_its_own_staff(song, arranged) -> None:
    """Two hands play the orchestra, not the singer; nothing of the piano's is missing for that."""
    score = song(("Voice", vocal(12)), ("Piano", keyboard()))
    back = mapping.reduced(arranged(score))
    assert set(back.notes["pitch"].tolist()) == {76, 79, 48}
    assert [part.player.name for part in back.arrangement.parts] == ["voice", "piano"]
    assert score_xml(back.arrangement).count("<lyric") == 16
    found = mapping.back_translation(back, find_song_layers(score))
    assert found.pitch.f1 == 1.0


def test_the_reference_is_the_song_with_its_singer_on_top(song) -> None:
    """The piano itself, which every variant is compared with, has the singer above it."""
    found = mapping.piano(song(("Voice", vocal()), ("Piano", keyboard())))
    assert [part.player.name for part in found.parts] == ["voice", "piano"]
    assert [len(part.notes) for part in found.parts] == [16, 6]


def test_a_first_spec_tells_who_sings_and_runs(song, tmp_path) -> None:
    """``singers:`` stands in the spec of a song and of no other; options name no singer."""
    from reading.sung import survey_song

    score = song(("Sopran", vocal(bars=8)), ("Piano", keyboard(8)))
    text = mapping.first_spec(score, survey_song(score))
    assert "\nsingers: soprano   #" in text
    assert "singers:" not in mapping.first_spec(accompaniment(score))
    path = tmp_path / "first.yaml"
    path.write_text(text)
    spec = mapping.load_spec(path)
    mapping.check_against(spec, score)
    for arrangement in mapping.arrange_all(score, find_song_layers(score), spec):
        assert who_has(arrangement) == {"soprano"}
    band = singing_of(mapping.players_of(), score).players
    assert palette_of(band) == palette_of(mapping.players_of())


def checks_of(arrangement: Any, kind: str) -> list[Any]:
    """Remarks of one kind."""
    return [one for one in mapping.check(arrangement, find_song_layers(arrangement.score)) if one.kind == kind]


def test_tessitura_and_range_ask_for_another_voice(song, arranged) -> None:
    """A line that lies high for its voice, or beyond it, is not the arranger's to change."""
    score = song(("Alt", vocal(12)), ("Piano", keyboard()))
    (high,) = checks_of(arranged(score), "tessitura")
    assert (high.player, high.severity) == ("alto", "advice")
    (beyond,) = checks_of(arranged(score), "range")
    assert "singers:" in beyond.remedy
    assert not checks_of(arranged(score, top="singers: soprano\n"), "range")


def test_men_read_a_line_printed_too_high_an_octave_lower(song, arranged) -> None:
    """A song printed in the treble clef sounds an octave lower from a bass, as printed from a soprano.

    Common practice, no source.
    """
    score = song(("Gesang", vocal()), ("Piano", keyboard()))
    low = having(arranged(score, top="singers: bass voice\n"))["bass voice"]
    high = having(arranged(score, top="singers: soprano\n"))["soprano"]
    assert (high["pitch"] - low["pitch"] == 12).all()
    assert (high["octave"] - low["octave"] == 1).all()
    assert not checks_of(arranged(score, top="singers: bass voice\n"), "range")


def test_doubling_the_voice_for_long_is_told_unless_asked(song, arranged) -> None:
    """Eight bars along with the singer are more than a phrase; four are not; a step that says voice is meant."""
    for bars, told in ((8, 1), (4, 0)):
        right = "".join(note(midi, 1) for midi in MAJOR)
        left = "<backup><duration>8</duration></backup>" + note(48, 8, voice=5, staff=2)
        piano = [(head(staves=2) if not row else "") + right + left for row in range(bars)]
        score = song(("Voice", vocal(bars=bars)), ("Piano", piano))
        found = checks_of(arranged(score), "doubled voice")
        assert [one.player for one in found] == ["violins 1"] * told
    score = song(("Voice", vocal(bars=8)), ("Piano", keyboard(8)))
    assert not checks_of(arranged(score, "{double: voice, on: flute 1}"), "doubled voice")


def test_an_orchestra_that_covers_the_singer_is_told(song, arranged) -> None:
    """Strings alone let a singer through; brass in ff over a voice in pp do not; balance is silent in bars of song."""
    soft = "<direction><direction-type><dynamics><pp/></dynamics></direction-type></direction>"
    score = song(("Voice", vocal()), ("Piano", keyboard()))
    assert not checks_of(arranged(score), "covered voice")
    score = song(("Voice", vocal(marks=soft)), ("Piano", keyboard()))
    loud = arranged(score, "{double: bass, on: [trumpet 1, trumpet 2, horn 1, horn 2], level: ff}")
    assert checks_of(loud, "covered voice")
    assert not checks_of(loud, "balance")


def test_singers_stand_in_front() -> None:
    """Soloists are nearest to the conductor, a second one of a kind beside the first, women on the left."""
    for plan in ("american", "antiphonal"):
        voice, second = seat_of(player("voice 1"), plan), seat_of(player("voice 2"), plan)
        assert voice[1] == second[1] < min(seat_of(player(name), plan)[1] for name in ("violins 1", "cellos"))
        assert voice[0] != second[0]
        assert seat_of(player("soprano"), plan)[0] < 0 < seat_of(player("tenor"), plan)[0]
        assert seat_of(player("alto saxophone"), plan)[1] > 5
