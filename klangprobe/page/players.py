"""The players' own sounds for the page, encoded once by the key of the stem.

They are for hearing out who plays what, so they are FLAC at half the sample rate and 11 bits under the peak of each:
made in a fifth of the time that Ogg Vorbis takes, and every browser that plays the clips plays them. The noise of
11 bits lies 70 dB below the peak of the player.
"""

from __future__ import annotations

import io
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from base.identity import digest
from klangprobe.page.model import StemPage

if TYPE_CHECKING:
    from base.store import Store
    from compare.heard import Heard
    from render.sound import Stem

__all__ = ["ROOM", "halved", "player_sounds"]

Audio = np.ndarray[Any, np.dtype[np.float32]]

ROOM = "the room, answering all"
_SILENT = 1e-5  # a player whose samples stay below -100 dB has no stem on the page
_STEM_VERSION = 4
_BITS, _ROOM_BITS = 11, 10  # the room lies below the players, and so does its noise
_LEVEL = 0.9  # peak of an encoded stem
_BLOCK, _HALF = 4096, 64  # samples of a transform; half the length of the low-pass
_CORNER = 0.465  # of the new sample rate


def player_sounds(heard: Heard, sample_rate_hz: int, store: Store | None) -> tuple[StemPage, ...]:
    """Return every player that sounds in a variant, and the room, each at a level of its own.

    Parameters
    ----------
    heard : Heard
    sample_rate_hz : int
    store : Store or None
        Keeps what is encoded: a change elsewhere, which moves the level of the whole, finds it again.
    """

    def encode(stem: Stem) -> StemPage | None:
        peak = float(np.abs(stem.samples).max(initial=0.0))
        if peak <= _SILENT:
            return None
        key = digest("page stem", _STEM_VERSION, stem.key)
        found = store.get(key) if store else None
        arrays, meta = found or _kept(stem, sample_rate_hz, key, store)
        gain = heard.gain_scored * float(meta["gain"])
        return StemPage(stem.name, key, arrays["flac"].tobytes(), gain, "audio/flac")

    with ThreadPoolExecutor(2) as pool:
        made = pool.map(encode, (*heard.rendering.stems, *_room(heard)))
        return tuple(stem for stem in made if stem is not None)


def _room(heard: Heard) -> tuple[Stem, ...]:
    """What the room answers to all players together, as one more player; nothing where it is off."""
    from render.sound import Stem

    rendering = heard.rendering
    if rendering.room is None:
        return ()
    keys = [stem.key for stem in rendering.stems]
    return (Stem(ROOM, rendering.room, digest("room", _STEM_VERSION, keys, rendering.about.get("room_version"))),)


def _kept(stem: Stem, rate: int, key: str, store: Store | None) -> tuple[dict[str, Any], dict[str, float]]:
    """Encode a stem and keep it, with the factor that brings it back to its level."""
    small, bits = halved(stem.samples), _ROOM_BITS if stem.name == ROOM else _BITS
    peak = float(np.abs(small).max(initial=0.0)) or 1.0
    arrays = {"flac": np.frombuffer(_flac(small * np.float32(_LEVEL / peak), rate // 2, bits), dtype=np.uint8)}
    meta = {"gain": peak / _LEVEL}
    if store:
        store.put(key, arrays, meta)
    return arrays, meta


def _flac(samples: Audio, rate: int, bits: int) -> bytes:
    """Encode to memory; FLAC leaves out the lowest bits, which are zero throughout."""
    import soundfile

    from render.audio import FLAC_LEVEL

    words = np.rint(samples * float((1 << (bits - 1)) - 1)).astype(np.int16) << (16 - bits)
    stream = io.BytesIO()
    with soundfile.SoundFile(stream, "w", rate, 2, "PCM_16", format="FLAC", compression_level=FLAC_LEVEL) as file:
        file.write(words)
    return stream.getvalue()


def halved(samples: Audio) -> Audio:
    """Return a sound at half its sample rate, without delay.

    Parameters
    ----------
    samples : ndarray, float32, shape (n, 2)

    Returns
    -------
    ndarray, float32, shape (ceil(n / 2), 2)
        Sample k stands where sample 2 k stood. Of 48 kHz everything up to 10.5 kHz is left, nothing above 12 kHz.

    Notes
    -----
    Overlap-save with a windowed sinc of 129 points; left and right are one complex number, and the spectrum is folded
    so that only the samples that stay are transformed back. Silent blocks cost nothing.
    """
    from compare.transforms import fft, ifft

    step, size = _BLOCK - 2 * _HALF, len(samples)
    count = max(1, -(-size // step))
    padded = np.zeros((count - 1) * step + _BLOCK, np.complex64)
    padded[_HALF : _HALF + size] = np.ascontiguousarray(samples, np.float32).view(np.complex64)[:, 0]
    blocks = np.lib.stride_tricks.sliding_window_view(padded, _BLOCK)[::step]
    out = np.zeros((count, step // 2), np.complex64)
    for first in range(0, count, 32):
        chunk = blocks[first : first + 32]
        if chunk.any():
            spectrum = fft(chunk) * _low_pass()
            folded = spectrum[:, : _BLOCK // 2] + spectrum[:, _BLOCK // 2 :]
            out[first : first + 32] = ifft(folded)[:, _HALF // 2 : _HALF // 2 + step // 2]
    return out.reshape(-1)[: (size + 1) // 2].view(np.float32).reshape(-1, 2)


@cache
def _low_pass() -> np.ndarray[Any, np.dtype[np.float32]]:
    """Response of the low-pass over the bins of a block, halved because two bins are folded into one."""
    at = np.arange(-_HALF, _HALF + 1)
    taps = np.sinc(_CORNER * at) * np.hanning(len(at))
    line = np.zeros(_BLOCK)
    line[at] = taps / taps.sum()
    return np.asarray(np.fft.fft(line).real / 2.0, np.float32)
