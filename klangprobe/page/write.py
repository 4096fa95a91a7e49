"""The page as files: one folder that works offline, or one file that holds everything.

Browsers refuse to read files beside a page opened from disk, but they run scripts beside it: so the clips of a passage
lie in a script of their own, loaded when the passage is first heard.
"""

from __future__ import annotations

import base64
import hashlib
import json
from dataclasses import replace
from importlib.resources import files
from typing import TYPE_CHECKING

from base.writing import write_bytes, write_text
from klangprobe.page.html import body, data_json, text
from klangprobe.page.model import page_slugs

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from klangprobe.page.model import PageInfo, PassagePage, Picture

__all__ = ["FOLDER", "SCRIPTS", "light", "write_page", "write_passage", "write_single"]

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
        In the order of reading. Of those that were made :func:`light`, sound and pictures lie in *folder* already.
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
    for passage, name in zip(pages, page_slugs(pages), strict=True):
        if not _is_light(passage):
            write_passage(folder, passage, name)
    policy = f"{_POLICY}; script-src 'self'; style-src 'self'; img-src 'self' data:"
    links = "".join(f'<link rel="stylesheet" href="{FOLDER}/{name}">' for name in ("page.css", "notation.css"))
    scripts = "".join(f'<script src="{FOLDER}/{name}"></script>' for name in SCRIPTS)
    content = body(info, pages, lambda passage, row: f"{FOLDER}/pictures/{passage}-{row}.svg")
    page = folder / "index.html"
    write_text(page, _document(info, policy, links, content, pages, scripts))
    return page


def write_passage(folder: Path, passage: PassagePage, name: str) -> list[Path]:
    """Write the sound and the pictures of one passage into *folder*; return their paths.

    Parameters
    ----------
    folder : Path
        The one that holds ``index.html``.
    passage : PassagePage
    name : str
        Part of the file names: the passage's slug.
    """
    written = []
    for clips, content in _clips(passage, name):
        written.append(folder / FOLDER / "clips" / f"{clips}.js")
        write_text(written[-1], f"{_keep(clips)}{content});\n")
    for row, picture in enumerate(passage.pictures, 1):
        written.append(folder / FOLDER / "pictures" / f"{name}-{row}.svg")
        write_bytes(written[-1], picture.svg.encode())
    return written


def light(passage: PassagePage) -> PassagePage:
    """Return *passage* without sound and pictures, which :func:`write_passage` has put into the folder."""
    variants = tuple(
        replace(variant, audio=b"", stems=tuple(replace(stem, audio=b"") for stem in variant.stems))
        for variant in passage.variants
    )
    return replace(passage, variants=variants, pictures=tuple(replace(one, svg="") for one in passage.pictures))


def _is_light(passage: PassagePage) -> bool:
    """Whether the sound was left out."""
    return not any(variant.audio for variant in passage.variants)


def write_single(path: Path, pages: Sequence[PassagePage], *, info: PageInfo, folder: Path | None = None) -> Path:
    """Write the whole page, sound included, as one HTML file; return *path*.

    Parameters
    ----------
    path : Path
    pages, info
        As for :func:`write_page`.
    folder : Path, optional
        The listening folder, where pages are :func:`light`.
    """
    style = _asset("page.css") + _font_css(pages)
    scripts = [_asset(name) for name in SCRIPTS]
    hashes = " ".join(_hash(script) for script in scripts)
    policy = f"{_POLICY}; script-src {hashes}; style-src {_hash(style)}; img-src data:"
    pictures = {
        (name, row): f"data:image/svg+xml;base64,{_base64(_picture(picture, folder, f'{name}-{row}'))}"
        for passage, name in zip(pages, page_slugs(pages), strict=True)
        for row, picture in enumerate(passage.pictures, 1)
    }
    blocks = "".join(
        f'<script type="application/json" id="clips-{clips}">{content}</script>'
        for passage, name in zip(pages, page_slugs(pages), strict=True)
        for clips, content in (_clips_kept(folder, passage, name) if folder else _clips(passage, name))
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


def _clips(passage: PassagePage, name: str) -> list[tuple[str, str]]:
    """``(name, JSON)`` of the passage's mixes, and of its players where it has them; equal ones once.

    A mix that equals an earlier one is the number of that one's row.
    """
    rows: dict[bytes, int] = {}
    mixes: list[str | int] = []
    for row, variant in enumerate(passage.variants):
        first = rows.setdefault(variant.audio, row)
        mixes.append(_base64(variant.audio) if first == row else first)
    players = {stem.key: stem.audio for variant in passage.variants for stem in variant.stems}
    found = [(name, json.dumps(mixes))]
    if players:
        sounds = {key: _base64(audio) for key, audio in players.items()}
        found.append((f"{name}.players", json.dumps(sounds).replace("<", "\\u003c")))
    return found


def _clips_kept(folder: Path, passage: PassagePage, name: str) -> list[tuple[str, str]]:
    """The same as :func:`write_passage` wrote it."""
    names = [name, *([f"{name}.players"] if any(variant.stems for variant in passage.variants) else [])]
    found = []
    for clips in names:
        content = (folder / FOLDER / "clips" / f"{clips}.js").read_text(encoding="utf-8")
        found.append((clips, content.removeprefix(_keep(clips)).removesuffix(");\n")))
    return found


def _keep(clips: str) -> str:
    """How a script with clips begins."""
    return f"klangprobe.keep({json.dumps(clips)},"


def _picture(picture: Picture, folder: Path | None, name: str) -> bytes:
    """A plot, from the folder where the page does not hold it."""
    if picture.svg or folder is None:
        return picture.svg.encode()
    return (folder / FOLDER / "pictures" / f"{name}.svg").read_bytes()


def _base64(data: bytes) -> str:
    """Data as text."""
    return base64.b64encode(data).decode()


def _asset(name: str) -> str:
    """Text of a packaged file."""
    return files("klangprobe.page").joinpath("assets", name).read_text(encoding="utf-8")


def _font_css(pages: Sequence[PassagePage]) -> str:
    """Return the rule for the notation font, once."""
    return next((passage.bars.font_css for passage in pages if passage.bars.font_css), "")


def _hash(content: str) -> str:
    """Source expression that allows exactly this inline text (CSP Level 3, section 2.3.1)."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(content.encode()).digest()).decode()}'"
