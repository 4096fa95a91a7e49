"""The parts of checking a spec that turn what is wrong into problems with a place and a hint."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pydantic import BaseModel, ValidationError

from base.errors import InputError, KlangprobeError, Problem, SpecError, nearest
from base.plugins import find, load
from mapping.steps import split_octave

if TYPE_CHECKING:
    from mapping.arrangement import Player
    from mapping.spec import Spec, Step
    from mapping.spec_yaml import Located
    from reading.score import Score

__all__ = ["GROUP", "check_against", "names_problems", "problems_of", "start_problems", "step_of", "without_places"]

GROUP = "klangprobe.techniques"
"""Entry-point group of the techniques."""

Path_ = tuple[str | int, ...]

_MESSAGES = {
    "missing": "the key '{key}' is missing.",
    "extra_forbidden": "the key '{key}' is not known here.",
    "string_type": "text is expected here.",
    "int_type": "a whole number is expected here.",
    "int_parsing": "a whole number is expected here.",
    "bool_type": "true or false is expected here.",
    "list_type": "a list is expected here.",
    "tuple_type": "a list is expected here.",
    "dict_type": "keys with values are expected here.",
    "model_type": "keys with values are expected here.",
    "model_attributes_type": "keys with values are expected here.",
    "greater_than_equal": "a number from {ge} on is expected here.",
    "less_than_equal": "a number up to {le} is expected here.",
    "too_short": "{min_length} or more are expected here.",
    "too_long": "{max_length} or fewer are expected here.",
    "string_too_long": "at most {max_length} letters are expected here.",
    "literal_error": "{expected} is expected here.",
}


def problems_of(error: ValidationError, model: type[BaseModel], base: Path_, located: Located) -> list[Problem]:
    """Return one problem per fault found by the models, each with its place in the file.

    Parameters
    ----------
    error : ValidationError
        From validating the data at *base* with *model*.
    base : tuple of str or int
        Path of the validated data in the file.
    """
    problems = []
    for item in error.errors():
        kind, loc = item["type"], tuple(part for part in item["loc"] if part != "[key]")
        key = str(loc[-1]) if loc else ""
        context = item.get("ctx", {})
        message = _MESSAGES.get(kind, "{text}.").format(**{**context, "key": key, "text": item["msg"]})
        hint = str(context.get("hint", ""))
        if kind == "spec":
            message = item["msg"]
        if kind == "extra_forbidden":
            hint = nearest(key, _keys(model, loc[:-1]))
        line, column = located.place(base + loc, value=kind not in {"extra_forbidden", "missing"})
        problems.append(Problem(message, line, column, _words(base + loc), hint))
    return problems


def _words(path: Path_) -> str:
    """A path as text: ``variants.plain.steps[2].on``."""
    text = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in path)
    return text.lstrip(".")


def _keys(model: type[BaseModel], path: Path_) -> list[str]:
    """Keys legal at *path* under *model*."""
    current: Any = model
    for part in path:
        if not (isinstance(current, type) and issubclass(current, BaseModel)):
            break
        info = current.model_fields.get(str(part)) or next(
            (info for info in current.model_fields.values() if info.alias == part), None
        )
        current = info.annotation if info else current
        current = next(
            (arg for arg in _inside(current) if isinstance(arg, type) and issubclass(arg, BaseModel)), current
        )
    if not (isinstance(current, type) and issubclass(current, BaseModel)):
        return []
    return [info.alias or name for name, info in current.model_fields.items()]


def _inside(annotation: Any) -> list[Any]:
    """The annotation and the types it is made of."""
    return [annotation, *getattr(annotation, "__args__", ())]


def without_places(data: Any, error: ValidationError) -> Any:
    """Return a copy of plain data without what is at fault, so that the rest can be checked.

    Where a key is missing, what misses it goes. Steps stay: they are checked one by one, and known by their place.
    """
    copy = _copied(data)
    places = {
        tuple(part for part in item["loc"] if part != "[key]")[: -1 if item["type"] == "missing" else None]
        for item in error.errors()
    }
    for place in sorted(places, key=lambda item: [str(part).zfill(6) for part in item], reverse=True):
        current = copy
        for part in place[:-1]:
            try:
                current = current[part]
            except (KeyError, IndexError, TypeError):
                break
        else:
            if place and isinstance(current, dict):
                current.pop(place[-1], None)
            elif place and isinstance(current, list) and "steps" not in place:
                current.pop(int(place[-1]))
    return copy


def _copied(data: Any) -> Any:
    """Deep copy of dicts and lists."""
    if isinstance(data, dict):
        return {key: _copied(value) for key, value in data.items()}
    return [_copied(value) for value in data] if isinstance(data, list) else data


def step_of(data: dict[str, Any], path: Path_, located: Located) -> tuple[Step | None, list[Problem]]:
    """Return a step checked by the technique of its verb, or the problems it has."""
    from mapping.spec import Step

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
        return None, [Problem(error.message, line, column, _words(path), error.hint)]
    return Step(verb, options, line or 0, column or 0, _words(path)), []


def _verb_problem(data: dict[str, Any], verbs: list[str], path: Path_, located: Located) -> Problem:
    """The problem of a step with no verb or with several."""
    known = list(find(GROUP))
    if verbs:
        message = f"a step has one verb; this one has {' and '.join(verbs)}."
        line, column = located.place((*path, verbs[1]))
        return Problem(message, line, column, _words(path), "Write two steps.")
    first = next(iter(data), "")
    line, column = located.place((*path, first))
    return Problem(f"'{first}' is not a technique.", line, column, _words(path), nearest(first, known))


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
            problems.append(Problem(f"there is no variant '{variant.start}'.", line, column, _words(place), hint))
            continue
        chain = [name]
        while (start := spec.variants[chain[-1]].start) is not None and start in spec.variants and start not in chain:
            chain.append(start)
        if start == name:
            circle = " from ".join([*chain, name])
            message = f"the variants start from each other in a circle ({circle})."
            problems.append(Problem(message, line, column, _words(place), "Let one of them start afresh."))
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


def _step_paths(located: Located | None, variant: str) -> list[Path_]:
    """Paths of a variant's steps in the file."""
    if located is None:
        return []
    return [path for path in located.values if len(path) == 4 and path[:3] == ("variants", variant, "steps")]


