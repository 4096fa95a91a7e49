"""Findings: names, ranks, options that stay inside the palette, answers."""

import json
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from reading.barwords import bars_said
from reading.features_whole import whole_bars
from reading.findings import Draft, ranked
from reading.findings_options import Offers
from reading.palette import Palette
from reading.reader import read
from reading.survey import open_findings, survey
from reading.survey_json import survey_json

NAMED = [field.name for field in fields(Palette) if field.name != "reaches"]
ROOT = Path(__file__).parents[2]
VERBS = {"play", "double", "hold", "stress", "fill", "refigure", "answer", "build", "thin", "mark", "rest", "vary"}
EMPTY = Palette(*(() for _ in fields(Palette)))


@pytest.fixture(scope="module")
def found():
    """The survey of the demo piece."""
    return survey(read(ROOT / "demo" / "weathercock.musicxml"))


def players(step):
    """Every player a step names."""
    groups = [step.get("on", []), step.get("rest", []), *step.get("between", [])]
    return {name for group in groups for name in group}


def test_every_finding_has_evidence_a_question_and_two_to_four_options(found):
    """What the page shows is never empty."""
    for finding in found.findings:
        assert finding.evidence
        assert finding.question.endswith("?")
        assert 2 <= len(finding.options) <= 4, finding.name


def test_options_are_steps_of_the_spec_with_players_of_the_palette(found):
    """One verb each, bars of the finding, players the orchestra has (an octave sign may follow)."""
    known = {name.removesuffix(" 8vb") for field in NAMED for name in getattr(Palette(), field)}
    for finding in found.findings:
        for option in finding.options:
            for step in option.steps:
                assert len(VERBS & set(step)) == 1
                assert "bars" in step
                assert {name.removesuffix(" 8vb") for name in players(step)} <= known


def pasted(found, folder, choices):
    """A spec with one variant for each list of options, pasted as the survey prints them."""
    from klangprobe.survey_page import step_text
    from mapping import load_spec

    lines = [f"piece: {{score: {ROOT / 'demo' / 'weathercock.musicxml'}}}", "orchestra: {use: classical full}"]
    lines += ["variants:", "  plain:", "    steps:", "      - {play: melody, on: violins 1}"]
    lines += [
        "      - {play: accompaniment, on: [violins 2, violas]}",
        "      - {play: bass, on: [cellos, basses 8vb]}",
    ]
    for row, options in enumerate(choices):
        steps = [f"      {step_text(step)}" for option in options for step in option.steps]
        lines += [f"  v{row}:", "    from: plain", "    steps:", *steps]
    path = folder / "pasted.yaml"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return load_spec(path)


def test_every_option_maps(found, tmp_path):
    """The first options of all findings in one variant, the second ones in another, and so on: all are arranged."""
    from mapping import arrange

    choices = [[finding.options[row] for finding in found.findings if row < len(finding.options)] for row in range(4)]
    assert sum(map(len, choices)) == sum(len(finding.options) for finding in found.findings)
    spec = pasted(found, tmp_path, choices)
    for row in range(4):
        assert len(arrange(found.score, found.layers, spec, f"v{row}").parts)


def test_options_are_heard(found, tmp_path):
    """One option of each kind of finding in the first rank changes the notes and gives sound over its bars."""
    from mapping import arrange
    from render import RenderSettings, render_variants

    first = {finding.kind: finding for finding in found.findings if finding.rank == 1}
    chosen = [first[kind] for kind in ("accent", "pedal", "gap", "figuration")]
    spec = pasted(found, tmp_path, [[finding.options[0]] for finding in chosen])
    settings = RenderSettings(synth="partials")
    plain = arrange(found.score, found.layers, spec, "plain")
    for row, finding in enumerate(chosen):
        option = arrange(found.score, found.layers, spec, f"v{row}")
        bars = (finding.first_bar_index, finding.first_bar_index)
        before, after = render_variants([plain, option], bars, passage="p", settings=settings)
        assert np.isfinite(after.mix).all()
        assert np.abs(after.mix).max() > 0
        assert before.mix.shape == after.mix.shape
        assert np.abs(before.mix - after.mix).max() > 0, finding.name


def offered(score, build):
    """What is left of options that *build* makes, by finding, when the survey has chosen."""
    from reading.findings_useful import useful
    from reading.layers import find_layers
    from reading.survey import _facts

    facts = _facts(whole_bars(score), find_layers(score), Palette())
    return [[option.says for option in draft.options] for draft in useful(facts, build())]


def theme(*bars, kind="new theme"):
    """Drafts that ask for the colour of a tune."""
    for first, last in bars:
        said = f"{first}-{last}"
        yield Draft(kind, first, last, 0.9, ("x",), "?", Offers(Palette(), said).theme())


