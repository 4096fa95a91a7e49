"""What stands beside the notes, as MusicXML: a sign, its side and its staff, by the tick where it is written."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from mapping.fullscore_text import plain

if TYPE_CHECKING:
    from reading.score import Score

__all__ = ["Direction", "Placed", "direction_xml", "free_number", "words"]


_NUMBERS = range(1, 17)


class Direction(NamedTuple):
    """One sign beside the notes.

    Attributes
    ----------
    placement : str
        ``above`` or ``below``.
    xml : str
        What stands in ``<direction-type>``.
    staff : int
        Of the part, from 1.
    sound : str
        Attributes of ``<sound>``, for what reads the file as music: ``tempo="72"``, ``fine="yes"``.
    """

    placement: str
    xml: str
    staff: int = 1
    sound: str = ""


@dataclass
class Placed:
    """Directions by tick: *opening* stand before what begins there, *closing* after what ends there."""

    opening: dict[int, list[Direction]] = field(default_factory=lambda: defaultdict(list))
    closing: dict[int, list[Direction]] = field(default_factory=lambda: defaultdict(list))

    def add(self, other: Placed) -> None:
        """Add the signs of another, after those that are there."""
        for mine, more in ((self.opening, other.opening), (self.closing, other.closing)):
            for tick, signs in more.items():
                mine[tick].extend(signs)

    def by_bar(self, score: Score) -> list[dict[int, list[tuple[int, Direction]]]]:
        """Return for every bar its (tick, direction) by staff, in order; what ends at a bar line stands before it."""
        found: list[dict[int, list[tuple[int, Direction]]]] = [defaultdict(list) for _ in score.bars]
        if not found:
            return found
        placed = [(tick, 0, sign) for tick, signs in self.closing.items() for sign in signs]
        placed += [(tick, 1, sign) for tick, signs in self.opening.items() for sign in signs]
        for tick, late, sign in sorted(placed, key=lambda item: item[:2]):
            bar = score.bar_at(tick if late else tick - 1) - 1
            found[min(bar, len(found) - 1)][sign.staff].append((tick, sign))
        return found


def free_number(open_until: dict[int, int], onset: int, score: Score) -> int:
    """Return a number no open line has, all through the bar where possible, for voices stand one after the other.

    Parameters
    ----------
    open_until : dict of int to int
        Number to the tick its last line ends at.
    onset : int
        Tick where the new line begins.

    Returns
    -------
    int
        1 to 16 (MusicXML 4.0, ``number-level``), or 0 where all are taken.
    """
    bar = int(score.bars["onset"][score.bar_at(onset) - 1])
    quiet = next((one for one in _NUMBERS if open_until.get(one, -1) <= bar), 0)
    return quiet or next((one for one in _NUMBERS if open_until.get(one, -1) <= onset), 0)


def words(text: str, style: str = 'font-style="italic"') -> str:
    """Return words as XML."""
    return f"<words {style}>{plain(text)}</words>" if style else f"<words>{plain(text)}</words>"


def direction_xml(sign: Direction, offset: int, *, staves: int) -> str:
    """Return one ``<direction>``.

    Parameters
    ----------
    offset : int
        Ticks after the place in the file.
    staves : int
        Of the part.
    """
    shift = f"<offset>{offset}</offset>" if offset else ""
    staff = f"<staff>{sign.staff}</staff>" if staves > 1 else ""
    sound = f"<sound {sign.sound}/>" if sign.sound else ""
    return (
        f'<direction placement="{sign.placement}"><direction-type>{sign.xml}</direction-type>'
        f"{shift}{staff}{sound}</direction>"
    )
