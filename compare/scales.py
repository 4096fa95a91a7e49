"""Frequency scales: one-third octaves, ERB-number, Bark, and the names of the notes.

References
----------
IEC 61260-1:2014, base-ten octave ratio and mid-band frequencies (formulas 1 to 5).
Glasberg & Moore 1990, *Hearing Research* 47:103 (equivalent rectangular bandwidth, ERB-number).
Traunmüller 1990, *J. Acoust. Soc. Am.* 88:97 (Bark, with his corrections at both ends).
"""

from __future__ import annotations

from typing import Any

import numpy as np

__all__ = [
    "Floats",
    "bark",
    "erb_bandwidth_hz",
    "erb_number",
    "erb_number_to_hz",
    "hz_to_midi",
    "midi_to_hz",
    "note_name",
    "third_octave_centres_hz",
    "third_octave_edges_hz",
    "third_octave_names",
]

Floats = np.ndarray[Any, np.dtype[np.floating[Any]]]

OCTAVE_RATIO = 10.0**0.3
_NOMINAL = (
    *("25", "31.5", "40", "50", "63", "80", "100", "125", "160", "200", "250", "315", "400", "500", "630", "800"),
    *(
        "1000",
        "1250",
        "1600",
        "2000",
        "2500",
        "3150",
        "4000",
        "5000",
        "6300",
        "8000",
        "10000",
        "12500",
        "16000",
        "20000",
    ),
)
_FIRST, _LAST = -16, 13  # index of 25 Hz and of 20 kHz counted from 1 kHz
_NAMES = ("C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B")


def third_octave_centres_hz() -> Floats:
    """Return the exact mid-band frequencies from 25 Hz to 20 kHz, shape (30,), base ten."""
    return np.asarray(1000.0 * OCTAVE_RATIO ** (np.arange(_FIRST, _LAST + 1) / 3.0))


def third_octave_edges_hz() -> Floats:
    """Return the band edges, shape (31,): lower edge of each band and the upper edge of the last."""
    return 1000.0 * OCTAVE_RATIO ** ((np.arange(_FIRST, _LAST + 2) - 0.5) / 3.0)


def third_octave_names() -> tuple[str, ...]:
    """Return the nominal frequencies as printed on instruments: ``25``, ``31.5`` … ``20000``."""
    return _NOMINAL


def erb_bandwidth_hz(frequency_hz: Floats | float) -> Floats:
    """Return the equivalent rectangular bandwidth, 24.7 (4.37 F + 1) Hz with F in kHz."""
    return 24.7 * (4.37e-3 * np.asarray(frequency_hz, dtype=float) + 1.0)


def erb_number(frequency_hz: Floats | float) -> Floats:
    """Return the ERB-number (Cam), 21.4 lg(4.37 F + 1) with F in kHz."""
    return 21.4 * np.log10(4.37e-3 * np.asarray(frequency_hz, dtype=float) + 1.0)


def erb_number_to_hz(cam: Floats | float) -> Floats:
    """Return the frequency of an ERB-number."""
    return (10.0 ** (np.asarray(cam, dtype=float) / 21.4) - 1.0) / 4.37e-3


def bark(frequency_hz: Floats | float) -> Floats:
    """Return the critical-band rate after Traunmüller, corrected below 2 and above 20.1 Bark."""
    frequency = np.asarray(frequency_hz, dtype=float)
    z = 26.81 * frequency / (1960.0 + frequency) - 0.53
    z = np.where(z < 2.0, z + 0.15 * (2.0 - z), z)
    return np.where(z > 20.1, z + 0.22 * (z - 20.1), z)


def midi_to_hz(pitch: Floats | float) -> Floats:
    """Return the equal-tempered frequency of a MIDI pitch, A4 = 69 = 440 Hz."""
    return 440.0 * 2.0 ** ((np.asarray(pitch, dtype=float) - 69.0) / 12.0)


def hz_to_midi(frequency_hz: Floats | float) -> Floats:
    """Return the (fractional) MIDI pitch of a frequency."""
    return 69.0 + 12.0 * np.log2(np.asarray(frequency_hz, dtype=float) / 440.0)


def note_name(pitch: int) -> str:
    """Return the name of a MIDI pitch, middle C = C4."""
    return f"{_NAMES[pitch % 12]}{pitch // 12 - 1}"
