"""Measures: a known change of the sound moves the figure that names it, the right way, and leaves the others."""

from itertools import pairwise

import numpy as np
import pytest

from compare import compare_passage
from compare.measures.attack import attack_of
from compare.measures.balance import level_difference_lu
from compare.measures.brightness import centroid_cam, flux_percent, specific_loudness
from compare.measures.registers import widest_gap
from compare.measures.resonance import gap_level_db, standing_sound_db
from compare.measures.width import correlation, lean_db

RATE = 48_000


@pytest.fixture(scope="module")
def compare_stems(make_sound, piece):
    """Compare one variant made of stems and parts; return it."""

    def run(stems, parts, *, measures=None, scale=1.0):
        made = make_sound.arrangement(piece[0], parts)
        one = make_sound.rendering("plain", stems, scale=scale)
        return compare_passage([one], arrangements=[made], layers=piece[1], passage="p", measures=measures).variants[0]

    return run


def values(heard):
    """All values by name."""
    return {item.quantity.name: item.value for item in heard.measures}


def test_six_decibels_more_change_no_colour(make_sound, piece, compare_stems):
    """+6 dB on every stem: loudness as rendered +6.02 LU, no figure of the matched clip moves."""
    parts = make_sound.plain_parts(piece[0])
    soft, loud = (compare_stems(make_sound.plain_stems(), parts, scale=scale) for scale in (1.0, 2.0))
    assert loud.loudness.integrated_lufs - soft.loudness.integrated_lufs == pytest.approx(6.0206, abs=1e-3)
    before, after = values(soft), values(loud)
    assert set(before) == set(after)
    for name, value in before.items():
        assert after[name] == pytest.approx(value, abs=2e-3), name


def test_a_held_note_raises_resonance_monotonically(make_sound, piece, compare_stems):
    """The louder the held horn, the more sound stands under the notes, without reversal."""
    parts = [*make_sound.plain_parts(piece[0]), make_sound.part(piece[0], "horn 1", make_sound.held(), source=False)]
    standing = []
    for level in (0.0, 0.006, 0.02, 0.06, 0.12):
        horn = make_sound.sound(make_sound.held(), level=level, brightness=2.0)
        stems = {**make_sound.plain_stems(), "horn 1": horn}
        standing.append(values(compare_stems(stems, parts, measures=["resonance"]))["standing_sound"])
    assert all(later > earlier for earlier, later in pairwise(standing)), standing
    assert standing[-1] - standing[0] > 6.0


def test_a_held_note_fills_the_gaps(make_sound, piece, compare_stems):
    """Among detached chords a held note raises the level left before the next chord."""
    chords = [(quarter, 0.4, pitch) for quarter in range(16) for pitch in (60, 64, 67)]
    stems = {"violas": make_sound.sound(chords)}
    parts = [make_sound.part(piece[0], "violas", chords)]
    dry = values(compare_stems(stems, parts, measures=["resonance"]))["gap_level"]
    horn = {"horn 1": make_sound.sound(make_sound.held(-12), level=0.02)}
    wet = values(compare_stems({**stems, **horn}, parts, measures=["resonance"]))["gap_level"]
    assert dry < -40.0
    assert wet > dry + 20.0


def test_a_masker_in_the_tunes_band_covers_it_elsewhere_not(make_sound, piece, compare_stems):
    """Noise around the tune's partials lowers its share; the same noise far above leaves it nearly as it was."""
    hz = np.fft.rfftfreq(len(make_sound.plain_stems()["violas"]), 1.0 / RATE)
    noise = np.random.default_rng(1).normal(0.0, 0.2, (2 * (len(hz) - 1), 2))
    spectrum = np.fft.rfft(noise, axis=0)

    def band(low, high):
        part = np.where(((hz > low) & (hz < high))[:, None], spectrum, 0.0)
        return np.fft.irfft(part, axis=0).astype(np.float32)

    parts = [*make_sound.plain_parts(piece[0]), make_sound.part(piece[0], "snare", make_sound.held(), source=False)]
    quiet = make_sound.plain_stems() | {"snare": np.zeros_like(make_sound.plain_stems()["violas"])}
    shares = {}
    for name, masker in (("none", None), ("same band", band(500, 2500)), ("far above", band(13_000, 16_000))):
        stems = dict(quiet) if masker is None else quiet | {"snare": masker[: len(quiet["violas"])]}
        shares[name] = values(compare_stems(stems, parts, measures=["audibility"]))["melody_share"]
    assert shares["same band"] < shares["none"] - 20.0
    assert abs(shares["far above"] - shares["none"]) < 3.0


