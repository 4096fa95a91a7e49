"""The way from an arrangement to sound."""

import numpy as np

import render
from render import RenderSettings


def test_variants_share_one_length_and_the_mix_is_the_sum_of_stems(make_music):
    """All renderings of a passage have one length to the sample, and dry stems add up to the mix."""
    short = make_music.arrangement_of({"flute 1": make_music.notes_of((0, 1, 76))})
    longer = make_music.arrangement_of(
        {"harp": make_music.notes_of((0, 8, 60)), "horn 1": make_music.notes_of((1, 4, 57))}
    )
    settings = RenderSettings(synth="partials", room=False)
    first, second = render.render_variants([short, longer], (1, 2), passage="a", settings=settings)
    assert first.mix.shape == second.mix.shape
    assert np.allclose(second.mix, sum(stem.samples for stem in second.stems), atol=1e-7)
