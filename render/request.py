"""What a synth is asked for, and what it gives back: the whole contract of a synth plugin.

A synth is a class registered under the entry-point group ``klangprobe.synths``::

    class MySynth:
        name = "my synth"
        uses_font = True                           # False: no soundfont is looked for
        several_fonts = False                      # True: takes ``further=`` fonts, see soundfonts.presets

        def __init__(self, font: Font | None) -> None: ...

        def identity(self) -> dict[str, str]:      # all that its samples depend on, besides the request
            ...

        def render(self, request: StemRequest) -> StemSound:   # called from several threads
            ...

        def open(self, request: StemRequest) -> StemStream:    # the same sound in pieces
            ...

It must give the same samples for the same request in every process, and must not clip.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from render.sound import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from soundfonts import Font

__all__ = ["SOUND_DTYPE", "SWELL_DTYPE", "StemRequest", "StemSound", "StemStream", "Synth"]

SOUND_DTYPE = np.dtype(
    [
        ("start", "<i8"),  # sample at which the key goes down
        ("end", "<i8"),  # sample at which it is let go
        ("key", "<i2"),  # MIDI key
        ("velocity", "<i2"),  # 1-127: chooses the font's layer
        ("bank", "<i2"),
        ("program", "<i2"),  # General MIDI program, from 0
        ("gain_db", "<f4"),  # on top of what the font gives for key and velocity; 0 or below
        ("tune_cents", "<f4"),
        ("bright_cents", "<f4"),  # shift of the low-pass corner; 0 leaves the font's own
        ("note", "<i4"),  # row of the player's notes it realises, -1 for none
    ]
)

SWELL_DTYPE = np.dtype(
    [
        ("sound", "<i4"),  # row of the sound
        ("at", "<i8"),  # sample
        ("gain_db", "<f4"),  # replaces the sound's gain from here on; 0 or below
        ("bright_cents", "<f4"),
    ]
)


@dataclass(frozen=True, eq=False)
class StemRequest:
    """One player's part, ready to be sounded.

    Attributes
    ----------
    sounds : ndarray, dtype SOUND_DTYPE
        Sorted by start, then key. They may overlap, on one key too.
    swells : ndarray, dtype SWELL_DTYPE
        Changes of level while a sound is held, sorted by time.
    sample_rate_hz : int
    """

    sounds: np.ndarray[Any, np.dtype[np.void]]
    swells: np.ndarray[Any, np.dtype[np.void]]
    sample_rate_hz: int = SAMPLE_RATE_HZ


@dataclass(frozen=True, eq=False)
class StemSound:
    """A synth's answer.

    Attributes
    ----------
    samples : ndarray, float32, shape (n, 2)
        From sample 0 of the request to the end of the last release.
    replaced : tuple of (int, int)
        Row of each sound whose key the synth has not, and the key it sounded instead (shifted to the right pitch);
        key -1 where nothing could be sounded.
    missing : tuple of (int, int)
        ``(bank, program)`` asked for that the synth does not have; another was used.
    heard : tuple of (int, int), optional
        Stretches of samples outside which every sample is zero, in order and apart; None where the synth does not say.
        Most players rest most of the time, and silence then costs neither time nor memory.
    """

    samples: np.ndarray[Any, np.dtype[np.float32]]
    replaced: tuple[tuple[int, int], ...] = ()
    missing: tuple[tuple[int, int], ...] = ()
    heard: tuple[tuple[int, int], ...] | None = None

    @property
    def stretches(self) -> tuple[tuple[int, int], ...]:
        """Stretches to be looked at: *heard*, or the whole."""
        return ((0, len(self.samples)),) if self.heard is None else self.heard


class StemStream(Protocol):
    """A stem that is read in pieces, for pieces of music too long to hold; used by one thread."""

    @property
    def finished(self) -> bool:
        """Whether only silence follows."""
        ...

    def read(self, count: int) -> np.ndarray[Any, np.dtype[np.float32]]:
        """Return the next *count* samples, float32, shape (count, 2); *count* is a multiple of 64."""
        ...

    def close(self) -> None:
        """Let go of what the stream holds."""
        ...


class Synth(Protocol):
    """What a synth plugin must offer."""

    name: str
    uses_font: bool

    def __init__(self, font: Font | None) -> None: ...

    def identity(self) -> dict[str, str]:
        """Return all that the samples depend on besides the request: version, font checksum, own settings."""
        ...

    def render(self, request: StemRequest) -> StemSound:
        """Return the sound of *request*; called from several threads at once."""
        ...

    def open(self, request: StemRequest) -> StemStream:
        """Return the sound of *request* as a stream, to be read by the calling thread."""
        ...
