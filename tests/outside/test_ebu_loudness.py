"""Loudness against published recipes and against two libraries.

EBU Tech 3341 V4 (November 2023), Table 1: expected loudness and true peak of synthesised signals.
EBU Tech 3342 V4 (November 2023), Table 1: expected loudness range.
ITU-R BS.1770-5 (November 2023), Annex 1, Tables 1 and 2, and the 997 Hz anchor.
ITU-R BS.2217: levels of the two-channel compliance sines, synthesised here.
pyebur128 (libebur128) and pyloudnorm as further meters.
"""

import numpy as np
import pyebur128
import pyloudnorm
import pytest

from compare.loudness import Meter, k_coefficients, k_response, true_peak

RATE = 48_000


def tone(*pieces, hz=1000.0, channels=2):
    """Sine in phase on all channels from (seconds, peak dBFS); level −inf is silence."""
    amplitude = np.concatenate([np.full(round(s * RATE), 10.0 ** (db / 20.0)) for s, db in pieces])
    wave = amplitude * np.sin(2.0 * np.pi * hz * np.arange(len(amplitude)) / RATE)
    return np.repeat(wave[:, None], channels, axis=1)


SILENCE = -np.inf

INTEGRATED = {
    "1": (((20, -23),), -23.0),
    "2": (((20, -33),), -33.0),
    "3": (((10, -36), (60, -23), (10, -36)), -23.0),
    "4": (((10, -72), (10, -36), (60, -23), (10, -36), (10, -72)), -23.0),
    "5": (((20, -26), (20.1, -20), (20, -26)), -23.0),
}


@pytest.mark.parametrize("case", INTEGRATED)
def test_integrated_loudness_of_tech_3341(case):
    """Cases 1 to 5 read within the published ±0.1 LU; 1 and 2 on the momentary and short-term scale too."""
    pieces, expected = INTEGRATED[case]
    meter = Meter(tone(*pieces), RATE)
    assert meter.integrated() == pytest.approx(expected, abs=0.1)
    if case in "12":
        assert np.allclose(meter.momentary(), expected, atol=0.1)
        assert np.allclose(meter.short_term(), expected, atol=0.1)


def test_surround_of_tech_3341_case_6():
    """Case 6, five channels with their weights, reads −23.0 ± 0.1 LUFS."""
    wave = tone((20, 0.0), channels=1)
    signal = wave * 10.0 ** (np.array([-28.0, -28.0, -24.0, -30.0, -30.0]) / 20.0)
    meter = Meter(signal, RATE, weights=(1.0, 1.0, 1.0, 1.41, 1.41))
    assert meter.integrated() == pytest.approx(-23.0, abs=0.1)


def test_short_term_of_tech_3341_case_9():
    """Case 9: short-term loudness is constant at −23.0 ± 0.1 LUFS after 3 s."""
    meter = Meter(tone(*[(1.34, -20), (1.66, -30)] * 5), RATE)
    assert np.allclose(meter.short_term(), -23.0, atol=0.1)


def test_momentary_of_tech_3341_case_12():
    """Case 12: momentary loudness is constant at −23.0 ± 0.1 LUFS after 1 s."""
    meter = Meter(tone(*[(0.18, -20), (0.22, -30)] * 25), RATE)
    assert np.allclose(meter.momentary()[60:], -23.0, atol=0.1)


@pytest.mark.parametrize("number", range(20))
def test_maxima_of_tech_3341_cases_10_and_13(number):
    """Cases 10 and 13: the maximum does not depend on where the tone begins."""
    short = Meter(tone((number * 0.15, SILENCE), (3, -23), (1, SILENCE)), RATE).read()
    assert short.short_term_max_lufs == pytest.approx(-23.0, abs=0.1)
    momentary = Meter(tone((number * 0.02, SILENCE), (0.4, -23), (1, SILENCE)), RATE).read()
    assert momentary.momentary_max_lufs == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize(
    ("case", "divisor", "amplitude", "degrees", "expected"),
    [
        ("15", 4, 0.50, 0.0, -6.0),
        ("16", 4, 0.50, 45.0, -6.0),
        ("17", 6, 0.50, 60.0, -6.0),
        ("18", 8, 0.50, 67.5, -6.0),
        ("19", 4, 1.41, 45.0, 3.0),
    ],
)
def test_true_peak_of_tech_3341(case, divisor, amplitude, degrees, expected):
    """Cases 15 to 19 (10 ms fades) read within the published +0.2/−0.4 dB."""
    del case
    n = RATE
    wave = amplitude * np.sin(2.0 * np.pi * np.arange(n) / divisor + np.radians(degrees))
    fade = np.minimum(1.0, np.minimum(np.arange(n), np.arange(n)[::-1]) / (0.01 * RATE))
    peak = 20.0 * np.log10(true_peak(wave * fade))
    assert expected - 0.4 <= peak <= expected + 0.2


