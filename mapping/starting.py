"""A first spec for a score: passages from the form, a plain variant, and alternatives worth hearing at once."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from mapping.starting_answers import Suggestion, first_answers
from mapping.starting_passages import passages
from mapping.starting_trial import Trial

if TYPE_CHECKING:
    from reading.palette import Palette
    from reading.score import Score
    from reading.survey import Finding, Survey

__all__ = ["first_spec"]

FIRST_ANSWERS = "first answers"
_MOST_OPEN = 10
"""Open questions shown; the survey has them all."""
_BARE_BARS = re.compile(r"(?:0|[1-9][0-9]{0,5})(?:-[1-9][0-9]{0,5})?")
_YAML_WORDS = {"true", "false", "null", "yes", "no", "on", "off"}


def first_spec(score: Score, survey: Survey | None = None, orchestra: str = "classical full", *, file: str = "") -> str:
    """Return a spec in YAML that runs as it is and shows a newcomer what to change.

    Parameters
    ----------
    score : Score
    survey : Survey, optional
        Its sections cut the piece into passages and name them, its findings give a variant of first suggestions and
        the questions that are open. Every eight bars, and neither, where left out.
    orchestra : str
        Name of an ensemble.
    file : str, optional
        Path of the score as the spec should say it; its file name where left out.

    Raises
    ------
    InputError
        For an unknown ensemble.
    """
    from mapping.orchestra import palette_of, players_of

    players = players_of(orchestra)
    palette = palette_of(players)
    names = [player.name for player in players]
    trial = Trial(score, survey.layers, players, _plain_steps(palette)) if survey else None
    suggested = first_answers(survey, players, trial) if survey and trial else []
    lines = [
        f"# A first spec for {_one_line(score.title or score.source)}: change it and listen again.",
        f"piece: {{{_piece(score, file)}}}",
        f"orchestra: {{use: {_quoted(orchestra)}}}   # add: [harp] and without: [trumpet 2] change it",
        *_singers(score),
        "",
        "passages:   # what is heard side by side; bars as printed",
        *(f"  {_quoted(name)}: {{bars: {_quoted(bars)}}}" for name, bars in passages(score, survey)),
        "",
        "variants:",
        *_plain(palette),
        *_held(palette, trial),
        *_octaves(palette, names, trial),
        *_suggestions(suggested),
        *_open(survey.findings if survey else (), suggested),
    ]
    return "\n".join(lines) + "\n"


def _piece(score: Score, file: str) -> str:
    """Title, composer and score as one line."""
    said = {"title": score.title, "composer": score.composer, "score": file or score.source}
    return ", ".join(f"{key}: {_quoted(_one_line(value))}" for key, value in said.items() if value)


def _singers(score: Score) -> list[str]:
    """Who sings, said only where somebody does."""
    from mapping.singing import names_of_singers

    names = names_of_singers(score)
    if not names:
        return []
    why = "the sung line stays as written, with its text; name the voice (soprano, tenor), or none"
    return [f"singers: {_list(names)}   # {why}"]


def _plain_steps(palette: Palette) -> list[dict[str, Any]]:
    """Steps after which every piano note is played once."""
    bass = [name.rpartition(" ")[0] if name.endswith(("8vb", "8va")) else name for name in palette.bass]
    inner = [*palette.inner, *[name for name in bass if name not in palette.inner]]
    return [
        {"play": "melody", "on": list(palette.melody)},
        {"play": "accompaniment", "on": inner},
        {"play": "bass", "on": bass, "share": "divide"},
    ]


def _plain(palette: Palette) -> list[str]:
    """The variant in which every piano note is played once."""
    return [
        "  plain:",
        "    says: every note where the piano has it",
        "    steps:   # melody, bass, accompaniment are found by reading; 'layers:' overrules them",
        *(f"      - {_step(step)}" for step in _plain_steps(palette)),
    ]


def _held(palette: Palette, trial: Trial | None) -> list[str]:
    """Resonance: what the pedal keeps, held by others."""
    steps = [{"hold": "harmony", "on": list(palette.held), "register": "middle"}]
    lines = [
        "  held resonance:",
        f"    says: {_names(palette.held)} hold the harmony the pedal would keep",
        "    from: plain   # the steps of plain first, then these",
        "    steps:",
        *(_lines(steps, trial) or _lines(steps, None)),
    ]
    return [*lines[:-1], f"{lines[-1]}   # try level: p, or bars: 3-5"]


def _octaves(palette: Palette, names: list[str], trial: Trial | None) -> list[str]:
    """Octave doublings of melody and bass; no variant where these players can play none of them."""
    top = next((name for name in ("flute 1", "piccolo", *palette.winds_high) if name in names), names[0])
    unison = next((name for name in palette.winds_high if name != top), "")
    low = next((name for name in palette.bass if name.endswith("8vb")), "")
    low = low.rpartition(" ")[0] or next((name for name in palette.winds_low if name), names[-1])
    steps = [{"double": "melody", "on": top, "at": "8va", "compass": "C5-C7"}]
    steps += [{"double": "melody", "on": unison}] if unison else []
    lines = _lines([*steps, {"double": "bass", "on": low, "at": "8vb"}], trial)
    head = [
        "  octaves:",
        "    says: melody doubled an octave above, bass an octave below",
        "    from: plain",
        "    steps:",
    ]
    return [*head, *lines] if lines else []


def _lines(steps: list[dict[str, Any]], trial: Trial | None) -> list[str]:
    """Steps as lines, each kept to the bars where it can be played."""
    limited = [trial.playable(step) if trial else step for step in steps]
    lines = []
    for step, wanted in zip(limited, steps, strict=True):
        if step:
            why = "" if step == wanted else "   # elsewhere nobody could play it"
            lines.append(f"      - {_step(step)}{why}")
    return lines


def _suggestions(suggested: list[Suggestion]) -> list[str]:
    """The variant of the survey's first suggestions, each with its question; none where there is no suggestion."""
    if not suggested:
        return []
    lines = [
        f"  {FIRST_ANSWERS}:",
        "    says: the survey's first suggestion for questions of the first rank",
        "    from: plain",
        "    steps:   # each question has other answers: see klangprobe survey --html",
    ]
    for one in suggested:
        lines.append(f"      # {_one_line(one.finding.name)}: {_one_line(one.finding.question)}")
        lines += [f"      - {_step(step)}" for step in one.steps]
    return lines


