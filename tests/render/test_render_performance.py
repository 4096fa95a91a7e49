"""How written notes are played: times, levels, articulation, passages."""

import numpy as np
import pytest

import render
from reading.score import TICKS_PER_QUARTER, Flag, Mark
from render import RenderSettings
from render.dynamics import Dynamics
from render.lines import span_of
from render.passage import LEAD_S
from render.performance import perform

PLAIN = RenderSettings(synth="partials", room=False, spread=False, stage="centre")


def played(make_music, notes, *, name="flute 1", score=None, bars=(1, 4), settings=PLAIN):
    """What one player does."""
    made = make_music.arrangement_of({name: notes}, score=score or make_music.score_of())
    return perform(made.parts[0], span_of(made.score, bars), settings, Dynamics(made.score))


def mix(make_music, notes, *, name="flute 1", score=None, bars=(1, 4), settings=PLAIN):
    """The sound of one player."""
    made = make_music.arrangement_of({name: notes}, score=score or make_music.score_of())
    return render.render_variants([made], bars, passage="test", settings=settings)[0].mix


def test_notes_begin_where_the_score_has_them(make_music):
    """At 120 to the quarter a note on beat 3 begins a second after the first bar line."""
    found = played(make_music, make_music.notes_of((0, 1, 60), (2, 1, 62))).played
    assert found["start_s"] == pytest.approx([LEAD_S, LEAD_S + 1.0])


@pytest.mark.parametrize(
    ("flag", "low", "high"),
    [(Flag.STACCATO, 0.2, 0.3), (Flag.STACCATISSIMO, 0.1, 0.2), (0, 0.44, 0.49), (Flag.TENUTO, 0.48, 0.5),
     (Flag.SLUR_START, 0.5, 0.55)],
)  # fmt: skip
def test_articulation_sets_the_length(make_music, flag, low, high):
    """A quarter at 120 lasts as its sign says: short, detached, held or overlapping the next."""
    one = played(make_music, make_music.notes_of((0, 1, 60), flags=int(flag))).played[0]
    assert low <= one["end_s"] - one["start_s"] <= high


def test_a_note_held_into_the_passage_is_struck_anew(make_music):
    """A note that began before the passage sounds from its first bar line, and the rendering fades in."""
    found = played(make_music, make_music.notes_of((2, 4, 60)), bars=(2, 2))
    assert found.cut
    assert found.played["start_s"] == pytest.approx([LEAD_S])
    assert found.played["end_s"] < LEAD_S + 1.0


def test_ranges_follow_one_another(make_music):
    """Bars 1 and 3 are heard one after the other, and bar 2 is left out."""
    notes = make_music.notes_of((0, 1, 60), (4, 1, 62), (8, 1, 64))
    found = played(make_music, notes, bars=((1, 1), (3, 3))).played
    assert found["pitch"].tolist() == [60, 64]
    assert found["start_s"] == pytest.approx([LEAD_S, LEAD_S + 2.0])


def test_graces_and_trills_are_played_out(make_music):
    """A grace note comes before the beat, a trill is many notes."""
    notes = make_music.notes_of((1, 0, 62, int(Flag.GRACE | Flag.GRACE_SLASH)), (1, 2, 60, int(Flag.TRILL)))
    found = played(make_music, notes).played
    assert len(found) > 8
    assert found["pitch"][0] == 62
    assert set(found["pitch"][1:].tolist()) == {60, 62}


def test_a_hairpin_rises_smoothly_on_one_held_note(make_music):
    """The level rises from the first bar to the last, monotonously, in steps below 0.5 dB."""
    marks = (
        Mark("dynamic", 0, 0, value="p", staff=1),
        Mark("hairpin", 0, 8 * TICKS_PER_QUARTER, value="cresc", staff=1),
        Mark("dynamic", 8 * TICKS_PER_QUARTER, 8 * TICKS_PER_QUARTER, value="f", staff=1),
    )
    score = make_music.score_of(marks=marks)
    sound = mix(make_music, make_music.notes_of((0, 8, 69), dynamic=None), name="horn 1", score=score)
    steps = np.arange(0.4, 4.1, 0.02)
    levels = np.array([make_music.level_db(sound, at, at + 0.05) for at in steps])
    assert np.all(np.diff(levels) > -0.05)
    assert np.max(np.diff(levels)) < 0.5
    assert levels[-1] - levels[0] == pytest.approx(12.0 * 0.9, abs=1.2)  # horn: 90 dB at p, 102 at f


def test_hairpin_steps_asked_of_a_synth_stay_small(make_music):
    """Even a swell from pp to ff in half a second is asked for in steps below 0.5 dB."""
    from render.voicing import voice
    from soundfonts.calibration import Calibration

    marks = (
        Mark("dynamic", 0, 0, value="pp", staff=1),
        Mark("hairpin", 0, TICKS_PER_QUARTER, value="cresc", staff=1),
        Mark("dynamic", TICKS_PER_QUARTER, TICKS_PER_QUARTER, value="ff", staff=1),
    )
    made = make_music.arrangement_of({"clarinet 1": make_music.notes_of((0, 1, 69), dynamic=None)},
                                     score=make_music.score_of(marks=marks))  # fmt: skip
    found = perform(made.parts[0], span_of(made.score, (1, 1)), PLAIN, Dynamics(made.score))
    swells = voice(made.parts[0].player, found, PLAIN, Calibration()).request.swells
    assert len(swells) > 40
    assert np.max(np.abs(np.diff(swells["gain_db"]))) < 0.5


