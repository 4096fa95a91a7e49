"""Write sound to files: the format follows the suffix, the rounding is right, half a file is never seen.

libsndfile truncates floats when it makes 16-bit WAV; rounding to the nearest integer is done here, with triangular
dither of fixed seed for 16 bits (equal samples give equal files).

References
----------
Lipshitz, Wannamaker, Vanderkooy, "Quantization and dither: a theoretical survey", JAES 40 (1992): triangular dither of
two quantising steps leaves an error whose mean and power do not depend on the signal (from memory).
"""

from __future__ import annotations

from contextlib import ExitStack
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from base.errors import OutputError
from base.writing import replacing
from render.sound import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

__all__ = ["FLAC_LEVEL", "FORMATS", "AudioWriter", "quantised", "write_audio"]

FORMATS: dict[str, tuple[str, tuple[str, ...]]] = {
    ".flac": ("FLAC", ("PCM_16", "PCM_24")),
    ".wav": ("WAV", ("FLOAT", "PCM_24", "PCM_16")),
    ".ogg": ("OGG", ("VORBIS",)),
    ".opus": ("OGG", ("OPUS",)),
    ".mp3": ("MP3", ("MPEG_LAYER_III",)),
}
"""By suffix: container and the sample formats it takes, the default first."""

FLAC_LEVEL = 0.375
"""The encoder's level 3 of 8: a quarter less time than level 5 for one per cent more bytes."""

_TAGS = ("title", "copyright", "software", "artist", "comment", "date", "album", "license", "tracknumber", "genre")
_DITHER_SEED = 1770

Floats = np.ndarray[Any, np.dtype[np.floating[Any]]]


def write_audio(
    path: Path,
    samples: np.ndarray[Any, np.dtype[np.float32]],
    *,
    sample_rate: int = SAMPLE_RATE_HZ,
    tags: Mapping[str, str] | None = None,
    sample_format: str | None = None,
) -> int:
    """Write *samples* to *path*.

    Parameters
    ----------
    path : Path
        Suffix ``.flac``, ``.wav``, ``.ogg`` (Vorbis), ``.opus`` or ``.mp3``.
    samples : ndarray, float, shape (n, channels) or (n,)
        Full scale is 1.0.
    sample_rate : int
        Hz; Opus takes 48000 only.
    tags : mapping of str to str, optional
        ``title``, ``artist``, ``album``, ``comment``, ``copyright``, ``license`` …
    sample_format : str, optional
        ``PCM_16``, ``PCM_24`` or ``FLOAT`` where the format has a choice.

    Returns
    -------
    int
        Number of samples above full scale, which the encoder clips (always 0 for float files).

    Raises
    ------
    OutputError
        For an unknown suffix or sample format, or where the file cannot be written.
    """
    with AudioWriter(
        path, sample_rate=sample_rate, channels=_width(samples), tags=tags, sample_format=sample_format
    ) as out:
        step = 1 << 16  # libsndfile's Vorbis encoder overflows its stack on very long single writes
        for first in range(0, len(samples), step):
            out.write(samples[first : first + step])
    return out.over


class AudioWriter:
    """A sound file being written in pieces; it takes its name when the block is left without an error.

    Parameters
    ----------
    path, sample_rate, tags, sample_format
        As for :func:`write_audio`.
    channels : int

    Attributes
    ----------
    over : int
        Samples above full scale so far, which the encoder clipped.
    """

    def __init__(
        self,
        path: Path,
        *,
        sample_rate: int = SAMPLE_RATE_HZ,
        channels: int = 2,
        tags: Mapping[str, str] | None = None,
        sample_format: str | None = None,
    ) -> None:
        self.path, self.rate, self.channels, self.tags = path, sample_rate, channels, tags
        self.container, self.subtype = _format(path, sample_format)
        self.over = self._done = 0
        self._stack = ExitStack()

    def __enter__(self) -> AudioWriter:
        import soundfile  # 0.2 s to import, so only where a file is written

        aside = self._stack.enter_context(replacing(self.path))
        try:
            shape = self.rate, self.channels, self.subtype
            level = FLAC_LEVEL if self.container == "FLAC" else None
            file = soundfile.SoundFile(aside, "w", *shape, format=self.container, compression_level=level)
            self._file = self._stack.enter_context(file)
            for name, text in (self.tags or {}).items():
                if name in _TAGS and text:
                    setattr(self._file, name, text)
        except soundfile.LibsndfileError as error:
            self._stack.__exit__(type(error), error, error.__traceback__)
            msg = f"the encoder refused the sound ({error})."
            raise OutputError(msg, path=self.path, hint="Try another format, such as .flac.") from error
        return self

    def __exit__(self, kind: Any, error: Any, trace: Any) -> None:
        self._stack.__exit__(kind, error, trace)

    def write(self, samples: np.ndarray[Any, Any]) -> None:
        """Append *samples*, shape (n, channels) or (n,)."""
        if self.subtype != "FLOAT":
            loudest = max(np.max(samples, initial=0.0), -np.min(samples, initial=0.0))
            self.over += int(np.count_nonzero(np.abs(samples) > 1.0)) if loudest > 1.0 else 0
        self._file.write(_encodable(samples, self.subtype, first_sample=self._done))
        self._done += len(samples)


