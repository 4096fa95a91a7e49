"""Measure a soundfont: how loud, how late and how true each key of each orchestral preset sounds.

Every key is sounded in every layer of soundfonts.calibration.LAYERS by the renderer's own synth and settings, so that
what is measured is what will be heard.

References
----------
J. Vos, R. Rasch, "The perceptual onset of musical tones", Perception & Psychophysics 29 (1981): a tone is heard to
begin where its envelope passes a threshold some 6 to 15 dB below its maximum (from memory); 10 dB is taken here.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from itertools import count
from typing import TYPE_CHECKING, Any

import numpy as np

from base.writing import write_text
from mapping.instruments import instruments
from render.request import SOUND_DTYPE, SWELL_DTYPE, StemRequest
from render.stage import narrowed
from render.synths.fluid import FluidSynth
from soundfonts.calibration import LAYERS, Calibration, Preset, to_json, user_path
from soundfonts.presets import DRUM_BANK

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from soundfonts import Font

__all__ = ["COMPASSES", "KITS", "calibrate", "measure", "measure_keys"]

COMPASSES: dict[int, tuple[int, int]] = {
    **dict.fromkeys((0, 46), (21, 108)), 8: (60, 108), 9: (72, 108), 11: (48, 96), 12: (40, 96), 13: (60, 108),
    14: (55, 84), 40: (55, 105), 41: (48, 93), 42: (36, 84), 43: (24, 67), 44: (24, 103), 45: (24, 103), 47: (33, 64),
    48: (24, 105), 49: (24, 105), 52: (36, 84), 56: (50, 89), 57: (30, 79), 58: (22, 70), 59: (50, 89), 60: (31, 82),
    61: (31, 88), 64: (52, 91), 65: (46, 84), 66: (40, 79), 67: (33, 72), 68: (55, 94), 69: (48, 86), 70: (20, 79),
    71: (34, 98), 72: (70, 108), 73: (53, 100),
}  # fmt: skip
"""General MIDI programs measured (from 0) and the keys that orchestral parts may ask of them."""

KITS = (0, 48)
"""Drum kits measured (bank 128): the standard one and the orchestra's, by their programs from 0."""

_RATE = 48_000
_LONG_S, _SHORT_S = 3.0, 0.8
_HELD_S = (0.5, 3.0)  # where a held sound's level is taken
_QUICK_S = (0.3, 0.8)  # where layers are compared with each other
_MF = 3
_NOISE_KEY = 69  # noise has no period; its envelope is taken over 5 ms
_ONSET_DB = -10.0
_FILTERS = (-600.0, -1200.0, -1800.0, -2400.0, -3000.0, -3600.0)
_DARKER = 0.25  # the softest layer's spectral centroid may lie this much lower
_WEAKER_DB = 1.5
_ALIKE_DB = 0.3  # two keys whose layers differ no more than this speak for the key between them
_STRUCK = frozenset({8, 9, 11, 12, 13, 14, 47})  # overtones are not harmonic: only the strike tone tells the pitch

Samples = np.ndarray[Any, np.dtype[np.float32]]
Floats = np.ndarray[Any, np.dtype[np.float64]]


def calibrate(font: Font, *, progress: Callable[[int, int], None] | None = None, workers: int = 2) -> Path:
    """Measure *font* and keep the result in the user's data folder.

    Parameters
    ----------
    font : Font
    progress : callable, optional
        Called with presets done and presets in all.
    workers : int
        Threads.

    Returns
    -------
    Path
        The file written.
    """
    calibration = measure(font, progress=progress, workers=workers)
    path = user_path(font.sha256)
    write_text(path, to_json(calibration, name=font.name, sha256=font.sha256))
    return path


def measure(font: Font, *, progress: Callable[[int, int], None] | None = None, workers: int = 2) -> Calibration:
    """Return the measurements of *font*; presets it does not have are left out."""
    synth = FluidSynth(font, static=True, tail_cap_s=0.0)
    done = count(1)  # counts safely from several threads

    wanted = [*((0, program) for program in COMPASSES), *((DRUM_BANK, kit) for kit in KITS)]

    def one(place: tuple[int, int]) -> tuple[tuple[int, int], Preset | None]:
        """Measure one preset."""
        preset = measure_kit(synth, place[1]) if place[0] == DRUM_BANK else _preset(synth, place[1])
        if progress:
            progress(next(done), len(wanted))
        return place, preset

    with ThreadPoolExecutor(workers) as pool:
        found = dict(pool.map(one, wanted))
    return Calibration({place: preset for place, preset in sorted(found.items()) if preset})


