"""FluidSynth with a soundfont: a fresh synth for every stem, all sharing one loaded font per thread.

A used synth keeps traces (-79 dB) of what it played, so every stem gets a new one, which costs a millisecond. Each
sound has a MIDI channel of its own: level, tuning and brightness can then be set for it alone, as exact numbers
instead of steps of a controller. Events fall on the library's 64-sample blocks.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Any

import numpy as np

from base.errors import MissingPart
from render.request import StemRequest, StemSound
from render.synths.library import GEN_ATTENUATION, GEN_FILTERFC, GEN_FINETUNE, library, library_version

if TYPE_CHECKING:
    from soundfonts import Font

__all__ = ["BLOCK", "FluidSynth"]

BLOCK = 64
"""Samples in which the library thinks; events take effect at their borders."""

_MOST_CHANNELS = 256
_CHANNEL_STEP = 16  # the library takes multiples of this
_DRUM_CHANNEL = 9  # the library treats it differently
_POLYPHONY = 512
TAIL_CAP_S = 6.0
"""No release of the fonts we know lasts longer."""
_TAIL_STEP = 2048
_INAUDIBLE = 1e-6  # -120 dB re full scale, before the stem's gain
_CHANNEL_REST_S = 5.0  # a channel is not used again while its last sound may still ring
_SEARCH_KEYS = 24  # how far to look for a key that sounds
_OFF, _SWELL, _ON = 0, 1, 2  # order at one instant


class FluidSynth:
    """The synth plugin ``fluidsynth``.

    Parameters
    ----------
    font : Font
        The soundfont to play.
    static : bool
        Load every sample at once (slower start, faster stems), as a long-lived process wants it.
    tail_cap_s : float
        Longest release that is waited for.

    Raises
    ------
    MissingPart
        Without libfluidsynth or without a font.
    """

    name = "fluidsynth"
    uses_font = True

    def __init__(self, font: Font | None, *, static: bool = False, tail_cap_s: float = TAIL_CAP_S) -> None:
        library()
        if font is None:
            msg = "FluidSynth needs a soundfont."
            raise MissingPart(msg, hint="Name one, or choose the synth 'partials'.")
        self.font = font
        self.static = static
        self.tail_cap_s = tail_cap_s
        self._threads = threading.local()
        self._loading = threading.Lock()

    def identity(self) -> dict[str, str]:
        """Return library version, font checksum and fixed settings."""
        return {
            "synth": self.name,
            "library": library_version(),
            "font": self.font.sha256,
            "voices": str(_POLYPHONY),
            "interpolation": "4",
        }

    def render(self, request: StemRequest) -> StemSound:
        """Return the sound of *request*; every thread has its own loaded font."""
        with _FreshSynth(self._loaded(), request) as synth:
            return synth.play(self.tail_cap_s)

    def _loaded(self) -> _LoadedFont:
        """Return this thread's loaded font, loading it the first time."""
        loaded: _LoadedFont | None = getattr(self._threads, "loaded", None)
        if loaded is None:
            with self._loading:
                loaded = self._threads.loaded = _LoadedFont(self.font, static=self.static)
        return loaded


class _LoadedFont:
    """A soundfont in memory, owned by a synth that never plays."""

    def __init__(self, font: Font, *, static: bool) -> None:
        self.lib = lib = library()
        self.settings = lib.new_fluid_settings()
        for name, number in (("synth.gain", 1.0), ("synth.sample-rate", 48000.0)):
            lib.fluid_settings_setnum(self.settings, name.encode(), number)
        for name, value in (
            ("synth.dynamic-sample-loading", 0 if static else 1),
            ("synth.lock-memory", 0),
            ("synth.polyphony", _POLYPHONY),
            ("synth.reverb.active", 0),
            ("synth.chorus.active", 0),
        ):
            lib.fluid_settings_setint(self.settings, name.encode(), value)
        self.keeper = lib.new_fluid_synth(self.settings)
        number = lib.fluid_synth_sfload(self.keeper, str(font.path).encode(), 0)
        if number < 0:
            msg = "the soundfont could not be loaded."
            raise MissingPart(msg, path=font.path, hint="Is it a complete SF2 or SF3 file?")
        self.sfont = lib.fluid_synth_get_sfont_by_id(self.keeper, number)


