"""Each technique on real bars: its musical promise, and what holds for every technique on every piece."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from base.plugins import find, load
from mapping import faithfulness
from mapping.arrangement import TECHNIQUES
from mapping.harmony import spans
from mapping.levels import levels_at
from reading.layers import select
from reading.score import DYNAMICS, Flag

PLAIN = [
    "{play: melody, on: violins 1}",
    "{play: accompaniment, on: [violins 2, violas, cellos, basses]}",
    "{play: bass, on: [cellos, basses], share: divide}",
]


def part(arrangement, name: str) -> np.ndarray:
    """Notes of one player."""
    return next(one.notes for one in arrangement.parts if one.player.name == name)


def everything(arrangement) -> np.ndarray:
    """Notes of all players."""
    return np.concatenate([one.notes for one in arrangement.parts])


# ---------------------------------------------------------------- play and double


def test_play_divides_a_chord_from_the_top_down(variants) -> None:
    """Where several players share chords, the first named has the higher notes: violins above violas above cellos."""
    found = variants("rag", {"a": ["{play: all, on: [violins 1, violins 2, violas, cellos]}"]})["a"]
    means = [part(found, name)["pitch"].mean() for name in ("violins 1", "violins 2", "violas", "cellos")]
    assert means == sorted(means, reverse=True)


def test_play_gives_every_player_the_whole_melody(variants, piece) -> None:
    """A melody on three players is in all three, note for note, at its octave."""
    score, layers = piece("mazurka")
    found = variants("mazurka", {"a": ["{play: melody, on: [flute 1, oboe 1, violins 1]}"]})["a"]
    tune = np.flatnonzero(select(layers, score, "melody"))
    for name in ("flute 1", "violins 1"):
        low = part(found, name)
        reach = score.notes["pitch"][tune] >= (60 if name == "flute 1" else 55)
        assert np.isin(tune[reach], low["source"]).all()


def test_basses_at_the_octave_come_up_where_they_must(variants) -> None:
    """``basses 8vb`` sound an octave below, and at the written octave where that would leave their compass."""
    found = variants("rag", {"a": ["{play: bass, on: [cellos, basses 8vb]}"]})["a"]
    notes = part(found, "basses")
    piano = found.score.notes[notes["source"]]
    assert notes["pitch"].min() >= 27  # 27 stands so in the piano; what the step adds stays above E1
    assert notes["pitch"][notes["pitch"] < piano["pitch"]].min() >= 28
    assert (notes["pitch"] < 45).mean() > 0.5


def test_double_keeps_inside_its_compass(variants) -> None:
    """A doubling an octave up holds only the notes inside the compass it is given."""
    found = variants("polonaise", {"a": ["{double: melody, on: flute 1, at: 8va, compass: C5-C7}"]})["a"]
    notes = part(found, "flute 1")
    piano = found.score.notes[notes["source"]]
    assert np.array_equal(notes["pitch"], piano["pitch"] + 12)
    assert 72 <= notes["pitch"].min() <= notes["pitch"].max() <= 96
    assert np.array_equal(notes["step"], piano["step"])


def test_thirds_belong_to_the_harmony(variants, piece) -> None:
    """A doubling in thirds is a third or sixth below the tune, spelt as one, and always a note of the harmony."""
    score, _ = piece("mazurka")
    found = part(variants("mazurka", {"a": ["{double: melody, on: clarinet 1, at: thirds}"]})["a"], "clarinet 1")
    ends = np.array([one.end_ticks for one in spans(score)])
    harmony = spans(score)
    assert len(found) > 100
    for note in found:
        at = harmony[int(np.searchsorted(ends, note["onset"], side="right"))]
        assert int(note["pitch"]) % 12 in at.pcs
        assert (12 * (int(note["octave"]) + 1) + (0, 2, 4, 5, 7, 9, 11)[note["step"]] + note["alter"]) == note["pitch"]


# ---------------------------------------------------------------- hold and fill


@pytest.mark.parametrize("name", ["prelude", "mazurka", "polonaise", "sonata"])
def test_hold_is_resonance(name: str, variants, piece) -> None:
    """Held notes belong to their harmony, are not struck again inside it, lie in range and softer than the tune."""
    score, _ = piece(name)
    found = variants(name, {"a": ["{hold: harmony, on: [horn 1, horn 2]}"]})["a"]
    harmony = spans(score)
    starts = np.array([one.start_ticks for one in harmony])
    for one in ("horn 1", "horn 2"):
        notes = part(found, one)
        if name != "opus 19":
            assert len(notes)
        for note in notes:
            first = int(np.searchsorted(starts, note["onset"], side="right")) - 1
            last = int(np.searchsorted(starts, note["onset"] + note["duration"], side="left")) - 1
            for row in range(first, last + 1):
                assert int(note["pitch"]) % 12 in harmony[row].pcs
            level = DYNAMICS.index("mf") if note["dynamic"] < 0 else int(note["dynamic"])
            assert level < max(1, round(float(levels_at(score, np.array([note["onset"]]))[0])))
        again = (notes["onset"][1:] == (notes["onset"] + notes["duration"])[:-1]) & (np.diff(notes["pitch"]) == 0)
        assert not again.any()  # common tones are tied
        assert ((notes["pitch"] >= 48) & (notes["pitch"] <= 72)).all()


def test_hold_strikes_again_where_it_is_told(variants, piece) -> None:
    """With ``restrike: bars`` no held note crosses a bar line; by beats there are more attacks still."""
    score, _ = piece("prelude")
    found = variants(
        "prelude",
        {
            "changes": ["{hold: harmony, on: horn 1}"],
            "bars": ["{hold: harmony, on: horn 1, restrike: bars}"],
            "beats": ["{hold: harmony, on: horn 1, restrike: beats}"],
        },
    )
    counts = [len(part(found[name], "horn 1")) for name in ("changes", "bars", "beats")]
    assert counts[0] < counts[1] < counts[2]
    bars = part(found["bars"], "horn 1")
    edges = score.bars["onset"]
    first = np.searchsorted(edges, bars["onset"], side="right")
    last = np.searchsorted(edges, bars["onset"] + bars["duration"], side="left")
    assert np.array_equal(first, last)


def test_held_bass_is_the_bass(variants, piece) -> None:
    """``hold: bass`` sustains the lowest note of each harmony, in its octave or above where the player ends."""
    score, _ = piece("prelude")
    notes = part(variants("prelude", {"a": ["{hold: bass, on: bassoon 1}"]})["a"], "bassoon 1")
    harmony = spans(score)
    starts = np.array([one.start_ticks for one in harmony])
    rows = np.searchsorted(starts, notes["onset"], side="right") - 1
    assert all(int(note["pitch"]) % 12 == harmony[row].bass % 12 for note, row in zip(notes, rows, strict=True))
    assert notes["duration"].sum() > 0.8 * score.end


def test_fill_closes_the_gap(variants, piece) -> None:
    """Two filling voices leave fewer moments with a gap over an octave than there were without them."""
    score, _ = piece("mazurka")
    found = variants("mazurka", {"plain": PLAIN, "filled": ["from: plain", "{fill: gap, on: [clarinet 1, horn 1]}"]})
    added = everything(found["filled"])
    added = added[added["source"] < 0]
    assert len(added) > 10
    wide = [_wide_share(everything(found[name]), score) for name in ("plain", "filled")]
    assert wide[1] < wide[0]


def _wide_share(notes: np.ndarray, score) -> float:
    """Share of half-beats in which neighbouring sounding notes lie more than an octave apart."""
    wide = heard = 0
    for tick in range(0, score.end, 5040):
        on = notes[(notes["onset"] <= tick) & (notes["onset"] + notes["duration"] > tick)]
        if len(on) > 1:
            heard += 1
            wide += int(np.diff(np.unique(on["pitch"])).max(initial=0) > 12)
    return wide / heard


# ---------------------------------------------------------------- stress


def test_stress_chord_is_complete_and_no_leading_note_is_doubled(variants, piece) -> None:
    """Four brass strike every accent with notes of the piano's chord only, the leading note at most once."""
    score, _ = piece("demo")
    names = ["horn 1", "horn 2", "trumpet 1", "trumpet 2"]
    found = variants("demo", {"a": [f"{{stress: accents, on: [{', '.join(names)}], by: chord}}"]})["a"]
    notes = everything(found)
    assert len(notes) > 40
    for onset in np.unique(notes["onset"]):
        sounding = (score.notes["onset"] <= onset) & (score.notes["onset"] + score.notes["duration"] > onset)
        chord = {int(pitch) % 12 for pitch in score.notes["pitch"][sounding]}
        struck = [int(pitch) % 12 for pitch in notes["pitch"][notes["onset"] == onset]]
        assert set(struck) <= chord
        bar = score.bars[score.bar_at(int(onset)) - 1]
        leading = (7 * int(bar["fifths"]) + (9 if bar["minor"] == 1 else 0) - 1) % 12
        assert struck.count(leading) <= 1 or chord == {leading}
        assert len(set(struck)) >= min(3, len(chord))
    assert (notes["flags"] & int(Flag.ACCENT) != 0).all()