def test_options_that_would_change_nothing_are_left_out(form_builder):
    """Drums of tonic and dominant are not offered for a chord that has neither."""
    score = form_builder.build(["C#5+F#5/4", "E5/4"], ["C#3+F#3/4", "C3/4"])

    def build():
        for bar in (1, 2):
            yield Draft("accent", bar, bar, 0.9, ("x",), "?", Offers(Palette(), str(bar)).accent("1"))

    says = offered(score, build)
    assert "timpani mark the bass" not in says[0]
    assert "timpani mark the bass" in says[1]


LEFT = ["C3 G3 E3 G3"] * 8


def test_no_instrument_is_offered_a_tune_it_cannot_play_to_the_end(form_builder):
    """A tune that climbs to A6 is offered to no horn or oboe at its height; whoever is named has every note of it."""
    high = form_builder.build(["C5 E5 G5 C6", "E6 G6 A6 G6"] * 4, LEFT)
    (says,) = offered(high, lambda: theme((1, 8)))
    assert not any(one in says for one in ("the melody in horn 1", "the melody in oboe 1", "the melody in trumpet 1"))
    for one in says:
        if "horn" in one or "oboe" in one:
            assert "octave" in one


def test_fast_notes_are_offered_to_no_wind_that_cannot_tongue_them(form_builder):
    """Sixteen notes in a bar of 2.4 seconds, 6.7 a second, are had; at twice the speed only strings are named."""
    quick = form_builder.build(
        ["C5/0.125 D5/0.125 E5/0.125 F5/0.125 G5/0.125 F5/0.125 E5/0.125 D5/0.125" * 1] * 8, LEFT
    )
    (says,) = offered(quick, lambda: theme((1, 8)))
    says = [one for one in says if "melody" in one]
    assert not any(wind in one for one in says for wind in ("flute", "oboe", "clarinet", "horn", "trumpet", "bassoon"))


def test_a_tune_in_thirds_is_offered_to_two_players_or_to_strings(form_builder):
    """One wind cannot play two notes at once; two of a kind have a voice each, a section divides."""
    score = form_builder.build(["C4+E4 D4+F4 E4+G4 D4+F4"] * 8, ["C3/4"] * 8)
    from reading.findings_useful import useful
    from reading.layers import find_layers, overruled
    from reading.survey import _facts

    layers = overruled(find_layers(score), score, [{"bars": "1-8", "staff": 1, "role": "melody"}])
    (draft,) = useful(_facts(whole_bars(score), layers, Palette()), theme((1, 8)))
    for option in draft.options:
        step = option.steps[0]
        if step.get("vary") == "melody" and not step["on"][0].startswith(("violas", "cellos")):
            assert len(step["on"]) == 2, option.says
            assert step["share"] == "divide", option.says


def test_the_next_theme_is_offered_another_colour(form_builder):
    """Two themes of one compass do not begin with the same offer, and a repeat not with that of its model."""
    score = form_builder.build(["G4 A4 B4 D5", "C5/2 B4/2"] * 8, LEFT * 2)
    first, second = offered(score, lambda: theme((1, 8), (9, 16)))
    assert first[0] != second[0]


def test_accents_are_answered_by_what_they_are(form_builder):
    """A sforzando is offered brass, an arpeggio sign a run-up, the harp or no more than an accent."""
    from reading.survey import survey as run

    found = run(read(ROOT / "demo" / "weathercock.musicxml"), palette=replace(Palette(), plucked=("harp",)))
    by_name = {finding.name: [option.says for option in finding.options] for finding in found.findings}
    rolled, struck = by_name["accent 1"], by_name["accent 18"]
    assert "the harp spreads the chord" in rolled
    assert any("runs up" in one or "accent" in one for one in rolled)
    assert "the harp spreads the chord" not in struck
    assert any("strike" in one for one in struck[:2])


def test_no_option_asks_for_what_the_player_checks_refuse(found, tmp_path):
    """Added alone to a plain variant, no option of the demo's first two ranks gives an error the plain one has not."""
    from mapping import arrange, check

    options = [[one] for finding in found.findings if finding.rank <= 2 for one in finding.options][:90]
    spec = pasted(found, tmp_path, options)

    def errors(name):
        heard = check(arrange(found.score, found.layers, spec, name), found.layers)
        return {(one.player, one.kind, one.bar_index) for one in heard if one.severity == "error"}

    plain = errors("plain")
    for row, (option,) in enumerate(options):
        assert errors(f"v{row}") <= plain, option.says


def test_an_orchestra_without_players_for_an_option_gets_none():
    """Where the palette is empty no option names anybody; a string orchestra is never offered horns."""
    assert Offers(EMPTY, "1-4").pedal() == ()
    strings = replace(Palette(), winds_high=(), winds_low=(), held=(), brass=(), drums=())
    named = {name for option in Offers(strings, "1-4").pedal() for step in option.steps for name in players(step)}
    assert named <= set(strings.inner + strings.melody + strings.bass)


