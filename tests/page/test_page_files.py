"""The page as files: names, escaping, engraving that knows its moments, the lesson pack."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
import zipfile
from pathlib import Path

import numpy as np
import pytest
from page_helpers import INFO, LENGTH_S, RATE_HZ, flac, passage, ramp

from klangprobe.page import Engraver, write_pack, write_page, write_single
from klangprobe.page.html import data_json
from klangprobe.page.model import page_slugs
from klangprobe.page.pack import worksheet
from klangprobe.page.write import SCRIPTS
from render.sound import Rendering

DEMO = Path(__file__).parents[2] / "demo" / "weathercock.musicxml"


def test_names_become_safe_and_distinct_file_names():
    """A name gives letters, digits and hyphens only; two names never give one file."""
    assert page_slugs([passage("../../The Gäte: 1/2")]) == ("the-gate-1-2",)
    assert page_slugs([passage("a b"), passage("a-b"), passage("A B")]) == ("a-b", "a-b-2", "a-b-3")


def test_data_never_closes_its_script_element():
    """Names inside the data block cannot end it (HTML standard, script data state)."""
    data = data_json([passage("</script><!--")])
    assert "<" not in data
    assert json.loads(data)[0]["name"] == "</script><!--"


def test_clips_beside_the_page_are_the_clips_given(tmp_path):
    """What the page loads decodes to the very samples of the clip."""
    import soundfile

    write_page(tmp_path, [passage("the river")], info=INFO)
    script = (tmp_path / "page" / "clips" / "the-river.js").read_text()
    name, clips = json.loads(f"[{script.removeprefix('klangprobe.keep(').rstrip().removesuffix(');')}]")
    samples, rate = soundfile.read(io.BytesIO(base64.b64decode(clips[1])), dtype="float32")
    assert (name, rate, len(samples)) == ("the-river", RATE_HZ, LENGTH_S * RATE_HZ)
    np.testing.assert_allclose(samples, ramp(-1.0), atol=1.01 / 32768)


def test_single_file_allows_exactly_its_own_scripts(tmp_path):
    """Every inline script's SHA-256 stands in the policy, and nothing else is allowed (CSP Level 3)."""
    html = write_single(tmp_path / "all.html", [passage("the river")], info=INFO).read_text()
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', html)[1]
    allowed = set(re.search(r"script-src ([^;]*)", policy)[1].split())
    scripts = re.findall(r"<script>(.*?)</script>", html, re.DOTALL)
    hashes = {f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'" for text in scripts}
    assert len(scripts) == len(SCRIPTS)
    assert hashes == allowed


def test_pack_holds_all_and_is_the_same_twice(tmp_path):
    """Page, clips in two forms, worksheet, spec, licences; equal content gives equal entries and dates.

    Ogg streams are left out of the second half: the format asks for a random serial number (RFC 3533, section 6).
    """
    folder = tmp_path / "heard"
    pages = [passage("the river")]
    write_page(folder, pages, info=INFO)
    write_single(folder / "one-file.html", pages, info=INFO)
    (folder / "clips").mkdir()
    (folder / "clips" / "plain.matched.flac").write_bytes(flac(ramp(1.0)))
    spec = tmp_path / "two.yaml"
    spec.write_text("piece: {}\n")
    packs = [zipfile.ZipFile(write_pack(tmp_path / name, folder, pages, info=INFO, spec=spec)) for name in ("1", "2")]
    wanted = {"index.html", "worksheet.html", "LICENCES.txt", "two.yaml", "page/page.css", "page/clips/the-river.js"}
    assert wanted | {"clips/plain.matched.flac", "clips/plain.matched.ogg"} <= set(packs[0].namelist())
    assert "one-file.html" not in packs[0].namelist()  # the sound once is enough
    entries = [[(e.filename, e.CRC, e.date_time) for e in p.infolist() if e.filename[-4:] != ".ogg"] for p in packs]
    assert entries[0] == entries[1]


def test_compressed_twin_has_as_many_samples(tmp_path):
    """The Ogg Vorbis clip of the pack is as long as the FLAC clip, to the sample: no priming gap."""
    import soundfile

    folder = tmp_path / "heard"
    (folder / "clips").mkdir(parents=True)
    clip = ramp(0.5)[: RATE_HZ + 17]
    (folder / "clips" / "a.flac").write_bytes(flac(clip))
    pack = zipfile.ZipFile(write_pack(tmp_path / "p.zip", folder, [], info=INFO))
    twin, _ = soundfile.read(io.BytesIO(pack.read("clips/a.ogg")))
    assert len(twin) == len(clip)


def test_worksheet_asks_and_does_not_answer():
    """The worksheet has the questions and the variants, not the recorded answers."""
    sheet = worksheet([passage("the river")], INFO)
    assert "What gives the resonance?" in sheet
    assert "horns held" in sheet
    assert "warmth" not in sheet


@pytest.fixture(scope="module")
def demo():
    """Return the demo score."""
    import reading

    return reading.read(DEMO)


def played(score, first: int, last: int) -> Rendering:
    """Return a silent rendering of some bars in which a quarter lasts one second."""
    start, end = score.span(first, last)
    notes = score.notes[(score.notes["onset"] >= start) & (score.notes["onset"] < end)]
    onsets = {int(note["id"]): float(note["onset"] - start) / 10_080 for note in notes}
    bars = tuple((bar, float(score.bars["onset"][bar - 1] - start) / 10_080) for bar in range(first, last + 1))
    return Rendering("v", "p", (), np.zeros((0, 2), np.float32), bars, onsets, (), {})


@pytest.mark.parametrize(("first", "last"), [(1, 4), (9, 12), (33, 36), (41, 44)])
def test_every_engraved_note_is_marked_with_its_moment(demo, first, last):
    """Per bar, the drawing has as many notes at each moment as the score table (tied notes may be drawn twice)."""
    rendering = played(demo, first, last)
    bars = Engraver(DEMO, demo).passage(((first, last),), rendering, "bars")
    assert bars.moments_s == tuple(sorted(set(rendering.onsets_s.values())))
    drawn = np.bincount([int(row) for row in re.findall(r'data-m="(\d+)"', bars.wide)], minlength=len(bars.moments_s))
    wanted = np.bincount([bars.moments_s.index(onset) for onset in rendering.onsets_s.values()])
    assert np.all(drawn >= wanted)
    assert drawn.sum() - wanted.sum() <= 1  # one tie in bars 9 to 12
    assert bars.wide.count('class="note"') - drawn.sum() == 0
    assert [int(row) for row in re.findall(r'data-bar="(\d+)"', bars.wide)] == list(range(last - first + 1))


def test_drawing_label_is_escaped_and_ids_are_gone(demo):
    """The drawing carries no foreign ids or style rules, and its label cannot break out of its attribute."""
    bars = Engraver(DEMO, demo).passage(((9, 9),), played(demo, 9, 9), 'a "label" <b>')
    assert 'aria-label="a &quot;label&quot; &lt;b&gt;"' in bars.wide
    assert "data-id" not in bars.wide
    assert "<style" not in bars.wide
    assert "@font-face" in bars.font_css  # bar 9 has a metronome mark


def corpus(name: str) -> Path:
    """Return a score that music21 ships."""
    from music21 import corpus as music21_corpus

    return Path(str(music21_corpus.getWork(name)))


def small_midi(folder: Path) -> Path:
    """Write a MIDI file of two bars: a chord on every beat."""
    import mido

    track = mido.MidiTrack([mido.MetaMessage("time_signature", numerator=4, denominator=4)])
    for _ in range(8):
        for kind, pause in (("note_on", 0), ("note_off", 480)):
            for row, pitch in enumerate((48, 64, 67, 72)):
                track.append(mido.Message(kind, note=pitch, velocity=64, time=pause if row == 0 else 0))
    path = folder / "beats.mid"
    mido.MidiFile(tracks=[track], ticks_per_beat=480).save(path)
    return path


@pytest.mark.parametrize(
    ("name", "first", "last"), [("maple_leaf_rag.mxl", 16, 20), ("mazurka06-2.krn", 1, 4), ("", 1, 2)]
)
def test_other_notations_follow_too(tmp_path, name, first, last):
    """Repeats and endings (mxl), a pickup (kern), and MIDI, which is drawn from the score as read."""
    import reading

    folders = {"maple_leaf_rag.mxl": "joplin/", "mazurka06-2.krn": "chopin/"}
    path = corpus(folders[name] + name) if name else small_midi(tmp_path)
    score = reading.read(path)
    rendering = played(score, first, last)
    bars = Engraver(path, score).passage(((first, last),), rendering, "bars")
    drawn = np.bincount([int(row) for row in re.findall(r'data-m="(\d+)"', bars.wide)], minlength=len(bars.moments_s))
    wanted = np.bincount([bars.moments_s.index(onset) for onset in rendering.onsets_s.values()])
    assert np.all(drawn >= wanted)
    assert bars.wide.count("data-bar=") == last - first + 1
