"""What the survey may ask of each player: the limits of the instruments' table, in the survey's own words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reading.reach import Reach

if TYPE_CHECKING:
    from collections.abc import Iterable

    from mapping.arrangement import Player

__all__ = ["reaches_of"]


def reaches_of(players: Iterable[Player], names: Iterable[str]) -> tuple[Reach, ...]:
    """Return the limits of the players with these names, in order of name.

    Parameters
    ----------
    players : iterable of Player
    names : iterable of str
        As options write them: an octave sign may follow.
    """
    wanted = {name.removesuffix(" 8vb") for name in names}
    return tuple(_reach(one) for one in sorted(players, key=lambda one: one.name) if one.name in wanted)


def _reach(player: Player) -> Reach:
    """The limits of one player."""
    item = player.instrument
    divides = bool(item.section) and player.count > 1
    return Reach(
        player.name,
        item.section or item.name,
        item.family,
        item.low,
        item.high,
        item.safe_low,
        item.safe_high,
        at_once=player.count if divides else 1 if item.family == "strings" else item.notes_at_once,
        easy_hz=item.repeat_safe_hz,
        fastest_hz=item.repeat_max_hz,
        pluck_hz=item.pizzicato_hz,
        breath_soft_s=None if player.count > 1 else item.breath_soft_s,
        breath_loud_s=None if player.count > 1 else item.breath_loud_s,
        leap=item.sudden_leap,
        poor_arpeggio=item.poor_arpeggio,
        weak=tuple(
            (one.low, one.high, one.softest, one.loudest) for one in item.registers if one.softest or one.loudest
        ),
    )