def test_timpani_have_tonic_and_dominant_only(variants, piece) -> None:
    """Timpani strike only tonic and dominant, and only where the chord has them."""
    score, _ = piece("polonaise")
    found = part(variants("polonaise", {"a": ["{stress: notes, on: timpani, by: timpani}"]})["a"], "timpani")
    assert len(found)
    for note in found:
        bar = score.bars[int(note["bar"]) - 1]
        tonic = (7 * int(bar["fifths"]) + (9 if bar["minor"] == 1 else 0)) % 12
        assert int(note["pitch"]) % 12 in (tonic, (tonic + 7) % 12)


def test_multiple_stops_lie_on_the_strings(variants) -> None:
    """Stopped chords have two to four notes, one to a neighbouring string, within a hand's stretch; short."""
    strings = {"violins 1": (55, 62, 69, 76), "violas": (48, 55, 62, 69), "cellos": (36, 43, 50, 57)}
    step = "{stress: accents, on: [violins 1, violas, cellos], by: multiple stops}"
    found = variants("demo", {"a": [step]})["a"]
    sizes = []
    for name, tuned in strings.items():
        notes = part(found, name)
        for onset in np.unique(notes["onset"]):
            chord = notes["pitch"][notes["onset"] == onset].tolist()
            sizes.append(len(chord))
            fits = [
                all(0 <= pitch - string <= 7 for pitch, string in zip(chord, tuned[first:], strict=False))
                for first in range(5 - len(chord))
            ]
            assert any(fits), chord
        assert notes["duration"].max() <= 10_080
    assert max(sizes) == 4
    assert np.mean(sizes) > 2.5


