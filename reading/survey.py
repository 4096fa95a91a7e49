"""The survey: what must be rethought for orchestra, with the plain tables behind it.

Start with :func:`survey`. How each table is made, and how well it does against human annotations, is told in
``docs/survey.md``.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from types import ModuleType
from typing import TYPE_CHECKING

from reading import figuration, form, pedal, repeats
from reading.accents import accents
from reading.answering import given_answers, open_findings
from reading.features_whole import whole_bars
from reading.findings import Finding, Option, ranked
from reading.findings_again import asked_once
from reading.findings_facts import Facts
from reading.findings_form import dialogue_findings, repeat_findings, section_findings
from reading.findings_sound import accent_findings, dynamic_findings, pedal_findings, swell_findings
from reading.findings_texture import (
    bass_octave_findings,
    chord_findings,
    counterpoint_findings,
    figure_findings,
    gap_findings,
    layer_findings,
    low_melody_findings,
    octave_findings,
    pedal_point_findings,
)
from reading.findings_useful import useful
from reading.gaps import gap_regions, gaps
from reading.layers import Layers, find_layers
from reading.palette import Palette
from reading.register import compasses, dialogues
from reading.survey_dynamics import dynamics
from reading.survey_tables import Survey

if TYPE_CHECKING:
    from reading.features_whole import WholeBars
    from reading.pedal import Pedal
    from reading.score import Score

__all__ = ["Finding", "Option", "Survey", "given_answers", "open_findings", "survey"]

_MAKERS = (
    accent_findings,
    dynamic_findings,
    swell_findings,
    pedal_findings,
    gap_findings,
    octave_findings,
    chord_findings,
    layer_findings,
    bass_octave_findings,
    low_melody_findings,
    counterpoint_findings,
    pedal_point_findings,
    figure_findings,
    section_findings,
    repeat_findings,
    dialogue_findings,
)


def survey(
    score: Score, layers: Layers | None = None, palette: Palette | None = None, sung: Score | None = None
) -> Survey:
    """Say what must be rethought for orchestra.

    Parameters
    ----------
    score : Score
    layers : Layers, optional
        As the spec overrules them; found afresh where left out.
    palette : Palette, optional
        Players the options may name; the default ensemble where left out.
    sung : Score, optional
        Of a song, the same bars with the voice: its form counts, for a tune that comes back over another
        accompaniment is no new theme.

    Returns
    -------
    Survey
    """
    layers = layers or find_layers(score)
    page = whole_bars(score)
    facts = _facts(page, layers, palette or Palette(), sung)
    drafts = (draft for make in _MAKERS for draft in make(facts))
    found = ranked(page, asked_once(useful(facts, drafts), facts.repeats, facts.words))
    return Survey(
        score,
        layers,
        found,
        gaps(score) if page.divided else facts.gaps,
        dynamics(score) if page.divided else facts.dynamics,
        accents(score) if page.divided else facts.accents,
        _pedal_on_page(facts.pedal, score),
        form.sections_on_page(facts.sections, page),
        repeats.repeats_on_page(facts.repeats, page),
        figuration.figuration_on_page(facts.figuration, page),
        compasses(score, layers),
    )


def _facts(page: WholeBars, layers: Layers, palette: Palette, sung: Score | None = None) -> Facts:
    """Gather the tables on whole bars; the form is that of all that is heard."""
    score = page.score
    heard = score if sung is None else whole_bars(sung).score
    contrapuntal = tuple(sorted({int(page.row[bar - 1]) for bar in layers.contrapuntal}))
    layers = replace(layers, contrapuntal=contrapuntal)
    table = gaps(score)
    return Facts(
        page=page,
        layers=layers,
        palette=palette,
        gaps=table,
        gap_regions=gap_regions(score, table),
        accents=accents(score),
        dynamics=dynamics(score),
        sections=form.sections(heard),
        repeats=repeats.find(heard),
        figuration=figuration.describe(score),
        pedal=pedal.find(score),
        dialogues=dialogues(score, layers),
    )


def _pedal_on_page(found: Pedal, score: Score) -> Pedal:
    """Return the pedal by the bars of the page."""
    return pedal.Pedal(tuple(replace(row, bar_index=score.bar_at(row.onset)) for row in found.rows))


class _CallableModule(ModuleType):
    """Lets ``reading.survey`` be called: the package offers the function under the name of this module."""

    def __call__(self, score: Score, layers: Layers | None = None, palette: Palette | None = None) -> Survey:
        """See :func:`survey`."""
        return survey(score, layers, palette)


sys.modules[__name__].__class__ = _CallableModule