def _width(samples: np.ndarray[Any, Any]) -> int:
    """Number of channels."""
    return samples.shape[1] if samples.ndim == 2 else 1


def quantised(
    samples: np.ndarray[Any, Any], bits: int, *, dither: bool, first_sample: int = 0
) -> np.ndarray[Any, np.dtype[np.int32]]:
    """Return *samples* as integers of *bits* bits, rounded to nearest, clipped at full scale.

    Parameters
    ----------
    samples : ndarray, float
    bits : int
        16 or 24.
    dither : bool
        Add triangular dither of ±1 step before rounding. Silence stays silent.
    first_sample : int
        Place of the first sample in the whole sound, so that pieces dither as the whole does.
    """
    scale = float(1 << (bits - 1))
    # Sixteen bits need no more than single precision, which is twice as fast.
    scaled: Floats = np.multiply(samples, scale, dtype=np.float32 if bits == 16 else np.float64)
    if dither:
        scaled += _triangular(scaled.shape, first_sample) * (scaled != 0.0)
    np.rint(scaled, out=scaled)
    np.clip(scaled, -scale, scale - 1.0, out=scaled)
    return np.asarray(scaled.astype(np.int32))


@lru_cache(maxsize=32)  # every clip of a passage needs the same noise: at most 16 MB
def _triangular(shape: tuple[int, ...], first_sample: int) -> np.ndarray[Any, np.dtype[np.float32]]:
    """Triangular noise within ±1; row n depends on its place only."""
    width = 1 if len(shape) == 1 else shape[1]
    bits = np.random.Philox(_DITHER_SEED)
    # Each step of the counter gives sixteen numbers of 16 bits; a sample takes two, whose difference is triangular.
    skip, offset = divmod(first_sample * width * 2, 16)
    bits.advance(skip)
    count = shape[0] * width * 2
    numbers = bits.random_raw(-(-(offset + count) // 4)).astype("<u8", copy=False).view("<u2")[offset : offset + count]
    noise = np.subtract(numbers[0::2], numbers[1::2], dtype=np.float32)
    noise *= np.float32(1.0 / 65536.0)
    noise.setflags(write=False)
    return np.asarray(noise.reshape(shape))


def _format(path: Path, sample_format: str | None) -> tuple[str, str]:
    """Container and subtype for a path, or an error that names what is possible."""
    suffix = path.suffix.lower()
    if suffix not in FORMATS:
        msg = f"no audio format has the suffix '{path.suffix}'."
        raise OutputError(msg, path=path, hint=f"Use one of {', '.join(FORMATS)}.")
    container, subtypes = FORMATS[suffix]
    chosen = sample_format or subtypes[0]
    if chosen not in subtypes:
        msg = f"{suffix} files cannot hold {chosen}."
        raise OutputError(msg, path=path, hint=f"Use one of {', '.join(subtypes)}.")
    return container, chosen


def _encodable(samples: np.ndarray[Any, Any], subtype: str, *, first_sample: int) -> np.ndarray[Any, Any]:
    """Bring a piece of sound into the number type the encoder takes without rounding again."""
    if subtype == "PCM_16":
        return quantised(samples, 16, dither=True, first_sample=first_sample).astype(np.int16)
    if subtype == "PCM_24":
        return quantised(samples, 24, dither=False) << 8  # libsndfile takes the upper 24 of 32 bits
    return np.asarray(samples, np.float32)
