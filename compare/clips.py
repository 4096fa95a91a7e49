"""The clips of a trial as files."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from base.writing import write_bytes
from compare.naming import file_names

if TYPE_CHECKING:
    from pathlib import Path

    from compare.trial import Trial

__all__ = ["ClipFiles", "write_clips"]


@dataclass(frozen=True)
class ClipFiles:
    """Where the clips of one passage lie.

    Attributes
    ----------
    matched, scored : dict of str to Path
        By variant.
    in_turn : Path
    """

    matched: dict[str, Path]
    scored: dict[str, Path]
    in_turn: Path


def write_clips(trial: Trial, folder: Path, *, suffix: str = ".flac") -> ClipFiles:
    """Write ``VARIANT.matched``, ``VARIANT.scored`` and ``in-turn`` into *folder*.

    Parameters
    ----------
    trial : Trial
    folder : Path
        The passage's own folder; made where it is missing.
    suffix : str
        ``.flac``, ``.wav`` or what :func:`render.write_audio` takes.

    Raises
    ------
    OutputError
        Where the folder cannot be written.
    """
    from render.audio import write_audio

    variants = [*trial.variants, *([trial.piano] if trial.piano else [])]
    names = file_names(["in-turn", *(heard.variant for heard in variants)])
    rate = trial.sample_rate_hz
    files: dict[str, dict[str, Path]] = {"matched": {}, "scored": {}}
    written: dict[tuple[int, float], Path] = {}  # by the array and its gain: what sounds alike is encoded once
    for heard in variants:
        for kind, paths in files.items():
            path = folder / f"{names[heard.variant]}.{kind}{suffix}"
            sound = id(heard.rendering.mix), heard.gain(kind)
            if sound in written:
                write_bytes(path, written[sound].read_bytes())
            else:
                write_audio(path, heard.clip(kind), sample_rate=rate)
            written[sound] = paths[heard.variant] = path
    in_turn = folder / f"in-turn{suffix}"
    write_audio(in_turn, trial.in_turn(), sample_rate=rate)
    return ClipFiles(files["matched"], files["scored"], in_turn)
