"""The survey as a page and as a worksheet."""

import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from ruamel.yaml import YAML

from klangprobe.survey_page import step_text, survey_html
from klangprobe.survey_page_engrave import Excerpts
from klangprobe.survey_worksheet import MOST_QUESTIONS, asked, worksheet_html
from reading.barwords import COUNTED
from reading.findings import Option
from reading.reader import read
from reading.survey import survey


@pytest.fixture(scope="module")
def found():
    """The survey of the demo piece."""
    return survey(read(Path(__file__).parents[2] / "demo" / "weathercock.musicxml"))


@pytest.fixture(scope="module")
def page(found):
    """The page of the demo piece, cut to its first three findings so that few bars are drawn."""
    return survey_html(found.score, replace(found, findings=found.findings[:3]))


def test_page_holds_every_finding_with_its_options(found, page):
    """Name, evidence, question and steps of each finding are on the page."""
    for finding in found.findings[:3]:
        assert f"<h3>{finding.name}</h3>" in page
        assert finding.question in page
        assert step_text(finding.options[0].steps[0]) in page


def test_page_stands_alone(page):
    """Nothing is loaded from elsewhere and nothing runs."""
    assert "<script" not in page
    assert "default-src 'none'" in page
    assert 'src="' not in page
    assert 'lang="en"' in page


def test_bars_of_a_finding_are_marked_and_no_others(found):
    """Of the bars drawn exactly those of the finding are tinted, and the drawing is well-formed."""
    svg = Excerpts(found.score).svg(9, 12, label="bars 9-12")
    assert svg.count('class="found"') == 4
    assert svg.count('class="measure"') == 6
    assert 'aria-label="bars 9-12"' in svg
    ElementTree.fromstring(svg)


def test_each_drawing_finds_the_signs_it_shares(page):
    """Clefs and heads stand once on the page, under one name each, and every one used is there."""
    defined = re.findall(r'<g id="([A-Z0-9]{4}-[^"]*)"', page)
    assert len(defined) == len(set(defined)) > 5
    assert set(re.findall(r'href="#([A-Z0-9]{4}-[^"]*)"', page)) <= set(defined)


def test_a_telephone_gets_its_own_drawing(found):
    """A wide and a narrow drawing of the same bars; the narrow one has about two bars to a system."""
    figure = Excerpts(found.score).figure(9, 14, label="bars 9-14")
    wide, narrow = figure.split('<div class="narrow">')
    assert wide.count('class="measure"') == narrow.count('class="measure"') == 8
    assert narrow.count('class="system"') >= 4 > wide.count('class="system"')


def test_ink_and_paper_turn_with_the_reader(page):
    """By night paper is dark and everything drawn takes the colour of the words; no drawing has a colour of its own."""
    assert "prefers-color-scheme:dark" in page
    assert "color-scheme:light dark" in page
    assert set(re.findall(r'(?:fill|stroke)="([^"]+)"', page)) <= {"none", "currentColor"}


def test_order_and_bars_are_said_as_they_are(found, page):
    """The list is by rank and within it in the order of the piece; what ``#`` means is said once, where it stands."""
    assert "each in the order of the piece" in page
    assert "most urgent" not in page
    assert COUNTED not in page
    counted = tuple(replace(one, bars="#33") for one in found.findings[:2])
    for html in (survey_html, worksheet_html):
        assert html(found.score, replace(found, findings=counted)).count(COUNTED) == 1
    step = Option("the upbeat too", ({"rest": ["oboe 1"], "bars": "#9-#18"},))
    upbeat = replace(found, findings=(replace(found.findings[0], options=(step,)),))
    assert COUNTED in survey_html(found.score, upbeat)
    assert COUNTED not in worksheet_html(found.score, upbeat)