def test_grace_run_leads_up_to_the_accent(variants) -> None:
    """Three rising grace notes of the scale stand before the struck note, which is the piano's."""
    notes = part(variants("demo", {"a": ["{stress: accents, on: violins 1, by: grace run}"]})["a"], "violins 1")
    small = notes["flags"] & int(Flag.GRACE) != 0
    assert small.sum() == 3 * (~small).sum() > 0
    for onset in np.unique(notes["onset"]):
        group = notes[notes["onset"] == onset]
        assert np.all(np.diff(group["pitch"]) > 0)
        assert group["duration"][-1] > 0


def test_short_over_held_is_both(variants) -> None:
    """One player strikes short with an accent while the other holds as long as the piano does, softer."""
    found = variants(
        "demo", {"a": ['{stress: notes, on: [horn 1, horn 2], by: short over held, bars: 1, beats: "1"}']}
    )["a"]
    short, held = part(found, "horn 1"), part(found, "horn 2")
    assert short["duration"][0] < held["duration"][0] or held["duration"][0] == short["duration"][0] <= 10_080
    assert held["dynamic"][0] >= 0
    assert short["flags"][0] & int(Flag.ACCENT)


def test_pizzicato_and_fp_are_written_so(variants) -> None:
    """Accents plucked carry the way of playing; fp carries its sign and lasts as long as the chord."""
    found = variants(
        "demo",
        {
            "a": ["{stress: accents, on: [violins 1, cellos], by: pizzicato}"],
            "b": ["{stress: accents, on: [horn 1, horn 2], by: fp}"],
        },
    )
    assert set(everything(found["a"])["technique"]) == {TECHNIQUES.index("pizzicato")}
    assert (everything(found["b"])["flags"] & int(Flag.FP) != 0).all()


