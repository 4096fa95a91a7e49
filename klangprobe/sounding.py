"""``klangprobe sounds``: which soundfonts are here, how they measure, how balance is set, what the cache holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from base.errors import InputError, nearest
from klangprobe.console import Progress, say, say_json, table
from klangprobe.workbench import cache

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["run"]

_ACTIONS = ("list", "calibrate", "cache", "balance")


def run(action: str, *, file: Path | None, clear: bool, as_json: bool) -> None:
    """Do one of ``list``, ``calibrate FILE``, ``cache``, ``balance``."""
    if action not in _ACTIONS:
        msg = f"'sounds' knows no '{action}'."
        raise InputError(msg, hint=nearest(action, _ACTIONS))
    if action == "calibrate":
        _calibrate(file)
    elif action == "cache":
        _cache(clear=clear, as_json=as_json)
    elif action == "balance":
        _balance(as_json=as_json)
    else:
        _list(as_json=as_json)


def _list(*, as_json: bool) -> None:
    """Show the soundfonts found, best first, with licence and calibration."""
    import soundfonts
    from soundfonts.calibration import calibrated

    fonts = soundfonts.find()
    rows = [
        {
            "name": font.name,
            "licence": font.about.licence if font.about else "not known",
            "calibrated": calibrated(font),
            "path": str(font.path),
            "sha256": font.sha256,
        }
        for font in fonts
    ]
    if as_json:
        say_json(rows)
        return
    table(
        ("soundfont", "licence", "calibrated", "file"),
        (
            (str(row["name"]), str(row["licence"]), "yes" if row["calibrated"] else "no", str(row["path"]))
            for row in rows
        ),
    )
    say(soundfonts.default().advice or f"The first one plays: {soundfonts.default().name}.")


def _calibrate(file: Path | None) -> None:
    """Measure a font and keep the result in the user's data folder."""
    import soundfonts
    from render.calibrating import calibrate

    if file is None:
        msg = "name the soundfont to calibrate: klangprobe sounds calibrate FILE"
        raise InputError(msg)
    progress = Progress("measuring")
    try:
        kept = calibrate(soundfonts.open_font(file), progress=progress)
    finally:
        progress.close()
    say(f"Written: {kept}")


def _cache(*, clear: bool, as_json: bool) -> None:
    """Show or empty the cache."""
    from dataclasses import replace

    store = cache()
    freed = (replace(store, limit_bytes=0) if clear else store).trim()
    entries = store.entries()
    held = sum(size for _, size, _ in entries)
    if as_json:
        say_json(
            {"folder": str(store.folder), "entries": len(entries), "bytes": held, "limit_bytes": store.limit_bytes}
        )
        return
    say(f"{store.folder}: {len(entries)} entries, {held / 1e6:.1f} MB of at most {store.limit_bytes / 1e6:.0f} MB.")
    if freed:
        say(f"{freed / 1e6:.1f} MB freed.")


def _balance(*, as_json: bool) -> None:
    """Show the tables that set the players' levels, with their sources and doubts."""
    from soundfonts.balance import balance_tables

    tables = balance_tables()
    if as_json:
        say_json(tables)
        return
    for entry in tables:
        say(entry["title"])
        table(entry["head"], entry["rows"])
        for note in entry["notes"]:
            say(f"  {note}")
        say()
