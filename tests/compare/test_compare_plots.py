"""Plots: the data exactly, the drawings by their promises (same bytes, page ink, told apart in grey), few pictures."""

import re
import subprocess
import sys
from xml.etree import ElementTree

import numpy as np
import pytest

from compare import plots
from compare.plots.look import INK, STYLES

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def drawn(trial, tmp_path_factory):
    """All plots of the trial, once as SVG."""
    folder = tmp_path_factory.mktemp("plots")
    return folder, plots.draw_all(trial, folder)


def test_every_kind_is_written(drawn):
    """Seven plots, each a well-formed SVG with an accessible name."""
    folder, written = drawn
    assert list(written) == [
        "spectrum",
        "third-octaves",
        "difference",
        "loudness",
        "tune",
        "tune-bands",
        "spectrograms",
    ]
    for path in written.values():
        root = ElementTree.parse(path).getroot()
        assert root.get("role") == "img"
        assert len(root.find(f"{SVG}title").text) > 20
    assert {path.name for path in folder.iterdir()} == {path.name for path in written.values()}


def test_drawing_again_gives_the_same_bytes(trial, drawn, tmp_path):
    """Equal data, equal files: no date, no random names."""
    again = plots.draw_all(trial, tmp_path)
    for kind, path in drawn[1].items():
        assert again[kind].read_bytes() == path.read_bytes(), kind


def test_inlined_plots_stay_to_themselves(drawn):
    """Page ink everywhere, no rule for foreign elements, no group names, nothing fetched from elsewhere."""
    for path in drawn[1].values():
        text = path.read_text()
        assert "currentColor" in text
        assert INK not in text
        assert "#000000" not in text
        assert "<!DOCTYPE" not in text
        assert '<g id="' not in text
        assert ">*{" not in text
        links = re.findall(r'(?:href|src)="([^"]{1,40})', text)
        assert all(link.startswith(("#", "data:image/png")) for link in links)


def test_the_variants_and_notes_are_named_in_text(drawn):
    """Names of variants and of the octaves' C are text, not outlines: searchable, and in the reader's font."""
    text = drawn[1]["spectrum"].read_text()
    for word in ("plain", "horns held", "flute 8va", "C4", "C7", "frequency in Hz"):
        assert word in text


def test_png_for_slides(trial, tmp_path):
    """The same plots as PNG on white."""
    from PIL import Image

    written = plots.draw_all(trial, tmp_path, suffixes=(".png",))
    with Image.open(written["difference"]) as image:
        assert image.width > 600
        assert image.convert("RGB").getpixel((2, 2)) == (255, 255, 255)


def test_any_name_may_stand_in_a_plot(variants, tmp_path):
    """Formula signs, markup, a leading underscore, another script, control characters, great length: drawn as text."""
    from dataclasses import replace

    from compare import compare_passage

    names = ["$x_1$ & <b>", "_quiet", "ホルン\x00", "x" * 90]
    made = [replace(variants[0][0], variant=name) for name in names]
    trial = compare_passage(made, passage="<p>\x07", measures=())
    for path in plots.draw_all(trial, tmp_path).values():
        ElementTree.parse(path)
    text = (tmp_path / "spectrum.svg").read_text()
    for part in ("$x_1$ &amp; &lt;b&gt;", "_quiet", "ホルン", "x" * 39 + "…"):
        assert part in text


def _luminance(color):
    """Relative luminance (WCAG 2.2)."""
    parts = np.array([int(color[at : at + 2], 16) for at in (1, 3, 5)]) / 255.0
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))


@pytest.mark.parametrize("paper", ["#ffffff", "#161616"])
def test_every_line_stands_out_on_light_and_dark(paper):
    """Contrast of every variant's colour of 3:1 or more (WCAG 2.2, 1.4.11)."""
    for style in STYLES:
        light, dark = sorted((_luminance(style.color), _luminance(paper)), reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= 3.0, style.color


def test_variants_differ_without_colour():
    """No two variants share a dash pattern."""
    assert len({style.dashes for style in STYLES}) == len(STYLES)


def test_difference_data_is_zero_for_equal_variants(trial):
    """Against itself a variant differs by nothing; the horn's band rises by several dB, the order is the trial's."""
    data = plots.difference_data(trial)
    assert data.names == ("horns held", "flute 8va")
    assert data.first_style == 1
    near_c4 = (data.hz > 250.0) & (data.hz < 275.0)
    assert np.nanmean(data.db[0, near_c4]) > 3.0
    assert plots.spectrum_data(trial).db.shape == (3, len(data.hz))
    assert plots.third_octave_data(trial).db.shape == (3, 30)


def test_spectrograms_share_one_scale(trial):
    """The loudest point of all is 0 dB, nothing lies below −60, and every variant has its panel."""
    picture = plots.spectrogram_data(trial)
    assert picture.db.max() == 0.0
    assert picture.db.min() >= -60.0
    assert picture.names == ("plain", "horns held", "flute 8va")


def test_loudness_along_the_bars(trial):
    """The courses are the momentary loudness as scored; bars begin where the rendering says."""
    data = plots.loudness_data(trial)
    highest = [values.max() for values in data.values]
    assert highest == pytest.approx([heard.loudness_scored.momentary_max_lufs for heard in trial.variants], abs=0.3)
    assert data.bars[1] == ("2", pytest.approx(2.25))


def test_comparing_does_not_load_the_plotting_library():
    """``import compare, compare.plots`` loads neither matplotlib nor scipy: the command line starts fast."""
    code = (
        "import sys, compare, compare.plots, compare.listening\n"
        "print([m for m in ('matplotlib', 'scipy', 'soundfile', 'music21') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
