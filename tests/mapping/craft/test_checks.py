"""Player checks: each on a part made to hold the fault, and on one that does not."""

from dataclasses import replace

import numpy as np
import pytest

from mapping.checks import check
from mapping.checks.balance import strength_db
from mapping.checks.strings import stopping
from mapping.instruments import instrument
from mapping.orchestra import player
from reading.score import DYNAMICS, Flag, Mark

SLURRED = int(Flag.SLUR_INSIDE)


def _checked(build, *parts, layers=None, score=None, verbs=("play",)):
    """The remarks on parts over an empty score of eight bars at 120."""
    score = score or build.score_of([], bars=8)
    return check(build.arrangement_of(score, *parts, verbs=verbs), layers)


def _kinds(found):
    return [(one.severity, one.kind) for one in found]


def test_nothing_to_say(build):
    """A plain part in the middle of the range gives no remark."""
    assert _checked(build, build.part_of("oboe 1", [(row, 1, 72 + row) for row in range(8)])) == []


@pytest.mark.parametrize(
    ("name", "pitch", "kinds"),
    [
        ("flute 1", 59, ["range"]),
        ("flute 1", 60, ["comfort"]),
        ("violins 1", 54, ["range"]),
        ("violins 1", 55, []),
        ("basses", 23, ["range"]),
        ("basses", 27, ["comfort"]),
        ("trumpet 1", 85, ["range"]),
        ("horn 1", 76, ["comfort", "unprepared"]),
        ("viola", 47, ["range"]),
        ("cello", 87, ["range"]),
        ("bassoon 1", 76, ["range"]),
    ],
)
def test_compass(build, name, pitch, kinds):
    """Beyond the compass is an error, beyond the safe compass an advice, at its edge nothing."""
    level = "p" if name == "flute 1" else "f"
    found = _checked(build, build.part_of(name, [(0, 1, pitch)], level=level))
    assert [one.kind for one in found] == kinds
    assert [one.severity for one in found if one.kind == "range"] == ["error"] * kinds.count("range")


def test_range_names_bar_beat_and_octave(build):
    """The error says which note, where, and that an octave away would do; its remedy is a step."""
    found = _checked(build, build.part_of("oboe 1", [(9.5, 1, 55)]))[0]
    assert (found.player, found.bar_index, str(found.beat)) == ("oboe 1", 3, "5/2")
    assert "G3 lies below the lowest note of the oboe (Bb3)" in found.message
    assert "G4" in found.message
    assert found.remedy == {"rest": ["oboe 1"], "bars": "#3"}
    assert found.to_json()["beat"] == "5/2"


def test_notes_are_named_as_they_are_spelled(build):
    """A remark speaks of the note on the page: D sharp where it is written so, also in what several players make."""
    part = build.part_of("cello", [(0, 1, 39), (1, 4, 87)])
    notes = part.notes.copy()
    notes["step"], notes["alter"] = 1, 1  # D sharp
    found = _checked(build, replace(part, notes=notes))
    assert "D#6 lies above the highest note of the cello" in found[0].message
    score = build.score_of([(0, 4, 40, 2), (0, 4, 44, 2)], bars=8, fifths=4)
    low = [build.part_of("basses", [(0, 4, 40)]), build.part_of("cellos", [(0, 4, 44)])]
    muddy = [one.message for one in _checked(build, *low, score=score) if one.kind == "low interval"]
    assert muddy[0].startswith("E2 and G#2 together")


def test_remedy_is_a_step_that_mends(build):
    """The remedy of an out-of-range note is read as a spec step without a problem."""
    found = _checked(build, build.part_of("oboe 1", [(row, 1, 55) for row in range(8)]))
    assert len(found) == 1
    assert found[0].remedy == {"rest": ["oboe 1"], "bars": "#1-#2"}
    from mapping.techniques.rest import Rest

    assert Rest.Options.model_validate(found[0].remedy)


