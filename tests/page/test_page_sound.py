"""What is heard: the page's own mixing graph, rendered sample by sample and measured while it plays."""

from __future__ import annotations

import numpy as np
import pytest
from page_helpers import RATE_HZ, SLOPE, wait

pytestmark = pytest.mark.browser

FADE = 240  # samples in 5 ms

OFFLINE = """async ({length, clips, players, acts, state}) => {
  const context = new OfflineAudioContext(1, length, 48000);
  const buffer = (values) => {
    const made = context.createBuffer(1, values.length, 48000);
    made.copyToChannel(Float32Array.from(values), 0);
    return made;
  };
  const variants = clips.map((clip) => ({ ...clip, buffer: buffer(clip.samples) }));
  const mix = new klangprobe.Mix(context, variants, state);
  mix.start(0, 0);
  if (players) mix.addPlayers(new Map(Object.entries(players).map(([key, values]) => [key, buffer(values)])), 0);
  for (const [name, when, value] of acts) {
    if (name === "hearPlayers") mix.hearPlayers((player) => value.includes(player), when);
    else mix[name](value, when);
  }
  const sound = await context.startRendering();
  return [...sound.getChannelData(0)];
}"""


@pytest.fixture(scope="module")
def tab(browser, listening):
    """Return one open page for all renderings of this module."""
    page = browser.new_page()
    page.goto(listening.as_uri())
    yield page
    page.close()


def sine(hertz: float, seconds: float, amplitude: float = 0.5) -> np.ndarray:
    """Return a sine."""
    return amplitude * np.sin(2 * np.pi * hertz * np.arange(int(seconds * RATE_HZ)) / RATE_HZ)


def render(tab, clips: list[np.ndarray], acts: list, *, seconds: float = 0.5, gains=None, players=None, state=None):
    """Run the graph offline; players are given as (name → samples, gain), the same for every variant."""
    gains = gains or [(1.0, 1.0)] * len(clips)
    names = [[name, name, gain] for name, (_, gain) in (players or {}).items()]
    given = {
        "length": int(seconds * RATE_HZ),
        "clips": [
            {"samples": clip.tolist(), "equal": equal, "scored": scored, "players": names}
            for clip, (equal, scored) in zip(clips, gains, strict=True)
        ],
        "players": {name: samples.tolist() for name, (samples, _) in (players or {}).items()} or None,
        "acts": acts,
        "state": state or {},
    }
    return np.array(tab.evaluate(OFFLINE, given))


def test_another_variant_goes_on_at_the_same_sample(tab):
    """After a change of variant the output equals the other clip at the very same sample numbers."""
    first, second = sine(220, 0.5), sine(331, 0.5, 0.3)
    out = render(tab, [first, second], [["choose", 0.25, 1]])
    change = RATE_HZ // 4
    np.testing.assert_allclose(out[FADE:change], first[FADE:change], atol=1e-6)
    np.testing.assert_allclose(out[change + FADE + 1 :], second[change + FADE + 1 :], atol=1e-6)


@pytest.mark.parametrize("second_change", [0.25 + 0.002, 0.3], ids=["inside the first", "after the first"])
def test_no_step_is_larger_than_the_crossfade_allows(tab, second_change):
    """A step is bounded by the clips' own steps plus their distance spread over 240 samples, also for hasty changes."""
    first, second = sine(220, 0.5), -sine(220, 0.5)
    out = render(tab, [first, second], [["choose", 0.25, 1], ["choose", second_change, 0]])
    own = max(np.abs(np.diff(first)).max(), np.abs(np.diff(second)).max())
    allowed = own + np.abs(first - second).max() / FADE
    assert np.abs(np.diff(out)).max() <= allowed + 1e-6
    assert allowed < 0.03  # the same change without a fade steps by up to 1.0


def test_crossfade_takes_five_milliseconds_and_keeps_the_sum_of_equal_clips(tab):
    """Two equal clips give the clip itself all through the change: the gains always add up to one."""
    clip = sine(440, 0.5)
    out = render(tab, [clip, clip], [["choose", 0.25, 1]])
    np.testing.assert_allclose(out[FADE + 1 :], clip[FADE + 1 :], atol=2e-6)


def test_loudness_switch_uses_the_gains_given(tab):
    """Equal loudness plays with one factor, as scored with the other."""
    clip = sine(440, 0.5)
    out = render(tab, [clip], [["weigh", 0.25, "scored"]], gains=[(0.8, 0.2)])
    change = RATE_HZ // 4
    np.testing.assert_allclose(out[FADE:change], 0.8 * clip[FADE:change], atol=1e-6)
    np.testing.assert_allclose(out[change + FADE + 1 :], 0.2 * clip[change + FADE + 1 :], atol=1e-6)


def test_a_silenced_player_leaves_the_others_in_place(tab):
    """Without the horn the output is the violins, sample for sample; with all players it is the whole again."""
    violins, horn = sine(660, 0.5, 0.3), sine(220, 0.5, 0.2)
    acts = [["hearPlayers", 0.1, ["violins 1"]], ["hearPlayers", 0.3, ["violins 1", "horn 1"]]]
    out = render(tab, [violins + horn], acts, players={"violins 1": (2 * violins, 0.5), "horn 1": (horn, 1.0)})
    first, second = int(0.1 * RATE_HZ), int(0.3 * RATE_HZ)
    np.testing.assert_allclose(out[first + FADE + 1 : second], violins[first + FADE + 1 : second], atol=1e-6)
    np.testing.assert_allclose(out[second + FADE + 1 :], (violins + horn)[second + FADE + 1 :], atol=1e-6)