def test_a_worksheet_is_for_a_lesson_not_for_a_term(found):
    """Twenty questions at most, the strongest of the first rank, in the order of the piece; more when asked for."""
    many = [
        replace(found.findings[0], first_bar_index=bar, last_bar_index=bar, rank=1, strength=0.5 + (bar % 7) / 20)
        for bar in range(56, 0, -1)
    ]
    few = [replace(one, rank=2, strength=1.0) for one in many[:3]]
    chosen = asked([*few, *many])
    assert len(chosen) == MOST_QUESTIONS
    assert {one.rank for one in chosen} == {1}
    assert [one.first_bar_index for one in chosen] == sorted(one.first_bar_index for one in chosen)
    left = max(one.strength for one in many if one not in chosen)
    assert min(one.strength for one in chosen) >= left
    assert len(asked(many, 3)) == 3
    assert len(asked([*few, *many], 58)) == 58


def test_the_bars_of_a_question_fill_two_systems_at_most(found):
    """So two questions go on a page; a bar shown only beside the passage fills no system alone."""
    excerpts = Excerpts(found.score, 2500, 4)
    for first, last in ((9, 12), (13, 17), (25, 32), (33, 48)):
        wide = excerpts.figure(first, last, label="bars").split('<div class="narrow">')[0]
        assert wide.count('class="system"') <= 2
    assert "The first" in excerpts.figure(25, 48, label="bars")


def test_a_phrase_with_its_upbeat_is_drawn_whole(form_builder):
    """Eight bars after a divided bar's upbeat, the last divided too, are eight bars, though the page counts ten."""
    score = form_builder.divided(form_builder.build(["C5/1 D5/1 E5/1 F5/1"] * 20, ["C3/4"] * 20), (8, 16))
    figure = Excerpts(score).figure(9, 18, label="bars 9-16")
    assert figure.count('class="measure"') == 2 * 10
    assert "The first" not in figure
    assert figure.count('class="found"') == 2 * 10


def test_a_tint_keeps_to_its_bar(form_builder):
    """The bracket over an ending belongs to several bars; the tint is as wide as the staff lines of its own."""
    score = form_builder.build(["C5/4"] * 4, ["C3/4"] * 4, voltas={3: 1, 4: 2})
    svg = Excerpts(score).svg(4, 4, label="bar 4")
    (left, width) = map(int, re.search(r'class="found" x="(\d+)" y="-?\d+" width="(\d+)"', svg).groups())
    lines = {tuple(map(int, pair)) for pair in re.findall(r'<path d="M(\d+) \d+ L(\d+) \d+" stroke-width', svg)}
    assert (left, left + width) == max(line for line in lines if line[0] < line[1])


def test_worksheet_asks_and_does_not_answer(found):
    """The worksheet has the questions and blank lines, no evidence and no options."""
    few = replace(found, findings=found.findings[:2])
    sheet = worksheet_html(found.score, few)
    for finding in few.findings:
        assert finding.question in sheet
        assert finding.evidence[0] not in sheet
        assert finding.options[0].says not in sheet
    assert sheet.count('class="blank"') == 3 * len(few.findings)
    assert 'class="question"' in sheet


def test_text_of_the_score_cannot_become_markup(found):
    """A title is text, whatever it holds."""
    score = replace(found.score, title="<script>alert(1)</script>", composer='"><img src=x>')
    bare = survey_html(score, replace(found, score=score, findings=()))
    assert "<script>" not in bare
    assert "<img" not in bare
    assert "&lt;script&gt;" in bare


def test_steps_are_yaml_that_reads_back(found):
    """Each step as printed is YAML for the same step."""
    yaml = YAML(typ="safe")
    for finding in found.findings:
        for option in finding.options:
            for step in option.steps:
                (back,) = yaml.load(step_text(step))
                assert {key: _plain(value) for key, value in back.items()} == dict(step)


def _plain(value):
    """Bars and beats are text in a step and may be numbers in YAML."""
    return str(value) if isinstance(value, int | float) else value
