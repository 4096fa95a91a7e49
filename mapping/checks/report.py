"""One remark of a check, and how single faults are gathered into few remarks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from mapping.places import place_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from fractions import Fraction

    from reading.score import Score

__all__ = ["Check", "Fault", "gathered"]

Remedy = dict[str, Any] | str


@dataclass(frozen=True)
class Check:
    """One thing to mend or to know.

    Attributes
    ----------
    player : str
        Name of the player; empty where it concerns the whole orchestra.
    bar_index : int
        From 1.
    beat : Fraction
        From 1, in units of the metre's lower figure.
    severity : str
        ``error``: cannot be played as written. ``advice``: can be, but.
    kind : str
        ``range``, ``comfort``, ``register``, ``breath``, ``speed`` …; ``docs/checks.md`` lists all.
    message : str
    remedy : dict or str
        A step as the spec would hold it, or words where no single step mends it.
    """

    player: str
    bar_index: int
    beat: Fraction
    severity: str
    kind: str
    message: str
    remedy: Remedy = ""

    def to_json(self) -> dict[str, Any]:
        """Return the remark as JSON-ready data."""
        return {
            "player": self.player,
            "bar_index": self.bar_index,
            "beat": str(self.beat),
            "severity": self.severity,
            "kind": self.kind,
            "message": self.message,
            "remedy": self.remedy,
        }


@dataclass(frozen=True)
class Fault:
    """A single fault before it is gathered: tick, words, and the note's row where it has one."""

    tick: int
    message: str
    row: int = -1


def gathered(
    score: Score,
    faults: Iterable[Fault],
    player: str,
    severity: str,
    kind: str,
    remedy: Callable[[str], Remedy] | Remedy = "",
    apart: int = 1,
) -> list[Check]:
    """Return one Check per stretch of neighbouring bars with faults: the first fault, and how many more.

    Parameters
    ----------
    score : Score
    faults : iterable of Fault
    player, severity, kind : str
        As in :class:`Check`.
    remedy : callable, dict or str
        A callable is given the bars as a spec names them (``#3-#5``).
    apart : int
        Bars from one fault to the next that still belong to one stretch.
    """
    stretches: list[list[tuple[int, Fault]]] = []
    for fault in sorted(faults, key=lambda one: one.tick):
        bar = score.bar_at(fault.tick)
        if stretches and bar - stretches[-1][-1][0] <= apart:
            stretches[-1].append((bar, fault))
        else:
            stretches.append([(bar, fault)])
    found = []
    for stretch in stretches:
        (first, fault), last, more = stretch[0], stretch[-1][0], len(stretch) - 1
        bars = f"#{first}" if last == first else f"#{first}-#{last}"
        message = fault.message
        if more:
            message += (
                f" ({more} more of the kind, to bar {_number(score, last)})"
                if last > first
                else f" ({more} more in the bar)"
            )
        step = remedy(bars) if callable(remedy) else remedy
        found.append(Check(player, *place_of(score, fault.tick), severity, kind, message, step))
    return found


def _number(score: Score, index: int) -> str:
    """Return a bar's printed number, or its index where none is printed."""
    return score.bar_numbers[index - 1] or f"#{index}"
