"""Roles on small textures: who has the melody, the bass, the doublings, and where nobody leads."""

import numpy as np
import pytest

from base.errors import SpecError
from reading.layers import LAYER_NAMES, Role, find_layers, overruled, select

TUNE = ["G4/1.5 A4 B4/1 D5/1", "C5/1.5 B4 A4/2", "B4/1.5 C5 D5/1 G5/1", "F#5/1.5 E5 D5/2"]
CHORDS = ["B2+D3+G3 B2+D3+G3 " * 4, "C3+E3+A3 C3+E3+A3 " * 4, "D3+G3+B3 D3+G3+B3 " * 4, "D3+F#3+A3 D3+F#3+A3 " * 4]
HIGH_CHORDS = ["- G4+B4+D5 " * 4, "- A4+C5+E5 " * 4, "- G4+B4+D5 " * 4, "- F#4+A4+D5 " * 4]
LOW_TUNE = ["G3/1.5 A3 B3/1 D4/1", "C4/1.5 B3 A3/2", "B3/1.5 C4 D4/1 G4/1", "F#4/1.5 E4 D4/2"]
ALBERTI = ["C3 G3 E3 G3 C3 G3 E3 G3", "D3 G3 F3 G3 D3 G3 F3 G3", "B2 G3 D3 G3 B2 G3 D3 G3", "C3 G3 E3 G3 C3 G3 E3 G3"]


def roles_of(score, staff=None, bar=None):
    """Set of roles of the notes of a staff and bar."""
    roles = find_layers(score).roles
    mask = np.ones(len(roles), bool)
    if staff:
        mask &= score.notes["staff"] == staff
    if bar:
        mask &= score.notes["bar"] == bar
    return {Role(int(role)) for role in roles[mask]}


def share(score, role, staff):
    """Share of the notes of a staff that have a role."""
    roles = find_layers(score).roles[score.notes["staff"] == staff]
    return float((roles == int(role)).mean())


def test_melody_over_chords_is_the_right_hand(form_builder):
    """A tune over repeated chords is melody, the lowest chord note bass, the rest middle."""
    score = form_builder.build(TUNE * 2, CHORDS * 2)
    assert roles_of(score, staff=1) == {Role.MELODY}
    assert roles_of(score, staff=2) == {Role.BASS, Role.MIDDLE}
    assert share(score, Role.BASS, 2) == pytest.approx(1 / 3)


def test_melody_in_the_left_hand_is_found(form_builder):
    """A tune in the left hand under repeated chords is melody though it lies below."""
    score = form_builder.build(HIGH_CHORDS * 2, LOW_TUNE * 2)
    assert share(score, Role.MELODY, 2) == 1.0
    assert Role.MELODY not in roles_of(score, staff=1)


def test_melody_in_the_middle_is_found(form_builder):
    """A tune in long notes between a bass and figuration above it is melody in most of its notes."""
    upper = ["E5/0.25 C5/0.25 G5/0.25 C5/0.25 " * 4] * 8
    lower = [f"{tune} & C2/4" for tune in LOW_TUNE * 2]
    score = form_builder.build(upper, lower)
    tune = (score.notes["staff"] == 2) & (score.notes["pitch"] > 40)
    assert (find_layers(score).roles[tune] == int(Role.MELODY)).mean() >= 0.75


def test_melody_is_followed_from_hand_to_hand(form_builder):
    """Lone left-hand notes that answer a resting right hand are melody as well."""
    upper = ["G5 A5 B5 C6 -/2", "D6 C6 B5 A5 -/2", "B5 C6 D6 E6 -/2", "D6 B5 G5 B5 -/2"] * 2
    lower = ["-/2 G3 A3 B3 C4", "-/2 D4 C4 B3 A3", "-/2 B3 C4 D4 E4", "-/2 D4 B3 G3 B3"] * 2
    score = form_builder.build(upper, lower)
    assert roles_of(score) == {Role.MELODY}