def measure_kit(synth: FluidSynth, kit: int) -> Preset | None:
    """Return the levels of the strokes that instruments without pitch ask of a drum kit; None without such a kit.

    Each stroke is measured in every layer as it will be heard, taken down where its instrument's table says so. Keys
    nobody asks for count as silent.
    """
    asked = {item.unpitched.kit_key: item.unpitched.lower for item in instruments().values() if item.unpitched}
    low, high = min(asked), max(asked)
    levels, attack = np.full((high - low + 1, len(LAYERS)), np.nan), np.full(high - low + 1, np.nan)
    for key, lower in asked.items():
        struck = [_stroke(synth, kit, key, lower, velocity) for _, _, velocity in LAYERS]
        heard = [_power(one) for one in struck if one is not None]
        if len(heard) == len(LAYERS):
            levels[key - low] = [10.0 * np.log10(_loudest(power)) for power in heard]
            attack[key - low] = _onset_s(heard[_MF], _NOISE_KEY, float(levels[key - low, _MF]))
    if not np.any(np.isfinite(levels)):
        return None
    return Preset(low, levels, attack, np.where(np.isnan(attack), np.nan, 0.0), 0.0, np.zeros(len(LAYERS)), True)


def _stroke(synth: FluidSynth, kit: int, key: int, lower: int, velocity: int) -> Samples | None:
    """One stroke of a kit; None where kit or key is not there."""
    sounds = np.zeros(1, SOUND_DTYPE)
    sounds["end"], sounds["key"], sounds["velocity"] = round(_SHORT_S * _RATE), key, velocity
    sounds["bank"], sounds["program"], sounds["tune_cents"] = DRUM_BANK, kit, -100.0 * lower
    return _heard(synth, sounds)


def measure_keys(font: Font, program: int, keys: tuple[int, int], *, bright_cents: float) -> np.ndarray[Any, Any]:
    """Return the levels of a few keys in dB, shape (keys, layers), to check a calibration against.

    Parameters
    ----------
    font : Font
    program : int
        General MIDI program, from 0.
    keys : (first, last)
        MIDI keys, both included.
    bright_cents : float
        Filter shift of the softest layer, as in the calibration.
    """
    synth = FluidSynth(font, tail_cap_s=0.0)
    found = [(key, _held(synth, program, key, bright_cents)) for key in range(keys[0], keys[1] + 1)]
    return np.array([_levels(one, _changes(synth, program, key, bright_cents, one)) for key, one in found])


@dataclass(frozen=True)
class _Held:
    """What a key held at mf gives; ``power`` is its mean where layers are compared."""

    level_db: float
    power: float
    onset_s: float
    cents: float
    rings: bool


def _preset(synth: FluidSynth, program: int) -> Preset | None:
    """Measure a preset, or return None where the font lacks it or it is silent."""
    low, high = COMPASSES[program]
    middle = (low + high) // 2
    if _sound(synth, program, middle, LAYERS[_MF][2], 0.0, _SHORT_S) is None:
        return None
    bright, filter_db = _filter(synth, program, middle)
    held = [_held(synth, program, key, bright) for key in range(low, high + 1)]
    changes = _all_changes(synth, program, low, bright, held)
    levels = np.array([_levels(one, change) for one, change in zip(held, changes, strict=True)])
    onsets, cents, rings = (
        np.array([np.nan if one is None else float(getattr(one, fact)) for one in held])
        for fact in ("onset_s", "cents", "rings")
    )
    return Preset(low, levels, onsets, cents, bright, filter_db, float(np.nanmean(rings)) > 0.5)


