"""A lesson pack: one zip with the page, the clips in two forms, a worksheet, the spec, and who must be named."""

from __future__ import annotations

import zipfile
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from base.writing import replacing
from klangprobe.page.html import SAFE_LISTENING, YOUR_DUTY, text

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from klangprobe.page.model import PageInfo, PassagePage

__all__ = ["worksheet", "write_pack"]

_STORED = {".flac", ".ogg", ".mp3", ".opus"}  # already compressed
_STAMP = (1980, 1, 1, 0, 0, 0)  # equal content gives an equal zip


def write_pack(
    path: Path,
    folder: Path,
    pages: Sequence[PassagePage],
    *,
    info: PageInfo,
    spec: Path | None = None,
    more: Mapping[str, Path] | None = None,
) -> Path:
    """Write the lesson pack of a listening folder; return *path*.

    Parameters
    ----------
    path : Path
        The zip.
    folder : Path
        A finished listening folder (page, clips, plots, scores, report). Of its clips the pack has those made equally
        loud, as FLAC and as Ogg Vorbis for players without FLAC, and the variants in turn as Ogg Vorbis. The clips
        as scored are inside the page.
    pages, info
        What the page was written from.
    spec : Path, optional
        The spec file.
    more : mapping of str to Path, optional
        Further files by their name in the pack (the piano score, where its licence allows it).

    Raises
    ------
    OutputError
        Where the zip cannot be written.
    """
    named = {**({spec.name: spec} if spec else {}), **(more or {})}
    texts = {
        "READ ME FIRST.txt": _read_me(info),
        "LICENCES.txt": _licences(info),
        "worksheet.html": worksheet(pages, info),
    }
    with replacing(path) as aside, zipfile.ZipFile(aside, "w", zipfile.ZIP_DEFLATED) as pack:
        for name, content in texts.items():
            _add(pack, name, content.encode())
        for name, file in named.items():
            _add(pack, name, file.read_bytes())
        for name, file in _files(folder):
            if not name.startswith("clips/") or file.suffix != ".flac":
                _add(pack, name, file.read_bytes())
            elif not name.endswith(".scored.flac"):
                if file.name != "in-turn.flac":
                    _add(pack, name, file.read_bytes())
                _add(pack, name.removesuffix(".flac") + ".ogg", _compressed(file))
    return path


def _files(folder: Path) -> Iterator[tuple[str, Path]]:
    """Every file of the folder by its name in the pack, sorted, but for hidden ones, links and other whole pages."""
    for file in sorted(folder.rglob("*")):
        inside = file.relative_to(folder)
        hidden = any(part.startswith(".") for part in inside.parts)
        again = len(inside.parts) == 1 and file.suffix in {".html", ".zip"} and file.name != "index.html"
        if file.is_file() and not (file.is_symlink() or hidden or again):
            yield inside.as_posix(), file


def _add(pack: zipfile.ZipFile, name: str, data: bytes) -> None:
    """Add one file with a fixed date, so that equal content gives an equal pack."""
    entry = zipfile.ZipInfo(name, _STAMP)
    entry.external_attr = 0o644 << 16
    entry.compress_type = zipfile.ZIP_STORED if name[name.rfind(".") :] in _STORED else zipfile.ZIP_DEFLATED
    pack.writestr(entry, data)


def _compressed(clip: Path) -> bytes:
    """Ogg Vorbis of a FLAC clip: same number of samples, so both start and end together."""
    import soundfile

    from render.audio import write_audio

    samples, rate = soundfile.read(clip, dtype="float32", always_2d=True)
    with TemporaryDirectory() as folder:
        twin = Path(folder) / "clip.ogg"
        write_audio(twin, samples, sample_rate=rate)
        return twin.read_bytes()


def _read_me(info: PageInfo) -> str:
    """First page of the pack."""
    return (
        f"{info.title}\n{'=' * len(info.title)}\n\n"
        "index.html       open it in a browser: every passage, every variant, switched at the same place\n"
        "worksheet.html   print it: the questions, with room for answers\n"
        "clips/           the same made equally loud, as files: FLAC and Ogg Vorbis\n"
        "LICENCES.txt     whom to name when you share this\n\n"
        f"{SAFE_LISTENING}\n"
    )


def _licences(info: PageInfo) -> str:
    """Whom to name, and whose leave is needed."""
    piece = f"Piece: {info.title}" + (f", {info.composer}" if info.composer else "")
    arranger = f"Arrangement: {info.arranger}" if info.arranger else ""
    lines = [piece, arranger, f"Sound: {info.soundfont}" if info.soundfont else "", info.attribution, YOUR_DUTY]
    return "\n\n".join(line for line in lines if line) + "\n"


def worksheet(pages: Sequence[PassagePage], info: PageInfo) -> str:
    """Return a page to print: for each passage its bars, its questions and lines to write on."""
    parts = "".join(_exercise(passage) for passage in pages)
    return f"""<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'self'; font-src data:">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{text(info.title)}: worksheet</title>
<link rel="stylesheet" href="page/page.css"><link rel="stylesheet" href="page/notation.css"></head>
<body class="worksheet"><header class="title"><h1>{text(info.title)}</h1>
<p class="by">{text(info.composer)}</p><ul class="blanks"><li>Name</li><li>Date</li></ul></header>
<main>{parts}</main></body></html>
"""


def _exercise(passage: PassagePage) -> str:
    """One passage of the worksheet: the variants are listed, the answers are not."""
    questions = "".join(f'<p class="question">{text(question)}</p>' for question in passage.questions)
    rows = "".join(f"<li>{text(variant.name)}</li>" for variant in passage.variants if not variant.reference)
    return f"""<section class="passage"><p class="where">{text(passage.where)}</p><h2>{text(passage.name)}</h2>
{questions}<figure class="bars"><div class="wide">{passage.bars.wide}</div></figure>
<p>What does each do to the melody, the bass, the space between?</p><ul class="blanks">{rows}</ul>
<p class="lines">I would choose, because: <span></span><span></span><span></span></p></section>"""