def test_phrase_ends_on_its_last_note_when_the_tune_changes_hands(form_builder):
    """A right hand that closes on the downbeat and rests has the tune up to there, the left hand's theme from there."""
    upper = ["E5/2 D5/2", "C5/2 E5/2", "C5/1 -/3", *HIGH_CHORDS * 2]
    lower = ["C3+E3/2 C3+E3/2"] * 2 + ["C3+E3+G3/2 D4 C4 B3 A3", *LOW_TUNE[1:], *LOW_TUNE[1:]]
    score = form_builder.build(upper, lower)
    roles, notes = find_layers(score).roles, score.notes
    tune = notes[(roles == int(Role.MELODY)) & (notes["bar"] == 3)]
    assert tune["pitch"].tolist() == [72, 62, 60, 59, 57]
    assert tune["staff"].tolist() == [1, 2, 2, 2, 2]


def test_bass_under_an_off_beat_right_hand_is_no_answer(form_builder):
    """Left-hand notes on the beat under a right hand that strikes off the beat are bass and figure, not the tune.

    So people label W. A. Mozart, K. 332/i, bars 57-66; the bars here are our own.
    """
    upper = ["G4 G4/1 G4/1 G4", "A4 A4/1 A4/1 A4", "B4 C5/1 B4/1 A4", "G4 A4/1 F#4/1 G4"] * 2
    upper = [bar.replace("/1", " -") for bar in upper]
    lower = ["C3/1 E3/1 G3/1 C3/1", "D3/1 F3/1 A3/1 D3/1", "E3/1 G3/1 C4/1 E3/1", "B2/1 D3/1 G3/1 B2/1"] * 2
    lower = [bar.replace("/1", " -") for bar in lower]
    score = form_builder.build([f"- {bar[: bar.rindex(' ')]}" for bar in upper], lower)
    assert Role.MELODY not in roles_of(score, staff=2)


def test_notes_taken_up_at_once_in_the_other_hand_are_the_tune(form_builder):
    """Where the right hand echoes every left-hand note an octave higher, both have the tune (a shared line)."""
    lower = ["G3 - A3 - B3 - C4 -", "D4 - C4 - B3 - A3 -", "B3 - C4 - D4 - E4 -", "D4 - B3 - G3 - G3 -"] * 2
    upper = ["- G4 - A4 - B4 - C5", "- D5 - C5 - B4 - A4", "- B4 - C5 - D5 - E5", "- D5 - B4 - G4 - G4"] * 2
    assert roles_of(form_builder.build(upper, lower)) == {Role.MELODY}


@pytest.mark.parametrize("bars", [["G4/1 -/3", "B4/1 -/3"], ["G4/1.5 A4 B4/1 D5/1", "-/4"]], ids=["3 beats", "a bar"])
def test_figure_that_goes_on_through_a_rest_is_no_answer(form_builder, bars):
    """A broken chord under the tune stays accompaniment while the right hand rests, be it for a whole bar."""
    score = form_builder.build([*TUNE, *bars, *TUNE, *bars], ["C3 G3 E3 G3 " * 2] * 12)
    assert Role.MELODY not in roles_of(score, staff=2)


def test_figure_round_a_note_that_comes_back_is_no_answer(form_builder):
    """A part that moves against one note at every other stroke only leads on, wherever it moves in the rest.

    So people label W. A. Mozart, K. 330/iii, bars 35-36, and K. 333/i, bar 38; the bars here are our own.
    """
    under = "A3 G3 B3 G3 C4 G3 B3 G3"
    upper = [*TUNE, "B4/1 -/3", "-/4", *TUNE]
    lower = [under] * 4 + ["B3 G3 A3 G3 F#3 G3 E3 G3", "F3 G3 E3 G3 F3 G3 D3 G3"] + [under] * 4
    assert Role.MELODY not in roles_of(form_builder.build(upper, lower), staff=2)