def _open(findings: tuple[Finding, ...], suggested: list[Suggestion]) -> list[str]:
    """Questions of the first rank as answers still to be given, in comments."""
    heard = {one.finding.name for one in suggested}
    first = [one for one in findings if one.rank == 1]
    shown = [one for one in first if one.name in heard]
    shown += [one for one in first if one.name not in heard][: max(0, _MOST_OPEN - len(shown))]
    if not shown:
        return []
    more = f" ({len(first) - len(shown)} more of the first rank)" if len(first) > len(shown) else ""
    lines = [
        "",
        "# Open questions. Decided one? Take the '# ' away before 'answers:' and before its line, name the variant you",
        f"# chose, and say why. 'klangprobe survey --spec' and the name of this file list what is still open{more}.",
        "# answers:",
    ]
    for one in sorted(shown, key=lambda one: (one.first_bar_index, one.last_bar_index)):
        choice = FIRST_ANSWERS if one.name in heard else ""
        answer = _step({"finding": _one_line(one.name), "choice": choice, "because": ""})
        lines.append(f"#   - {answer}   # {_one_line(one.question)}")
    return lines


def _step(step: dict[str, Any]) -> str:
    """A step, or any keys with values, on one line of YAML."""
    return "{" + ", ".join(f"{key}: {_value(value)}" for key, value in step.items()) + "}"


def _value(value: Any) -> str:
    """Text, a number, or a list of them as YAML; a list of one is the one."""
    if isinstance(value, list | tuple):
        nested = any(isinstance(one, list | tuple) for one in value)
        if len(value) == 1 and not nested and isinstance(value[0], str):
            return _quoted(value[0])
        return f"[{', '.join(_inside(one) for one in value)}]"
    return _quoted(value) if isinstance(value, str) else str(value)


def _inside(value: Any) -> str:
    """What stands in a list: text, or a list that stays one even where it holds one name."""
    return f"[{', '.join(map(_quoted, value))}]" if isinstance(value, list | tuple) else _quoted(str(value))


def _list(names: Any) -> str:
    """Names as a YAML list, or one name."""
    quoted = [_quoted(name) for name in names]
    return quoted[0] if len(quoted) == 1 else f"[{', '.join(quoted)}]"


def _names(names: Any) -> str:
    """Names in a sentence."""
    return " and ".join(names)


def _one_line(text: str) -> str:
    """Text without line breaks and control signs."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())


def _quoted(text: str) -> str:
    """Text as YAML: bare where that is safe."""
    import json

    if _BARE_BARS.fullmatch(text):
        return text
    plain = text.replace(" ", "a").replace("-", "a").replace(".", "a")
    safe = bool(text) and plain.isalnum() and plain.isascii() and text[0].isalpha() and text.strip() == text
    return text if safe and text.lower() not in _YAML_WORDS else json.dumps(text, ensure_ascii=False)
