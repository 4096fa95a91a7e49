"""Stage, room, mix, cache: what lies between a synth and a file."""

import numpy as np
import pytest

import render
from base.errors import InputError, MissingPart
from base.store import Store, StoreWarning
from render import RenderSettings
from render.room import DECAY_S, ROOM_DB, Room, impulse_response
from render.stage import Seat, place

DRY = RenderSettings(synth="partials", room=False)


@pytest.fixture(scope="module")
def trio(make_music):
    """Three players, one of them with a long tail."""
    return make_music.arrangement_of(
        {
            "flute 1": make_music.notes_of((0, 1, 76), (1, 1, 74)),
            "harp": make_music.notes_of((0, 2, 48), (2, 2, 55)),
            "cellos": make_music.notes_of((0, 4, 43)),
        }
    )


def rendered(arrangements, settings, **more):
    """Renderings of the first bar."""
    return render.render_variants(arrangements, (1, 1), passage="test", settings=settings, **more)


def test_variants_share_one_length_and_dry_stems_sum_to_the_mix(make_music, trio):
    """All renderings have one length to the sample; stems minus mix lie below -120 dB."""
    short = make_music.arrangement_of({"flute 1": make_music.notes_of((0, 1, 76))}, variant="short")
    first, second = rendered([short, trio], DRY)
    assert first.mix.shape == second.mix.shape
    rest = second.mix.astype(np.float64) - sum(stem.samples.astype(np.float64) for stem in second.stems)
    assert make_music.level_db(rest) - make_music.level_db(second.mix) < -120


def test_with_a_room_the_mix_is_stems_and_room(make_music, trio):
    """What the room answers is what the mix has beyond its stems."""
    (found,) = rendered([trio], RenderSettings(synth="partials"))
    rest = found.mix - found.room - sum(stem.samples for stem in found.stems)
    assert make_music.level_db(rest) - make_music.level_db(found.mix) < -120
    assert len(found.mix) > 48_000 * 4


def test_workers_and_runs_give_the_same_samples(trio):
    """One thread or two, first run or second: the same samples to the bit."""
    first, second, third = (rendered([trio], DRY, workers=workers)[0].mix for workers in (1, 2, 2))
    assert np.array_equal(first, second)
    assert np.array_equal(second, third)


def test_a_stem_in_the_cache_is_not_sounded_again(trio, tmp_path, monkeypatch):
    """A second run takes every stem from the cache, wherever players sit; a damaged entry is made again."""
    from render.synths.partials import Partials

    sounded = []
    plain = Partials.render
    monkeypatch.setattr(Partials, "render", lambda self, request: sounded.append(1) or plain(self, request))
    store = Store(tmp_path)
    (first,) = rendered([trio], DRY, store=store)
    assert len(sounded) == 3
    (second,) = rendered([trio], DRY, store=store)
    assert len(sounded) == 3
    assert np.array_equal(first.mix, second.mix)
    rendered([trio], RenderSettings(synth="partials", room=True, stage="violins divided"), store=store)
    assert len(sounded) == 3  # neither seat nor room touches a stem
    next(tmp_path.glob("*/*.npz")).write_bytes(b"broken")
    with pytest.warns(StoreWarning):
        (third,) = rendered([trio], DRY, store=store)
    assert len(sounded) == 4
    assert np.array_equal(first.mix, third.mix)


def test_stem_keys_say_whether_samples_are_equal(trio):
    """Equal keys mean equal samples: another seat is another key."""
    here, there = (rendered([trio], RenderSettings(synth="partials", room=False, stage=stage))[0]
                   for stage in ("violins together", "violins divided"))  # fmt: skip
    for one, two in zip(here.stems, there.stems, strict=True):
        assert (one.key == two.key) == np.array_equal(one.samples, two.samples)


@pytest.mark.parametrize("azimuth", [-60.0, -20.0, 0.0, 35.0])
def test_direction_keeps_power(make_music, azimuth):
    """Wherever a player sits, the power of both channels together is the same; left is left."""
    tone = np.ones((4800, 2), np.float32)
    here = place(tone, Seat(azimuth, 12.0), 0.0, 9600)
    ahead = place(tone, Seat(0.0, 12.0), 0.0, 9600)
    assert make_music.level_db(here) == pytest.approx(make_music.level_db(ahead), abs=0.05)
    left, right = np.sum(here**2, axis=0)
    assert (left > right) == (azimuth < 0) or azimuth == 0.0