def test_tune_under_a_repeated_top_note_is_found_in_either_hand(form_builder):
    """A note repeated on every beat for bars is a drone; the tune below it goes from hand to hand by the bar.

    So F. Chopin, Mazurka op. 6/2, bars 1-8, whose upper staff repeats one note (the score in music21's corpus); the
    bars here are our own.
    """
    beats = "B4/1 B4/1 B4/1 B4/1"
    upper = [beats, f"{beats} & D4/1 E4 F#4 G4/1.5 F#4"] * 4
    lower = ["G2/4 & G4/1.5 F#4 G4 A4 F#4/1", "G2/4"] * 4
    score = form_builder.build(upper, lower)
    tune = find_layers(score).roles == int(Role.MELODY)
    expected = (score.notes["pitch"] != 71) & (score.notes["pitch"] != 43)
    assert tune.tolist() == expected.tolist()


def test_theme_that_the_left_hand_takes_up_under_a_rocking_right_hand_is_the_tune(form_builder):
    """The tune of the bars before, low and in sequence, leads though the right hand strikes more and higher.

    So L. van Beethoven, op. 2/1, first movement, bars 67-72, where the second theme goes to the bass (common knowledge
    of the piece, no source); the bars here are our own.
    """
    theme = ["A5/1 G5/1 E5/1 C5/1", "A4/1.5 G4 C5/1 E5/1"]
    low = ["A3/1 G3/1 E3/1 C3/1", "A2/1.5 G2 C3/1 E3/1", "B3/1 A3/1 F3/1 D3/1", "B2/1.5 A2 D3/1 F3/1"]
    rocking = ["E4 C4 " * 4, "E4 C4 E4+B4 C4 E4+C5 C4 E4 C4", "F4 D4 " * 4, "F4 D4 F4+C5 D4 F4+D5 D4 F4 D4"]
    score = form_builder.build([*theme, *theme, *rocking], ["C3 G3 C3 G3 C3 G3 C3 G3"] * 4 + low)
    late = score.notes["bar"] > 4
    tune = find_layers(score).roles[late] == int(Role.MELODY)
    assert tune.tolist() == (score.notes["staff"][late] == 2).tolist()


def test_hands_that_answer_each_other_are_no_counterpoint(form_builder):
    """A motif that goes from hand to hand, each resting or holding its last note meanwhile, is a dialogue.

    So L. van Beethoven, op. 14/1, first movement, bars 5-6; the bars here are our own.
    """
    run = "C{0}/0.25 E{0}/0.25 D{0}/0.25 F{0}/0.25 E{0}/0.25 G{0}/0.25 F{0}/0.25 A{0}/0.25"
    upper = [f"{run.format(5)} G5/2", f"{run.format(4)} G4/2"]
    lower = ["-/2 " + run.format(3), "G3/2 " + run.format(2)]
    assert find_layers(form_builder.build(upper * 4, lower * 4)).contrapuntal == ()


def test_octaves_with_a_held_note_are_no_counterpoint(form_builder):
    """Two hands that strike the same rhythm, long notes and short, have one line between them, not two."""
    upper = ["G4 C5 B4/2 A4 F4"] * 4
    together = [bar.replace("4", "3").replace("5", "4") for bar in upper]
    assert find_layers(form_builder.build(upper, together)).contrapuntal == ()


def test_notes_that_repeat_with_the_melody_do_not_double_it(form_builder):
    """A pedal in the bass an octave or two below a repeated note of the tune moves nowhere: it is no doubling."""
    upper = ["C5/1 C5/1 C5/1 C5/1", "D5/1 E5/1 F5/1 D5/1"] * 4
    score = form_builder.build(upper, ["C3+E3/1 C3+E3/1 C3+E3/1 C3+E3/1"] * 8)
    assert Role.DOUBLING not in roles_of(score)


def test_lead_in_during_a_breath_is_no_answer(form_builder):
    """Four quick notes of the left hand in a rest of one beat lead back; they are not the tune."""
    upper = ["G4/1 A4/1 B4/1 -/1", "C5/1 B4/1 A4/1 -/1", "B4/1 C5/1 D5/1 -/1", "C5/1 A4/1 G4/1 -/1"] * 2
    lower = ["C3+E3+G3/1 C3+E3+G3/1 C3+E3+G3/1 C3/0.25 D3/0.25 E3/0.25 F3/0.25"] * 8
    assert Role.MELODY not in roles_of(form_builder.build(upper, lower), staff=2)


