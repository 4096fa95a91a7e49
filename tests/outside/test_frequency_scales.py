"""Frequency scales against published values.

IEC 61260-1:2014, base-ten formulas and nominal frequencies. Glasberg & Moore 1990. Zwicker's critical-band edges and
Traunmüller 1990 (*J. Acoust. Soc. Am.* 88:97, accuracy ±0.05 Bark).
"""

import numpy as np
import pytest

from compare.scales import (
    bark,
    erb_bandwidth_hz,
    erb_number,
    erb_number_to_hz,
    hz_to_midi,
    midi_to_hz,
    note_name,
    third_octave_centres_hz,
    third_octave_edges_hz,
    third_octave_names,
)

EXACT = (
    25.119, 31.623, 39.811, 50.119, 63.096, 79.433, 100.0, 125.893, 158.489, 199.526, 251.189, 316.228, 398.107,
    501.187, 630.957, 794.328, 1000.0, 1258.925, 1584.893, 1995.262, 2511.886, 3162.278, 3981.072, 5011.872,
    6309.573, 7943.282, 10000.0, 12589.25, 15848.93, 19952.62,
)  # fmt: skip


def test_third_octave_centres():
    """Exact mid-band frequencies as printed, each within 1.3 % of its nominal name."""
    assert np.allclose(third_octave_centres_hz(), EXACT, rtol=2e-5)
    nominal = np.array([float(name) for name in third_octave_names()])
    assert np.all(np.abs(third_octave_centres_hz() / nominal - 1.0) < 0.013)


@pytest.mark.parametrize(
    ("name", "low", "high"), [("1000", 891.251, 1122.018), ("100", 89.125, 112.202), ("10000", 8912.51, 11220.18)]
)
def test_third_octave_edges(name, low, high):
    """Band edges of 100 Hz, 1 kHz and 10 kHz."""
    row = third_octave_names().index(name)
    assert third_octave_edges_hz()[row : row + 2] == pytest.approx((low, high), rel=1e-5)


@pytest.mark.parametrize(
    ("hz", "bandwidth", "number"),
    [(100, 35.494, 3.3696), (500, 78.669, 10.7665), (1000, 132.639, 15.6214), (4000, 456.456, 27.1074)],
)
def test_erb(hz, bandwidth, number):
    """Bandwidth and ERB-number after Glasberg & Moore 1990, and back."""
    assert float(erb_bandwidth_hz(hz)) == pytest.approx(bandwidth, abs=1e-3)
    assert float(erb_number(hz)) == pytest.approx(number, abs=1e-4)
    assert float(erb_number_to_hz(number)) == pytest.approx(hz, rel=1e-4)


def test_bark():
    """Zwicker's band edges from 200 Hz to 9.5 kHz lie within 0.05 Bark of the whole numbers."""
    edges = (200, 300, 400, 510, 630, 770, 920, 1080, 1270, 1480, 1720, 2000, 2320, 2700, 3150, 3700, 4400, 5300, 6400)
    assert np.all(np.abs(bark(np.array(edges, dtype=float)) - np.arange(2, 2 + len(edges))) < 0.06)
    assert float(bark(1000.0)) == pytest.approx(8.527, abs=1e-3)


def test_notes():
    """A4 is 440 Hz and MIDI 69, middle C is C4 and 261.626 Hz (ISO 16:1975; MIDI 1.0)."""
    assert float(midi_to_hz(69)) == 440.0
    assert float(midi_to_hz(60)) == pytest.approx(261.6256, abs=1e-4)
    assert float(hz_to_midi(880.0)) == pytest.approx(81.0)
    assert (note_name(60), note_name(21), note_name(70)) == ("C4", "A0", "B♭4")
