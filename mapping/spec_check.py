"""Whether a spec's steps, variants, names and bars can be had, as problems with a place and a hint."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from base.errors import InputError, KlangprobeError, Problem, SpecError, nearest
from base.plugins import find, load
from mapping.spec_faults import path_words, problems_of
from mapping.spec_types import Step
from mapping.steps import resolve, split_octave

if TYPE_CHECKING:
    from mapping.arrangement import Player
    from mapping.spec_types import Spec
    from mapping.spec_yaml import KeyPath, Located
    from reading.score import Score

__all__ = ["GROUP", "check_against", "names_problems", "players_of_spec", "start_problems", "step_of"]

GROUP = "klangprobe.techniques"
"""Entry-point group of the techniques."""


def step_of(data: dict[str, Any], path: KeyPath, located: Located) -> tuple[Step | None, list[Problem]]:
    """Return a step checked by the technique of its verb, or the problems it has."""
    known = find(GROUP)
    line, column = located.place(path)
    if located.values.get(path):
        line, column = located.values[path]
    verbs = [key for key in data if key in known]
    if len(verbs) != 1:
        return None, [_verb_problem(data, verbs, path, located)]
    verb = verbs[0]
    try:
        technique = load(GROUP, verb)
        options = technique.Options.model_validate(data)
    except ValidationError as error:
        return None, problems_of(error, technique.Options, path, located)
    except KlangprobeError as error:
        return None, [Problem(error.message, line, column, path_words(path), error.hint)]
    return Step(verb, options, line or 0, column or 0, path_words(path)), []


def _verb_problem(data: dict[str, Any], verbs: list[str], path: KeyPath, located: Located) -> Problem:
    """The problem of a step with no verb or with several."""
    known = list(find(GROUP))
    if verbs:
        message = f"a step has one verb; this one has {' and '.join(verbs)}."
        line, column = located.place((*path, verbs[1]))
        return Problem(message, line, column, path_words(path), "Write two steps.")
    first = next(iter(data), "")
    line, column = located.place((*path, first))
    return Problem(f"'{first}' is not a technique.", line, column, path_words(path), nearest(first, known))


def start_problems(spec: Spec) -> list[Problem]:
    """Return the problems of inheritance: unknown variants and circles."""
    problems = []
    for name, variant in spec.variants.items():
        place = ("variants", name, "from")
        line, column = spec.located.place(place) if spec.located else (None, None)
        if variant.start is None:
            continue
        if variant.start not in spec.variants:
            hint = nearest(variant.start, [other for other in spec.variants if other != name])
            problems.append(Problem(f"there is no variant '{variant.start}'.", line, column, path_words(place), hint))
            continue
        chain = [name]
        while (start := spec.variants[chain[-1]].start) is not None and start in spec.variants and start not in chain:
            chain.append(start)
        if start == name:
            circle = " from ".join([*chain, name])
            message = f"the variants start from each other in a circle ({circle})."
            problems.append(Problem(message, line, column, path_words(place), "Let one of them start afresh."))
    return problems


def names_problems(spec: Spec, score: Score | None = None) -> list[Problem]:
    """Return the problems of names: the orchestra cannot be had, or a step names a player who is not there.

    Without the score, a name that a singer may have is let pass.
    """
    from mapping.orchestra_file import problems_at
    from mapping.singing import may_be_singer, with_singers

    located = spec.located
    try:
        players = players_of_spec(spec)
    except InputError as error:
        return problems_at(error, located)
    try:
        players = with_singers(players, score, spec.singers) if score else players
    except InputError as error:
        line, column = located.place(("singers",)) if located else (None, None)
        return [Problem(error.message, line, column, "singers", error.hint)]
    problems = []
    for name, variant in spec.variants.items():
        for step in variant.steps:
            path = next(
                (p for p in _step_paths(located, name) if located and located.values[p] == (step.line, step.column)),
                None,
            )
            for wanted in step.options.players_named():
                if score is None and not resolve(wanted, players) and may_be_singer(wanted):
                    continue
                message, hint = _player_fault(step, wanted, players)
                if message:
                    line, column = _name_place(located, path, wanted)
                    problems.append(Problem(message, line or step.line, column, step.place, hint))
    return problems


def _player_fault(step: Step, wanted: str, players: tuple[Player, ...]) -> tuple[str, str]:
    """What is wrong with a player a step names, and a hint; both empty where nothing is."""
    from mapping.unpitched import problem

    meant = resolve(wanted, players)
    if not meant:
        hint = nearest(split_octave(wanted)[0], [player.name for player in players])
        return f"the orchestra has no '{wanted}'.", hint
    found = [problem(step.verb, step.options.how, octave, players[row]) for row, octave in meant]
    return next((one for one in found if one[0]), ("", ""))


def _step_paths(located: Located | None, variant: str) -> list[KeyPath]:
    """Paths of a variant's steps in the file."""
    if located is None:
        return []
    return [path for path in located.values if len(path) == 4 and path[:3] == ("variants", variant, "steps")]