def _held(synth: FluidSynth, program: int, key: int, bright: float) -> _Held | None:
    """Measure a key held at mf; None where it is silent."""
    long = _sound(synth, program, key, LAYERS[_MF][2], _bright(bright, _MF), _LONG_S)
    if long is None:
        return None
    power = _power(long)
    rings = _mean(power, *_HELD_S) < 0.1 * _loudest(power)
    level = 10.0 * float(np.log10(_loudest(power) if rings else _mean(power, *_HELD_S)))
    return _Held(level, _mean(power, *_window(rings)), _onset_s(power, key, level), _cents(long, program, key), rings)


def _window(rings: bool) -> tuple[float, float]:
    """Stretch in which layers are compared."""
    return (0.0, _SHORT_S) if rings else _QUICK_S


def _levels(held: _Held | None, changes: Floats) -> Floats:
    """Levels of a key by layer; NaN where it is silent."""
    return np.full(len(LAYERS), np.nan) if held is None else held.level_db + changes


def _changes(synth: FluidSynth, program: int, key: int, bright: float, held: _Held | None) -> Floats:
    """Levels of a key's layers relative to mf, by short sounds."""
    changes = np.zeros(len(LAYERS))
    if held is None:
        return changes
    for row, (_, _, velocity) in enumerate(LAYERS):
        if row != _MF:
            quick = _sound(synth, program, key, velocity, _bright(bright, row), _SHORT_S)
            power = np.nan if quick is None else _mean(_power(quick), *_window(held.rings))
            changes[row] = 10.0 * np.log10(power / held.power)
    return changes


def _all_changes(synth: FluidSynth, program: int, low: int, bright: float, held: list[_Held | None]) -> list[Floats]:
    """Changes of all keys: every second is measured, and those between whose neighbours disagree."""
    measured = {row: _changes(synth, program, low + row, bright, held[row]) for row in range(0, len(held), 2)}
    found = []
    for row, one in enumerate(held):
        if row in measured:
            found.append(measured[row])
            continue
        before, after = measured[row - 1], measured.get(row + 1, np.full(len(LAYERS), np.nan))
        sure = held[row - 1] and row + 1 < len(held) and held[row + 1] and np.max(np.abs(after - before)) < _ALIKE_DB
        found.append((before + after) / 2.0 if sure else _changes(synth, program, low + row, bright, one))
    return found


def _bright(softest: float, layer: int) -> float:
    """Filter shift of a layer: all of it at the softest, none at the loudest."""
    return softest * (len(LAYERS) - 1 - layer) / (len(LAYERS) - 1)


def _sound(synth: FluidSynth, program: int, key: int, velocity: int, bright: float, length_s: float) -> Samples | None:
    """One key held for a time, cut where it is let go; None where preset or key is not there."""
    sounds = np.zeros(1, SOUND_DTYPE)
    sounds["end"], sounds["key"], sounds["velocity"] = round(length_s * _RATE), key, velocity
    sounds["program"], sounds["bright_cents"] = program, bright
    return _heard(synth, sounds)


def _heard(synth: FluidSynth, sounds: np.ndarray[Any, np.dtype[np.void]]) -> Samples | None:
    """What a sound gives on the stage; None where preset or key is not there."""
    answer = synth.render(StemRequest(sounds, np.zeros(0, SWELL_DTYPE), _RATE))
    if answer.replaced or answer.missing or not np.any(answer.samples):
        return None
    return narrowed(answer.samples)  # as the stage will take it


def _filter(synth: FluidSynth, program: int, key: int) -> tuple[float, np.ndarray[Any, Any]]:
    """Find the filter shift for the softest layer, and what it does to the level layer by layer."""
    softest, level = 0.0, np.zeros(len(LAYERS))
    plain = _sound(synth, program, key, LAYERS[0][2], 0.0, _SHORT_S)
    if plain is None:
        return 0.0, level
    centroid, power = _centroid_hz(plain), _mean(_power(plain), *_QUICK_S)
    for shift in _FILTERS:
        dark = _sound(synth, program, key, LAYERS[0][2], shift, _SHORT_S)
        if dark is None:
            break
        weaker = 10.0 * np.log10(power / _mean(_power(dark), *_QUICK_S))
        if _centroid_hz(dark) < (1.0 - _DARKER) * centroid or weaker > _WEAKER_DB:
            break
        softest = shift
    for row, (_, _, velocity) in enumerate(LAYERS):
        if softest:
            open_, dark = (_sound(synth, program, key, velocity, b, _SHORT_S) for b in (0.0, _bright(softest, row)))
            if open_ is not None and dark is not None:
                level[row] = 10.0 * np.log10(_mean(_power(dark), *_QUICK_S) / _mean(_power(open_), *_QUICK_S))
    return softest, level


