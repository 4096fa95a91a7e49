"""The survey as a page and as a worksheet."""

from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from ruamel.yaml import YAML

from klangprobe.survey_page import step_text, survey_html, worksheet_html
from klangprobe.survey_page_engrave import Excerpts
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


def test_worksheet_asks_and_does_not_answer(found):
    """The worksheet has the questions and blank lines, no evidence and no options."""
    few = replace(found, findings=found.findings[:2])
    sheet = worksheet_html(found.score, few)
    for finding in few.findings:
        assert finding.question in sheet
        assert finding.evidence[0] not in sheet
        assert finding.options[0].says not in sheet
    assert sheet.count('class="blank"') == 3 * len(few.findings)


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
