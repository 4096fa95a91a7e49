"""The full score in MusicXML: transposed parts in score order, written directly so that nothing is guessed.

Voices and divisi come from :mod:`mapping.fullscore_voices`, note values from :mod:`mapping.fullscore_rhythm`, written
pitch from :mod:`mapping.fullscore_pitch`, signs from :mod:`mapping.fullscore_signs`.
"""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING
from xml.sax.saxutils import quoteattr

from base.writing import write_text
from mapping.fullscore_directions import Placed
from mapping.fullscore_global import global_signs
from mapping.fullscore_part import part_xml
from mapping.fullscore_strokes import abbreviated
from mapping.fullscore_text import plain

if TYPE_CHECKING:
    from pathlib import Path

    from mapping.arrangement import Arrangement, Player

__all__ = ["score_xml", "write_score"]

_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">\n'
)
_KEYS = {1: "D♭", 2: "D", 3: "E♭", 5: "F", 7: "G", 8: "A♭", 9: "A", 10: "B♭"}


def write_score(arrangement: Arrangement, path: Path, *, players: tuple[str, ...] | None = None) -> None:
    """Write an arrangement as a transposed full score.

    Parameters
    ----------
    arrangement : Arrangement
    path : Path
    players : tuple of str, optional
        Only these players: a part for the stand instead of the score.

    Raises
    ------
    OutputError
        Where the file cannot be written.
    """
    write_text(path, score_xml(arrangement, players=players))


def score_xml(arrangement: Arrangement, *, players: tuple[str, ...] | None = None) -> str:
    """Return the full score as MusicXML 4.0 text.

    References
    ----------
    MusicXML 4.0 (W3C Music Notation Community Group): score-partwise, attributes, note, direction.
    """
    parts = [part for part in arrangement.parts if players is None or part.player.name in players]
    common = global_signs(arrangement)
    body = "".join(
        part_xml(abbreviated(part), arrangement, f"P{row}", common if row == 1 else Placed())
        for row, part in enumerate(parts, start=1)
    )
    listed = _part_list([part.player for part in parts])
    return f'{_HEAD}<score-partwise version="4.0">{_identity(arrangement)}{listed}{body}</score-partwise>\n'


def _identity(arrangement: Arrangement) -> str:
    """Title, composer, variant, software."""
    score = arrangement.score
    title = score.title or score.source
    composer = f'<creator type="composer">{plain(score.composer)}</creator>' if score.composer else ""
    software = (
        "<encoding><software>Klangprobe</software>"
        '<supports element="accidental" type="yes"/><supports element="beam" type="yes"/>'
        '<supports element="stem" type="no"/></encoding>'
    )
    return (
        f"<work><work-title>{plain(title)}</work-title></work>"
        f"<movement-title>{plain(f'{title} – {arrangement.variant}')}</movement-title>"
        f"<identification>{composer}{software}</identification>"
    )


def _part_list(players: list[Player]) -> str:
    """Parts in score order, bracketed by family; players of one instrument joined; every singer alone."""
    found, number, row = [], 0, 0
    for family, group in groupby(players, key=lambda one: one.family):
        members = list(group)
        number += 1
        joined = family != "voice"
        bracket = len(members) > 1 and joined
        found += [_group(number, "bracket")] if bracket else []
        for _, same in groupby(members, key=lambda one: one.instrument.name):
            desk = list(same)
            number += 1
            inner = number
            found += [_group(inner, "square")] if len(desk) > 1 and joined else []
            for player in desk:
                row += 1
                found.append(_score_part(player, row))
            found += [f'<part-group type="stop" number="{inner}"/>'] if len(desk) > 1 and joined else []
        outer = number - len({one.instrument.name for one in members})
        found += [f'<part-group type="stop" number="{outer}"/>'] if bracket else []
    return f"<part-list>{''.join(found)}</part-list>"


def _group(number: int, symbol: str) -> str:
    """Start of a group."""
    barline = "yes" if symbol == "bracket" else "no"
    return (
        f'<part-group type="start" number="{number}"><group-symbol>{symbol}</group-symbol>'
        f"<group-barline>{barline}</group-barline></part-group>"
    )


def _score_part(player: Player, row: int) -> str:
    """One line of the part list."""
    number = player.name.rpartition(" ")[2]
    number = number if number.isdecimal() else ""
    abbreviation = f"{player.instrument.abbreviation} {number}".strip()
    ident = quoteattr(f"P{row}-I1")
    return (
        f'<score-part id="P{row}"><part-name>{plain(part_name(player))}</part-name>'
        f"<part-abbreviation>{plain(abbreviation)}</part-abbreviation>"
        f"<score-instrument id={ident}><instrument-name>{plain(player.instrument.name)}</instrument-name>"
        "</score-instrument>"
        f"<midi-instrument id={ident}>{_midi(player, row)}</midi-instrument></score-part>"
    )


def _midi(player: Player, row: int) -> str:
    """Channel and program of a player; of one without pitch channel 10 and the key, which MusicXML counts from 1."""
    if player.instrument.unpitched is not None:
        key = player.instrument.unpitched.key + 1
        return f"<midi-channel>10</midi-channel><midi-unpitched>{key}</midi-unpitched>"
    channel = (row - 1) % 15 + 1
    channel += channel >= 10
    program = player.instrument.program(count=player.count) + 1
    return f"<midi-channel>{channel}</midi-channel><midi-program>{program}</midi-program>"


def part_name(player: Player) -> str:
    """Return the player's name as a score prints it: ``Horn 1 in F``."""
    name = player.name[:1].upper() + player.name[1:]
    key = _KEYS.get(player.instrument.transpose % 12, "")
    return f"{name} in {key}" if key and " in " not in name else name
