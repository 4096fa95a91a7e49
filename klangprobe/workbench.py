"""What most commands begin with: the spec, its score, the layers, and an arrangement for each variant asked for."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from base.errors import InputError, nearest
from base.store import Store, default_folder

if TYPE_CHECKING:
    from collections.abc import Sequence

    from mapping.arrangement import Arrangement
    from mapping.spec import Answer, Spec
    from reading.layers import Layers
    from reading.score import Score
    from reading.survey import Survey

__all__ = ["Workbench", "cache", "open_spec", "read_score"]


def cache() -> Store:
    """Return the user's cache."""
    return Store(default_folder())


def read_score(path: Path) -> Score:
    """Read *path* through the cache."""
    import reading

    return reading.read(path, store=cache())


@dataclass(frozen=True, eq=False)
class Workbench:
    """A checked spec with its score; layers, survey and arrangements are made when first asked for."""

    path: Path
    spec: Spec
    score: Score

    @cached_property
    def layers(self) -> Layers:
        """Roles of the notes, the spec's overrules applied; of a song, those of its accompaniment."""
        import reading
        from mapping.singing import NOBODY
        from reading.sung import find_song_layers

        found = find_song_layers(self.score) if self.spec.singers != NOBODY else reading.find_layers(self.score)
        rules = [rule.model_dump(exclude_none=True) for rule in self.spec.layers]
        return reading.overruled(found, self.score, rules) if rules else found

    @cached_property
    def survey(self) -> Survey:
        """What must be rethought, with options for the spec's own orchestra."""
        import mapping
        import reading
        from mapping.singing import NOBODY
        from mapping.spec_check import players_of_spec
        from reading.sung import survey_song

        palette = mapping.palette_of(players_of_spec(self.spec))
        if self.spec.singers == NOBODY:
            return reading.survey(self.score, self.layers, palette=palette)
        return survey_song(self.score, palette, self.layers)

    @cached_property
    def decided(self) -> tuple[Answer, ...]:
        """The answers that decide a finding, each under the name the survey gives that finding."""
        if not self.spec.answers:
            return ()
        from reading.answering import given_answers

        given = given_answers(self.survey, self.spec.answers)
        return tuple(
            self.spec.answers[one.row].model_copy(update={"finding": one.finding.name})
            for one in given
            if one.finding and one.state == "answered"
        )

    def names(self, wanted: Sequence[str]) -> tuple[str, ...]:
        """Return the variants *wanted* (all where none is named), in the order of the spec.

        Raises
        ------
        InputError
            For a name the spec does not have.
        """
        return _chosen("variant", wanted, tuple(self.spec.variants), self.path)

    def passages(self, wanted: Sequence[str]) -> tuple[str, ...]:
        """Return the passages *wanted* (all where none is named), in the order of the spec."""
        return _chosen("passage", wanted, tuple(self.spec.passages), self.path)

    def arrange(self, names: Sequence[str]) -> list[Arrangement]:
        """Map the variants *names*."""
        import mapping

        return list(mapping.arrange_all(self.score, self.layers, self.spec, names))


def _chosen(what: str, wanted: Sequence[str], known: tuple[str, ...], path: Path) -> tuple[str, ...]:
    """Return *wanted* in the order of *known*, all of *known* where nothing is wanted."""
    for name in wanted:
        if name not in known:
            msg = f"the spec has no {what} '{name}'."
            raise InputError(msg, path=path, hint=nearest(name, known))
    return tuple(name for name in known if not wanted or name in wanted)


def open_spec(path: Path) -> Workbench:
    """Load and check the spec at *path* against its score.

    Raises
    ------
    SpecError, ScoreError
        With every problem found.
    """
    import mapping

    spec = mapping.load_spec(path)
    score = read_score(spec.score_path)
    mapping.check_against(spec, score)
    return Workbench(path, spec, score)