def test_again_and_again_joins_end_to_start_without_a_gap(tab):
    """A looped passage repeats its samples exactly, round after round."""
    clip = sine(200, 0.1)
    out = render(tab, [clip], [], seconds=0.35, state={"again": True})
    np.testing.assert_allclose(out[FADE + 1 :], np.tile(clip, 4)[FADE + 1 : len(out)], atol=1e-6)


PLACE = """async () => {
  const passage = klangprobe.passages.get("the-river");
  const ear = klangprobe.audio().createAnalyser();
  ear.fftSize = 32;
  passage.mix.out.node.connect(ear);
  const values = new Float32Array(32);
  const pause = (ms) => new Promise((done) => setTimeout(done, ms));
  const heard = async () => {
    await pause(120);
    ear.getFloatTimeDomainData(values);
    return [klangprobe.audio().currentTime, values[31]];
  };
  const found = [await heard()];
  for (let turn = 0; turn < 4; turn += 1) {
    passage.choose(1 - passage.chosen);
    found.push(await heard());
  }
  return found;
}"""


def test_switching_while_playing_keeps_the_place_within_10_ms(open_page, listening):
    """The place, read from the sound that leaves the graph, moves with the clock through four changes of variant."""
    tab = open_page(listening).tab
    tab.keyboard.press("Space")
    wait(tab, "klangprobe.sounding()?.mix?.place() > 0.2")
    found = tab.evaluate(PLACE)
    places = [(abs(value) - 0.05) / SLOPE for _, value in found]
    clocks = [clock for clock, _ in found]
    assert [value > 0 for _, value in found] == [True, False, True, False, True]
    drift_s = np.diff(places) - np.diff(clocks)
    assert np.abs(np.cumsum(drift_s)).max() < 0.010


MUFFLED = """async (values) => {
  const buffer = new AudioBuffer({ length: values.length, sampleRate: 48000 });
  buffer.copyToChannel(Float32Array.from(values), 0);
  return [...(await klangprobe.muffled(buffer)).getChannelData(0)];
}"""


def test_muffled_copy_keeps_to_the_mask_of_the_recommendation(tab):
    """Flat to 3.5 kHz, 25 dB down at 4 kHz, 50 dB at 4.5 kHz (ITU-R BS.1534-3, section 5.1, from memory); no delay."""
    impulse = np.zeros(9600)
    impulse[4800] = 1.0
    out = np.array(tab.evaluate(MUFFLED, impulse.tolist()))
    assert int(np.argmax(out)) == 4800
    gain_db = 20 * np.log10(np.abs(np.fft.rfft(out)) + 1e-9)
    hertz = np.fft.rfftfreq(len(out), 1 / RATE_HZ)
    assert np.abs(gain_db[hertz <= 3500]).max() <= 0.1
    assert gain_db[hertz >= 4000].max() <= -25
    assert gain_db[hertz >= 4500].max() <= -50


def test_marking_never_lets_two_clips_sound_together(tab):
    """With the rule of the rating test one clip is gone before the next comes: the sum dips to nothing between."""
    clip = np.full(RATE_HZ // 4, 0.5)
    out = render(tab, [clip, clip], [["choose", 0.1, 1]], seconds=0.2, state={"apart": True})
    middle = int(0.1 * RATE_HZ) + FADE
    assert abs(out[middle]) < 1e-6
    assert np.abs(np.diff(out)).max() <= 0.5 / FADE + 1e-6


EXCERPT = """async (values) => {
  const context = klangprobe.audio();
  const buffer = context.createBuffer(1, values.length, 48000);
  buffer.copyToChannel(Float32Array.from(values), 0);
  return [...klangprobe.excerpt(context, buffer, 0.05, 0.15).getChannelData(0)];
}"""


def test_a_stretch_begins_and_ends_in_silence(tab):
    """A stretch cut out of a clip has its samples, faded over 5 ms at both ends, and can be repeated."""
    clip = sine(440, 0.2)
    out = np.array(tab.evaluate(EXCERPT, clip.tolist()))
    assert len(out) == RATE_HZ // 10
    np.testing.assert_allclose(out[FADE:-FADE], clip[2400 + FADE : 7200 - FADE], atol=1e-6)
    assert out[0] == 0.0
    assert out[-1] == 0.0


def test_odds_equal_the_binomial_distribution_of_scipy(tab):
    """Tail, interval and fewest right answers are those of scipy.stats.binomtest; 9, 12, 15, 20 as tables have them.

    Fewest right answers for p <= 0.05 one-sided: Meilgaard, Civille, Carr, *Sensory Evaluation Techniques*, table for
    the paired comparison and duo-trio test (from memory).
    """
    from scipy.stats import binomtest

    for of, needed in ((10, 9), (16, 12), (20, 15), (30, 20)):
        assert tab.evaluate(f"klangprobe.odds.needed({of})") == needed
    for right, of in ((0, 10), (7, 10), (10, 10), (13, 16), (29, 30)):
        test = binomtest(right, of, 0.5, alternative="greater")
        assert tab.evaluate(f"klangprobe.odds.atLeast({right}, {of})") == pytest.approx(test.pvalue, abs=1e-12)
        interval = binomtest(right, of).proportion_ci(0.95, "exact")
        assert tab.evaluate(f"klangprobe.odds.interval({right}, {of})") == pytest.approx(list(interval), abs=1e-9)
    assert tab.evaluate("klangprobe.odds.power(10)") == pytest.approx(0.2440, abs=1e-4)
