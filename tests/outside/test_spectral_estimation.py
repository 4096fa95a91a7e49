"""Spectra against theory, scipy and published figures.

Analytic level of a sine and of white noise; Parseval's theorem; scipy.signal.welch and scipy.signal windows;
equivalent noise bandwidths printed in the MATLAB documentation of ``enbw`` (hamming(1000): 1.3638; hann(128) at 1
kHz: 11.8110 Hz); the level of a 1 kHz tone of 1 Pa in its third-octave band, 93.98 dB (as MoSQITo's validation of
noct_spectrum has it).
"""

import numpy as np
import pytest
from scipy import signal as reference

from compare.scales import third_octave_names
from compare.spectra import band_powers, decibels, enbw_bins, hann, smooth, third_octaves_db, welch

RATE = 48_000


def test_a_sine_has_its_power_in_its_bins():
    """A sine of peak 1 on a bin: density A²/2 over ENBW times bin width, and 0.5 in all."""
    segment = 4800
    wave = np.sin(2.0 * np.pi * 1000.0 * np.arange(10 * segment) / RATE)
    spectrum = welch(wave, RATE, segment=segment)
    assert spectrum.density.max() == pytest.approx(0.5 / (1.5 * 10.0), rel=1e-9)
    assert spectrum.density.max() == pytest.approx(0.033333, abs=1e-6)
    assert np.sum(spectrum.density) * 10.0 == pytest.approx(0.5, rel=1e-9)
    assert spectrum.enbw_hz == pytest.approx(15.0)


def test_white_noise_has_the_density_of_theory():
    """Unit variance at 48 kHz: 2/fs = 4.1667e-5 per Hz; the scatter is that of the number of segments."""
    noise = np.random.default_rng(1).normal(0.0, 1.0, 20 * RATE)
    spectrum = welch(noise, RATE, segment=2048)
    inner = spectrum.density[5:-5]
    assert inner.mean() == pytest.approx(2.0 / RATE, rel=0.01)
    assert inner.std() / inner.mean() == pytest.approx(np.sqrt(1.0556 / spectrum.segments), rel=0.15)


@pytest.mark.parametrize("segment", [1024, 8192])
def test_the_same_estimate_as_scipy(segment):
    """Stereo noise gives the mean of scipy's two channels."""
    noise = np.random.default_rng(2).normal(0.0, 0.2, (3 * RATE, 2))
    hz, density = reference.welch(noise, RATE, window="hann", nperseg=segment, detrend=False, axis=0)
    spectrum = welch(noise, RATE, segment=segment)
    assert np.allclose(spectrum.hz, hz)
    assert np.allclose(spectrum.density, density.mean(axis=1), rtol=1e-9)


def test_scipys_own_example():
    """scipy's documented case: 2 Vrms at 1234 Hz in noise of 0.001 V²/Hz, 10 kHz: noise floor 0.000992 ± 2 %."""
    rate, n = 10_000, 100_000
    time = np.arange(n) / rate
    rng = np.random.default_rng(3)
    wave = 2.0 * np.sqrt(2.0) * np.sin(2.0 * np.pi * 1234.0 * time) + rng.normal(0.0, np.sqrt(0.001 * rate / 2.0), n)
    spectrum = welch(wave, rate, segment=1024)
    assert spectrum.density[256:].mean() == pytest.approx(0.000992, rel=0.02)
    peak = slice(np.argmax(spectrum.density) - 3, np.argmax(spectrum.density) + 4)
    assert np.sqrt(np.sum(spectrum.density[peak]) * rate / 1024) == pytest.approx(2.008, rel=0.02)


def test_parseval():
    """Power in time equals power over frequency for one segment without window loss."""
    wave = np.random.default_rng(4).normal(0.0, 1.0, 8192)
    windowed = wave * hann(8192)
    spectrum = welch(wave, RATE, segment=8192)
    total = np.sum(spectrum.density) * RATE / 8192 * np.sum(hann(8192) ** 2)
    assert total == pytest.approx(np.sum(windowed**2), rel=1e-12)


def test_noise_bandwidths_of_windows():
    """Published equivalent noise bandwidths, and the periodic Hann window's 1.5 bins."""
    assert enbw_bins(np.hamming(1000)) == pytest.approx(1.3638, abs=5e-5)
    assert enbw_bins(np.hanning(128)) * 1000.0 / 128.0 == pytest.approx(11.8110, abs=5e-5)
    assert enbw_bins(hann(4096)) == pytest.approx(1.5, abs=1e-12)
    assert np.allclose(hann(4096), reference.get_window("hann", 4096))


def test_one_pascal_in_its_third_octave():
    """1 kHz at 1 Pa RMS: 93.98 dB re 20 µPa in the 1 kHz band, at least 19 dB less beside it."""
    wave = np.sqrt(2.0) * np.sin(2.0 * np.pi * 1000.0 * np.arange(4 * RATE) / RATE)
    levels = third_octaves_db(welch(wave, RATE, segment=32_768)) - 20.0 * np.log10(20e-6)
    row = third_octave_names().index("1000")
    assert levels[row] == pytest.approx(93.98, abs=0.01)
    assert max(levels[row - 1], levels[row + 1]) < 93.98 - 19.4


def test_pink_noise_is_level_in_thirds():
    """Noise falling by 3 dB per octave has equal levels in all third-octave bands (definition of pink noise)."""
    rng = np.random.default_rng(5)
    spectrum = np.fft.rfft(rng.normal(0.0, 1.0, 20 * RATE))
    spectrum[1:] /= np.sqrt(np.arange(1, len(spectrum)))
    levels = third_octaves_db(welch(np.fft.irfft(spectrum), RATE, segment=32_768))[3:-1]
    assert np.ptp(levels) < 1.2
    assert abs(np.polyfit(np.arange(len(levels)), levels, 1)[0]) < 0.03


def test_bands_lose_nothing():
    """Band powers between 0 and half the rate sum to the power of the signal."""
    wave = np.random.default_rng(6).normal(0.0, 0.3, 10 * RATE)
    spectrum = welch(wave, RATE)
    edges = np.array([0.0, 100.0, 1234.5, 9000.0, RATE])
    assert band_powers(spectrum, edges).sum() == pytest.approx(np.sum(spectrum.density) * RATE / 8192, rel=1e-9)
    hz, db = smooth(spectrum)
    assert np.allclose(db[hz > 400.0], decibels(np.array(2.0 * 0.09 / RATE)), atol=1.5)
