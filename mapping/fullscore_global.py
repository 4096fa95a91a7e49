"""What stands once above the full score: tempo, rehearsal letters, jumps, and words that no player has at a note."""

from __future__ import annotations

from typing import TYPE_CHECKING

from mapping.fullscore_directions import Direction, Placed, words
from mapping.fullscore_text import plain
from reading.headings import changes_tempo, headings
from reading.musicxml_directions import jump_in

if TYPE_CHECKING:
    from mapping.arrangement import Arrangement
    from mapping.draft import Rows
    from reading.score import Mark, Score

__all__ = ["AT_NOTES", "attacks", "global_signs", "players_words"]

AT_NOTES = {"breath mark": "breath-mark", "caesura": "caesura", "stress": "stress", "unstress": "unstress"}
"""Words of the reading that stand for a sign at a note, and that sign."""

_JUMPS = {
    "da capo": ("D.C.", 'dacapo="yes"'),
    "da capo al fine": ("D.C. al Fine", 'dacapo="yes"'),
    "da capo al coda": ("D.C. al Coda", 'dacapo="yes"'),
    "dal segno": ("D.S.", 'dalsegno="segno"'),
    "dal segno al fine": ("D.S. al Fine", 'dalsegno="segno"'),
    "dal segno al coda": ("D.S. al Coda", 'dalsegno="segno"'),
    "to coda": ("To Coda", 'tocoda="coda"'),
    "fine": ("Fine", 'fine="yes"'),
}


def global_signs(arrangement: Arrangement) -> Placed:
    """Return the signs that stand once above the score.

    References
    ----------
    MusicXML 4.0 (W3C Music Notation Community Group): ``<sound>`` for jumps, ``<segno>``, ``<coda>``.
    """
    score, found = arrangement.score, Placed()
    heads = headings(score)
    metronomes = {mark.onset: mark.value for mark in score.marks_of("tempo") if _metronome(mark.value)}
    for mark in _once(_system_words(arrangement)):
        heading = (mark.onset, mark.value) in heads
        text = words(mark.value, 'font-weight="bold"' if heading else 'font-style="italic"')
        if heading and mark.onset in metronomes:  # one sign: Maestoso and its figure
            found.opening[mark.onset].append(_tempo(metronomes.pop(mark.onset), text))
        else:
            found.opening[mark.onset].append(Direction("above", text))
    for onset, value in metronomes.items():
        found.opening[onset].append(_tempo(value))
    for mark in score.marks_of("rehearsal"):
        found.opening[mark.onset].append(Direction("above", f"<rehearsal>{plain(mark.value)}</rehearsal>"))
    for mark in score.marks_of("jump"):
        if mark.value in ("segno", "coda"):
            sign = Direction("above", f"<{mark.value}/>", sound=f'{mark.value}="{mark.value}"')
            found.opening[mark.onset].append(sign)
        elif mark.value in _JUMPS:
            text, sound = _JUMPS[mark.value]
            xml = words(_printed(score, mark) or text, 'font-style="italic" justify="right" halign="right"')
            found.closing[mark.end].append(Direction("above", xml, sound=sound))
    return found


def players_words(score: Score) -> list[Mark]:
    """Return the words that belong to players (``dolce``), apart from tempo, jumps, and signs at notes."""
    heads = headings(score)
    return [
        mark
        for mark in score.marks_of("text")
        if (mark.onset, mark.value) not in heads
        and not changes_tempo(mark.value)
        and not _asks_jump(score, mark)
        and not (mark.notes and mark.value in AT_NOTES)
    ]


def _system_words(arrangement: Arrangement) -> list[Mark]:
    """Words about tempo, and words at whose place no player has a note."""
    score = arrangement.score
    struck = set().union(*(attacks(part.notes, score) for part in arrangement.parts))
    own = set(map(id, players_words(score)))
    return [
        mark
        for mark in score.marks_of("text")
        if ((mark.onset, mark.part, mark.staff) not in struck if id(mark) in own else not _asks_jump(score, mark))
        and not (mark.notes and mark.value in AT_NOTES)
    ]


def attacks(notes: Rows, score: Score) -> set[tuple[int, int, int]]:
    """Return (onset, part, staff) of the piano notes a player strikes, with staff 0 beside the real one."""
    known = notes[(notes["source"] >= 0) & (notes["source"] < len(score.notes))]
    piano = score.notes[known["source"]]
    found = set(zip(known["onset"].tolist(), piano["part"].tolist(), piano["staff"].tolist(), strict=True))
    return found | {(onset, part, 0) for onset, part, _ in found}


def _once(marks: list[Mark]) -> list[Mark]:
    """Words that stand at both staves are written once."""
    return list({(mark.onset, mark.value): mark for mark in marks}.values())


def _asks_jump(score: Score, mark: Mark) -> bool:
    """Whether words are the print of a jump."""
    value = jump_in(mark.value)
    return bool(value) and any(jump.value == value for jump in score.marks_of("jump"))


def _printed(score: Score, jump: Mark) -> str:
    """The words a jump was read from, where they stand in its bar or at its end."""
    near = (mark for mark in score.marks_of("text") if jump.onset <= mark.onset <= jump.end)
    return next((mark.value for mark in near if jump_in(mark.value) == jump.value), "")


def _tempo(value: str, text: str = "") -> Direction:
    """Heading and metronome figure as one sign."""
    spaced = text.replace("</words>", " </words>")  # without it the note of the figure touches the last letter
    xml = f"{spaced}</direction-type><direction-type>{_metronome(value)}" if text else _metronome(value)
    return Direction("above", xml, sound=f'tempo="{float(value):g}"')


def _metronome(value: str) -> str:
    """Metronome mark from quarters a minute."""
    try:
        rate = float(value)
    except ValueError:
        return ""
    return f"<metronome><beat-unit>quarter</beat-unit><per-minute>{rate:g}</per-minute></metronome>" if rate > 0 else ""