def test_upbeat_in_the_other_hand_belongs_to_its_tune(form_builder):
    """A left hand that enters after a rest while the right only holds its last note begins with the upbeat."""
    upper = [*TUNE[:3], "F#5/1 D5/3", *HIGH_CHORDS, *HIGH_CHORDS]
    lower = [*CHORDS[:3], "-/3 G3 F#3", *LOW_TUNE, *LOW_TUNE]
    score = form_builder.build(upper, lower)
    upbeat = (score.notes["bar"] == 4) & (score.notes["staff"] == 2)
    assert (find_layers(score).roles[upbeat] == int(Role.MELODY)).all()


def test_tune_that_moves_above_a_held_note_is_the_tune(form_builder):
    """Of two voices in one hand the upper, which moves, has the melody; the longer notes below it have not."""
    below = ["G4/1.5 F4/1.5", "G4/1.5 F4/1.5", "F4/2 G4/1", "-/1 A4/2"]
    above = ["C5+E5/2 B4+D5/1", "D5/1 E5/1 C5/1", "E5/2 D5/1", "C5+E5/1 D5+F5/1 C5+E5/1"]
    upper = [f"{low} & {high}" for low, high in zip(below, above, strict=True)] * 3
    score = form_builder.build(upper, ["E3/1.5 C3/1.5"] * 12, metre=(3, 4))
    lower_voice = (score.notes["staff"] == 1) & (score.notes["pitch"] < 70)
    assert int(Role.MELODY) not in find_layers(score).roles[lower_voice]


