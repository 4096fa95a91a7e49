"""A first spec for a score: passages from the form, a plain variant, and alternatives worth hearing at once."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reading.palette import Palette
    from reading.score import Score
    from reading.survey import Survey

__all__ = ["first_spec"]

_BARS = 8
_LONGEST = 24
_MOST_PASSAGES = 12


def first_spec(score: Score, survey: Survey | None = None, orchestra: str = "classical full", *, file: str = "") -> str:
    """Return a spec in YAML that runs as it is and shows a newcomer what to change.

    Parameters
    ----------
    score : Score
    survey : Survey, optional
        Its sections cut the piece into passages; every eight bars where it sees no form.
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
    passages = _passages(score, survey)
    lines = [
        f"# A first spec for {_one_line(score.title or score.source)}: change it and listen again.",
        f"piece: {{{_piece(score, file)}}}",
        f"orchestra: {{use: {_quoted(orchestra)}}}   # add: [harp] and without: [trumpet 2] change it",
        "",
        "passages:   # what is heard side by side; bars as printed",
        *(f"  {_quoted(name)}: {{bars: {_quoted(bars)}}}" for name, bars in passages),
        "",
        "variants:",
        *_plain(palette, names),
        *_held(palette),
        *_octaves(palette, names),
    ]
    return "\n".join(lines) + "\n"


def _piece(score: Score, file: str) -> str:
    """Title, composer and score as one line."""
    said = {"title": score.title, "composer": score.composer, "score": file or score.source}
    return ", ".join(f"{key}: {_quoted(_one_line(value))}" for key, value in said.items() if value)


def _plain(palette: Palette, names: list[str]) -> list[str]:
    """The variant in which every piano note is played once."""
    bass = [name.rpartition(" ")[0] if name.endswith(("8vb", "8va")) else name for name in palette.bass]
    inner = [*palette.inner, *[name for name in bass if name not in palette.inner]]
    return [
        "  plain:",
        "    says: every note where the piano has it",
        "    steps:   # melody, bass, accompaniment are found by reading; 'layers:' overrules them",
        f"      - {{play: melody, on: {_list(palette.melody)}}}",
        f"      - {{play: accompaniment, on: {_list(inner)}}}",
        f"      - {{play: bass, on: {_list(bass)}, share: divide}}",
    ]


def _held(palette: Palette) -> list[str]:
    """Resonance: what the pedal keeps, held by others."""
    return [
        "  held resonance:",
        f"    says: {_names(palette.held)} hold the harmony the pedal would keep",
        "    from: plain   # the steps of plain first, then these",
        "    steps:",
        f"      - {{hold: harmony, on: {_list(palette.held)}, register: middle}}   # try level: p, or bars: 3-5",
    ]


def _octaves(palette: Palette, names: list[str]) -> list[str]:
    """Octave doublings of melody and bass."""
    top = next((name for name in ("flute 1", "piccolo", *palette.winds_high) if name in names), names[0])
    unison = next((name for name in palette.winds_high if name != top), "")
    low = next((name for name in palette.bass if name.endswith("8vb")), "")
    low = low.rpartition(" ")[0] or next((name for name in palette.winds_low if name), names[-1])
    lines = [
        "  octaves:",
        "    says: melody doubled an octave above, bass an octave below",
        "    from: plain",
        "    steps:",
        f"      - {{double: melody, on: {_quoted(top)}, at: 8va, compass: C5-C7}}",
    ]
    lines += [f"      - {{double: melody, on: {_quoted(unison)}}}"] if unison else []
    return [*lines, f"      - {{double: bass, on: {_quoted(low)}, at: 8vb}}"]


def _passages(score: Score, survey: Survey | None) -> list[tuple[str, str]]:
    """(name, bars) of the passages: between the sections the survey sees, else every eight bars."""
    from reading import bars_said

    last = len(score.bars)
    starts = _section_starts(survey, last)
    if len(starts) < 2:
        starts = list(range(1, last + 1, _BARS))
        if len(starts) > 1 and last - starts[-1] + 1 < _BARS // 2:
            starts.pop()
    found = []
    for place, first in enumerate(starts):
        end = starts[place + 1] - 1 if place + 1 < len(starts) else last
        found += [bars_said(score, *part) for part in _parts(first, end)]
    return [(f"passage {number}", bars) for number, bars in enumerate(found, start=1)]


def _parts(first: int, last: int) -> list[tuple[int, int]]:
    """Bars cut evenly where they are too many to be kept in the ear from one variant to the next."""
    count = -(-(last - first + 1) // _LONGEST)
    cuts = [first + place * (last - first + 1) // count for place in range(count + 1)]
    return [(start, after - 1) for start, after in pairwise(cuts)]


def _section_starts(survey: Survey | None, last: int) -> list[int]:
    """First bars of sections, the strongest contrasts if there are many; none shorter than two bars."""
    strong = survey.sections.rows[: _MOST_PASSAGES - 1] if survey else ()
    found = [1]
    for bar in sorted(one.bar_index for one in strong):
        if bar - found[-1] >= 2 and bar < last:
            found.append(bar)
    return found


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

    plain = text.replace(" ", "a").replace("-", "a").replace(".", "a")
    safe = plain.isalnum() and plain.isascii() and text[0].isalpha() and text.strip() == text
    return (
        text
        if safe and text.lower() not in {"true", "false", "null", "yes", "no", "on", "off"}
        else json.dumps(text, ensure_ascii=False)
    )
