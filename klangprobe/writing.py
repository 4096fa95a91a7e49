"""``klangprobe write``: the full score, the parts and the multitrack MIDI of one variant, to carry on with."""

from __future__ import annotations

from pathlib import Path

from compare.naming import slug
from klangprobe.console import say
from klangprobe.workbench import open_spec

__all__ = ["run"]


def run(path: Path, variant: str, *, out: Path | None) -> None:
    """Write ``VARIANT.musicxml``, ``VARIANT.mid`` and ``parts/`` into *out* (default: named by spec and variant)."""
    import mapping

    bench = open_spec(path)
    (arrangement,) = bench.arrange(bench.names([variant]))
    name = slug(variant)
    folder = out or Path(f"{path.stem}-{name}")
    mapping.write_score(arrangement, folder / f"{name}.musicxml")
    mapping.write_midi(arrangement, folder / f"{name}.mid")
    for part in arrangement.parts:
        if len(part.notes):
            mapping.write_part(arrangement, part.player.name, folder / "parts" / f"{slug(part.player.name)}.musicxml")
    say(f"Written: {folder}")
    say("Before you perform or publish an arrangement, clear the rights in the piece.")