@pytest.mark.parametrize(
    ("upper", "lower", "metre"),
    [
        (["E4 F4 G4 A4 B4 A4 G4 F4"], ["G3/1.5 A3 B3/1 C4/1", "D4/0.75 C4/0.25 B3/1 A3 G3/1.5"], (4, 4)),
        (
            ["B3+D4 E4+G4 D4+F4 B3+D4 C4+E4 G4+B4", "A4+C5 F4+A4 G4+B4 D4+F4 E4+G4 C4+E4"],
            ["G3/1.5 F#3/1 G3", "G3 F#3 G3/1.5 F#3"],
            (3, 4),
        ),
    ],
    ids=["steps", "thirds"],
)
def test_right_hand_that_sings_leads_over_a_livelier_left(form_builder, upper, lower, metre):
    """A line by step, and one in thirds, is the tune though the left hand has the more varied rhythm."""
    bars = 8
    score = form_builder.build(upper * (bars // len(upper)), lower * (bars // len(lower)), metre=metre)
    assert Role.MELODY not in roles_of(score, staff=2)


def test_line_that_enters_by_step_under_a_held_note_is_an_answer(form_builder):
    """A left hand that comes in alone and goes by step while the right hand holds one note has the tune as well."""
    upper = [*TUNE, "D5/4", "D5/4", *TUNE]
    lower = [*CHORDS[:3], "D3+F#3+A3/1 -/3", "- G3 A3 B3 C4 D4 E4 F#4", "G3/4", *CHORDS]
    score = form_builder.build(upper, lower)
    answer = (score.notes["bar"] == 5) & (score.notes["staff"] == 2)
    assert (find_layers(score).roles[answer] == int(Role.MELODY)).all()


def test_right_hand_alone_has_the_tune_while_the_leading_left_rests(form_builder):
    """In a passage the left hand leads, what the right strikes in a rest of the left of two beats is the tune."""
    low = [*LOW_TUNE, "G3/1 A3/1 -/2", *LOW_TUNE[1:]]
    score = form_builder.build([*HIGH_CHORDS, "- G4+B4+D5 - G4+B4+D5 E5/1 D5/1", *HIGH_CHORDS[1:]], low)
    mine = (score.notes["bar"] == 5) & np.isin(score.notes["pitch"], [76, 74]) & (score.notes["duration"] > 5040)
    assert (find_layers(score).roles[mine] == int(Role.MELODY)).all()


def test_even_figure_below_a_tune_is_not_the_tune_when_that_rests(form_builder):
    """A tune in longer notes over sixteenths of its staff is the melody; the sixteenths in its rests are not."""
    figure = "C4/0.25 E4/0.25 G4/0.25 E4/0.25 " * 4
    upper = [f"{figure}& -/0.5 C6/1 D6/1 E6/1 -/0.5", f"{figure}& -/1 E6/1 D6/1 C6/1"] * 3
    score = form_builder.build(upper, ["C3/4", "C3/4"] * 3)
    roles = find_layers(score).roles
    assert set(roles[score.notes["pitch"] >= 84].tolist()) == {int(Role.MELODY)}
    assert int(Role.MELODY) not in roles[score.notes["pitch"] < 84]


def test_single_low_notes_between_rests_are_bass_not_a_broken_chord(form_builder):
    """Left-hand notes that strike with the chords above and rest between are the bass wherever they leap."""
    quick = ["G4/0.25 A4/0.25 B4/0.25 C5/0.25 " * 3, "E5/0.25 D5/0.25 C5/0.25 B4/0.25 " * 3] * 3
    figure = ["C3/0.25 G3/0.25 E3/0.25 G3/0.25 " * 3] * 6
    chords = ["E4+G4+C5 - G4+B4+D5 A4+C5+E5 - F4+A4+D5", "E4+G4+C5 - F4+A4+C5 E4+G4+C5 - D4+F4+B4"] * 2
    alone = ["A3 - E3 F3 - C#3", "G3 - D3 E3 - B2"] * 2
    score = form_builder.build(quick + chords, figure + alone, metre=(6, 8))
    assert roles_of(score, staff=2, bar=8) == {Role.BASS}


def test_a_drummed_note_is_not_the_tune(form_builder):
    """Where the highest line only repeats one note, the line that moves below it in the same hand is the melody."""
    tune = ["G4/1 A4/1 B4/2", "C5/2 B4/1 A4/1", "B4/1 D5/1 G4/2", "F#4/1 A4/1 D4/2"]
    upper = [f"{'A5 ' * 8}& {bar}" for bar in tune * 2]
    score = form_builder.build(upper, ["C2+G2/4"] * 8)
    roles = find_layers(score).roles
    assert (roles[score.notes["pitch"] == 81] == int(Role.MELODY)).mean() < 0.15
    moving = (score.notes["staff"] == 1) & (score.notes["pitch"] < 81)
    assert (roles[moving] == int(Role.MELODY)).mean() >= 0.85


def test_accompaniment_alone_has_no_melody(form_builder):
    """Bars in which the left hand strikes bass and chord while the right rests are no tune; the evidence says so."""
    vamp = ["C3 E3+G3 G2 E3+G3 C3 E3+G3 G2 E3+G3"] * 4
    layers = find_layers(score := form_builder.build(["-/4"] * 4 + TUNE, vamp + CHORDS))
    assert set(layers.roles[score.notes["bar"] <= 4].tolist()) == {int(Role.BASS), int(Role.MIDDLE)}
    assert "none" in layers.evidence[0].text
    assert (layers.evidence[0].first_bar, layers.evidence[0].last_bar) == (1, 4)


def test_chords_alone_that_move_are_a_tune_in_chords(form_builder):
    """Chords of the left hand alone whose top moves have their melody on top."""
    chords = ["C3+E3+G3/1 D3+F3+A3/1 E3+G3+B3/1 C3+E3+G3/1", "D3+F3+A3/1 B2+D3+G3/1 C3+E3+G3/2"]
    score = form_builder.build(["-/4"] * 4 + TUNE, chords * 2 + CHORDS)
    roles = find_layers(score).roles
    high = np.isin(score.notes["pitch"], [55, 57, 59]) & (score.notes["bar"] <= 4)
    assert (roles[high] == int(Role.MELODY)).mean() > 0.8


def test_bass_of_broken_octaves_is_every_lower_note(form_builder):
    """A scale in broken octaves has a bass at each lower note, not one in each beat of a piece in quavers."""
    octaves = "C3/0.25 C4/0.25 D3/0.25 D4/0.25 E3/0.25 E4/0.25 F3/0.25 F4/0.25 " * 2
    score = form_builder.build([*TUNE * 3, "G4/4"], [*CHORDS * 3, octaves])
    bass = score.notes[(find_layers(score).roles == int(Role.BASS)) & (score.notes["bar"] == 13)]
    assert bass["pitch"].tolist() == [48, 50, 52, 53] * 2


def test_hand_that_crosses_below_ends_on_the_bass(form_builder):
    """Where the right hand reaches under a theme in the left hand, the lowest note it comes to is the bass."""
    reach = "-/2 F3 E3 D3 C3"
    upper = [reach, "G2/1 -/3", reach, "G2/1 -/3", *HIGH_CHORDS]
    score = form_builder.build(upper, LOW_TUNE * 2)
    roles, notes = find_layers(score).roles, score.notes
    assert set(roles[(notes["pitch"] == 43) & (notes["bar"] <= 4)].tolist()) == {int(Role.BASS)}


def test_implied_bass_is_the_lowest_note_of_a_broken_chord(form_builder):
    """Of an Alberti figure (lowest, highest, middle, highest) only the note it comes back to is bass."""
    score = form_builder.build(TUNE * 2, ALBERTI * 2)
    roles = find_layers(score).roles
    bass = score.notes[(roles == int(Role.BASS))]
    assert {int(pitch) for pitch in bass["pitch"]} == {48, 50, 47}
    assert roles_of(score, staff=2) == {Role.BASS, Role.MIDDLE}


def test_bass_of_a_wide_arpeggio_is_where_it_turns_upwards(form_builder):
    """An arpeggio thrown up and let fall over a bar has one bass note, not one in every beat."""
    lower = [
        "G2 D3 G3 Bb3 D4 Bb3 G3 D3",
        "C2 G2 C3 Eb3 G3 Eb3 C3 G2",
        "F2 C3 F3 A3 Eb4 C4 A3 C3",
        "Bb1 F2 Bb2 D3 F3 D3 Bb2 F2",
    ]
    score = form_builder.build(TUNE * 2, lower * 2)
    bass = score.notes[find_layers(score).roles == int(Role.BASS)]
    assert bass["pitch"].tolist() == [43, 36, 41, 34] * 2
    assert set((bass["onset"] % (4 * form_builder.QUARTER)).tolist()) == {0}


def test_bass_that_rises_under_a_figure_stays_bass(form_builder):
    """A bass in half notes under after-beats is the bass at every note, also where it leaps up and comes back."""
    beats = "- E3+B3 E3+B3 E3+B3 - E3+A3 E3+A3 E3+A3"
    lower = [f"{beats} & G#2/2 C#3/2", f"{beats} & B2/2 A2/2"] * 4
    score = form_builder.build(TUNE * 2, lower)
    roles = find_layers(score).roles
    assert {int(role) for role in roles[score.notes["pitch"] <= 49]} == {int(Role.BASS)}


def test_bass_of_a_waltz_figure_is_on_the_first_beat(form_builder):
    """After-beat chords are middle, the low note they follow is bass."""
    lower = ["C3/1 E3+G3/1 E3+G3/1", "G2/1 F3+B3/1 F3+B3/1"] * 4
    score = form_builder.build(["E5/1.5 D5 C5/1", "D5/1.5 C5 B4/1"] * 4 + ["C5/3"], [*lower, "C3/3"], metre=(3, 4))
    roles = find_layers(score).roles
    bass = score.notes[roles == int(Role.BASS)]
    assert {int(pitch) for pitch in bass["pitch"]} == {48, 43}


def test_two_layers_in_one_hand(form_builder):
    """A line moving over a held bass is a counter-melody, the held notes are the bass."""
    lower = ["-/0.5 G3 C4 D4 Eb4/1 C4/1 & C3/4", "-/0.5 G3 D4 Eb4 D4/1 C4/1 & B2/4"] * 3
    score = form_builder.build(["G5/1.5 Ab5 G5/1 Eb5/1", "F5/1.5 G5 F5/1 D5/1"] * 3, lower)
    roles = find_layers(score).roles
    long = score.notes["duration"] == score.notes["duration"].max()
    assert set(roles[long].tolist()) == {int(Role.BASS)}
    moving = (score.notes["staff"] == 2) & ~long
    assert (roles[moving] == int(Role.COUNTER)).mean() > 0.9


@pytest.mark.parametrize(
    ("upper", "semitones"),
    [
        (["C5+C6 D5+D6 E5+E6 F5+F6 G5+G6/1 E5+E6/1"] * 4, {12}),
        (["E5+G5 F5+A5 G5+B5 A5+C6 G5+B5/1 E5+G5/1"] * 4, {3, 4}),
        (["E5+C6 F5+D6 G5+E6 A5+F6 G5+E6/1 E5+C6/1"] * 4, {8, 9}),
    ],
    ids=["octaves", "thirds", "sixths"],
)
def test_parallel_notes_are_one_line_with_its_doubling(form_builder, upper, semitones):
    """In parallel octaves, thirds or sixths the upper notes are melody and the lower ones its doubling."""
    score = form_builder.build(upper, ["C3+E3+G3/2 C3+E3+G3/2"] * 4)
    roles = find_layers(score).roles
    high = score.notes["staff"] == 1
    assert set(roles[high].tolist()) == {int(Role.MELODY), int(Role.DOUBLING)}
    top, low = score.notes[high & (roles == 0)], score.notes[high & (roles == int(Role.DOUBLING))]
    assert {int(a - b) for a, b in zip(top["pitch"], low["pitch"], strict=True)} <= semitones


def test_bare_octaves_are_one_line(form_builder):
    """Where both hands play one line in octaves there is melody and doubling, no harmony."""
    line = ["G4 A4 Bb4/1 A4 G4 F#4/1", "G4 Bb4 D5/1 C5 D5 Eb5/1"] * 2
    low = [bar.replace("4", "2").replace("5", "3") for bar in line]
    roles = roles_of(form_builder.build(line, low))
    assert roles == {Role.MELODY, Role.DOUBLING}


def test_top_line_of_homophonic_chords_is_the_melody(form_builder):
    """In a chorale texture the top is melody, the lowest notes bass, the rest middle."""
    upper = ["C5+G4/1 D5+B4/1 E5+C5/1 F5+C5/1", "E5+C5/1 D5+B4/1 C5+G4/2"] * 3
    lower = ["E3+C3/1 G3+G2/1 G3+C3/1 A3+F2/1", "G3+G2/1 F3+G2/1 E3+C3/2"] * 3
    score = form_builder.build(upper, lower)
    roles, notes = find_layers(score).roles, score.notes
    for onset in np.unique(notes["onset"]):
        at = np.flatnonzero(notes["onset"] == onset)
        assert roles[at[np.argmax(notes["pitch"][at])]] == int(Role.MELODY)
        assert roles[at[np.argmin(notes["pitch"][at])]] == int(Role.BASS)


def test_imitation_is_said_rather_than_guessed(form_builder):
    """Bars in which a subject is answered while its line goes on are named contrapuntal; a tune over chords is not."""
    subject = "- C5/0.25 B4/0.25 C5 G4 Ab4 C5/0.25 B4/0.25 C5 D5"
    upper = [subject, "G4 C5/0.25 B4/0.25 C5 D5 F4/0.25 G4/0.25 Ab4/1 G4/0.25 F4/0.25", "Eb4/1 F4 G4/1.5 Ab4 G4"]
    lower = ["-/4", "-/4", "- C4/0.25 B3/0.25 C4 G3 Ab3 C4/0.25 B3/0.25 C4 D4"]
    assert find_layers(form_builder.build(upper, lower)).contrapuntal == (1, 2, 3)
    assert find_layers(form_builder.build(TUNE * 2, CHORDS * 2)).contrapuntal == ()


def test_inner_pedal_point(form_builder):
    """A note that sounds on inside the texture through changing harmony is a pedal point."""
    upper = ["G5/1 A5/1 B5/1 C6/1 & G4/4", "D6/2 B5/2 & G4/4", "C6/1 B5/1 A5/2 & G4/4", "G5/4 & G4/4"] * 2
    score = form_builder.build(upper, ["C3/4", "G2/4", "F2/4", "E2/4"] * 2)
    held = find_layers(score).roles[score.notes["pitch"] == 67]
    assert set(held.tolist()) == {int(Role.PEDAL_POINT)}


def test_evidence_names_the_line_the_runner_up_and_the_margin(form_builder):
    """Every bar is covered by a sentence that says which line was taken and what came next."""
    layers = find_layers(form_builder.build(TUNE * 2, CHORDS * 2))
    assert layers.evidence[0].first_bar == 1
    assert layers.evidence[-1].last_bar == 8
    assert "right hand" in layers.evidence[0].text
    assert "margin" in layers.evidence[0].text


def test_spec_overrules(form_builder):
    """A rule changes exactly the notes it names, with confidence 1, and is kept as evidence."""
    score = form_builder.build(TUNE, CHORDS)
    before = find_layers(score)
    rule = {"bars": "2", "staff": 2, "notes": "top", "role": "counter-melody"}
    after = overruled(before, score, [rule])
    changed = np.flatnonzero(before.roles != after.roles)
    assert set(score.notes["bar"][changed].tolist()) == {2}
    assert set(score.notes["pitch"][changed].tolist()) == {57}
    assert (after.confidence[changed] == 1).all()
    assert any("as the spec says" in one.text for one in after.evidence)
    assert (find_layers(score).roles == before.roles).all()


def test_unknown_names_are_refused(form_builder):
    """A layer or role that does not exist is an error that names the nearest one."""
    score = form_builder.build(TUNE, CHORDS)
    layers = find_layers(score)
    with pytest.raises(SpecError, match="melody"):
        select(layers, score, "melodie")
    with pytest.raises(SpecError, match="bas"):
        overruled(layers, score, [{"bars": "1", "role": "bas"}])


def test_layers_of_the_spec_add_up(form_builder):
    """Melody, bass and accompaniment are all notes, each once; so are upper and lower staff."""
    score = form_builder.build(TUNE, CHORDS)
    layers = find_layers(score)
    masks = {name: select(layers, score, name) for name in LAYER_NAMES}
    assert (masks["melody"].astype(int) + masks["bass"] + masks["accompaniment"] == 1).all()
    assert (masks["upper staff"] ^ masks["lower staff"]).all()
    assert masks["all"].all()


@pytest.mark.parametrize("texture", [(TUNE, CHORDS), (HIGH_CHORDS, LOW_TUNE), (TUNE, ALBERTI)])
def test_roles_do_not_hang_on_key_note_values_or_voice_names(form_builder, texture):
    """Transposing by a semitone, doubling all note values and renaming voices leave every role as it was."""
    score = form_builder.build(texture[0] * 2, texture[1] * 2)
    roles = find_layers(score).roles
    for other in (
        form_builder.transposed(score, 1),
        form_builder.transposed(score, -2),
        form_builder.stretched(score, 2),
        form_builder.stretched(score, 1, 2),
        form_builder.renamed_voices(score, 3),
    ):
        assert (find_layers(other).roles == roles).all()


def test_two_parts_of_one_staff_are_two_hands(form_builder):
    """A piano written as two parts has the same roles as one on two staves."""
    one, two = form_builder.build(TUNE, CHORDS), form_builder.build(TUNE, CHORDS, staves=False)
    assert (find_layers(one).roles == find_layers(two).roles).all()


def test_a_score_without_notes_has_no_roles(form_builder):
    """Rests alone are no error."""
    assert len(find_layers(form_builder.build(["-/4"], ["-/4"])).roles) == 0
