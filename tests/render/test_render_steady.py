"""Offsets taken out, music left alone."""

import numpy as np
import pytest

from render.synths.steady import SteadyStream, without_offset


@pytest.mark.parametrize("hz", [27.5, 41.2, 110.0, 440.0, 3003.0])
def test_notes_pass_unchanged(make_music, hz):
    """From the piano's lowest note up nothing changes by more than 0.1 dB."""
    time_s = np.arange(96_000) / 48_000
    tone = np.repeat((0.5 * np.sin(2 * np.pi * hz * time_s)).astype(np.float32)[:, None], 2, axis=1)
    before, after = (make_music.level_db(sound, 0.3, 1.7) for sound in (tone, without_offset(tone)[0]))
    assert after == pytest.approx(before, abs=0.1)


def test_an_offset_goes(make_music):
    """A constant falls by more than 60 dB."""
    still = np.full((96_000, 2), 0.1, np.float32)
    assert make_music.level_db(without_offset(still)[0], 0.3, 1.7) < make_music.level_db(still) - 60


def test_in_pieces_as_in_one():
    """Read in pieces, the same samples come out as at once."""
    sound = np.cumsum(np.random.default_rng(5).standard_normal((40_000, 2)), axis=0).astype(np.float32) * 1e-3

    class Source:
        done = 0
        finished = False

        def read(self, count):
            piece = np.zeros((count, 2), np.float32)
            rest = sound[self.done : self.done + count]
            piece[: len(rest)] = rest
            self.done += count
            return piece

        def close(self):
            self.finished = True

    stream = SteadyStream(Source())
    pieces = np.concatenate([stream.read(8192) for _ in range(5)])[: len(sound)]
    assert np.allclose(pieces, without_offset(sound)[0], atol=2e-6)