class _FreshSynth:
    """A synth used for one stem and then thrown away."""

    def __init__(self, loaded: _LoadedFont, request: StemRequest) -> None:
        self.loaded, self.lib, self.rate = loaded, loaded.lib, request.sample_rate_hz
        self.request = request
        self.channels = _channels(request.sounds, self.rate)
        self.buffer = np.zeros((0, 2), np.float32)
        self.done = 0
        self.replaced: dict[int, int] = {}
        self.missing: set[tuple[int, int]] = set()

    def __enter__(self) -> _FreshSynth:
        lib = self.lib
        # A channel costs time to make, so there are only as many as this stem needs.
        count = max(self.channels, default=0) // _CHANNEL_STEP * _CHANNEL_STEP + _CHANNEL_STEP
        lib.fluid_settings_setint(self.loaded.settings, b"synth.midi-channels", count)
        lib.fluid_settings_setnum(self.loaded.settings, b"synth.sample-rate", float(self.rate))
        self.synth = lib.new_fluid_synth(self.loaded.settings)
        self.sfont = lib.fluid_synth_add_sfont(self.synth, self.loaded.sfont)
        return self

    def __exit__(self, *_: object) -> None:
        # The font outlives this synth: it must be taken out before the synth is deleted.
        self.lib.fluid_synth_remove_sfont(self.synth, self.loaded.sfont)
        self.lib.delete_fluid_synth(self.synth)

    def play(self, tail_cap_s: float) -> StemSound:
        """Sound every event of the request, then let it ring out."""
        request, channels = self.request, self.channels
        sounds = request.sounds
        selected: dict[int, tuple[int, int]] = {}
        keys: dict[int, int] = {}
        self._grow(int(sounds["end"].max(initial=0)) + self.rate)
        for at, kind, row, swell in _events(request):
            self._write_to(at)
            sound, channel = sounds[row], channels[row]
            if kind == _OFF:
                if keys.get(row, -1) >= 0:
                    self.lib.fluid_synth_noteoff(self.synth, channel, keys[row])
            elif kind == _SWELL:
                change = request.swells[swell]
                self._set(channel, float(change["gain_db"]), float(change["bright_cents"]))
            else:
                self._select(channel, sound, selected)
                self._set(channel, float(sound["gain_db"]), float(sound["bright_cents"]))
                keys[row] = self._strike(row, channel, sound)
        self._ring_out(tail_cap_s)
        return StemSound(
            self.buffer[: self.done].copy(), tuple(sorted(self.replaced.items())), tuple(sorted(self.missing))
        )

    def _select(self, channel: int, sound: Any, selected: dict[int, tuple[int, int]]) -> None:
        """Put the sound's preset on its channel; where the font has none, the nearest thing and a note of it."""
        wanted = int(sound["bank"]), int(sound["program"])
        if selected.get(channel) == wanted:
            return
        selected[channel] = wanted
        self.lib.fluid_synth_cc(self.synth, channel, 7, 127)
        if self.lib.fluid_synth_program_select(self.synth, channel, self.sfont, *wanted) == 0:
            return
        self.missing.add(wanted)
        family = wanted[1] // 8 * 8  # General MIDI groups programs in families of eight
        for program in (wanted[1], *range(family, family + 8), 48, 0):
            if self.lib.fluid_synth_program_select(self.synth, channel, self.sfont, 0, program) == 0:
                return

    def _set(self, channel: int, gain_db: float, bright_cents: float) -> None:
        """Set level (attenuation in centibels) and brightness of a channel."""
        self.lib.fluid_synth_set_gen(self.synth, channel, GEN_ATTENUATION, -10.0 * gain_db)
        self.lib.fluid_synth_set_gen(self.synth, channel, GEN_FILTERFC, bright_cents)

    def _strike(self, row: int, channel: int, sound: Any) -> int:
        """Start a sound and return its key: a key without a sample gives way to the nearest that has one."""
        key, velocity, tune = int(sound["key"]), int(sound["velocity"]), float(sound["tune_cents"])
        for shift in _shifts():
            instead = key + shift
            if not 0 <= instead <= 127:
                continue
            self.lib.fluid_synth_set_gen(self.synth, channel, GEN_FINETUNE, tune - 100.0 * shift)
            before = self.lib.fluid_synth_get_active_voice_count(self.synth)
            self.lib.fluid_synth_noteon(self.synth, channel, instead, velocity)
            if self.lib.fluid_synth_get_active_voice_count(self.synth) > before or before >= _POLYPHONY:
                if shift:
                    self.replaced[row] = instead
                return instead
        self.replaced[row] = -1
        return -1

    def _grow(self, length: int) -> None:
        """Make room for *length* samples."""
        if length > len(self.buffer):
            grown = np.zeros((max(length, len(self.buffer) * 5 // 4), 2), np.float32)
            grown[: self.done] = self.buffer[: self.done]
            self.buffer = grown

    def _write_to(self, at: int) -> None:
        """Synthesise up to sample *at*."""
        count = at - self.done
        if count <= 0:
            return
        self._grow(at)
        place = self.buffer.ctypes.data
        self.lib.fluid_synth_write_float(self.synth, count, place, 2 * self.done, 2, place, 2 * self.done + 1, 2)
        self.done = at

    def _ring_out(self, cap_s: float) -> None:
        """Synthesise until no voice sounds or nothing is left to hear (or a generous limit is reached)."""
        limit = self.done + int(cap_s * self.rate)
        while self.done < limit and self.lib.fluid_synth_get_active_voice_count(self.synth) > 0:
            self._write_to(self.done + _TAIL_STEP)
            if np.max(np.abs(self.buffer[self.done - _TAIL_STEP : self.done])) < _INAUDIBLE:
                return


def _shifts() -> list[int]:
    """Distances in semitones in which a sounding key is looked for, nearest first."""
    return [0] + [sign * step for step in range(1, _SEARCH_KEYS + 1) for sign in (-1, 1)]


def _events(request: StemRequest) -> list[tuple[int, int, int, int]]:
    """All events as ``(sample on a block border, kind, sound, swell)`` in the order they take effect."""
    sounds, swells = request.sounds, request.swells
    start = (sounds["start"] + BLOCK // 2) // BLOCK * BLOCK
    end = np.maximum((sounds["end"] + BLOCK // 2) // BLOCK * BLOCK, start + BLOCK)
    rows = range(len(sounds))
    events = [(int(start[row]), _ON, row, -1) for row in rows]
    events += [(int(end[row]), _OFF, row, -1) for row in rows]
    events += [
        (int(change["at"]) // BLOCK * BLOCK, _SWELL, int(change["sound"]), row)
        for row, change in enumerate(swells)
        if start[change["sound"]] < int(change["at"]) // BLOCK * BLOCK
    ]
    return sorted(events)


def _channels(sounds: np.ndarray[Any, np.dtype[np.void]], rate: int) -> list[int]:
    """Give every sound a channel that is free, or the one free for longest where all are taken."""
    free_at = np.zeros(_MOST_CHANNELS, np.int64)
    free_at[_DRUM_CHANNEL] = np.iinfo(np.int64).max
    chosen = []
    for sound in sounds:
        idle = np.flatnonzero(free_at <= sound["start"])
        channel = int(idle[0]) if len(idle) else int(np.argmin(free_at))
        free_at[channel] = int(sound["end"]) + int(_CHANNEL_REST_S * rate)
        chosen.append(channel)
    return chosen