def test_percussion_is_offered_where_the_orchestra_has_it(found):
    """A stroke for accents and full chords, a roll for a crescendo; nothing of it without the players."""
    more = survey(found.score, found.layers, Palette(strokes=("bass drum", "cymbals"), rolls=("suspended cymbal",)))

    def kinds(one):
        wanted = {"bass drum", "cymbals", "suspended cymbal"}
        return {
            finding.kind
            for finding in one.findings
            for option in finding.options
            for step in option.steps
            if wanted & players(step)
        }

    assert kinds(more) >= {"accent", "full chords", "crescendo"}
    assert kinds(found) == set()


def test_strings_alone_still_get_two_options(found):
    """A string orchestra has at least two ways to answer each finding, all with its own players."""
    own = ("violins 1", "violins 2", "violas", "cellos", "basses")
    strings = Palette(held=("violins 2", "violas"), winds_high=(), winds_low=(), brass=(), drums=())
    for finding in survey(found.score, found.layers, strings).findings:
        assert len(finding.options) >= 2, finding.name
        for option in finding.options:
            named = {name for step in option.steps for name in players(step)}
            assert {name.removesuffix(" 8vb") for name in named} <= set(own)


def test_names_are_unique_and_as_the_spec_writes_bars(found):
    """A finding is called by kind and printed bars, and no two have one name."""
    names = [finding.name for finding in found.findings]
    assert len(set(names)) == len(names)
    assert "pedal 9-12" in names


def test_bars_printed_twice_are_named_by_count(form_builder):
    """Where a number occurs twice (first and second ending) and does not name just these bars, they are counted: #."""
    score = form_builder.build(["C5/4"] * 4, ["C3/4"] * 4)
    twice = replace(score, bar_numbers=("1", "2", "2", "3"))
    assert bars_said(twice, 1, 1) == "1"
    assert bars_said(twice, 2, 4) == "2-3"
    assert bars_said(twice, 3, 4) == "#3-#4"


def test_first_rank_stays_short(form_builder):
    """However many strong findings there are, the first rank is bounded by the length of the piece and by kind."""
    score = form_builder.build(["C5/4"] * 28, ["C3/4"] * 28)
    drafts = [Draft(f"kind {bar % 7}", bar, bar, 0.9, ("x",), "?", ()) for bar in range(1, 29)]
    assert sum(finding.rank == 1 for finding in ranked(whole_bars(score), drafts)) == round(28 / 2.75)
    same = [Draft("accent", bar, bar, 0.9, ("x",), "?", ()) for bar in range(1, 29)]
    assert sum(finding.rank == 1 for finding in ranked(whole_bars(score), same)) == 3


def test_answers_close_findings(found):
    """A finding that an answer names is no longer open; an answer to something else changes nothing."""
    left = open_findings(found, [{"finding": "pedal 9-12", "choice": "horns"}, {"finding": "pedal 1-2", "choice": "x"}])
    assert {finding.name for finding in found.findings} - {finding.name for finding in left} == {"pedal 9-12"}


def test_export_follows_its_schema(found):
    """The export is plain JSON and follows the published schema, the account of the reading apart."""
    schema = json.loads((ROOT / "docs" / "schema" / "survey.schema.json").read_text(encoding="utf-8"))
    schema["required"].remove("reading")
    data = json.loads(json.dumps(survey_json(found)))
    Draft202012Validator(schema).validate(data)
    assert len(data["notes"]) == len(found.score.notes)


def test_survey_follows_overruled_layers(found, form_builder):
    """The survey takes the layers it is given: a melody moved to the left hand by the spec becomes a finding."""
    from reading.layers import find_layers, overruled

    score = form_builder.build(["G5/1 A5/1 B5/1 A5/1"] * 6, ["C3 G3 E3 G3 C3 G3 E3 G3"] * 6)
    rules = [{"bars": "2-5", "staff": 2, "role": "melody"}, {"bars": "2-5", "staff": 1, "role": "middle"}]
    layers = overruled(find_layers(score), score, rules)
    kinds = {finding.kind: finding.bars for finding in survey(score, layers).findings}
    assert kinds.get("melody in the left hand") == "2-5"
    assert "melody in the left hand" not in {finding.kind for finding in survey(score).findings}


@pytest.mark.parametrize(
    "change", ["up a tone", "down a semitone", "twice as long", "half as long", "other voice names"]
)
def test_findings_do_not_hang_on_key_note_values_or_voice_names(found, form_builder, change):
    """The same piece in another key, in other note values or with other voice names has the same findings and ranks."""
    other = {
        "up a tone": lambda score: form_builder.transposed(score, 2),
        "down a semitone": lambda score: form_builder.transposed(score, -1),
        "twice as long": lambda score: form_builder.stretched(score, 2),
        "half as long": lambda score: form_builder.stretched(score, 1, 2),
        "other voice names": lambda score: form_builder.renamed_voices(score, 1),
    }[change](found.score)
    assert [(one.name, one.rank) for one in survey(other).findings] == [(one.name, one.rank) for one in found.findings]
