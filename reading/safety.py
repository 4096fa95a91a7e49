"""What stands before every parser: sizes, nesting, entities, archives. Nothing unchecked is ever parsed.

The limits are generous for music (the longest symphony movements have some 100 000 notes) and small for a machine.
"""

from __future__ import annotations

import io
import re
import zipfile
from pathlib import Path, PurePosixPath
from typing import Any

from base.errors import ScoreError

__all__ = ["MAX_BYTES", "file_bytes", "parse_xml", "unpacked"]

MAX_BYTES = 32 << 20
"""Of a file, and of what an archive may unpack to. A symphony movement of 10 000 notes has 6 MB."""
MAX_TAGS = 2_400_000
MAX_RATIO = 200
MAX_MEMBERS = 1000


def file_bytes(path: Path) -> bytes:
    """Return the bytes of a score file.

    Raises
    ------
    ScoreError
        Where the file is missing, not a file, empty, or too large.
    """
    try:
        if not path.is_file():
            what = "is a folder, not a score" if path.is_dir() else "no such file"
            raise ScoreError(what, path=path, hint="Give the path of a score file.")
        size = path.stat().st_size
        if size > MAX_BYTES:
            msg = f"{size / 1e6:.0f} MB is more than a score may have ({MAX_BYTES / 1e6:.0f} MB)"
            raise ScoreError(msg, path=path, hint="Split it into movements.")
        data = path.read_bytes()
    except OSError as error:
        raise ScoreError(f"cannot be read ({error.strerror or error})", path=path) from error
    if not data.strip():
        raise ScoreError("the file is empty", path=path)
    return data


def unpacked(data: bytes, path: Path) -> bytes:
    """Return the score inside a compressed MusicXML archive.

    Raises
    ------
    ScoreError
        For a broken archive, names that leave it, too many or too large members, or no score inside.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _check_members(archive, path)
            name = _root_file(archive, path)
            return archive.read(name)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError, ValueError) as error:
        raise ScoreError(f"the archive is broken ({error})", path=path, hint="Export it again.") from error
    except KeyError as error:
        raise ScoreError("the archive names a score it does not hold", path=path, hint="Export it again.") from error
    except Exception as error:  # zlib.error and friends of other compressions
        if isinstance(error, ScoreError):
            raise
        raise ScoreError(f"the archive is broken ({error})", path=path, hint="Export it again.") from error


def _check_members(archive: zipfile.ZipFile, path: Path) -> None:
    """Refuse archives that would unpack to too much, or out of their folder."""
    members = archive.infolist()
    if len(members) > MAX_MEMBERS:
        raise ScoreError(f"the archive holds {len(members)} files, more than {MAX_MEMBERS}", path=path)
    total = sum(member.file_size for member in members)
    packed = sum(member.compress_size for member in members)
    if total > MAX_BYTES or (total > (1 << 20) and total > MAX_RATIO * max(packed, 1)):
        msg = f"the archive would unpack from {packed} to {total} bytes: not a score"
        raise ScoreError(msg, path=path)
    for member in members:
        parts = PurePosixPath(member.filename.replace("\\", "/")).parts
        if member.filename.startswith(("/", "\\")) or ".." in parts or ":" in member.filename:
            raise ScoreError(f"the archive holds a path that leaves it: {member.filename!r}", path=path)


def _root_file(archive: zipfile.ZipFile, path: Path) -> str:
    """Name of the score in the archive: as the container says (MusicXML 4.0, "Compressed .mxl files"), else a guess."""
    names = archive.namelist()
    if "META-INF/container.xml" in names:
        root = parse_xml(archive.read("META-INF/container.xml"), path)
        for element in root.iter("{*}rootfile"):
            kind = element.get("media-type") or "xml"
            if "xml" in kind and element.get("full-path"):
                return str(element.get("full-path"))
    for name in names:
        if name.lower().endswith((".xml", ".musicxml")) and not name.startswith("META-INF"):
            return name
    raise ScoreError("the archive holds no score", path=path, hint="Export it again as .mxl or .musicxml.")


def parse_xml(data: bytes, path: Path) -> Any:
    """Return the root element of *data*, parsed without entities, document types from outside, or network.

    Raises
    ------
    ScoreError
        For entities, too deep or too many elements, and text that is not XML (with its line).
    """
    from lxml import etree

    _check_xml(data, path)
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False, remove_comments=True, remove_pis=True
    )
    try:
        root = etree.fromstring(data, parser)
    except (etree.XMLSyntaxError, ValueError, LookupError) as error:
        line = getattr(error, "lineno", None)
        place = f"line {line}" if line else ""
        msg = f"not well-formed XML ({getattr(error, 'msg', None) or error})"
        raise ScoreError(msg, path=path, place=place, hint="Export it again.") from error
    return root


def _check_xml(data: bytes, path: Path) -> None:
    """Look at the raw text before the parser does; the parser itself refuses nesting deeper than 256."""
    plain = data
    if data[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\x00" in data[:64]:
        try:
            plain = data.decode("utf-16").encode()
        except UnicodeError as error:
            raise ScoreError("the text encoding is broken", path=path, hint="Save it as UTF-8.") from error
    if re.search(rb"<!ENTITY", plain, re.IGNORECASE):
        raise ScoreError("the file declares XML entities, which a score does not need", path=path)
    tags = plain.count(b"<")
    if tags > MAX_TAGS:
        raise ScoreError(f"{tags} tags are more than {MAX_TAGS}: not a score", path=path)
