"""The whole way with a song: start, hear, write; the singer is heard, and the words are on the page and in the score.

Source of the song: music21 corpus, ``schumann_robert/opus48no2.mxl``.
"""

from __future__ import annotations

import importlib.util
import shutil
from pathlib import Path

SONG = Path(importlib.util.find_spec("music21").submodule_search_locations[0]) / "corpus/schumann_robert/opus48no2.mxl"


def test_a_song_is_heard_with_its_singer(program, tmp_path: Path) -> None:
    """``start`` and ``hear`` need nothing more: the voice has a stem, the page its words, the score its staff."""
    shutil.copy(SONG, tmp_path / "song.mxl")
    assert program("start", "song.mxl").code == 0
    assert "\nsingers: voice" in (tmp_path / "song.yaml").read_text()
    options = ("--synth", "partials", "--dry", "--variants", "plain", "--stems")
    assert program("hear", "song.yaml", "opening", *options).code == 0
    stems = {path.stem for path in (tmp_path / "song-heard" / "stems").rglob("*.flac")}
    assert {"voice", "violins-1", "violins-2"} <= stems
    page = (tmp_path / "song-heard" / "index.html").read_text()
    assert "sprie" in page
    score = next((tmp_path / "song-heard" / "scores").rglob("*.musicxml")).read_text()
    assert score.count("<lyric") == 58
    assert "<part-name>Voice</part-name>" in score


def test_the_survey_of_a_song_tells_its_syllables(program, tmp_path: Path) -> None:
    """The account counts syllables and verses, and says of nothing sung that it is not carried."""
    shutil.copy(SONG, tmp_path / "song.mxl")
    out = program("survey", "song.mxl").out
    assert "syllables 58, verses 1" in out
    assert "Not carried" not in out
