"""Songs nobody here wrote: the text against the published poem, against music21's reading, and after the full score.

Sources: music21 corpus, ``schubert/Lindenbaum.xml`` (D. 911 no. 5) and ``schumann_robert/opus48no2.mxl``; first lines
of the poems: W. Müller, "Der Lindenbaum" (1823); H. Heine, "Aus meinen Tränen sprießen" (*Buch der Lieder*, 1827), from
memory. The spelling is the file's, which has the older Th and its own slips of hyphens.
"""

from __future__ import annotations

import importlib.util
import unicodedata
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import mapping
import reading
from reading.sung import Syllable, accompaniment, find_song_layers, sung_notes, sung_parts, syllables

CORPUS = Path(importlib.util.find_spec("music21").submodule_search_locations[0]) / "corpus"
SONGS = {
    "schubert/Lindenbaum.xml": (
        "Am Brunnen vor dem Thore da steht ein Lindenbaum ich träumt in seinem Schatten so manchen süßen Traum"
    ),
    "schumann_robert/opus48no2.mxl": (
        "Aus meinen Tränen sprießen viel blühende Blumen hervor und meine Seufzer werden ein Nachtigallenchor"
    ),
}
SPEC = """piece: {score: x}
orchestra: classical full
variants:
  plain:
    steps:
      - {play: melody, on: violins 1}
      - {play: accompaniment, on: [violins 2, violas]}
      - {play: bass, on: [cellos, basses 8vb]}
"""


@cache
def song(name: str) -> reading.Score:
    """A song, read once."""
    return reading.read(CORPUS / name)


def letters(text: str) -> str:
    """Small letters alone, so that hyphens, commas and spelling of ß and umlauts do not count."""
    plain = unicodedata.normalize("NFKD", text.casefold())
    return "".join(sign for sign in plain if sign.isalpha())


def theirs(path: Path) -> list[tuple[str, str, int]]:
    """Text, place in the word, and pitch of every syllable as music21 reads it, in the order of time."""
    from music21 import converter

    notes = [note for part in converter.parse(path, forceSource=True).parts for note in part.recurse().notes]
    return [(one.text, one.syllabic, int(note.pitch.midi)) for note in notes for one in note.lyrics if one.text]


def ours(score: reading.Score) -> list[tuple[str, str, int]]:
    """The same of our reading."""
    return [(one.text, one.syllabic[0], int(score.notes["pitch"][one.note])) for one in syllables(score)]


@pytest.mark.parametrize("name", SONGS)
def test_the_first_lines_are_the_poems(name: str) -> None:
    """The syllables put together give the poem as it was published."""
    sung = letters("".join(one.text for one in syllables(song(name))))
    poem = letters(SONGS[name])
    assert len(poem) > 70
    assert sung.startswith(poem)


@pytest.mark.parametrize("name", SONGS)
def test_syllables_are_music21s(name: str) -> None:
    """Text, place in the word, and pitch of every syllable, in order, as music21 reads the same file."""
    assert theirs(CORPUS / name) == ours(song(name))


@pytest.mark.parametrize("name", SONGS)
def test_the_sung_part_is_found(name: str) -> None:
    """The upper part is sung, the piano accompanies, whatever the parts are called in the file."""
    score = song(name)
    assert sung_parts(score) == (0,)
    assert [part.staves for part in accompaniment(score).parts] == [2]


@cache
def orchestrated(name: str, folder: Path) -> Any:
    """The song for orchestra, by a plain spec."""
    path = folder / "spec.yaml"
    path.write_text(SPEC)
    score = song(name)
    return mapping.arrange(score, find_song_layers(score), mapping.load_spec(path), "plain")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where specs and scores go."""
    return tmp_path_factory.mktemp("songs")


@pytest.mark.parametrize("name", SONGS)
def test_text_and_line_survive_the_full_score(name: str, folder: Path) -> None:
    """The orchestra's full score, read again by us and by music21, has the vocal line and its text note for note."""
    score, path = song(name), folder / "full.musicxml"
    mapping.write_score(orchestrated(name, folder), path)
    again = reading.read(path)
    assert [part.name for part in again.parts][-6:-4] == ["Voice", "Violins 1"]
    fields = ["onset", "duration", "pitch", "step", "alter", "octave", "bar"]
    assert np.array_equal(again.notes[sung_notes(again)][fields], score.notes[sung_notes(score)][fields])

    def plain(one: Syllable) -> tuple[Any, ...]:
        """A syllable without the number of its note."""
        return one.onset, one.verse, one.text, one.syllabic, one.extend

    assert [plain(one) for one in syllables(again)] == [plain(one) for one in syllables(score)]
    assert theirs(path) == ours(score)


@pytest.mark.parametrize("name", SONGS)
def test_the_page_can_show_the_text(name: str, folder: Path) -> None:
    """verovio engraves the written score with every word of the first line under the staff."""
    import verovio

    path = folder / "drawn.musicxml"
    mapping.write_score(orchestrated(name, folder), path, players=("voice",))
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions({"svgHtml5": True})
    assert toolkit.loadFile(str(path))
    drawn = toolkit.renderToSVG(1)
    for one in syllables(song(name))[:8]:
        assert one.text in drawn


@pytest.mark.parametrize("name", SONGS)
def test_the_orchestra_has_the_piano_and_the_singer_the_voice(name: str, folder: Path) -> None:
    """Every sung note is the singer's and nobody else's, every piano note an instrument's; nothing is lost."""
    score, arrangement = song(name), orchestrated(name, folder)
    sung = set(score.notes["id"][sung_notes(score)].tolist())
    for part in arrangement.parts:
        sources = set(part.notes["source"].tolist())
        assert sources <= sung if part.player.family == "voice" else not sources & sung
    played = {source for part in arrangement.parts for source in part.notes["source"].tolist()}
    assert played == set(score.notes["id"].tolist())
    kept = mapping.faithfulness(arrangement, find_song_layers(score))
    assert (kept.melody.value, kept.bass.value, kept.harmony.value, kept.momentum.value) == (1.0, 1.0, 1.0, 1.0)
