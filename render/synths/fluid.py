"""FluidSynth with a soundfont: a fresh synth for every stem, all sharing one loaded font per thread.

A used synth keeps traces (-79 dB) of what it played, so every stem gets a new one, which costs a millisecond. Each
sound has a MIDI channel of its own: level, tuning and brightness can then be set for it alone, as exact numbers
instead of steps of a controller. Events fall on the library's 64-sample blocks.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

from base.errors import MissingPart
from render.request import StemRequest, StemSound, StemStream
from render.synths.fresh import BLOCK, POLYPHONY, FreshSynth, LoadedFonts
from render.synths.library import library, library_version
from render.synths.steady import SteadyStream, without_offset

if TYPE_CHECKING:
    from soundfonts import Font

__all__ = ["BLOCK", "FluidSynth"]

TAIL_CAP_S = 6.0  # no release of the fonts we know lasts longer
_MANY_STEMS = 40


class FluidSynth:
    """The synth plugin ``fluidsynth``.

    Parameters
    ----------
    font : Font
        The soundfont to play.
    further : tuple of Font
        More soundfonts, whose banks are numbered on (soundfonts.presets.FONT_BANKS).
    static : bool
        Load every sample at once (slower start, faster stems), as a long-lived process wants it.
    tail_cap_s : float
        Longest release that is waited for.

    Raises
    ------
    MissingPart
        Without libfluidsynth or without a font. (A font that cannot be loaded is an InputError of ``render``.)
    """

    name = "fluidsynth"
    uses_font = True
    several_fonts = True

    def __init__(
        self,
        font: Font | None,
        *,
        further: tuple[Font, ...] = (),
        static: bool = False,
        tail_cap_s: float = TAIL_CAP_S,
    ) -> None:
        library()
        if font is None:
            msg = "FluidSynth needs a soundfont."
            raise MissingPart(msg, hint="Name one, or choose the synth 'partials'.")
        self.font, self.further = font, further
        self.static = static
        self.tail_cap_s = tail_cap_s
        self._served = 0
        self._idle: list[LoadedFonts] = []
        self._lock = threading.Lock()
        self._threads = threading.local()

    @property
    def _fonts(self) -> tuple[Font, ...]:
        """The main font first."""
        return self.font, *self.further

    def identity(self) -> dict[str, str]:
        """Return library version, font checksum and fixed settings."""
        more = {"further fonts": " ".join(font.sha256 for font in self.further)} if self.further else {}
        return more | {
            "synth": self.name,
            "library": library_version(),
            "font": self.font.sha256,
            "voices": str(POLYPHONY),
            "interpolation": "4",
            "steady": "3",
        }

    def render(self, request: StemRequest) -> StemSound:
        """Return the sound of *request*; each call has a loaded font to itself while it lasts."""
        loaded = self._borrow()
        self._served += 1
        synth = FreshSynth(loaded, request)
        try:
            samples, heard = without_offset(synth.all(self.tail_cap_s), tuple(synth.heard))
        finally:
            synth.close()
            with self._lock:
                self._idle.append(loaded)
        return StemSound(samples, tuple(sorted(synth.replaced.items())), tuple(sorted(synth.missing)), heard)

    def prepare(self) -> None:
        """Load the font where none is idle, so that the first stem need not wait for it."""
        loaded = self._borrow()
        with self._lock:
            self._idle.append(loaded)

    def open(self, request: StemRequest) -> StemStream:
        """Return the sound of *request* to be read in pieces, by this thread only."""
        loaded = getattr(self._threads, "loaded", None)
        if loaded is None:  # all streams of a thread share one font, which goes when the thread goes
            with self._lock:
                loaded = self._threads.loaded = LoadedFonts(self._fonts, static=True)
        return SteadyStream(FreshSynth(loaded, request))

    def _borrow(self) -> LoadedFonts:
        """Take a loaded font that nobody uses, or load one.

        A synth that has served many stems loads all samples at once: slower at first, quicker for each stem after.
        """
        with self._lock:
            static = self.static or self._served > _MANY_STEMS
            if static:
                self._idle = [loaded for loaded in self._idle if loaded.static]
            return self._idle.pop() if self._idle else LoadedFonts(self._fonts, static=static)
