"""``klangprobe check``: errors, player checks, faithfulness. No sound."""

from __future__ import annotations

import shutil
import sys
import textwrap
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from klangprobe.answers import warn_of_strays
from klangprobe.console import say, say_json, table
from klangprobe.remarks import grouped, remedy_of
from klangprobe.workbench import Workbench, open_spec

if TYPE_CHECKING:
    from pathlib import Path

    from mapping.arrangement import Arrangement
    from reading.score import Score

__all__ = ["checked", "run"]

_WIDTH, _WIDEST = 80, 100
"""Columns of text where the terminal does not say, and at most."""


def run(path: Path, *, variants: list[str] | None, as_json: bool, every: bool = False) -> int:
    """Check every variant; return 1 where a part holds something no player can do, else 0.

    Errors are told one by one; advice by kind and player, or one by one too where *every* remark is wanted. An answer
    that names no finding is a warning: an edit of the score may move findings.
    """
    bench = open_spec(path)
    warn_of_strays(bench)
    rows = [checked(bench, arrangement) for arrangement in bench.arrange(bench.names(variants or ()))]
    if as_json:
        say_json({"variants": rows})
    else:
        for row in rows:
            _tell(bench, row, every)
    return int(any(check["severity"] == "error" for row in rows for check in row["checks"]))


def checked(bench: Workbench, arrangement: Arrangement) -> dict[str, Any]:
    """Return the documented export for one variant."""
    import mapping

    kept = mapping.faithfulness(arrangement, bench.layers)
    return {
        "name": arrangement.variant,
        "checks": [check.to_json() for check in mapping.check(arrangement, bench.layers)],
        "faithfulness": kept.to_json(),
        "back_translation": mapping.back_translation(mapping.reduced(arrangement), bench.layers).to_json(),
    }


def _tell(bench: Workbench, row: dict[str, Any], every: bool) -> None:
    """Print one variant's checks and what was kept."""
    say(row["name"])
    kept = ", ".join(f"{name}\xa0{entry['value']:.0%}" for name, entry in row["faithfulness"].items())
    _wrapped(f"kept of the piano piece: {kept}", "  ")
    _wrapped(f"reduced to two staves: {_reduced(row['back_translation'])}", "  ")
    advice = [] if every else [check for check in row["checks"] if check["severity"] != "error"]
    full = [check for check in row["checks"] if every or check["severity"] == "error"]
    if full:
        table(("", "player", "bar", "beat", "what", "remedy"), [_row(check, bench.score) for check in full])
    if advice:
        _advise(advice, bench.score)
    if not row["checks"]:
        say("  every part can be played as it stands")
    say()


def _advise(checks: list[dict[str, Any]], score: Score) -> None:
    """Print advice: kind, player and bars, then the first remark, then the remedy."""
    groups = grouped(checks, score)
    every = f"; --all shows all {len(checks)}" if len(groups) < len(checks) else ""
    say(f"  advice, by kind and player{every}:")
    for group in groups:
        times = f" ({group.times} times)" if group.times > 1 else ""
        _wrapped(f"{group.kind}, {group.player}: {group.bars}{times}", "  - ", "      ")
        _wrapped(group.message, "      ")
        if group.remedy:
            _wrapped(f"→ {group.remedy}", "      ", "        ")


def _wrapped(text: str, first: str, later: str | None = None) -> None:
    """Print text wrapped to the terminal, never within a word, so that a wrapped step can still be pasted."""
    columns = shutil.get_terminal_size((_WIDTH, 24)).columns if sys.stdout.isatty() else _WIDTH
    width = max(40, min(_WIDEST, columns))
    lines = textwrap.wrap(
        text, width, initial_indent=first, subsequent_indent=first + "  " if later is None else later,
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip
    say("\n".join(lines).replace("\xa0", " "))


def _reduced(back: dict[str, Any]) -> str:
    """Return what of the piano piece is found again in the reduction of a variant."""
    pitch, loose = back["pitch"], back["pitch_class"]
    return (
        f"{pitch['recall']:.0%} of the piano's notes found again, {pitch['precision']:.0%} of these notes the piano's "
        f"(in any octave {loose['recall']:.0%}, {loose['precision']:.0%}); "
        f"melody\xa0{back['melody']:.0%}, bass\xa0{back['bass']:.0%}"
    )


def _row(check: dict[str, Any], score: Score) -> tuple[str, ...]:
    """One check as a row of the table, with the bar number as printed."""
    bar = score.bar_numbers[check["bar_index"] - 1]
    who, beat = check["player"] or "all", _beat(check["beat"])
    return check["severity"], who, bar, beat, check["message"], remedy_of(check, score)


def _beat(said: Any) -> str:
    """Return a beat as the spec takes it: ``2.5`` rather than ``5/2``, but ``7/6`` where no decimal says it."""
    beat = Fraction(str(said))
    return str(beat) if 1000 % beat.denominator else f"{float(beat):g}"