def _name_place(located: Located | None, path: Path_ | None, wanted: str) -> tuple[int | None, int | None]:
    """Line and column where a step says a name."""
    if located is None or path is None:
        return None, None
    current: Any = located.data
    for part in path:
        current = current[part]
    stack: list[tuple[Path_, Any]] = [(path, current)]
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


def resolve(wanted: str, players: tuple[Player, ...]) -> list[tuple[int, int]]:
    """Return ``(row, octave in semitones)`` of the players a name stands for; empty where there is none.

    ``horn 1`` is one player, ``horns`` all horns, ``violins`` both sections, ``singers`` all who sing.
    """
    name, octave = split_octave(wanted)
    rows = [row for row, player in enumerate(players) if player.name == name]
    if not rows and name == "singers":
        rows = [row for row, player in enumerate(players) if player.family == "voice"]
    if not rows:
        stems = {name, name.removesuffix("s")}
        rows = [row for row, player in enumerate(players) if player.name.rstrip("0123456789").rstrip() in stems]
    return [(row, octave) for row in rows]


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
            problems.append(Problem(error.message, line, column, _words(path), error.hint))
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


def _bars_said(spec: Spec) -> list[tuple[Path_, str]]:
    """Every ``bars`` of the spec with its path."""
    said: list[tuple[Path_, str]] = [
        (("passages", name, "bars"), passage.bars) for name, passage in spec.passages.items()
    ]
    said += [(("layers", row, "bars"), rule.bars) for row, rule in enumerate(spec.layers)]
    for name, variant in spec.variants.items():
        for row, step in enumerate(variant.steps):
            if step.options.bars is not None:
                said.append((("variants", name, "steps", row, "bars"), step.options.bars))
    return said