def test_a_louder_tune_is_heard_more_without_reversal(make_sound, piece, compare_stems):
    """Share and margin of the tune rise with its level, without reversal (the mix as a whole stays at 70 dB)."""
    parts = make_sound.plain_parts(piece[0])
    found = [
        values(compare_stems(make_sound.plain_stems(**{"violins 1": 0.01 * 2.0**step}), parts, measures=["audibility"]))
        for step in range(5)
    ]
    shares = [value["melody_share"] for value in found]
    margins = [value["melody_margin"] for value in found]
    assert shares == sorted(shares)
    assert np.all(np.diff(margins) > 1.0)


def test_one_decibel_on_a_layer_is_one_unit_of_balance(make_sound, piece, compare_stems):
    """Bass up 1 dB: balance +1.00 LU, balance of the middle unchanged."""
    parts = make_sound.plain_parts(piece[0])
    low, high = (
        values(compare_stems(make_sound.plain_stems(cellos=level), parts, measures=["balance"]))
        for level in (0.05, 0.05 * 10.0 ** (1.0 / 20.0))
    )
    assert high["balance_bass"] - low["balance_bass"] == pytest.approx(1.0, abs=1e-3)
    assert high["balance_middle"] == pytest.approx(low["balance_middle"], abs=1e-3)
    assert level_difference_lu(np.array([1.0, 4.0]), np.array([10.0, 40.0])) == pytest.approx(-10.0)


def test_brightness_follows_the_partials(make_sound, piece, compare_stems):
    """Weaker upper partials lower the centroid; an octave up raises it; faint noise does not."""
    parts = [make_sound.part(piece[0], "violins 1", make_sound.MELODY)]

    def brightness(samples):
        return values(compare_stems({"violins 1": samples}, parts, measures=["brightness"]))["brightness"]

    plain = brightness(make_sound.sound(make_sound.MELODY))
    dark = brightness(make_sound.sound(make_sound.MELODY, brightness=3.0))
    high = brightness(make_sound.sound([(o, d, p + 12) for o, d, p in make_sound.MELODY]))
    tone = make_sound.sound(make_sound.MELODY)
    noise = np.random.default_rng(2).normal(0.0, 1e-3 * tone.std(), tone.shape).astype(np.float32)
    assert dark < plain - 1.0
    assert high > plain + 1.0
    assert brightness(tone + noise) == pytest.approx(plain, abs=0.1)


def test_centroid_of_two_bands_lies_between_them():
    """Two equal bands have their centroid in the middle; a steady sound has no flux."""
    excitation = np.zeros((5, 37))
    excitation[:, 10] = excitation[:, 20] = 1.0
    loudness = specific_loudness(excitation)
    assert np.allclose(centroid_cam(loudness), 2.0 + 15.0)
    assert flux_percent(loudness) == 0.0


def test_standing_sound_of_known_bands():
    """One band always on and one on half of the time: the standing part is two thirds of the whole, −1.76 dB."""
    power = np.zeros((40, 2))
    power[:, 0] = 1.0
    power[::2, 1] = 1.0
    assert standing_sound_db(power) == pytest.approx(10.0 * np.log10(1.0 / 1.5), abs=1e-6)
    assert standing_sound_db(np.zeros((4, 2))) == -60.0