@pytest.mark.parametrize(
    ("name", "pitch", "level", "expected"),
    [
        ("flute 1", 64, "f", True),
        ("flute 1", 64, "p", False),
        ("flute 1", 88, "f", False),
        ("oboe 1", 63, "pp", True),
        ("oboe 1", 63, "f", False),
        ("bassoon 1", 36, "pp", True),
        ("bassoon 1", 74, "ff", False),
        ("horn 1", 38, "ff", True),
    ],
)
def test_register_and_dynamic(build, name, pitch, level, expected):
    """Flutes are weak below where oboes and bassoons are strong (Rimsky-Korsakov I.B; theidiomaticorchestra.net)."""
    found = _checked(build, build.part_of(name, [(0, 1, pitch)], level=level))
    assert ("register" in [one.kind for one in found]) is expected


def test_breath_depends_on_dynamic(build):
    """Nine seconds on a flute are fine in piano (ten go), too long in fortissimo (six), and nobody holds thirty."""
    for length, level, expected in ((18, "p", []), (18, "ff", ["advice"]), (60, "p", ["error"])):
        found = _checked(
            build, build.part_of("flute 1", [(0, length, 79)], level=level), score=build.score_of([], bars=20)
        )
        assert [one.severity for one in found if one.kind == "breath"] == expected


def test_breath_between_notes(build):
    """Forty bound quavers without a gap are too long for a trumpet; detached crotchets let it breathe."""
    bound = build.part_of("trumpet 1", [(row * 0.5, 0.5, 70 + row % 3) for row in range(60)], flags=SLURRED)
    score = build.score_of([], bars=12)
    assert "breath" in [one.kind for one in _checked(build, bound, score=score)]
    free = build.part_of("trumpet 1", [(row * 1.5, 1.5, 70 + row % 3) for row in range(20)])
    assert "breath" not in [one.kind for one in _checked(build, free, score=score)]


def test_strings_and_sections_need_no_breath(build):
    """A pedal point of a minute is nothing to cellos."""
    found = _checked(build, build.part_of("cellos", [(0, 80, 48)]), score=build.score_of([], bars=20))
    assert found == []


@pytest.mark.parametrize(("per_second", "expected"), [(6, []), (9, ["advice"]), (12, ["error"])])
def test_tonguing(build, per_second, expected):
    """An oboe repeats a note six times a second; nine are fast; twelve are beyond a single tongue."""
    rows = [(row * 2 / per_second, 2 / per_second, 74) for row in range(8)]
    found = _checked(build, build.part_of("oboe 1", rows))
    assert [one.severity for one in found if one.kind == "speed"] == expected


def test_slurs_free_the_tongue(build):
    """What is slurred is not tongued."""
    rows = [(row / 6, 1 / 6, 74 + row % 5) for row in range(12)]
    assert _checked(build, build.part_of("clarinet 1", rows, flags=SLURRED)) == []


def test_pizzicato_is_slower_on_thicker_strings(build):
    """Five plucked notes a second do on violins, not on basses (direction: Rimsky-Korsakov I.C)."""
    rows = [(row * 0.4, 0.4, 60) for row in range(8)]
    low = [(row * 0.4, 0.4, 36) for row in range(8)]
    assert _checked(build, build.part_of("violins 1", rows, technique="pizzicato")) == []
    found = _checked(build, build.part_of("basses", low, technique="pizzicato"))
    assert _kinds(found) == [("advice", "pizzicato")]


def test_clarinet_octaves_are_awkward_and_oboes_are_not(build):
    """Sudden octave leaps: easier on flute, oboe and bassoon than on the clarinet (Rimsky-Korsakov I.B)."""
    rows = [(row * 0.4, 0.4, 65 + 12 * (row % 2)) for row in range(6)]
    assert "leap" in [one.kind for one in _checked(build, build.part_of("clarinet 1", rows))]
    assert "leap" not in [one.kind for one in _checked(build, build.part_of("oboe 1", rows))]


def test_slurred_arpeggios_suit_flutes_not_oboes(build):
    """Legato arpeggios: good on flute and clarinet, poor on oboe and bassoon (Rimsky-Korsakov I.B)."""
    rows = [(row * 0.25, 0.25, (65, 69, 72, 77)[row % 4]) for row in range(12)]
    assert "figure" in [one.kind for one in _checked(build, build.part_of("oboe 1", rows, flags=SLURRED))]
    assert "figure" not in [one.kind for one in _checked(build, build.part_of("flute 1", rows, flags=SLURRED))]


