"""Roughness and dissonance models against published values.

Values as tested in the R package dycon (P. Harrison, github.com/pmcharrison/dycon, ``tests/testthat``): Sethares from
his own program, Hutchinson & Knopoff 1978 from the paper's tables, Vassilakis 2001 from his dissertation, pages 208 and
210. Plomp & Levelt 1965, *J. Acoust. Soc. Am.* 38:548: most dissonant at about a quarter of the critical bandwidth.
"""

import numpy as np
import pytest

from compare.measures.roughness import hutchinson_knopoff, merged, sethares, vassilakis
from compare.scales import midi_to_hz


@pytest.mark.parametrize(
    ("hz", "amplitude", "ratio"),
    [
        ((440, 460, 480), (1, 1, 1), 2.9194),
        ((440, 460, 480), (1, 2, 3), 3.9161),
        ((440, 460, 480), (3, 2, 1), 3.9194),
        ((300, 250, 275, 425), (1.5, 2, 9, 4), 4.8657),
    ],
)
def test_sethares(hz, amplitude, ratio):
    """Dissonance relative to two equal partials at 440 and 460 Hz."""
    unit = sethares(np.array((440.0, 460.0)), np.ones(2))
    value = sethares(np.array(hz, dtype=float), np.array(amplitude, dtype=float))
    assert value / unit == pytest.approx(ratio, abs=1e-4)


def _tone(pitch, partials):
    """Harmonics of a note with amplitudes 1/n."""
    numbers = np.arange(1, partials + 1)
    return float(midi_to_hz(pitch)) * numbers, 1.0 / numbers


def _chord(pitches, partials, model, join=False):
    """Model value of a chord of such notes."""
    parts = [_tone(pitch, partials) for pitch in pitches]
    hz, amplitude = (np.concatenate(column) for column in zip(*parts, strict=True))
    return model(*(merged(hz, amplitude, cents=0.5) if join else (hz, amplitude)))


@pytest.mark.parametrize(
    ("pitches", "partials", "value"),
    [
        ((60, 61), 1, 0.499),
        ((69, 70), 1, 0.491),
        ((60, 61), 11, 0.484),
        ((60, 64, 67), 11, 0.120),
        ((60, 63, 67), 11, 0.130),
    ],
)
def test_hutchinson_knopoff(pitches, partials, value):
    """Dyads and triads of the paper's tables."""
    assert _chord(pitches, partials, hutchinson_knopoff) == pytest.approx(value, abs=1e-3)


# Dissertation p. 208: partials of the tones C4 to C5 as synthesised, Hz; p. 210: roughness of each with C4.
TONES = (
    (262, 526, 790, 1049, 1318, 1573), (277, 554, 837, 1118, 1398, 1677), (294, 590, 886, 1180, 1473, 1772),
    (311, 624, 932, 1244, 1569, 1873), (330, 663, 995, 1323, 1654, 1994), (349, 701, 1053, 1408, 1751, 2107),
    (370, 741, 1118, 1482, 1852, 2235), (392, 783, 1179, 1570, 1973, 2373), (415, 834, 1250, 1670, 2093, 2499),
    (440, 884, 1329, 1768, 2200, 2666), (466, 937, 1400, 1874, 2345, 2799), (494, 990, 1484, 1985, 2476, 2973),
    (524, 1052, 1573, 2110, 2634, 3154),
)  # fmt: skip
DYADS = (40.383, 27.617, 18.117, 16.002, 11.446, 12.826, 6.179, 10.103, 5.782, 6.214, 6.996, 1.589)


@pytest.mark.parametrize("step", range(1, 13))
def test_vassilakis_dyads(step):
    """Minor second to octave over C4, amplitudes 1/n: the dissertation's table within one percent."""
    amplitude = np.tile(1.0 / np.arange(1, 7), 2)
    ours = 100.0 * vassilakis(np.array(TONES[0] + TONES[step], dtype=float), amplitude)
    assert ours == pytest.approx(DYADS[step - 1], rel=1e-2)


def test_most_dissonant_at_a_quarter_of_the_critical_band():
    """The worst interval above 500 Hz lies between 0.18 and 0.27 of Zwicker's bandwidth there (117 Hz)."""
    steps = np.arange(2.0, 200.0, 0.5)
    worst = steps[np.argmax([sethares(np.array((500.0, 500.0 + step)), np.ones(2)) for step in steps])]
    assert 0.18 < worst / 117.3 < 0.27


def test_a_unison_doubling_adds_nothing():
    """Joined partials: a triad doubled at the unison is as rough, per amplitude, as the triad."""
    hz, amplitude = (np.concatenate(c) for c in zip(*[_tone(p, 8) for p in (60, 64, 67)], strict=True))
    once = merged(hz, amplitude)
    twice = merged(np.tile(hz, 2), np.tile(amplitude, 2))
    assert sethares(*twice) / twice[1].sum() == pytest.approx(sethares(*once) / once[1].sum(), rel=1e-9)