def test_gap_level_of_known_decay():
    """A sound falling by 40 dB per second: its last quarter lies where the formula says, within half a dB."""
    hop_s = 0.001
    time = np.arange(2000) * hop_s
    means = 10.0 ** (-4.0 * (time % 1.0))
    (level,) = gap_level_db(means, hop_s, np.array([0.0, 1.0]))
    late = 10.0 ** (-4.0 * time[(time >= 0.75) & (time < 0.98)])
    early = np.convolve(means[:1000], np.ones(50) / 50, mode="valid").max()
    assert level == pytest.approx(10.0 * np.log10(late.mean() / early), abs=0.5)


def test_a_stroke_makes_the_accent_sharper_and_further(make_sound, piece, compare_stems):
    """The score has one accent, on bar 3: a drum there raises sharpness and step; elsewhere it changes neither."""
    m = make_sound
    slow = {"violins 1": m.sound(m.MELODY, attack_s=0.12), "cellos": m.sound(m.BASS, attack_s=0.12)}
    parts = [m.part(piece[0], "violins 1", m.MELODY), m.part(piece[0], "cellos", m.BASS)]

    def attack(onset):
        note = [(onset, 1, 36)]
        drum = {"timpani": m.sound(note, level=0.2, attack_s=0.002)} if onset is not None else {}
        players = [*parts, m.part(piece[0], "timpani", note, source=False)] if drum else parts
        found = values(compare_stems({**slow, **drum}, players, measures=["attack"]))
        return found["accent_step"], found["attack_speed"]

    plain, struck, elsewhere = attack(None), attack(8), attack(14)
    assert struck[0] > plain[0] + 2.0
    assert struck[1] is not None
    assert plain[1] is None or struck[1] > plain[1] + 2.0
    assert elsewhere == pytest.approx(plain, abs=0.01) or (elsewhere[1] is None and plain[1] is None)


def test_staggered_entries_soften_the_attack():
    """The further the entries of ten players are apart, the lower the attack's sharpness."""
    hop_s, onset_s = 0.001, 1.0
    speeds = []
    for apart_s in (0.0, 0.004, 0.008, 0.02):
        power = np.full(2000, 1e-4)
        for player in range(10):
            power[int((onset_s + player * apart_s) / hop_s) :] += 0.1
        step, speed = attack_of(power, hop_s, onset_s)
        assert step > 20.0
        speeds.append(speed)
    assert speeds[0] == pytest.approx(0.0, abs=1e-6)
    assert speeds == sorted(speeds, reverse=True)


def test_width_and_lean():
    """One point is 0 wide, unrelated sides are 1 wide; twice the amplitude on the right leans 6.02 dB."""
    rng = np.random.default_rng(3)
    mono = rng.normal(size=48_000).astype(np.float32)
    assert 1.0 - correlation(np.stack((mono, mono), axis=1)) == pytest.approx(0.0, abs=1e-6)
    assert 1.0 - correlation(rng.normal(size=(48_000, 2))) == pytest.approx(1.0, abs=0.02)
    assert lean_db(np.stack((mono, 2.0 * mono), axis=1)) == pytest.approx(6.0206, abs=1e-3)


def test_roughness_of_intervals(make_sound, piece, compare_stems):
    """A minor second is rougher than a fifth; an octave adds next to nothing; a unison doubling adds nothing."""

    def roughness(*pitches):
        stems = {f"p{row}": make_sound.sound([(0, 8, pitch)]) for row, pitch in enumerate(pitches)}
        parts = [make_sound.part(piece[0], f"p{row}", [(0, 8, pitch)]) for row, pitch in enumerate(pitches)]
        return values(compare_stems(stems, parts, measures=["roughness"]))["roughness"]

    second, fifth, octave = roughness(60, 61), roughness(60, 67), roughness(60, 72)
    assert second > 2.0 * fifth > 2.0 * octave
    assert roughness(60, 67, 67) == pytest.approx(fifth, abs=0.03)