@pytest.mark.parametrize(
    ("name", "pitches", "lies"),
    [
        ("violin", (55, 62), True),
        ("violin", (55, 57), False),
        ("violin", (62, 70), True),
        ("violin", (55, 62, 71, 79), True),
        ("violin", (57, 59), False),
        ("violin", (60, 64, 67), False),
        ("violin", (62, 74), True),
        ("viola", (48, 55, 64), True),
        ("cello", (36, 43), True),
        ("cello", (36, 38), False),
        ("cello", (36, 43, 52, 60), True),
        ("double bass", (28, 33), True),
        ("double bass", (29, 41), False),
    ],
)
def test_which_chords_lie_on_the_strings(name, pitches, lies):
    """Fifths, sixths and octaves lie; two notes below the second string never do (*from memory*: violin method)."""
    assert (stopping(instrument(name), pitches) is not None) is lies


def test_divisi_and_solo(build):
    """A second on the G string: a section divides, one violin cannot."""
    section = _checked(build, build.part_of("violins 1", [(0, 2, 55), (0, 2, 57)]))
    assert _kinds(section) == [("advice", "divisi")]
    assert section[0].remedy == {"mark": "div.", "on": ["violins 1"], "bars": "#1"}
    solo = _checked(build, build.part_of("violin", [(0, 2, 55), (0, 2, 57)]))
    assert _kinds(solo) == [("error", "stops")]


def test_four_part_stops_are_short(build):
    """A chord over four strings can be struck, not held (Rimsky-Korsakov III, p. 69)."""
    short = [(0, 1, pitch) for pitch in (55, 62, 71, 79)]
    held = [(0, 4, pitch) for pitch in (55, 62, 71, 79)]
    assert _checked(build, build.part_of("violins 1", short)) == []
    assert _kinds(_checked(build, build.part_of("violins 1", held))) == [("advice", "held chord")]


def test_a_wind_plays_one_note(build):
    """Two notes at once on one horn, struck together or overlapping, are an error; in turn they are not."""
    for rows, expected in (([(0, 1, 60), (0, 1, 64)], 1), ([(0, 2, 60), (1, 1, 64)], 1), ([(0, 1, 60), (1, 1, 64)], 0)):
        found = _checked(build, build.part_of("horn 1", rows))
        assert _kinds(found) == [("error", "notes at once")] * expected


def test_timpani_need_time_to_retune(build):
    """Tonic and dominant on two drums are fine; a third note at once is not; after a long rest it is."""
    assert _checked(build, build.part_of("timpani", [(0, 1, 43), (1, 1, 48), (2, 1, 43)])) == []
    found = _checked(build, build.part_of("timpani", [(0, 1, 43), (1, 1, 48), (2, 1, 50)]))
    assert _kinds(found) == [("advice", "tuning")]
    assert _checked(build, build.part_of("timpani", [(0, 1, 43), (1, 1, 48), (24, 1, 50)])) == []


def test_harp_pedals(build):
    """C natural and C sharp at once need two strings; in quick turn they need feet; diatonic runs need neither."""
    both = _checked(build, build.part_of("harp", [(0, 1, 60), (0, 1, 61)]))
    assert ("error", "pedal") in _kinds(both)
    quick = _checked(build, build.part_of("harp", [(0, 0.25, 60), (0.25, 0.25, 61)]))
    assert _kinds(quick) == [("advice", "pedal")]
    assert (
        _checked(build, build.part_of("harp", [(row / 2, 0.5, (60, 62, 64, 65, 67)[row % 5]) for row in range(10)]))
        == []
    )


def test_two_hands_span_no_more(build):
    """A chord over four octaves with a note in the middle cannot be taken by two hands on the celesta."""
    wide = [(0, 1, pitch) for pitch in (60, 78, 100)]
    assert _kinds(_checked(build, build.part_of("celesta", wide))) == [("advice", "hands")]


