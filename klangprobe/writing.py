"""``klangprobe write``: full score, parts, two-stave reduction and multitrack MIDI of one variant, to carry on with."""

from __future__ import annotations

from pathlib import Path

from base.errors import OutputError
from compare.naming import slug
from klangprobe.console import say
from klangprobe.workbench import open_spec

__all__ = ["run"]

_OURS = b"<software>Klangprobe</software>"
_HEAD_BYTES = 20_000


def run(spec: Path, variant: str, *, out: Path | None) -> None:
    """Write score, reduction, MIDI and parts of *variant* into *out* (default: a folder named by spec and variant)."""
    import mapping
    from mapping.fullscore_account import not_written

    bench = open_spec(spec)
    (arrangement,) = bench.arrange(bench.names([variant]))
    name = slug(variant)
    folder = out or Path(f"{spec.stem}-{name}")
    _refuse_worked_on(folder)
    mapping.write_score(arrangement, folder / f"{name}.musicxml")
    mapping.write_score(mapping.reduced(arrangement).arrangement, folder / f"{name}.reduced.musicxml")
    mapping.write_midi(arrangement, folder / f"{name}.mid")
    for part in arrangement.parts:
        if len(part.notes):
            path = folder / "parts" / f"{slug(part.player.name)}.musicxml"
            mapping.write_score(arrangement, path, players=(part.player.name,))
    say(f"Written: {folder}")
    for remark in not_written(arrangement):
        say(f"Not in the score: {remark.message}")
    say("Before you perform or publish an arrangement, clear the rights in the piece.")


def _refuse_worked_on(folder: Path) -> None:
    """Scores that another program has saved since are somebody's work, and are not written over."""
    for path in sorted([*folder.glob("*.musicxml"), *folder.glob("parts/*.musicxml")]):
        with path.open("rb") as stream:
            if _OURS not in stream.read(_HEAD_BYTES):
                msg = "has been saved by another program since"
                raise OutputError(msg, path=path, hint="Choose another folder with --out.")