# ---------------------------------------------------------------- refigure


FIGURES = ["repeated", "held and pulse", "tremolo", "shared", "pizzicato", "natural"]


@pytest.mark.parametrize("figure", FIGURES)
@pytest.mark.parametrize("name", ["sonata", "polonaise", "demo"])  # Alberti bass, wide broken chords, both and more
def test_refigure_keeps_momentum(name: str, figure: str, variants, piece) -> None:
    """Whatever figure replaces a broken-chord accompaniment, every attack of the piano stays and none is added."""
    _, layers = piece(name)
    found = variants(
        name,
        {"plain": PLAIN, "new": ["from: plain", f"{{refigure: accompaniment, on: [violins 2, violas], as: {figure}}}"]},
    )["new"]
    kept = faithfulness(found, layers)
    assert kept.momentum.value == 1.0, kept.momentum.departures[:3]
    assert kept.melody.value == 1.0
    assert kept.harmony.value > 0.9
    added = everything(found)
    assert added["duration"][added["source"] < 0].min(initial=10_080) >= 630  # nothing shorter than the piano has


def test_refigure_held_gives_up_the_rhythm_on_purpose(variants, piece) -> None:
    """Held chords in place of a figure have fewer attacks, and the harmony stays."""
    _, layers = piece("sonata")
    found = variants(
        "sonata", {"plain": PLAIN, "new": ["from: plain", "{refigure: accompaniment, on: [violas], as: held}"]}
    )
    kept = faithfulness(found["new"], layers)
    assert kept.momentum.value < 1.0
    assert kept.harmony.value > 0.85


def test_repeated_notes_are_repeated_and_smooth(variants) -> None:
    """In place of an Alberti bass each player repeats one note per harmony and moves little to the next."""
    notes = part(
        variants("sonata", {"a": ["{refigure: accompaniment, on: [violins 2, violas], as: repeated, bars: 1-4}"]})["a"],
        "violins 2",
    )
    moves = np.abs(np.diff(notes["pitch"]))
    assert (moves == 0).mean() > 0.6
    assert moves.max() <= 5


def test_players_who_had_the_figure_give_it_up(variants) -> None:
    """After a figure is rewritten nobody still has the piano's own notes of it."""
    found = variants(
        "sonata",
        {"a": ["{play: lower staff, on: cellos}", "{refigure: accompaniment, on: violas, as: repeated, bars: 1-4}"]},
    )["a"]
    before = variants("sonata", {"a": ["{play: lower staff, on: cellos}"]})["a"]
    early = part(found, "cellos")["bar"] <= 4
    assert early.sum() < (part(before, "cellos")["bar"] <= 4).sum() / 1.5
    assert len(part(found, "violas")) > 20


# ---------------------------------------------------------------- answer, build, thin, vary, rest, mark


def test_answer_takes_turns(variants, piece) -> None:
    """With ``every: 1`` two players have alternate bars of the tune, together all of it, each in range."""
    score, layers = piece("demo")
    found = variants("demo", {"a": ["{answer: melody, between: [[bassoon 1], [flute 1]], every: 1, bars: 45-48}"]})["a"]
    low, high = part(found, "bassoon 1"), part(found, "flute 1")
    assert set(low["bar"]) == {45, 47}
    assert set(high["bar"]) == {46, 48}
    inside = (score.notes["bar"] >= 45) & (score.notes["bar"] <= 48)
    tune = np.flatnonzero(select(layers, score, "melody") & inside)
    assert np.array_equal(np.sort(np.concatenate([low["source"], high["source"]])), tune)


def test_answer_by_register_gives_high_bars_to_the_high_group(variants) -> None:
    """By register the flute has the higher bars whichever group is named first."""
    for groups in ("[[bassoon 1], [flute 1]]", "[[flute 1], [bassoon 1]]"):
        found = variants("demo", {"a": [f"{{answer: melody, between: {groups}, by: register, bars: 45-48}}"]})["a"]
        source = found.score.notes["pitch"]
        heights = [source[part(found, name)["source"]].mean() for name in ("bassoon 1", "flute 1")]
        assert heights[0] < heights[1]