def test_crossing(build):
    """A second horn above the first for a whole bar is told; the other way round is not."""
    first, second = build.part_of("horn 1", [(0, 4, 60)]), build.part_of("horn 2", [(0, 4, 67)])
    assert _kinds(_checked(build, first, second)) == [("advice", "crossing")]
    first, second = build.part_of("horn 1", [(0, 4, 67)]), build.part_of("horn 2", [(0, 4, 60)])
    assert _checked(build, first, second) == []


def test_low_close_intervals(build):
    """A third on low E is muddy, a fifth and an octave there are not (low interval limits)."""
    for upper, expected in ((44, True), (47, False), (52, False)):
        found = _checked(build, build.part_of("cellos", [(0, 4, upper)]), build.part_of("basses", [(0, 4, 40)]))
        assert ("low interval" in [one.kind for one in found]) is expected


def test_empty_middle_in_forte(build):
    """A hole of two octaves in forte asks to be filled, in piano it may stay (Rimsky-Korsakov III, p. 67)."""
    for level, expected in (("f", True), ("p", False)):
        parts = [
            build.part_of("violins 1", [(0, 4, 84)], level=level),
            build.part_of("violins 2", [], level=level),
            build.part_of("violas", [], level=level),
            build.part_of("cellos", [(0, 4, 48)], level=level),
            build.part_of("basses", [(0, 4, 36)], level=level),
        ]
        found = _checked(build, *parts)
        assert ("empty middle" in [one.kind for one in found]) is expected


def test_published_equivalences_hold():
    """Forte: trumpet = 2 horns = 4 woodwinds, strings = 2 woodwinds; piano: all equal (Rimsky-Korsakov I, p. 33)."""
    forte, piano = DYNAMICS.index("f"), DYNAMICS.index("p")

    def power(name, level):
        return 10 ** (strength_db(player(name), level) / 10)

    for heavy in ("trumpet 1", "trombone 1", "tuba"):
        assert power(heavy, forte) == pytest.approx(2 * power("horn 1", forte), rel=0.01)
    for wood in ("flute 1", "oboe 1", "clarinet 1", "bassoon 1"):
        assert power("horn 1", forte) == pytest.approx(2 * power(wood, forte), rel=0.01)
        assert power("violins 1", forte) == pytest.approx(2 * power(wood, forte), rel=0.01)
        assert power("trumpet 1", piano) == power(wood, piano) == power("violins 1", piano)


def test_buried_tune(build):
    """A flute's tune under two trumpets in forte is told, naming a trumpet; with the trumpets in piano it is not."""
    score = build.score_of([(0, 4, 76, 1), (0, 4, 60, 2), (0, 4, 64, 2)])
    melody = [int(row) for row in np.flatnonzero(score.notes["pitch"] == 76)]
    layers = build.layers_of(score, melody)
    tune = build.part_of("flute 1", [(0, 4, 76, melody[0])], level="f")
    for level, expected in (("f", True), ("p", False)):
        brass = [build.part_of(f"trumpet {n}", [(0, 4, 58 + n * 2)], level=level) for n in (1, 2)]
        found = [one for one in _checked(build, tune, *brass, layers=layers, score=score) if one.kind == "balance"]
        assert bool(found) is expected
    assert _checked(build, tune, layers=layers, score=score) == []


def test_marks_of_the_part_set_its_dynamic(build):
    """A dynamic marked for the player overrides the piano's own."""
    loud = Mark("dynamic", 0, 4 * build.Q, value="ff")
    found = _checked(build, build.part_of("flute 1", [(0, 2, 64)], marks=(loud,)))
    assert "register" in [one.kind for one in found]


def test_order_and_empty_parts(build):
    """Remarks come by bar, and players without notes are passed over."""
    late = build.part_of("oboe 1", [(8, 1, 40)])
    early = build.part_of("flute 1", [(0, 1, 40)])
    found = _checked(build, late, early, build.part_of("tuba", []))
    assert [one.bar_index for one in found] == sorted(one.bar_index for one in found)
    assert _checked(build, build.part_of("tuba", [])) == []