def test_registers_tell_who_plays_where(make_sound, piece, compare_stems):
    """A filled octave appears at its octave; the hole between bass and tune closes."""
    far = [("violins 1", [(0, 16, 84)]), ("cellos", [(0, 16, 36)])]
    near = [*far, ("violas", [(0, 16, 60)])]

    def run(players):
        stems = {name: make_sound.sound(notes) for name, notes in players}
        return values(
            compare_stems(
                stems, [make_sound.part(piece[0], *player) for player in players], measures=["registers", "density"]
            )
        )

    hollow, filled = run(far), run(near)
    assert hollow["octave_c4"] == -60.0
    assert filled["octave_c4"] > -40.0
    assert (hollow["widest_gap"], filled["widest_gap"]) == (48.0, 24.0)
    assert (hollow["notes_at_once"], filled["notes_at_once"]) == (2.0, 3.0)
    assert filled["filled_bands"] > hollow["filled_bands"]
    assert widest_gap(np.array([0.0]), np.array([1.0]), np.array([60])) is None


def test_swapping_variants_negates_every_difference(variants, piece, trial):
    """Second against first is minus first against second, and the words turn round."""
    renderings, arrangements = variants
    turned = compare_passage(
        renderings[1::-1], arrangements=arrangements[1::-1], layers=piece[1], passage="opening"
    ).changes[0]
    straight = trial.changes[0]
    there = {figure.name: figure.difference for figure in straight.figures}
    back = {figure.name: figure.difference for figure in turned.figures}
    assert there
    assert set(there) == set(back)
    for name, difference in there.items():
        assert back[name] == pytest.approx(-difference, abs=1e-9)
    assert turned.steps_removed == straight.steps_added
    assert [change.removed for change in turned.players] == [change.added for change in straight.players]


def test_a_late_start_changes_nothing(make_sound, variants, piece, trial):
    """Ten milliseconds of silence before everything, anchors moved along: no figure moves noticeably."""
    from dataclasses import replace

    one, arrangement = variants[0][1], variants[1][1]
    pad = 480

    def later(samples):
        return np.concatenate((np.zeros((pad, 2), np.float32), samples[:-pad]))

    stems = tuple(replace(stem, samples=later(stem.samples), key=stem.key + " later") for stem in one.stems)
    starts = tuple((bar, start + pad / RATE) for bar, start in one.bar_starts_s)
    moved = replace(one, stems=stems, mix=later(one.mix), bar_starts_s=starts)
    heard = compare_passage([moved], arrangements=[arrangement], layers=piece[1], passage="p").variants[0]
    before = {item.quantity.name: item for item in trial.variants[1].measures}
    for item in heard.measures:
        if item.value is not None and item.quantity.matched:
            assert not item.quantity.differs(item.value, before[item.quantity.name].value), item.quantity.name


@pytest.mark.parametrize("seed", [1, 2])
def test_another_performance_is_no_difference(make_sound, variants, piece, trial, seed):
    """The same variant played by people who come up to 8 ms early or late: nothing is said to differ."""
    m, rng = make_sound, np.random.default_rng(seed)

    def human(notes):
        return [
            (onset + max(0.0, 1.0 + rng.uniform(-8, 8) / 8) * 0.016, length, pitch) for onset, length, pitch in notes
        ]

    amount = {"violins 1": (m.MELODY, 0.06, 0.3), "violas": (m.MIDDLE, 0.03, 0.6), "cellos": (m.BASS, 0.05, 0.7)}
    stems = {name: m.sound(human(notes), level=level, pan=pan) for name, (notes, level, pan) in amount.items()}
    again = m.rendering("again", stems)
    made = compare_passage(
        [variants[0][0], again], arrangements=[variants[1][0]] * 2, layers=piece[1], passage="opening"
    )
    assert made.changes[0].figures == ()


def test_without_arrangements_the_sound_is_still_measured(variants):
    """Loudness, brightness, resonance and width need no notes; the others say what they need."""
    heard = compare_passage(variants[0][:1], passage="p").variants[0]
    known = values(heard)
    for name in ("loudness", "brightness", "standing_sound", "width", "filled_bands"):
        assert known[name] is not None
    assert known["melody_share"] is None
    note = next(item.note for item in heard.measures if item.quantity.name == "melody_share")
    assert "it needs to know" in note