def test_sound_from_further_back_comes_later():
    """3.43 m further are 10 ms later."""
    near, far = Seat(0.0, 10.0), Seat(0.0, 13.43)
    assert far.delay_samples - near.delay_samples == pytest.approx(480, abs=1)


def test_the_room_decays_as_stated():
    """Reverberation time by octave band (Schroeder's backward integral, -5 to -25 dB, as ISO 3382-1) is as stated."""
    response = impulse_response()
    size = 1 << 18
    spectrum = np.fft.rfft(response[:, 0], size)
    frequency = np.fft.rfftfreq(size, 1 / 48_000)
    for band_hz, stated_s in DECAY_S.items():
        inside = (frequency > band_hz / 2**0.5) & (frequency < band_hz * 2**0.5)
        energy = np.cumsum((np.fft.irfft(spectrum * inside)[: len(response)] ** 2)[::-1])[::-1]
        fall = 10 * np.log10(energy / energy[0] + 1e-30)
        found_s = (np.argmax(fall < -25) - np.argmax(fall < -5)) / 48_000 * 3
        assert found_s == pytest.approx(stated_s, rel=0.12)
    assert 10 * np.log10(np.sum(response.astype(float) ** 2)) == pytest.approx(ROOM_DB, abs=0.01)


def test_the_room_in_pieces_is_the_room_in_one():
    """Sound sent in blocks gives what sound sent at once gives, and both what convolution gives."""
    sent = np.random.default_rng(1).standard_normal(20_000).astype(np.float32)
    whole = Room().answer(sent)
    room = Room(4096)
    pieces = np.concatenate([room.answer(sent[at : at + 4096]) for at in range(0, len(sent), 4096)])
    exact = np.convolve(sent, impulse_response()[:, 0])[: len(sent)]
    assert np.allclose(whole, pieces, atol=1e-5)
    assert np.allclose(whole[:, 0], exact, atol=1e-5)


def test_unknown_choices_name_the_nearest():
    """A misspelt balance, stage or synth is refused with the nearest legal one."""
    with pytest.raises(InputError, match="orchestration rule"):
        RenderSettings(balance="orchestral rule")
    with pytest.raises(InputError, match="violins divided"):
        RenderSettings(stage="violins divide")


def test_no_soundfont_says_how_to_get_one(trio, monkeypatch, tmp_path):
    """Without any soundfont the error has exit code 3 and names one; partials still sound."""
    from soundfonts import installed

    monkeypatch.setattr(installed, "search_folders", lambda: (tmp_path,))
    monkeypatch.setattr(installed, "_bundled", lambda: None)
    with pytest.raises(MissingPart, match="fluid-soundfont-gm") as caught:
        rendered([trio], RenderSettings())
    assert caught.value.exit_code == 3
    assert rendered([trio], DRY)[0].mix.any()


def test_a_file_that_is_no_soundfont_is_refused(trio, tmp_path):
    """Naming another file as soundfont is the input's fault."""
    path = tmp_path / "notes.sf2"
    path.write_bytes(b"RIFF0000WAVE")
    with pytest.raises(InputError, match="not a soundfont"):
        rendered([trio], RenderSettings(soundfont=path))


def test_equal_keys_are_equal_samples_and_seats_count(make_music):
    """Two in unison on different seats share what the synth gives, not their key; seen again, a stem is one array."""
    notes = make_music.notes_of((0, 1, 76), (1, 2, 74))
    made = make_music.arrangement_of({"flute 1": notes, "flute 2": notes})
    again, other = made, make_music.arrangement_of({"flute 1": notes, "flute 2": notes[:1]}, variant="other")
    settings = RenderSettings(synth="partials", room=False, spread=False)
    found = [stem for one in rendered([made, again, other], settings) for stem in one.stems]
    for one in found:
        for two in found:
            assert (one.key == two.key) == np.array_equal(one.samples, two.samples)
    assert found[0].key != found[1].key
    assert found[0].samples is found[2].samples
    (centred,) = rendered([made], RenderSettings(synth="partials", room=False, spread=False, stage="centre"))
    assert centred.stems[0].key not in {stem.key for stem in found}
    assert [stem.name for stem in centred.stems] == ["flute 1", "flute 2"]