def test_build_adds_players_one_by_one(variants) -> None:
    """Players enter in the order named, stage after stage, and all play in the last bar."""
    names = ["bassoon 1", "clarinet 1", "oboe 1", "flute 1"]
    found = variants("demo", {"a": [f"{{build: all, on: [{', '.join(names)}], bars: 41-44}}"]})["a"]
    assert [int(part(found, name)["bar"].min()) for name in names] == [41, 42, 43, 44]
    assert all(int(part(found, name)["bar"].max()) == 44 for name in names)
    for name in names:
        notes = part(found, name)
        assert len(np.unique(notes["onset"])) == len(notes)  # one line each


def test_thin_takes_them_away(variants) -> None:
    """Players leave in the order named; before they leave nothing is missing."""
    play = "{play: melody, on: [flute 1, oboe 1, violins 1], bars: 25-32}"
    found = variants("demo", {"a": [play, "{thin: melody, on: [flute 1, oboe 1], bars: 25-32}"]})["a"]
    last = [int(part(found, name)["bar"].max()) for name in ("flute 1", "oboe 1", "violins 1")]
    assert last == sorted(last)
    assert last[0] < last[1] < last[2]
    assert int(part(found, "flute 1")["bar"].min()) == 25


def test_vary_moves_and_loses_nothing(variants) -> None:
    """A re-scored phrase leaves its player for another; as a whole every note is still played once."""
    found = variants("mazurka", {"plain": PLAIN, "b": ["from: plain", "{vary: melody, on: clarinet 1, bars: 9-16}"]})
    assert np.array_equal(*(np.sort(everything(found[name])["source"]) for name in ("plain", "b")))
    moved = part(found["b"], "violins 1")["bar"]
    assert not ((moved >= 10) & (moved <= 16)).any()


def test_rest_silences_and_cuts_what_still_sounds(variants, piece) -> None:
    """A player that rests has no attack in the bars and nothing still sounding when they begin."""
    score, _ = piece("prelude")
    found = variants("prelude", {"a": ["{hold: harmony, on: horn 1}", "{rest: horn 1, bars: 5-8}"]})["a"]
    start, end = score.span(5, 8)
    notes = part(found, "horn 1")
    assert not ((notes["onset"] < end) & (notes["onset"] + notes["duration"] > start)).any()
    assert len(notes)


def test_mark_writes_levels_articulation_words_and_swells(variants) -> None:
    """Dynamics go into the notes, articulations become flags, words and swells become marks of the player."""
    steps = [
        "{play: melody, on: violins 1}",
        "{mark: pp, on: violins 1, bars: 1-2}",
        "{mark: staccato, on: violins 1, bars: 3}",
        "{mark: dolce, on: violins 1, bars: 4}",
        "{mark: cresc, on: violins 1, bars: 5-8}",
    ]
    found = variants("demo", {"a": steps})["a"]
    notes = part(found, "violins 1")
    assert set(notes["dynamic"][notes["bar"] <= 2]) == {DYNAMICS.index("pp")}
    assert (notes["flags"][notes["bar"] == 3] & int(Flag.STACCATO) != 0).all()
    marks = next(one.marks for one in found.parts if one.player.name == "violins 1")
    assert [(mark.kind, mark.value) for mark in marks] == [("text", "dolce"), ("hairpin", "cresc")]


def test_a_step_keeps_to_its_bars_beats_and_dynamic(variants, piece) -> None:
    """Bars, beats and ``when`` choose notes together: only first and third beats of bars 21 to 24 where it is f."""
    score, _ = piece("demo")
    step = '{play: all, on: violins 1, bars: 21-24, beats: "1, 3", when: f}'
    notes = part(variants("demo", {"a": [step]})["a"], "violins 1")
    assert len(notes)
    for note in notes:
        bar = score.bars[int(note["bar"]) - 1]
        assert 21 <= int(note["bar"]) <= 24
        assert (int(note["onset"]) - int(bar["onset"])) // 10_080 in (0, 2)
        assert (int(note["onset"]) - int(bar["onset"])) % 10_080 == 0
        assert round(float(levels_at(score, np.array([note["onset"]]))[0])) == DYNAMICS.index("f")


