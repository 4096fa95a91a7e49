"""``klangprobe start``: a first spec that runs."""

from __future__ import annotations

import os
import shlex
from pathlib import Path

from base.errors import OutputError
from base.writing import write_text
from klangprobe.console import say
from klangprobe.workbench import read_score

__all__ = ["run"]


def run(path: Path, *, out: Path | None, orchestra: str) -> Path:
    """Write a first spec for the score at *path* and return where it is.

    Raises
    ------
    OutputError
        Where the spec exists already: answers and variants in it are work, and are not overwritten.
    """
    import mapping
    from reading.sung import survey_song

    target = out or Path(f"{path.stem}.yaml")
    if target.exists():
        msg = "exists already"
        raise OutputError(msg, path=target, hint="Choose another name with --out.")
    score = read_score(path)
    players = mapping.players_of(orchestra)
    found = survey_song(score, mapping.palette_of(players))
    score_path = os.path.relpath(path.resolve(), target.resolve().parent)
    write_text(target, mapping.first_spec(score, found, orchestra, file=score_path))
    say(f"Written: {target}")
    say(f"Hear it: klangprobe hear {shlex.quote(str(target))}")
    return target
