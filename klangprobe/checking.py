"""``klangprobe check``: errors, player checks, faithfulness. No sound."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from klangprobe.console import say, say_json, table
from klangprobe.workbench import Workbench, open_spec

if TYPE_CHECKING:
    from pathlib import Path

    from mapping.arrangement import Arrangement

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
    }


def _tell(bench: Workbench, row: dict[str, Any]) -> None:
    """Print one variant's checks and what was kept."""
    say(f"{row['name']}")
    kept = ", ".join(f"{name} {entry['value']:.0%}" for name, entry in row["faithfulness"].items())
    say(f"  kept of the piano piece: {kept}")
    numbers = bench.score.bar_numbers
    rows = [_row(check, numbers) for check in row["checks"]]
    if rows:
        table(("", "player", "bar", "beat", "what", "remedy"), rows)
    else:
        say("  every part can be played as it stands")
    say()


def _row(check: dict[str, Any], numbers: tuple[str, ...]) -> tuple[str, ...]:
    """One check as a row of the table, with the bar number as printed."""
    bar, beat = numbers[check["bar_index"] - 1], str(check["beat"])
    return check["severity"], check["player"], bar, beat, check["message"], _remedy(check)


def _remedy(check: dict[str, Any]) -> str:
    """Return a remedy as text, steps as they would stand in the spec."""
    remedy = check.get("remedy") or ""
    if isinstance(remedy, dict):
        return "{" + ", ".join(f"{key}: {value}" for key, value in remedy.items()) + "}"
    return str(remedy)
