"""The survey: what must be rethought for orchestra, with the plain tables behind it.

Start with :func:`survey`. How each table is made, and how well it does against human annotations, is told in
``docs/survey.md``.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from types import ModuleType
from typing import TYPE_CHECKING, Any

from reading import figuration, form, pedal, repeats
from reading.accents import Accent, accents
from reading.findings import Finding, Option, ranked
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
from reading.gaps import Gaps, gap_regions, gaps
from reading.layers import Layers, find_layers
from reading.palette import Palette
from reading.register import Compass, compasses, dialogues
from reading.survey_dynamics import DynamicMark, dynamics
from reading.survey_json import survey_json

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reading.figuration import Figuration
    from reading.form import Sections
    from reading.pedal import Pedal
    from reading.repeats import Repeat
    from reading.score import Score

__all__ = ["Finding", "Option", "Survey", "open_findings", "survey"]

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


@dataclass(frozen=True, eq=False)
class Survey:
    """What was found in a piece.

    Attributes
    ----------
    score : Score
    layers : Layers
    findings : tuple of Finding
        By rank, then in the order of the piece.
    gaps : Gaps
    dynamics : tuple of DynamicMark
    accents : tuple of Accent
    pedal : Pedal
    sections : Sections
    repeats : tuple of Repeat
    figuration : Figuration
    register : tuple of Compass
    """

    score: Score
    layers: Layers
    findings: tuple[Finding, ...]
    gaps: Gaps
    dynamics: tuple[DynamicMark, ...]
    accents: tuple[Accent, ...]
    pedal: Pedal
    sections: Sections
    repeats: tuple[Repeat, ...]
    figuration: Figuration
    register: tuple[Compass, ...]

    def to_json(self) -> dict[str, Any]:
        """Return every table as plain data, with the keys of ``docs/schema/survey.schema.json``."""
        return survey_json(self)


def survey(score: Score, layers: Layers | None = None, palette: Palette | None = None) -> Survey:
    """Say what must be rethought for orchestra.

    Parameters
    ----------
    score : Score
    layers : Layers, optional
        As the spec overrules them; found afresh where left out.
    palette : Palette, optional
        Players the options may name; the default ensemble where left out.

    Returns
    -------
    Survey
    """
    layers = layers or find_layers(score)
    table = gaps(score)
    facts = Facts(
        score=score,
        layers=layers,
        palette=palette or Palette(),
        gaps=table,
        gap_regions=gap_regions(score, table),
        accents=accents(score),
        dynamics=dynamics(score),
        sections=form.sections(score),
        repeats=repeats.find(score),
        figuration=figuration.describe(score),
        pedal=pedal.find(score),
        compasses=compasses(score, layers),
        dialogues=dialogues(score, layers),
    )
    drafts = (draft for make in _MAKERS for draft in make(facts))
    found = ranked(score, useful(facts, drafts))
    return Survey(
        score,
        layers,
        found,
        table,
        facts.dynamics,
        facts.accents,
        facts.pedal,
        facts.sections,
        facts.repeats,
        facts.figuration,
        facts.compasses,
    )


def open_findings(found: Survey, answers: Iterable[Any]) -> tuple[Finding, ...]:
    """Return the findings that no answer names.

    Parameters
    ----------
    found : Survey
    answers : iterable
        Each has a ``finding`` (attribute or key): the name of a finding, such as ``pedal 3-5``.

    Returns
    -------
    tuple of Finding
    """
    named = {str(answer["finding"] if isinstance(answer, dict) else answer.finding).strip() for answer in answers}
    return tuple(finding for finding in found.findings if finding.name not in named)


class _CallableModule(ModuleType):
    """Lets ``reading.survey`` be called: the package offers the function under the name of this module."""

    def __call__(self, score: Score, layers: Layers | None = None, palette: Palette | None = None) -> Survey:
        """See :func:`survey`."""
        return survey(score, layers, palette)


sys.modules[__name__].__class__ = _CallableModule