def test_accents_stand_out_and_fade(make_music):
    """An accented note begins some 3 dB above the same note unmarked and comes back to its level."""
    notes = make_music.notes_of((0, 4, 69), (4, 4, 69, int(Flag.ACCENT)))
    sound = mix(make_music, notes, name="horn 1")
    plain, accented = (make_music.level_db(sound, LEAD_S + at + 0.01, LEAD_S + at + 0.06) for at in (0.0, 2.0))
    later = [make_music.level_db(sound, LEAD_S + at + 1.0, LEAD_S + at + 1.5) for at in (0.0, 2.0)]
    assert accented - plain == pytest.approx(2.2, abs=0.8)
    assert later[1] == pytest.approx(later[0], abs=0.2)


def test_fp_is_loud_then_soft(make_music):
    """An fp note begins at f and is at p after a third of a second."""
    sound = mix(make_music, make_music.notes_of((0, 4, 69, int(Flag.FP)), dynamic="f"), name="horn 1")
    first = make_music.level_db(sound, LEAD_S + 0.02, LEAD_S + 0.1)
    later = make_music.level_db(sound, LEAD_S + 0.5, LEAD_S + 1.5)
    assert first - later > 9.0


def test_a_tremolo_trembles_at_the_same_level(make_music):
    """Bowed tremolo has the mean level of the held note, and its envelope moves at the speed of a bow."""
    held = mix(make_music, make_music.notes_of((0, 8, 60)), name="violas")
    trembled = mix(make_music, make_music.notes_of((0, 8, 60), technique="tremolo"), name="violas")
    assert make_music.level_db(trembled, 1, 4) == pytest.approx(make_music.level_db(held, 1, 4), abs=0.6)
    frames = np.array([make_music.level_db(trembled, at, at + 0.02) for at in np.arange(1, 3, 0.01)])
    assert np.std(frames) > 3 * np.std([make_music.level_db(held, at, at + 0.02) for at in np.arange(1, 3, 0.01)])


def test_the_pedal_holds_the_piano_until_it_rises(make_music):
    """Notes let go under the pedal sound until it comes up; without it they stop; other players have none."""
    score = make_music.score_of(marks=(Mark("pedal", 0, 4 * TICKS_PER_QUARTER, value="pedal"),))
    notes = make_music.notes_of((0, 1, 60))
    assert played(make_music, notes, name="piano", score=score).played["end_s"][0] > LEAD_S + 1.9
    assert played(make_music, notes, name="flute 1", score=score).played["end_s"][0] < LEAD_S + 0.6
    none = RenderSettings(synth="partials", pedal="none")
    assert played(make_music, notes, name="piano", score=score, settings=none).played["end_s"][0] < LEAD_S + 0.6


def test_the_pedal_lets_a_struck_key_sound_once(make_music):
    """A key struck again under the pedal ends its earlier sound."""
    score = make_music.score_of(marks=(Mark("pedal", 0, 8 * TICKS_PER_QUARTER, value="pedal"),))
    found = played(make_music, make_music.notes_of((0, 1, 60), (2, 1, 60)), name="piano", score=score).played
    assert found["end_s"][0] <= found["start_s"][1]


def test_deviations_are_small_and_the_same_every_time(make_music):
    """Human deviation of time stays within 30 ms, differs between players, and does not change from run to run."""
    notes = make_music.notes_of(*((at, 1, 60 + at) for at in range(8)))
    human = RenderSettings(synth="partials")
    first, again = (played(make_music, notes, settings=human).played for _ in range(2))
    other = played(make_music, notes, name="flute 2", settings=human).played
    assert np.array_equal(first, again)
    assert 0.001 < np.std(first["late_s"]) < 0.02
    assert np.max(np.abs(first["late_s"])) < 0.03
    assert not np.array_equal(first["late_s"], other["late_s"])


def test_an_edit_elsewhere_moves_no_other_note(make_music):
    """Leaving out one note leaves the deviations of the others as they were."""
    rows = [(at, 1, 60 + at) for at in range(8)]
    human = RenderSettings(synth="partials")
    whole = played(make_music, make_music.notes_of(*rows), settings=human).played
    fewer = played(make_music, make_music.notes_of(*rows[:3], *rows[4:]), settings=human).played
    assert np.array_equal(np.delete(whole["late_s"], 3), fewer["late_s"])


def test_a_section_divides_over_a_chord(make_music):
    """Violins divided in two are together as loud as the whole section on one note (powers add: physics)."""
    chord = make_music.notes_of((0, 4, 69), (0, 4, 76))
    single = make_music.notes_of((0, 4, 69))
    divided, one = (make_music.level_db(mix(make_music, notes, name="violins 1"), 1, 2) for notes in (chord, single))
    assert divided == pytest.approx(one, abs=0.3)


def test_velocities_stand_for_dynamics_where_none_are_written(make_music):
    """A MIDI file without dynamics is as loud as its velocities say."""
    notes = make_music.notes_of((0, 1, 60), (1, 1, 60), dynamic=None)
    notes["velocity"] = [40, 108]
    found = played(make_music, notes).played["dynamic"]
    assert found == pytest.approx([2.0, 7.0])