@pytest.mark.parametrize(
    ("levels", "expected"),
    [((-20, -30), 10.0), ((-20, -15), 5.0), ((-40, -20), 20.0), ((-50, -35, -20, -35, -50), 15.0)],
)
def test_loudness_range_of_tech_3342(levels, expected):
    """Cases 1 to 4 read within the published ±1 LU; our own reading is exact to 0.01 LU."""
    meter = Meter(tone(*((20, level) for level in levels), channels=1) * np.sqrt(2.0), RATE)
    assert meter.loudness_range() == pytest.approx(expected, abs=0.01)


def test_the_997_hz_anchor():
    """BS.1770-5 Annex 1: a 0 dBFS 997 Hz sine in one channel reads −3.01 LKFS."""
    signal = np.zeros((4 * RATE, 2))
    signal[:, 0] = np.sin(2.0 * np.pi * 997.0 * np.arange(len(signal)) / RATE)
    assert Meter(signal, RATE).integrated() == pytest.approx(-3.01, abs=0.005)


def test_coefficients_of_the_k_weighting():
    """BS.1770-5 Annex 1, Tables 1 and 2, at 48 kHz."""
    b1, a1, b2, a2 = k_coefficients(48_000)
    assert np.allclose(b1, (1.53512485958697, -2.69169618940638, 1.19839281085285), atol=1e-10)
    assert np.allclose(a1[1:], (-1.69065929318241, 0.73248077421585), atol=1e-10)
    assert np.array_equal(b2, (1.0, -2.0, 1.0))
    assert np.allclose(a2[1:], (-1.99004745483398, 0.99007225036621), atol=1e-10)


@pytest.mark.parametrize(
    ("hz", "peak_dbfs"),
    [(25, -11.916), (100, -21.176), (500, -22.351), (1000, -23.007), (2000, -25.380), (10_000, -26.351)],
)
def test_sines_of_the_compliance_set(hz, peak_dbfs):
    """Two-channel sines at these peaks read −23 LUFS (BS.2217's list of frequencies; peaks from the K response)."""
    assert Meter(tone((4, peak_dbfs), hz=hz), RATE).integrated() == pytest.approx(-23.0, abs=0.01)


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
def test_the_same_reading_as_libebur128(rate):
    """Noise of changing level reads as on libebur128: integrated to 0.001 LU, range (at its 1 s hop) to 0.01 LU."""
    rng = np.random.default_rng(3)
    signal = rng.normal(0.0, 0.1, (12 * rate, 2)) * np.repeat(10.0 ** (rng.uniform(-1.5, 0.0, 24)), rate // 2)[:, None]
    modes = pyebur128.MeasurementMode
    state = pyebur128.R128State(2, rate, modes.MODE_I | modes.MODE_LRA)
    state.add_frames(np.ascontiguousarray(signal).ravel(), len(signal))
    meter = Meter(signal, rate)
    assert meter.integrated() == pytest.approx(pyebur128.get_loudness_global(state), abs=1e-3)
    assert meter.loudness_range(hop_s=1.0) == pytest.approx(pyebur128.get_loudness_range(state), abs=1e-2)


def test_the_same_reading_as_pyloudnorm_with_the_standard_filter():
    """pyloudnorm reads the same once its filter is set to the standard's coefficients (class "DeMan")."""
    signal = np.random.default_rng(4).normal(0.0, 0.05, (6 * RATE, 2))
    reference = pyloudnorm.Meter(RATE, filter_class="DeMan").integrated_loudness(signal)
    assert Meter(signal, RATE).integrated() == pytest.approx(reference, abs=0.005)


def test_white_noise_reads_what_the_filter_predicts():
    """White noise of −20 dBFS RMS, one channel: −16.90 LUFS by integrating the K response from 20 Hz to 20 kHz."""
    hz = np.linspace(20.0, 20_000.0, 20_000)
    gain = np.mean(np.abs(k_response(hz, RATE)) ** 2) * (20_000.0 - 20.0) / (RATE / 2)
    noise = np.random.default_rng(5).normal(0.0, 0.1, 20 * RATE)
    spectrum = np.fft.rfft(noise)
    frequency = np.fft.rfftfreq(len(noise), 1.0 / RATE)
    spectrum[(frequency < 20.0) | (frequency > 20_000.0)] = 0.0
    banded = np.fft.irfft(spectrum, len(noise))
    assert Meter(banded, RATE).integrated() == pytest.approx(-0.691 - 20.0 + 10.0 * np.log10(gain), abs=0.05)