# ---------------------------------------------------------------- what holds for all


ADDING = [
    "{hold: harmony, on: [horn 1, horn 2]}",
    "{hold: third, on: clarinet 1, register: high}",
    "{hold: bass, on: [bassoon 1, basses]}",
    "{fill: gap, on: [clarinet 1, clarinet 2, horn 1]}",
    "{double: melody, on: [flute 1, piccolo], at: 15ma}",
    "{double: bass, on: basses, at: 8vb}",
    "{double: melody, on: oboe 1, at: thirds}",
    "{stress: accents, on: [trumpet 1, horn 1, timpani], by: chord}",
    "{stress: notes, on: [violins 1, violas], by: multiple stops}",
    "{stress: accents, on: [flute 1, oboe 1], by: grace run}",
    "{stress: notes, on: [horn 1, horn 2, bassoon 1], by: short over held}",
    "{build: all, on: [bassoon 1, clarinet 1, oboe 1, flute 1]}",
]
MOVING = [
    "{vary: melody, on: [clarinet 1, flute 1]}",
    "{answer: melody, between: [[bassoon 1], [oboe 1, flute 1]], by: register}",
    "{refigure: accompaniment, on: [violins 2, violas, horn 1], as: shared}",
    "{refigure: accompaniment, on: [violas, cellos], as: pizzicato}",
    "{refigure: middle, on: [clarinet 1, clarinet 2], as: natural}",
]


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    name=st.sampled_from(["rag", "prelude", "mazurka", "polonaise", "opus 19", "sonata", "solfeggio", "demo"]),
    steps=st.lists(st.sampled_from(ADDING + MOVING), min_size=1, max_size=3, unique=True),
)
def test_nothing_out_of_range_nothing_lost_nothing_random(name: str, steps: list[str], variants, piece) -> None:
    """Whatever is added on whatever piece: it lies in range, every piano note stays, and twice the same comes out."""
    score, _ = piece(name)
    text = {"plain": PLAIN, "new": ["from: plain", *steps]}
    orchestra = "{use: classical full, add: [piccolo]}"
    first, second = (variants(name, text, orchestra)["new"] for _ in range(2))
    for one, again in zip(first.parts, second.parts, strict=True):
        assert one.notes.tobytes() == again.notes.tobytes()
        added = one.notes["pitch"][one.notes["source"] < 0]
        low, high = one.player.instrument.low, one.player.instrument.high
        assert ((added >= low) & (added <= high)).all(), (one.player.name, steps)
    notes = everything(first)
    assert np.array_equal(np.unique(notes["source"][notes["source"] >= 0]), np.arange(len(score.notes)))
    assert (notes["onset"] + notes["duration"] <= score.end).all()


def test_every_built_in_technique_says_what_it_does() -> None:
    """Every verb has a docstring with its source, an options model whose first own field is the verb, and words."""
    for verb in find("klangprobe.techniques"):
        technique = load("klangprobe.techniques", verb)
        assert technique.name == verb
        assert "References" in technique.__doc__
        assert verb in technique.Options.model_fields
        assert callable(technique().describe)


@pytest.mark.parametrize("name", ["rag", "polonaise", "opus 19", "sonata", "mazurka"])
def test_one_player_doubles_one_line(name: str, variants) -> None:
    """A flute that doubles a melody with chords or held notes has one note at a time: of a chord the highest."""
    found = variants(name, {"a": [*PLAIN, "{double: melody, on: flute 1, at: 8va, compass: C4-C7}"]})["a"]
    notes = part(found, "flute 1")
    main = notes[notes["flags"] & int(Flag.GRACE) == 0]
    assert len(main)
    assert (np.diff(main["onset"]) > 0).all()
    assert (main["onset"][1:] >= (main["onset"] + main["duration"])[:-1]).all()


def test_a_bass_is_doubled_by_its_lowest_notes(variants) -> None:
    """Basses that double a bass in octaves and chords take one line of it, the lowest."""
    found = variants("polonaise", {"a": ["{double: bass, on: basses}"]})["a"]
    notes = part(found, "basses")
    assert len(notes)
    assert (np.diff(notes["onset"][notes["flags"] & int(Flag.GRACE) == 0]) > 0).all()
