"""One stem on a synth of its own: fonts in memory, events on block borders, keys and presets that are not there."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from base.errors import InputError
from render.request import StemRequest
from render.synths.library import GEN_ATTENUATION, GEN_FILTERFC, GEN_FINETUNE, library
from soundfonts.presets import DRUM_BANK, FONT_BANKS

if TYPE_CHECKING:
    from soundfonts import Font

__all__ = ["BLOCK", "POLYPHONY", "FreshSynth", "LoadedFonts"]

BLOCK = 64  # samples in which the library thinks; events take effect at their borders
POLYPHONY = 512

_MOST_CHANNELS = 256
_CHANNEL_STEP = 16  # the library takes multiples of this
_DRUM_CHANNEL = 9  # the library treats it differently
_STEP = 2048  # longest piece made before asking whether anything sounds still
_INAUDIBLE = 1e-6  # -120 dB re full scale, before the stem's gain
_CHANNEL_REST_S = 5.0  # a channel is not used again while its last sound may still ring
_SEARCH_KEYS = 24  # how far to look for a key that sounds
_OFF, _SWELL, _ON = 0, 1, 2  # order at one instant


class LoadedFonts:
    """Soundfonts in memory, owned by a synth that never plays."""

    def __init__(self, fonts: tuple[Font, ...], *, static: bool) -> None:
        self.lib = lib = library()
        self.static = static
        self.settings = lib.new_fluid_settings()
        for name, number in (("synth.gain", 1.0), ("synth.sample-rate", 48000.0)):
            lib.fluid_settings_setnum(self.settings, name.encode(), number)
        for name, value in (
            ("synth.dynamic-sample-loading", 0 if static else 1),
            ("synth.lock-memory", 0),
            ("synth.polyphony", POLYPHONY),
            ("synth.reverb.active", 0),
            ("synth.chorus.active", 0),
        ):
            lib.fluid_settings_setint(self.settings, name.encode(), value)
        self.keeper = lib.new_fluid_synth(self.settings)
        # With its presets chosen, the keeper holds the samples that every fresh synth would first read for nothing.
        self.sfonts = [self._load(font) for font in fonts]

    def _load(self, font: Font) -> Any:
        """Load one soundfont."""
        number = self.lib.fluid_synth_sfload(self.keeper, str(font.path).encode(), 1)
        if number < 0:
            msg = "the soundfont could not be loaded."
            raise InputError(msg, path=font.path, hint="Is it a complete SF2 or SF3 file?")
        return self.lib.fluid_synth_get_sfont_by_id(self.keeper, number)

    def __del__(self) -> None:
        # Only when no synth plays from it any more: each one that does holds a reference to this object.
        self.lib.delete_fluid_synth(self.keeper)
        self.lib.delete_fluid_settings(self.settings)


class FreshSynth:
    """A synth used for one stem and then thrown away; it gives its sound in pieces of any length.

    It must be used by one thread only: that of its loaded font.
    """

    def __init__(self, loaded: LoadedFonts, request: StemRequest) -> None:
        self.loaded, self.lib, self.rate = loaded, loaded.lib, request.sample_rate_hz
        self.request = request
        self.channels = _channels(request.sounds, self.rate)
        self.events = _events(request)
        self.next_event = 0
        self.done = 0
        self.heard: list[tuple[int, int]] = []  # stretches in which something sounds
        self.selected: dict[int, tuple[int, int]] = {}
        self.keys: dict[int, int] = {}
        self.replaced: dict[int, int] = {}
        self.missing: set[tuple[int, int]] = set()
        # A channel costs time to make, so there are only as many as this stem needs.
        count = max(self.channels, default=0) // _CHANNEL_STEP * _CHANNEL_STEP + _CHANNEL_STEP
        self.lib.fluid_settings_setint(loaded.settings, b"synth.midi-channels", count)
        self.lib.fluid_settings_setnum(loaded.settings, b"synth.sample-rate", float(self.rate))
        self.synth = self.lib.new_fluid_synth(loaded.settings)
        self.sfonts = [self.lib.fluid_synth_add_sfont(self.synth, sfont) for sfont in loaded.sfonts]

    def close(self) -> None:
        """Let go of the synth; the font outlives it, so it must be taken out first."""
        if self.synth:
            for sfont in self.loaded.sfonts:
                self.lib.fluid_synth_remove_sfont(self.synth, sfont)
            self.lib.delete_fluid_synth(self.synth)
            self.synth = None

    @property
    def finished(self) -> bool:
        """Whether nothing is left to play or to ring out."""
        return self.next_event >= len(self.events) and self.lib.fluid_synth_get_active_voice_count(self.synth) <= 0

    def read(self, count: int) -> np.ndarray[Any, np.dtype[np.float32]]:
        """Return the next *count* samples (a multiple of BLOCK), float32, shape (count, 2)."""
        piece = np.zeros((count, 2), np.float32)
        self._read_into(piece, self.done)
        return piece

    def _read_into(self, piece: np.ndarray[Any, np.dtype[np.float32]], first: int, *, count: int | None = None) -> None:
        """Play on, into a piece that begins at sample *first*: to its end, or *count* samples."""
        last = first + len(piece) if count is None else self.done + count
        row = int(np.searchsorted(self.events[:, 0], last, side="left"))
        for at, kind, sound, swell in self.events[self.next_event : row].tolist():
            self._write(piece, first, at)
            self._apply(kind, sound, swell)
        self.next_event = row
        self._write(piece, first, last)

    def all(self, tail_cap_s: float) -> np.ndarray[Any, np.dtype[np.float32]]:
        """Return every sample from first to last, letting the sound ring out."""
        end = int(self.events[-1, 0]) + BLOCK if len(self.events) else 0
        limit = end + int(tail_cap_s * self.rate)
        # Room for the longest release; what is not used is never touched, so it takes no memory.
        whole = np.zeros((limit + _STEP, 2), np.float32)
        self._read_into(whole, 0, count=end)
        while self.done < limit and not self.finished:
            before = self.done
            self._read_into(whole, 0, count=_STEP)
            if np.max(np.abs(whole[before : self.done])) < _INAUDIBLE:
                break
        return whole[: self.done]

    def _apply(self, kind: int, row: int, swell: int) -> None:
        """Let one event take effect."""
        sound, channel = self.request.sounds[row], self.channels[row]
        if kind == _OFF:
            if self.keys.get(row, -1) >= 0:
                self.lib.fluid_synth_noteoff(self.synth, channel, self.keys.pop(row))
        elif kind == _SWELL:
            change = self.request.swells[swell]
            self._set(channel, float(change["gain_db"]), float(change["bright_cents"]))
        else:
            self._select(channel, sound)
            self._set(channel, float(sound["gain_db"]), float(sound["bright_cents"]))
            self.keys[row] = self._strike(row, channel, sound)

    def _select(self, channel: int, sound: Any) -> None:
        """Put the sound's preset on its channel; where the font has none, the nearest thing and a note of it."""
        wanted = int(sound["bank"]), int(sound["program"])
        if self.selected.get(channel) == wanted:
            return
        self.selected[channel] = wanted
        self.lib.fluid_synth_cc(self.synth, channel, 7, 127)
        row, bank = divmod(wanted[0], FONT_BANKS)
        sfont = self.sfonts[row] if row < len(self.sfonts) else self.sfonts[0]
        if self.lib.fluid_synth_program_select(self.synth, channel, sfont, bank, wanted[1]) == 0:
            return
        self.missing.add(wanted)
        if bank == DRUM_BANK and self.lib.fluid_synth_program_select(self.synth, channel, sfont, bank, 0) == 0:
            return  # the standard kit
        family = wanted[1] // 8 * 8  # General MIDI groups programs in families of eight
        for program in (wanted[1], *range(family, family + 8), 48, 0):
            if self.lib.fluid_synth_program_select(self.synth, channel, sfont, 0, program) == 0:
                return

    def _set(self, channel: int, gain_db: float, bright_cents: float) -> None:
        """Set level (attenuation in centibels) and brightness of a channel."""
        self.lib.fluid_synth_set_gen(self.synth, channel, GEN_ATTENUATION, -10.0 * gain_db)
        self.lib.fluid_synth_set_gen(self.synth, channel, GEN_FILTERFC, bright_cents)

    def _strike(self, row: int, channel: int, sound: Any) -> int:
        """Start a sound and return its key: a key without a sample gives way to the nearest that has one."""
        key, velocity, tune = int(sound["key"]), int(sound["velocity"]), float(sound["tune_cents"])
        for shift in _SHIFTS:
            instead = key + shift
            if not 0 <= instead <= 127:
                continue
            self.lib.fluid_synth_set_gen(self.synth, channel, GEN_FINETUNE, tune - 100.0 * shift)
            before = self.lib.fluid_synth_get_active_voice_count(self.synth)
            self.lib.fluid_synth_noteon(self.synth, channel, instead, velocity)
            if self.lib.fluid_synth_get_active_voice_count(self.synth) > before or before >= POLYPHONY:
                if shift:
                    self.replaced[row] = instead
                return instead
        self.replaced[row] = -1
        return -1

    def _write(self, piece: np.ndarray[Any, np.dtype[np.float32]], first: int, to: int) -> None:
        """Synthesise up to sample *to* into a piece that begins at sample *first* and holds zeros so far."""
        while self.done < to:
            if to - self.done > _STEP and self.lib.fluid_synth_get_active_voice_count(self.synth) <= 0:
                self.done = to  # nothing sounds before the next event
                return
            count = min(to - self.done, _STEP)
            place, offset = piece.ctypes.data, 2 * (self.done - first)
            self.lib.fluid_synth_write_float(self.synth, count, place, offset, 2, place, offset + 1, 2)
            begun = self.heard.pop()[0] if self.heard and self.heard[-1][1] == self.done else self.done
            self.done += count
            self.heard.append((begun, self.done))


