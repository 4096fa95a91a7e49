"""The page as files: one folder that works offline, or one file that holds everything.

Browsers refuse to read files beside a page opened from disk, but they run scripts beside it: so the clips of a passage
lie in a script of their own, loaded when the passage is first heard.
"""

from __future__ import annotations

import base64
import hashlib
import json
from importlib.resources import files
from typing import TYPE_CHECKING

from base.writing import write_bytes, write_text
from klangprobe.page.html import body, data_json, text
from klangprobe.page.model import slugs

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from klangprobe.page.model import PageInfo, PassagePage

__all__ = ["FOLDER", "SCRIPTS", "write_page", "write_single"]

FOLDER = "page"
"""Folder beside ``index.html`` that holds what it loads."""

SCRIPTS = ("listen.js", "odds.js", "clips.js", "page.js", "sitting.js", "matching.js", "marking.js")
_POLICY = "default-src 'none'; base-uri 'none'; form-action 'none'; font-src data:"


def write_page(folder: Path, pages: Sequence[PassagePage], *, info: PageInfo) -> Path:
    """Write ``index.html`` and the folder ``page`` into *folder*; return the path of the page.

    Parameters
    ----------
    folder : Path
        Made where missing; other files in it are left alone.
    pages : sequence of PassagePage
        In the order of reading.
    info : PageInfo
        Head and foot.

    Raises
    ------
    OutputError
        Where the folder cannot be written.
    """
    inside = folder / FOLDER
    for name in ("page.css", *SCRIPTS):
        write_text(inside / name, _asset(name))
    write_text(inside / "notation.css", _font_css(pages))
    for passage, name in zip(pages, _slugs(pages), strict=True):
        for clips, content in _clips(passage, name):
            write_text(inside / "clips" / f"{clips}.js", f"klangprobe.keep({json.dumps(clips)},{content});\n")
        for row, picture in enumerate(passage.pictures, 1):
            write_bytes(inside / "pictures" / f"{name}-{row}.svg", picture.svg.encode())
    policy = f"{_POLICY}; script-src 'self'; style-src 'self'; img-src 'self' data:"
    links = "".join(f'<link rel="stylesheet" href="{FOLDER}/{name}">' for name in ("page.css", "notation.css"))
    scripts = "".join(f'<script src="{FOLDER}/{name}"></script>' for name in SCRIPTS)
    content = body(info, pages, lambda passage, row: f"{FOLDER}/pictures/{passage}-{row}.svg")
    page = folder / "index.html"
    write_text(page, _document(info, policy, links, content, pages, scripts))
    return page


def write_single(path: Path, pages: Sequence[PassagePage], *, info: PageInfo) -> Path:
    """Write the whole page, sound included, as one HTML file; return *path*."""
    style = _asset("page.css") + _font_css(pages)
    scripts = [_asset(name) for name in SCRIPTS]
    hashes = " ".join(_hash(script) for script in scripts)
    policy = f"{_POLICY}; script-src {hashes}; style-src {_hash(style)}; img-src data:"
    pictures = {
        (name, row): "data:image/svg+xml;base64," + base64.b64encode(picture.svg.encode()).decode()
        for passage, name in zip(pages, _slugs(pages), strict=True)
        for row, picture in enumerate(passage.pictures, 1)
    }
    blocks = "".join(
        f'<script type="application/json" id="clips-{clips}">{content}</script>'
        for passage, name in zip(pages, _slugs(pages), strict=True)
        for clips, content in _clips(passage, name)
    )
    tail = blocks + "".join(f"<script>{script}</script>" for script in scripts)
    content = body(info, pages, lambda passage, row: pictures[passage, row])
    write_text(path, _document(info, policy, f"<style>{style}</style>", content, pages, tail))
    return path


def _document(info: PageInfo, policy: str, links: str, content: str, pages: Sequence[PassagePage], scripts: str) -> str:
    """Return the whole document."""
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<title>{text(info.title)}: the variants side by side</title>
<link rel="icon" href="data:,">
{links}
</head>
<body>
{content}
<script type="application/json" id="passages">{data_json(pages)}</script>
{scripts}
</body>
</html>
"""


def _slugs(pages: Sequence[PassagePage]) -> tuple[str, ...]:
    """Names of the passages as parts of file names."""
    return slugs(tuple(passage.name for passage in pages))


def _clips(passage: PassagePage, name: str) -> list[tuple[str, str]]:
    """``(name, JSON)`` of the passage's mixes, and of its players where it has them; equal players once."""
    mixes = json.dumps([base64.b64encode(variant.audio).decode() for variant in passage.variants])
    players = {
        stem.key: base64.b64encode(stem.audio).decode() for variant in passage.variants for stem in variant.stems
    }
    return [(name, mixes), *([(f"{name}.players", json.dumps(players).replace("<", "\\u003c"))] if players else [])]


def _asset(name: str) -> str:
    """Text of a packaged file."""
    return files("klangprobe.page").joinpath("assets", name).read_text(encoding="utf-8")


def _font_css(pages: Sequence[PassagePage]) -> str:
    """Return the rule for the notation font, once."""
    return next((passage.bars.font_css for passage in pages if passage.bars.font_css), "")


def _hash(content: str) -> str:
    """Source expression that allows exactly this inline text (CSP Level 3, section 2.3.1)."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(content.encode()).digest()).decode()}'"
