"""The main job, end to end: from a score nobody here wrote to variants one can hear side by side."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import numpy as np
import pytest
import soundfile
from jsonschema import Draft202012Validator

DOCS = Path(__file__).resolve().parents[2] / "docs"


def _schema(name: str) -> Draft202012Validator:
    return Draft202012Validator(json.loads((DOCS / "schema" / f"{name}.schema.json").read_text()))


def _report(heard: Path) -> dict:
    return json.loads((heard / "out" / "report.json").read_text())


def test_the_report_keeps_to_its_schema(heard: Path) -> None:
    """Every key that the documentation promises is there, with its type."""
    _schema("report").validate(_report(heard))


def test_every_file_the_report_names_is_there(heard: Path) -> None:
    """Clips, plots, score and MIDI of every variant; nothing else half-written."""
    report, out = _report(heard), heard / "out"
    for passage in report["passages"]:
        paths = [passage["in_turn"], *passage["plots"].values()]
        paths += [path for variant in passage["variants"] for path in variant["clips"].values()]
        assert all((out / path).stat().st_size > 1000 for path in paths)
    variants = len(report["passages"][0]["variants"])
    assert len(list((out / "midi").iterdir())) == len(list((out / "scores").iterdir())) == variants
    assert (out / "index.html").exists()
    assert [path.name for path in heard.iterdir() if path.name.startswith(".")] == []


def test_clips_are_matched_by_another_library(heard: Path) -> None:
    """pyebur128 (ITU-R BS.1770 by its reference implementation) finds all matched clips within 0.1 LU of each other."""
    from pyebur128 import MeasurementMode, R128State, get_loudness_global

    for passage in _report(heard)["passages"]:
        read = []
        for variant in passage["variants"]:
            samples, rate = soundfile.read(heard / "out" / variant["clips"]["matched"], dtype="float32")
            state = R128State(samples.shape[1], rate, MeasurementMode.MODE_I)
            state.add_frames(samples.ravel(), len(samples))
            read.append(get_loudness_global(state))
        assert max(read) - min(read) <= 0.1


def test_clips_have_one_length_and_keep_below_the_ceiling(heard: Path) -> None:
    """To the sample; no sample above −1 dB of full scale."""
    ceiling = 10 ** (-1 / 20)
    for passage in _report(heard)["passages"]:
        clips = [heard / "out" / path for variant in passage["variants"] for path in variant["clips"].values()]
        read = [soundfile.read(path, dtype="float32")[0] for path in clips]
        assert len({len(samples) for samples in read}) == 1
        assert max(float(np.abs(samples).max()) for samples in read) <= ceiling


def test_stems_sum_to_the_clip_as_scored(heard: Path) -> None:
    """What --stems writes adds up to the clip, but for the rounding of 24 and the dither of 16 bits."""
    for variant in _report(heard)["passages"][0]["variants"]:
        clip = soundfile.read(heard / "out" / variant["clips"]["scored"], dtype="float64")[0]
        total = sum(soundfile.read(heard / "out" / path, dtype="float64")[0] for path in variant["stems"].values())
        assert np.abs(clip - total).max() < 3 / 2**15


def test_page_and_pack_name_the_licences_of_piece_and_sound(heard: Path) -> None:
    """Both lines stand at the foot of the page and in the pack's note."""
    page = (heard / "out" / "index.html").read_text()
    note = zipfile.ZipFile(heard / "out" / "lesson.zip").read("LICENCES.txt").decode()
    for text in (page, note):
        assert "Piece: made for this project, MIT licence." in text
        assert "Sound: " in text


def test_the_variants_really_differ(heard: Path) -> None:
    """The matched clips of two variants that differ in these bars are not one sound under two names."""
    passage = _report(heard)["passages"][0]
    clips = {
        variant["name"]: soundfile.read(heard / "out" / variant["clips"]["matched"], dtype="float32")[0]
        for variant in passage["variants"]
    }
    plain, other = clips["strings alone"], clips["octaves above and below"]
    assert np.sqrt(np.mean((plain - other) ** 2)) > 0.1 * np.sqrt(np.mean(plain**2))


def test_the_second_run_gives_the_same_report(heard: Path, program) -> None:
    """Nothing in a report hangs on the time of day or on what was cached."""
    ran = program("hear", heard / "weathercock.yaml", "the shutter", "--stems", "--out", "again")
    assert ran.code == 0, ran.err
    again = json.loads(Path("again/report.json").read_text())
    assert again == _report(heard)


def test_only_the_variants_asked_for(heard: Path, program) -> None:
    """``--variants A B`` takes several names."""
    asked = ("--variants", "full daylight", "strings alone", "--synth", "partials", "--dry")
    ran = program("hear", heard / "weathercock.yaml", "the shutter", *asked, "--out", "two")
    assert ran.code == 0, ran.err
    names = [variant["name"] for variant in json.loads(Path("two/report.json").read_text())["passages"][0]["variants"]]
    assert names == ["strings alone", "full daylight"]


CORPUS = {
    "joplin/maple_leaf_rag.mxl": "a rag in compressed MusicXML",
    "bach/bwv846.mxl": "a prelude of broken chords",
    "chopin/mazurka06-2.krn": "a mazurka in kern",
    "schumann_clara/polonaise_op1n1.mxl": "a polonaise",
    "schoenberg/opus19/movement6.mxl": "no key, no metre to hold on to",
}


@pytest.mark.parametrize("name", CORPUS)
def test_a_score_nobody_here_wrote_is_heard(name: str, program) -> None:
    """``start`` then ``hear`` succeed on pieces shipped inside music21's corpus."""
    import music21.corpus

    score = Path(music21.corpus.__file__).parent / name
    assert program("start", score, "--out", "first.yaml").code == 0
    text = Path("first.yaml").read_text()
    passage = text.split("passages:")[1].splitlines()[1].split(":")[0].strip().strip('"')
    ran = program("hear", "first.yaml", passage, "--synth", "partials", "--dry", "--out", "out")
    assert ran.code == 0, ran.err
    report = json.loads(Path("out/report.json").read_text())
    assert len(report["passages"][0]["variants"]) >= 3
    assert all(variant["loudness_lufs"] > -70 for variant in report["passages"][0]["variants"])