def _name_place(located: Located | None, path: KeyPath | None, wanted: str) -> tuple[int | None, int | None]:
    """Line and column where a step says a name."""
    if located is None or path is None:
        return None, None
    current: Any = located.data
    for part in path:
        current = current[part]
    stack: list[tuple[KeyPath, Any]] = [(path, current)]
    while stack:
        place, value = stack.pop()
        if isinstance(value, dict):
            stack += [((*place, key), item) for key, item in value.items()]
        elif isinstance(value, list):
            stack += [((*place, row), item) for row, item in enumerate(value)]
        elif isinstance(value, str) and value.strip() == wanted:
            return located.values[place]
    return located.place(path)


def players_of_spec(spec: Spec) -> tuple[Player, ...]:
    """Return the players of the spec's orchestra in score order."""
    from mapping.orchestra import DEFAULT, players_of
    from mapping.orchestra_file import is_file_name, read_band

    wanted = spec.orchestra
    band = read_band(spec.path.parent / wanted.use) if wanted.use and is_file_name(wanted.use) else None
    return players_of(wanted.use or DEFAULT, wanted.add, wanted.without, wanted.desks, wanted.players or (), band)


def check_against(spec: Spec, score: Score) -> None:
    """Check what only the score can tell: every bar, singer and sung line the spec names must be there.

    Raises
    ------
    SpecError
        With every one that is not in the score.
    """
    from reading import bars_named

    problems = names_problems(spec, score) + _voice_problems(spec, score)
    located = spec.located
    for path, text in _bars_said(spec):
        try:
            bars_named(score, text)
        except KlangprobeError as error:
            line, column = located.place(path) if located else (None, None)
            problems.append(Problem(error.message, line, column, path_words(path), error.hint))
    if problems:
        raise SpecError(problems, path=spec.path)


def _voice_problems(spec: Spec, score: Score) -> list[Problem]:
    """Steps that speak of the sung line where nothing is sung."""
    from reading.sung import sung_parts

    steps = [step for variant in spec.variants.values() for step in variant.steps]
    voiced = [step for step in steps if getattr(step.options, step.verb, None) == "voice"]
    if sung_parts(score):
        return []
    hint = "A sung part has one staff, with text under it, above something that accompanies it."
    return [
        Problem("the score has no sung part.", step.line or None, step.column or None, step.place, hint)
        for step in voiced
    ]


def _bars_said(spec: Spec) -> list[tuple[KeyPath, str]]:
    """Every ``bars`` of the spec with its path."""
    said: list[tuple[KeyPath, str]] = [
        (("passages", name, "bars"), passage.bars) for name, passage in spec.passages.items()
    ]
    said += [(("layers", row, "bars"), rule.bars) for row, rule in enumerate(spec.layers)]
    for name, variant in spec.variants.items():
        for row, step in enumerate(variant.steps):
            if step.options.bars is not None:
                said.append((("variants", name, "steps", row, "bars"), step.options.bars))
    return said
