"""The first spec: it runs, keeps every note in its plain variant, and differs in its alternatives."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from mapping import arrange_all, check, check_against, first_spec, load_spec, palette_of, players_of
from mapping.orchestra import ensembles
from mapping.starting_passages import _evenly, parts
from mapping.starting_trial import Trial
from reading import bars_named, survey


@pytest.mark.parametrize("orchestra", sorted(ensembles()))
def test_it_runs_with_every_ensemble(orchestra: str, piece, tmp_path: Path) -> None:
    """For each ensemble the spec loads, fits the score, and its variants sound different from the plain one."""
    score, layers = piece("polonaise")
    path = tmp_path / "spec.yaml"
    path.write_text(first_spec(score, orchestra=orchestra))
    spec = load_spec(path)
    check_against(spec, score)
    plain, *others = arrange_all(score, layers, spec)
    assert plain.variant == "plain"
    assert len(others) >= 2
    sources = np.concatenate([part.notes["source"] for part in plain.parts])
    assert np.array_equal(np.sort(sources), np.arange(len(score.notes)))
    for other in others:
        assert sum(len(part.notes) for part in other.parts) > len(score.notes), other.variant


@pytest.mark.parametrize("name", ["rag", "mazurka", "demo", "opus 19"])
@pytest.mark.parametrize("surveyed", [True, False])
def test_passages_cover_the_piece_once(name: str, surveyed: bool, piece, tmp_path: Path) -> None:
    """Passages follow one another from the first bar to the last, whether a survey sees the form or not."""
    score, layers = piece(name)
    path = tmp_path / "spec.yaml"
    path.write_text(first_spec(score, survey(score, layers) if surveyed else None))
    spec = load_spec(path)
    bars = [
        bar for passage in spec.passages.values() for a, b in bars_named(score, passage.bars) for bar in range(a, b + 1)
    ]
    assert bars == list(range(1, len(score.bars) + 1))


def test_titles_with_signs_and_quotes_stay_text(piece, tmp_path: Path) -> None:
    """A title full of YAML's own signs does not break the file, and comes back as it was."""
    from dataclasses import replace

    score, _ = piece("opus 19")
    title = "No: 1 #2 'the \"last\" {song}' – [op. 3], *&%@`\n\tx"
    path = tmp_path / "spec.yaml"
    path.write_text(first_spec(replace(score, title=title), file="a b/näme #1.mid"), encoding="utf-8")
    spec = load_spec(path)
    assert spec.piece.title == "No: 1 #2 'the \"last\" {song}' – [op. 3], *&%@` x"
    assert spec.piece.score == "a b/näme #1.mid"


def test_it_is_short_and_speaks_to_a_newcomer(piece) -> None:
    """The spec has comments and is no longer than two printed pages."""
    score, layers = piece("demo")
    text = first_spec(score, survey(score, layers))
    assert text.count("#") >= 4
    assert len(text.splitlines()) <= 80


@pytest.mark.parametrize("name", ["rag", "polonaise", "opus 19", "demo", "prelude"])
def test_every_variant_of_it_can_be_played(name: str, piece, tmp_path: Path) -> None:
    """A newcomer's first check finds nothing that no player can do."""
    score, layers = piece(name)
    path = tmp_path / "spec.yaml"
    path.write_text(first_spec(score, survey(score, layers)))
    for arrangement in arrange_all(score, layers, load_spec(path)):
        assert not [one.message for one in check(arrangement, layers) if one.severity == "error"], arrangement.variant


def test_passages_can_be_kept_in_the_ear(piece, tmp_path: Path) -> None:
    """No passage is longer than 24 bars, however long the piece goes on without a contrast."""
    score, layers = piece("rag")
    path = tmp_path / "spec.yaml"
    path.write_text(first_spec(score, survey(score, layers)))
    spans = [bars_named(score, passage.bars)[0] for passage in load_spec(path).passages.values()]
    assert max(last - first + 1 for first, last in spans) <= 24
    assert parts(147, 241) == [(147, 169), (170, 193), (194, 217), (218, 241)]


@pytest.fixture(scope="session")
def begun(piece, tmp_path_factory: pytest.TempPathFactory):
    """Give text and spec of a first spec with a survey, by piece and orchestra, made once."""

    @cache
    def make(name: str, orchestra: str = "classical full"):
        score, layers = piece(name)
        found = survey(score, layers, palette_of(players_of(orchestra)))
        path = tmp_path_factory.mktemp("begun") / "spec.yaml"
        path.write_text(first_spec(score, found, orchestra), encoding="utf-8")
        return path.read_text(encoding="utf-8"), load_spec(path)

    return make


@pytest.mark.parametrize("name", ["rag", "prelude", "mazurka", "polonaise", "opus 19", "demo"])
def test_passages_are_named_after_the_music(name: str, begun) -> None:
    """The first is the opening; names are short, of one kind of words, and never more than twelve."""
    _, spec = begun(name)
    names = list(spec.passages)
    assert names[0] == "opening"
    assert len(names) <= 12
    words = r"(opening|closing|coda|trio|bars?|new \w+|theme returns|opening returns)( #?\d+(-#?\d+)?)?"
    assert all(re.fullmatch(words, one) and len(one) <= 30 for one in names), names
    assert any(re.match("new|theme|opening returns", one) for one in names)


def test_the_rag_is_cut_where_its_strains_begin(begun) -> None:
    """The heading "Trio" that stands in the file of Joplin's Maple Leaf Rag (music21 corpus) names its passage."""
    _, spec = begun("rag")
    assert spec.passages["trio"].bars.startswith("51")
    assert spec.passages["theme returns 35"].bars.startswith("35")