_SHIFTS = (0, *(sign * step for step in range(1, _SEARCH_KEYS + 1) for sign in (-1, 1)))
"""Distances in semitones in which a sounding key is looked for, nearest first."""


def _events(request: StemRequest) -> np.ndarray[Any, np.dtype[np.int64]]:
    """All events, shape (n, 4): sample on a block border, kind, sound, swell; in the order they take effect."""
    sounds, swells = request.sounds, request.swells
    rows = np.arange(len(sounds))
    start = (sounds["start"] + BLOCK // 2) // BLOCK * BLOCK
    end = np.maximum((sounds["end"] + BLOCK // 2) // BLOCK * BLOCK, start + BLOCK)
    at = swells["at"] // BLOCK * BLOCK
    live = np.flatnonzero((at > start[swells["sound"]]) & (at < end[swells["sound"]]))
    none = np.full(len(rows), -1)
    events = np.concatenate(
        [
            np.stack([start, np.full(len(rows), _ON), rows, none], axis=1),
            np.stack([end, np.full(len(rows), _OFF), rows, none], axis=1),
            np.stack([at[live], np.full(len(live), _SWELL), swells["sound"][live], live], axis=1),
        ]
    ).astype(np.int64)
    return events[np.lexsort((events[:, 3], events[:, 2], events[:, 1], events[:, 0]))]


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
