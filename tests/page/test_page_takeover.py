"""What an edit leaves alone: passages keep their names, and their files are taken over unless they were changed."""

from __future__ import annotations

from pathlib import Path

import pytest

from klangprobe.identity import passage_key, same_here
from klangprobe.page import PassagePage
from klangprobe.product import Made, Product, note, place
from klangprobe.workbench import open_spec

DEMO = Path(__file__).resolve().parents[2] / "demo"


def keys_of(text: str, folder: Path) -> dict[str, str]:
    """Return the name of every passage's product of the demo's spec with other words."""
    import render

    spec = folder / "spec.yaml"
    spec.write_text(text.replace("weathercock.musicxml", str(DEMO / "weathercock.musicxml")), encoding="utf-8")
    bench = open_spec(spec)
    arrangements = bench.arrange(bench.names(()))
    spans = {name: ((int(p.bars.split("-")[0]), int(p.bars.split("-")[1])),) for name, p in bench.spec.passages.items()}
    settings = render.RenderSettings()
    return {name: passage_key(bench, name, span, arrangements, settings, None) for name, span in spans.items()}


@pytest.fixture(scope="module")
def text() -> str:
    """Return the demo's spec."""
    return (DEMO / "weathercock.yaml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("old", "new", "touched"),
    [
        ("[clarinet 1, clarinet 2, horn 1], bars: 37-40", "[clarinet 1, clarinet 2], bars: 37-40", {"the ladder"}),
        ("because: warmth without weight", "because: warmth", {"the river"}),
    ],
)
def test_an_edit_renames_only_the_passages_it_touches(text, tmp_path, old, new, touched):
    """Another player in bars 37 to 40, another reason for bars 9 to 12: that passage alone is made again."""
    assert old in text
    before, after = keys_of(text, tmp_path), keys_of(text.replace(old, new), tmp_path)
    assert {name for name in before if before[name] != after[name]} == touched


def test_variants_alike_in_some_bars_are_found(tmp_path, text):
    """In bars 21 to 24 three of the demo's variants are the same; in bars 9 to 16 none are."""
    bench = open_spec(DEMO / "weathercock.yaml")
    arrangements = bench.arrange(bench.names(()))
    assert same_here(arrangements, [bench.score.span(21, 24)]) == [0, 0, 2, 0]
    assert same_here(arrangements, [bench.score.span(9, 16)]) == [0, 1, 2, 3]


def test_files_are_taken_over_unless_they_were_changed(tmp_path):
    """An untouched file is linked into the new folder; one that was written to since is not."""
    from base.store import Store

    old, store = tmp_path / "old", Store(tmp_path / "cache")
    product = Product({}, PassagePage("a", "bar 1", 1.0, ()), ("clips/a.flac",))
    (old / "clips").mkdir(parents=True)
    (old / "clips" / "a.flac").write_bytes(b"sound")
    note(old, {"key": product})
    assert place(product, "key", tmp_path / "new", last=Made.of(old), store=store)
    assert (tmp_path / "new" / "clips" / "a.flac").read_bytes() == b"sound"
    (old / "clips" / "a.flac").unlink()
    (old / "clips" / "a.flac").write_bytes(b"other sound")
    assert not place(product, "key", tmp_path / "newer", last=Made.of(old), store=store)
    assert not place(product, "other key", tmp_path / "newest", last=Made.of(old), store=store)