@pytest.mark.parametrize("name", ["rag", "mazurka", "polonaise", "demo"])
def test_no_passage_but_the_last_is_shorter_than_a_phrase(name: str, piece, begun) -> None:
    """What is heard side by side lasts four bars at least."""
    (score, _), (_, spec) = piece(name), begun(name)
    spans = [bars_named(score, one.bars)[0] for one in list(spec.passages.values())[:-1]]
    assert all(last - first + 1 >= 4 for first, last in spans)


def test_no_text_of_the_score_becomes_a_name(piece) -> None:
    """Headings and reasons full of YAML's signs change neither the keys nor the lines of the file."""
    from dataclasses import replace

    from reading.score import Mark

    score, layers = piece("demo")
    evil = "coda: {x: 1}\n  - [*a, &b] # \u2028"
    found = survey(score, layers)
    start = int(score.bars["onset"][20])
    marks = (*score.marks, Mark("text", start, start, 0, 1, evil))
    rows = tuple(replace(one, reasons=(evil, *one.reasons)) for one in found.sections.rows)
    findings = tuple(replace(one, question=evil, kind="gap: \n x") for one in found.findings)
    hostile = replace(found, sections=replace(found.sections, rows=rows), findings=findings)
    text = first_spec(replace(score, marks=marks), hostile)
    plain = first_spec(score, found)
    keys = [line.split(":")[0] for line in plain.splitlines() if not line.strip().startswith(("#", "-"))]
    assert [line.split(":")[0] for line in text.splitlines() if not line.strip().startswith(("#", "-"))] == keys
    assert "\u2028" not in text


@pytest.mark.parametrize("name", ["rag", "prelude", "mazurka", "polonaise", "demo"])
def test_first_answers_are_the_surveys_own(name: str, piece, begun) -> None:
    """Each step is in the first option of a first-rank finding, stands under its name and question, and has bars."""
    score, layers = piece(name)
    text, spec = begun(name)
    steps = spec.variants["first answers"].steps
    assert 1 <= len(steps) <= 8
    assert all(step.options.bars for step in steps)
    part = text.split("first answers:")[1].split("# Open")[0]
    told = [line.strip()[2:] for line in part.splitlines() if line.strip().startswith("# ")]
    known = {
        f"{one.name}: {one.question}": one.options[0].steps
        for one in survey(score, layers, palette_of(players_of("classical full"))).findings
        if one.rank == 1
    }
    assert set(told) <= set(known)
    assert sum(len(known[line]) for line in told) == len(steps)


def test_first_answers_do_not_get_in_each_others_way(piece, begun) -> None:
    """No two suggestions give the same player or the same layer something to do in the same bars."""
    score, _ = piece("demo")
    text, spec = begun("demo")
    assert text.count("# gap") == 1
    claims = []
    for step in spec.variants["first answers"].steps:
        bars = {bar for a, b in bars_named(score, step.options.bars) for bar in range(a, b + 1)}
        claims.append((bars, set(step.options.players_named())))
    for row, (bars, players) in enumerate(claims):
        assert not any(bars & others and players & names for others, names in claims[row + 1 :])


@pytest.mark.parametrize("name", ["rag", "demo", "opus 19"])
def test_open_questions_can_be_answered_by_taking_away_the_sign(name: str, begun, tmp_path: Path) -> None:
    """With the comment signs gone the answers are read, and each names a finding of the survey."""
    text, _ = begun(name)
    before, after = text.split("# answers:\n")
    path = tmp_path / "spec.yaml"
    path.write_text(before + "answers:\n" + after.replace("#   - ", "  - "), encoding="utf-8")
    answers = load_spec(path).answers
    assert len(answers) == after.count("finding:") > 0
    assert all(re.search(r" #?\d", one.finding) for one in answers)
    assert {one.choice for one in answers} <= {"first answers", ""}


@pytest.mark.parametrize("orchestra", ["strings", "wind quintet", "brass quintet"])
def test_small_ensembles_get_no_errors_beyond_the_plain_variant(orchestra: str, piece, begun) -> None:
    """What five players cannot play of a piano piece is the fault of plain alone: the others add no kind of error."""
    score, layers = piece("mazurka")
    _, spec = begun("mazurka", orchestra)
    plain, *others = (
        {(one.player, one.kind) for one in check(found, layers) if one.severity == "error"}
        for found in arrange_all(score, layers, spec)
    )
    assert len(others) >= 2
    assert all(other <= plain for other in others)


def test_doublings_rest_where_they_cannot_be_played(piece) -> None:
    """C. P. E. Bach's Solfeggio is too fast to tongue: the oboe rests there, for the rest plays four bars or more."""
    start, step = [{"play": "melody", "on": ["violins 1"]}], {"double": "melody", "on": "oboe 1"}
    score, layers = piece("solfeggio")
    trial = Trial(score, layers, players_of("classical full"), start)
    limited = trial.playable(step)
    assert limited is not None
    assert all(last - first >= 3 for first, last in bars_named(score, limited["bars"]))
    assert not trial.takes([step])
    assert trial.takes([limited])
    assert not trial.takes([limited]), "what changes nothing is not taken again"
    score, layers = piece("sonata")
    assert Trial(score, layers, players_of("classical full"), start).playable(step) == step


def test_long_pieces_keep_to_twelve_passages() -> None:
    """Of a piece too long for twelve passages of twenty-four bars only the beginnings are taken."""
    assert _evenly(1000)[-1] == (265, 288)
    assert len(_evenly(100)) <= 12
    assert [last - first + 1 for first, last in _evenly(24)] == [8, 8, 8]
    assert _evenly(1) == [(1, 1)]
