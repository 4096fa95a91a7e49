"""The guide's example synth is a synth."""

import re
from pathlib import Path

import numpy as np

from render.request import SOUND_DTYPE, SWELL_DTYPE, StemRequest


def test_the_synth_in_the_guide_sounds(make_music):
    """The example of docs/sound.md runs as printed and gives the level its formula says."""
    text = (Path(__file__).parents[2] / "docs" / "sound.md").read_text(encoding="utf-8")
    space: dict = {}
    exec(re.search(r"```python\n(.*?)```", text, re.S)[1], space)
    sounds = np.zeros(1, SOUND_DTYPE)
    sounds["end"], sounds["key"], sounds["velocity"], sounds["gain_db"] = 48_000, 69, 127, -6.0
    made = space["Sines"]().render(StemRequest(sounds, np.zeros(0, SWELL_DTYPE)))
    assert made.samples.shape == (48_000, 2)
    assert abs(make_music.level_db(made.samples) - (20 * np.log10(0.25) - 6.0)) < 0.05
