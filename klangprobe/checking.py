"""``klangprobe check``: errors, player checks, faithfulness. No sound."""

from __future__ import annotations

import json
import re
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from klangprobe.console import say, say_json, table
from klangprobe.workbench import Workbench, open_spec

if TYPE_CHECKING:
    from pathlib import Path

    from mapping.arrangement import Arrangement
    from reading.score import Score

__all__ = ["checked", "run"]


def run(path: Path, *, variants: list[str] | None, as_json: bool) -> int:
    """Check every variant; return 1 where a part holds something no player can do, else 0."""
    bench = open_spec(path)
    rows = [checked(bench, arrangement) for arrangement in bench.arrange(bench.names(variants or ()))]
    if as_json:
        say_json({"variants": rows})
    else:
        for row in rows:
            _tell(bench, row)
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


def _tell(bench: Workbench, row: dict[str, Any]) -> None:
    """Print one variant's checks and what was kept."""
    say(row["name"])
    kept = ", ".join(f"{name} {entry['value']:.0%}" for name, entry in row["faithfulness"].items())
    say(f"  kept of the piano piece: {kept}")
    say(f"  reduced to two staves: {_reduced(row['back_translation'])}")
    rows = [_row(check, bench.score) for check in row["checks"]]
    if rows:
        table(("", "player", "bar", "beat", "what", "remedy"), rows)
    else:
        say("  every part can be played as it stands")
    say()


def _reduced(back: dict[str, Any]) -> str:
    """Return what of the piano piece is found again in the reduction of a variant."""
    pitch, loose = back["pitch"], back["pitch_class"]
    return (
        f"{pitch['recall']:.0%} of the piano's notes found again, {pitch['precision']:.0%} of these notes the piano's "
        f"(in any octave {loose['recall']:.0%}, {loose['precision']:.0%}); "
        f"melody {back['melody']:.0%}, bass {back['bass']:.0%}"
    )


def _row(check: dict[str, Any], score: Score) -> tuple[str, ...]:
    """One check as a row of the table, with the bar number as printed."""
    bar = score.bar_numbers[check["bar_index"] - 1]
    who, beat = check["player"] or "all", _beat(check["beat"])
    return check["severity"], who, bar, beat, check["message"], _remedy(check, score)


def _beat(said: Any) -> str:
    """Return a beat as the spec takes it: ``2.5`` rather than ``5/2``, but ``7/6`` where no decimal says it."""
    beat = Fraction(str(said))
    return str(beat) if 1000 % beat.denominator else f"{float(beat):g}"


def _remedy(check: dict[str, Any], score: Score) -> str:
    """Return a remedy as text; a step as it can be pasted into the spec, with printed bars where they are plain."""
    from reading import bars_said

    remedy = check.get("remedy") or ""
    if not isinstance(remedy, dict):
        return str(remedy)
    if "bars" in remedy and (counted := re.fullmatch(r"#(\d+)(?:-#(\d+))?", str(remedy["bars"]))):
        said = bars_said(score, int(counted[1]), int(counted[2] or counted[1]))
        remedy = {**remedy, "bars": said}
    return "{" + ", ".join(f"{key}: {_in_yaml(value)}" for key, value in remedy.items()) + "}"


def _in_yaml(value: Any) -> str:
    """Return a value as YAML; text is bare where that is safe (a bare ``#81`` would be a comment)."""
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(map(_in_yaml, value))}]"
    return str(value) if re.fullmatch(r"\w[\w .-]*", str(value)) else json.dumps(value, ensure_ascii=False)
