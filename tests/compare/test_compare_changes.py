"""What changed, in words: steps, players, notes and where they sound."""

from compare.changes import player_changes, spelled

BARS = [1, 2, 3, 4]


def test_steps_and_players_of_the_trial(trial):
    """The horn's step and its four notes are named, with compass and bars."""
    change = trial.changes[0]
    assert change.steps_added == ("horn 1 holds the harmony",)
    assert change.steps_removed == ()
    assert [player.words for player in change.players] == ["horn 1 joins with 4 notes, B3 to C4, bars 1–4"]
    assert any("horn 1 holds the harmony" in sentence for sentence in change.sentences)


def test_steps_that_act_elsewhere_are_not_named(make_sound, piece):
    """A step whose notes lie in other bars is left out; one that writes no notes anywhere stays."""
    m, (score, _) = make_sound, piece
    from dataclasses import replace

    from compare import compare_passage

    late = m.part(score, "horn 1", [(12, 4, 60)], source=False)
    steps = ("violins 1 play the melody", "everyone softer", "horn 1 holds the end")
    plain, more = (
        m.arrangement(score, m.plain_parts(score)),
        m.arrangement(score, [*m.plain_parts(score), late], variant="more", steps=steps),
    )
    one = m.rendering("plain", {"violas": m.sound(m.MIDDLE)})
    early = replace(one, bar_starts_s=one.bar_starts_s[:2])
    made = compare_passage(
        [early, replace(early, variant="more")], arrangements=[plain, more], passage="p", measures=()
    )
    assert made.changes[0].steps_added == ("everyone softer",)


def test_between_two_alternatives_both_sides_are_said(trial):
    """From horns to flute: one falls silent, the other joins."""
    words = [player.words for player in trial.changes[2].players]
    assert words[0].startswith("flute 1 joins with 7 notes, C5 to G6") or words[0].startswith("flute 1 joins")
    assert words[1].startswith("horn 1 falls silent (4 notes")


def test_only_noticeable_figures_are_named(trial):
    """Every figure named moved by more than its threshold, the most noticeable first."""
    for change in (*trial.changes, *trial.against_piano):
        times = [figure.times_noticeable for figure in change.figures]
        assert all(value > 1.0 for value in times)
        assert times == sorted(times, reverse=True)


def test_the_held_horn_is_heard_as_resonance(trial):
    """Standing sound is among the figures that moved, upwards."""
    figure = next(figure for figure in trial.changes[0].figures if figure.name == "standing_sound")
    assert figure.difference > 3.0
    assert "more sound under the moving notes" in figure.words


def test_notes_gained_lost_and_played_otherwise(make_sound, piece):
    """One player with other notes: what is new, what is gone, what is pizzicato now; only the bars asked for count."""
    m, (score, _) = make_sound, piece
    before = m.arrangement(score, [m.part(score, "violas", [(0, 1, 60), (4, 1, 62), (8, 1, 64)])])
    after = m.arrangement(score, [m.part(score, "violas", [(0, 1, 60), (4, 1, 62), (9, 1, 65)], technique=1)])
    (change,) = player_changes(before, after, BARS)
    assert (change.added, change.removed, change.altered) == (1, 1, 2)
    assert "gets 1 note that it had not" in change.words
    assert "loses 1 note" in change.words
    assert "plays 2 notes otherwise (pizzicato)" in change.words
    assert player_changes(before, before, BARS) == ()
    (change,) = player_changes(before, after, [1])
    assert (change.added, change.removed, change.altered) == (0, 0, 1)


def test_a_note_held_over_the_bar_line_sounds_in_both_bars(make_sound, piece):
    """A note of six quarters from bar 1 on is said to sound in bars 1–2."""
    m, (score, _) = make_sound, piece
    none = m.arrangement(score, [])
    held = m.arrangement(score, [m.part(score, "horn 1", [(0, 6, 60)], source=False)])
    (change,) = player_changes(none, held, BARS)
    assert change.words == "horn 1 joins with 1 note, C4, bars 1–2"


def test_strokes_without_pitch_are_counted_without_compass(make_sound, piece):
    """Percussion joins with strokes and bars; a key of the percussion map is not told as a pitch."""
    m, (score, _) = make_sound, piece
    plain = m.plain_parts(score)
    drum = m.part(score, "bass drum", [(0, 1, 35), (8, 1, 35)], source=False, family="percussion")
    more = m.part(score, "bass drum", [(0, 1, 35), (8, 1, 35), (12, 1, 35)], source=False, family="percussion")
    none, two, three = (m.arrangement(score, [*plain, *own]) for own in ([], [drum], [more]))
    words = [[one.words for one in player_changes(*pair, BARS)] for pair in ((none, two), (two, three))]
    assert words == [
        ["bass drum joins with 2 strokes, bars 1, 3"],
        ["bass drum gets 1 stroke that it had not, bar 4"],
    ]


def test_strokes_without_pitch_are_no_notes_of_a_register(make_sound, piece):
    """The table of sounding notes, which measures of register and density read, leaves strokes out."""
    from compare.sounding import Schedule, sounding_notes

    m, (score, layers) = make_sound, piece
    drum = m.part(score, "bass drum", [(0, 1, 35)], source=False, family="percussion")
    made = m.arrangement(score, [*m.plain_parts(score), drum])
    sound = m.rendering("plain", {"violas": m.sound(m.MIDDLE), "bass drum": m.sound([(0, 1, 35)])})
    found = sounding_notes(sound, made, layers, Schedule(score, sound))
    assert len(found)
    assert 35 not in found["pitch"].tolist()


def test_names_are_spelled_as_written():
    """Step, accidental and octave, not the nearest key of the piano."""
    assert spelled({"step": 2, "alter": -1, "octave": 4}) == "E♭4"
    assert spelled({"step": 3, "alter": 2, "octave": 5}) == "F𝄪5"


def test_nothing_changed_is_said(make_sound, variants, piece):
    """Two equal variants: one plain sentence."""
    from dataclasses import replace

    from compare import compare_passage

    one, made = variants[0][0], variants[1][0]
    twin, twin_made = replace(one, variant="twin"), replace(made, variant="twin")
    change = compare_passage([one, twin], arrangements=[made, twin_made], layers=piece[1], passage="p").changes[0]
    assert change.sentences == ("‘plain’ and ‘twin’ do not differ in these bars by anything one would notice.",)
