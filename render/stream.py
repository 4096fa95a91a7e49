"""Pieces too long to hold: every player's sound is made, mixed and encoded a few seconds at a time.

Memory does not grow with the length of the piece. The mix is first written aside as raw floats, so that the gain that
brings its peak to the wanted level is known before anything is rounded.
"""

from __future__ import annotations

import tempfile
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, cast

import numpy as np

from base.errors import OutputError
from render.audio import AudioWriter
from render.dynamics import Dynamics
from render.lines import instrumentarium, lines_of, span_of
from render.room import LENGTH_S, Room
from render.sound import SAMPLE_RATE_HZ
from render.stage import fade_in, place, radiate

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from mapping.arrangement import Arrangement
    from render.lines import Line
    from render.request import StemStream, Synth
    from render.settings import RenderSettings

__all__ = ["Streamed", "stream_mix"]

_BLOCK = 1 << 17
"""Samples made at a time (2.7 s): a multiple of the synth's own block, and a good size for the room's transform."""

Samples = np.ndarray[Any, np.dtype[np.float32]]


@dataclass(frozen=True)
class Streamed:
    """What became of a long piece.

    Attributes
    ----------
    path : Path
    samples : int
    gain_db : float
        Applied to the whole mix so that its peak is where it was wanted.
    warnings : tuple of str
    """

    path: Path
    samples: int
    gain_db: float
    warnings: tuple[str, ...]


def stream_mix(
    arrangement: Arrangement,
    path: Path,
    *,
    settings: RenderSettings,
    bars: tuple[int, int] | Sequence[tuple[int, int]] | None = None,
    peak_dbfs: float = -1.0,
    tags: Mapping[str, str] | None = None,
    workers: int = 2,
    progress: Callable[[int, int], None] | None = None,
) -> Streamed:
    """Render a piece of any length to a file in bounded memory.

    Parameters
    ----------
    arrangement : Arrangement
    path : Path
        The format follows the suffix (see :func:`render.write_audio`).
    settings : RenderSettings
    bars : (first, last) or sequence of such, optional
        Bar indices from 1; the whole piece by default.
    peak_dbfs : float
        Highest sample of the file, dB re full scale.
    tags : mapping of str to str, optional
    workers : int
        Threads.
    progress : callable, optional
        Called with blocks done and blocks in all (an estimate until the end).

    Returns
    -------
    Streamed

    Raises
    ------
    MissingPart
        Without a soundfont or the synth's library.
    InputError
        For an unknown synth or a soundfont that is none.
    OutputError
        Where the file cannot be written.
    """
    players = instrumentarium(settings)
    score = arrangement.score
    span = span_of(score, bars or (1, len(score.bars)))
    lines = lines_of(arrangement, span, settings, players, Dynamics(score))
    expected = int(span.end_s * SAMPLE_RATE_HZ) // _BLOCK + 2
    with _raw_file(path.parent) as raw:
        peak, count = 0.0, 0
        for done, block in enumerate(_mixed(lines, players.synth, settings, workers)):
            peak, count = max(peak, float(np.max(np.abs(block), initial=0.0))), count + len(block)
            raw.write(block.tobytes())
            if progress:
                progress(done + 1, max(expected, done + 1))
        gain = 10.0 ** (peak_dbfs / 20.0) / peak if peak else 1.0
        raw.seek(0)
        with AudioWriter(path, tags=tags) as writer:
            while data := raw.read(_BLOCK * 8):
                writer.write(np.frombuffer(data, np.float32).reshape(-1, 2) * np.float32(gain))
    return Streamed(path, count, 20.0 * float(np.log10(gain)), tuple(players.warnings))


def _raw_file(folder: Path) -> BinaryIO:
    """Open a nameless file for the raw mix: it is gone when the run is, however that ends."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return cast("BinaryIO", tempfile.TemporaryFile(dir=folder))
    except OSError as error:
        msg = f"cannot write here ({error.strerror or error})"
        raise OutputError(msg, path=folder, hint="Choose another folder with --out.") from error


def _mixed(lines: list[Line], synth: Synth, settings: RenderSettings, workers: int) -> Iterator[Samples]:
    """Yield the mix block by block, to the end of the last release and of the room.

    Each worker has a thread and players of its own, because a stream belongs to one thread.
    """
    count = max(1, min(workers, len(lines)))
    groups = [_Group(lines[first::count], synth, settings) for first in range(count)]
    pools = [ThreadPoolExecutor(1) for _ in groups]
    room = Room(_BLOCK) if settings.room else None
    try:
        for pool, group in zip(pools, groups, strict=True):
            pool.submit(group.open).result()
        while not all(group.finished for group in groups):
            parts = [pool.submit(group.block) for pool, group in zip(pools, groups, strict=True)]
            mix, sent = np.zeros((_BLOCK, 2), np.float32), np.zeros(_BLOCK, np.float32)
            for part in parts:
                dry, radiated = part.result()
                mix += dry
                sent += radiated
            if room:
                mix += room.answer(sent)
            yield mix
        tail = round(LENGTH_S * SAMPLE_RATE_HZ) if room else 0
        for first in range(0, tail, _BLOCK):
            yield room.answer(np.zeros(min(_BLOCK, tail - first), np.float32)) if room else np.zeros((0, 2), np.float32)
    finally:
        for pool, group in zip(pools, groups, strict=True):
            pool.submit(group.close).result()
            pool.shutdown()


class _Group:
    """Players whose sound one thread makes."""

    def __init__(self, lines: list[Line], synth: Synth, settings: RenderSettings) -> None:
        self.lines, self.synth, self.settings = lines, synth, settings
        self.streams: list[StemStream] = []
        self.late: list[Samples] = []
        self.first = True

    def open(self) -> None:
        """Open a stream for every player."""
        self.streams = [self.synth.open(line.voiced.request) for line in self.lines]
        # What a seat further back delays out of one block belongs to the next.
        self.late = [np.zeros((line.seat.delay_samples, 2), np.float32) for line in self.lines]

    def close(self) -> None:
        """Close the streams."""
        for stream in self.streams:
            stream.close()

    @property
    def finished(self) -> bool:
        """Whether every player has rung out."""
        return all(stream.finished for stream in self.streams) and not any(late.any() for late in self.late)

    def block(self) -> tuple[Samples, Samples]:
        """Return the next block of this group: on the stage (n, 2), and sent into the room (n,)."""
        dry, sent = np.zeros((_BLOCK, 2), np.float32), np.zeros(_BLOCK, np.float32)
        for row, (line, stream) in enumerate(zip(self.lines, self.streams, strict=True)):
            new = stream.read(_BLOCK)
            if line.performance.cut and self.first:
                fade_in(new)
            come = np.concatenate([self.late[row], new])
            self.late[row] = come[_BLOCK:]
            here = line.seat.without_delay
            dry += place(come[:_BLOCK], here, line.voiced.gain_db, _BLOCK)
            if self.settings.room:
                radiate(sent, come[:_BLOCK], line.voiced.gain_db)
        self.first = False
        return dry, sent