def _power(samples: Samples) -> np.ndarray[Any, Any]:
    """Power by sample, both channels added."""
    left, right = samples[:, 0].astype(np.float64), samples[:, 1].astype(np.float64)
    return np.asarray(left * left + right * right + 1e-20)


def _mean(power: np.ndarray[Any, Any], first_s: float, last_s: float) -> float:
    """Mean power of a stretch."""
    return float(np.mean(power[round(first_s * _RATE) : round(last_s * _RATE)]))


def _smoothed(power: np.ndarray[Any, Any], window_s: float) -> np.ndarray[Any, Any]:
    """Mean power in a window ending at each sample (from the first full window on)."""
    width = max(1, round(window_s * _RATE))
    total = np.concatenate([[0.0], np.cumsum(power)])
    return np.asarray((total[width:] - total[:-width]) / width)


def _loudest(power: np.ndarray[Any, Any]) -> float:
    """Greatest mean power of any 200 ms."""
    return float(np.max(_smoothed(power, 0.2)))


def _onset_s(power: np.ndarray[Any, Any], key: int, level_db: float) -> float:
    """Time at which the envelope (two periods, at least 5 ms) passes the onset threshold, at most 0.4 s."""
    window_s = max(0.005, 2.0 / (440.0 * 2.0 ** ((key - 69) / 12.0)))
    above = np.flatnonzero(_smoothed(power, window_s) >= 10.0 ** ((level_db + _ONSET_DB) / 10.0))
    first = float(above[0]) / _RATE if len(above) else 0.0
    return min(0.4, first + window_s / 2.0 if first > 0.0 else 0.0)


@cache
def _hann(count: int) -> Samples:
    """The window of tuning measurements."""
    return np.asarray(np.hanning(count), np.float32)


def _centroid_hz(samples: Samples) -> float:
    """Spectral centroid of power."""
    spectrum = np.abs(np.fft.rfft(samples[round(_QUICK_S[0] * _RATE) :, 0])) ** 2
    return float(np.sum(spectrum * np.arange(len(spectrum))) / (np.sum(spectrum) + 1e-30))


def _cents(samples: Samples, program: int, key: int) -> float:
    """How far a key sounds above its pitch: power-weighted over its lower partials; 0 where it cannot be told."""
    stretch = samples[round(0.1 * _RATE) :]
    size = 1 << 18
    # Both channels at once: of left + i right, the powers at f and -f together are twice theirs.
    pairs = np.ascontiguousarray(stretch).view(np.complex64)[:, 0] * _hann(len(stretch))
    both = np.abs(np.fft.ifft(pairs, size)) ** 2
    spectrum = both[: size // 2 + 1] + np.concatenate([both[:1], both[: size // 2 - 1 : -1]])
    total = float(np.sum(spectrum))
    frequency = 440.0 * 2.0 ** ((key - 69) / 12.0)
    cents, weights = [], []
    wide = 12.0 if program in _STRUCK else 24.0  # a semitone or half of one to either side
    for number in range(1, 2 if program in _STRUCK else 7):
        low, high = (number * frequency * 2.0 ** (sign / wide) / _RATE * size for sign in (-1, 1))
        bins = np.arange(int(np.ceil(low)), min(int(high), len(spectrum) - 1) + 1)
        if len(bins) < 3:
            continue
        near = spectrum[bins]
        peak = near >= 0.25 * near.max()  # the peak itself, which an ensemble widens
        place = float(np.sum(bins[peak] * near[peak]) / np.sum(near[peak]))
        if near.max() > 4.0 * max(near[0], near[-1]):  # a peak inside, not the flank of something else
            cents.append(1200.0 * np.log2(place / size * _RATE / (number * frequency)))
            weights.append(float(np.sum(near)))
    if not cents or sum(weights) < 0.02 * total:
        return 0.0
    return float(np.average(cents, weights=weights))
