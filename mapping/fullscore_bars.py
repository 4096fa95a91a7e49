"""What stands at the edges of a bar: key, metre, clef and transposition on the left, bar lines, repeats and endings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from mapping.fullscore_pitch import CLEFS
from mapping.fullscore_text import plain
from reading.score import TICKS_PER_QUARTER

if TYPE_CHECKING:
    from mapping.fullscore_pitch import Transposition
    from mapping.instruments import Instrument
    from reading.score import Score

__all__ = ["attributes", "barlines", "nominal_ticks", "pickup_shift"]


def attributes(
    score: Score, row: int, keys: list[Transposition], clefs: list[list[str]], instrument: Instrument
) -> str:
    """Return the attributes that change at a bar.

    Parameters
    ----------
    row : int
        Row of the bar.
    keys : list of Transposition
        Written key of every bar.
    clefs : list of list of str
        Clef of every bar, by staff.
    """
    bars, bar, first = score.bars, score.bars[row], row == 0
    before = bars[row - 1] if row else bar
    found = [f"<divisions>{TICKS_PER_QUARTER}</divisions>"] if first else []
    noisy = instrument.unpitched is not None  # has no key, one line, and a clef without a pitch
    if not noisy and (first or keys[row].fifths != keys[row - 1].fifths):
        mode = "" if bar["minor"] < 0 else f"<mode>{'minor' if bar['minor'] else 'major'}</mode>"
        found.append(f"<key><fifths>{keys[row].fifths}</fifths>{mode}</key>")
    if first or (bar["beats"], bar["beat_type"]) != (before["beats"], before["beat_type"]):
        found.append(f"<time><beats>{bar['beats']}</beats><beat-type>{bar['beat_type']}</beat-type></time>")
    if first and len(clefs) > 1:
        found.append(f"<staves>{len(clefs)}</staves>")
    for staff, names in enumerate(clefs, start=1):
        if first or names[row] != names[row - 1]:
            sign, line, _ = CLEFS[names[row]]
            which = f' number="{staff}"' if len(clefs) > 1 else ""
            at = f"<line>{line}</line>" if line else ""
            at += "<clef-octave-change>-1</clef-octave-change>" if names[row].endswith("8vb") else ""
            found.append(f"<clef{which}><sign>{sign}</sign>{at}</clef>")
    if first and noisy:
        found.append("<staff-details><staff-lines>1</staff-lines></staff-details>")
    if first and instrument.transpose:
        found.append(_transpose(instrument.transpose, instrument.transpose_diatonic))
    return f"<attributes>{''.join(found)}</attributes>" if found else ""


def _transpose(chromatic: int, diatonic: int) -> str:
    """Transposition, whole octaves apart."""
    octaves = int(chromatic / 12)
    change = f"<octave-change>{octaves}</octave-change>" if octaves else ""
    return (
        f"<transpose><diatonic>{diatonic - 7 * octaves}</diatonic><chromatic>{chromatic - 12 * octaves}</chromatic>"
        f"{change}</transpose>"
    )


def barlines(score: Score, row: int, held: str = "") -> tuple[str, str]:
    """Return left and right bar line of a bar where they are not plain: repeats, endings, double and final bars.

    Parameters
    ----------
    row : int
        Row of the bar.
    held : str
        Fermata over its right bar line, as XML.
    """
    bars, bar = score.bars, score.bars[row]
    volta = int(bar["volta"])
    numbers = plain(", ".join(str(n + 1) for n in range(32) if volta >> n & 1))
    left = right = ""
    if volta and (row == 0 or int(bars["volta"][row - 1]) != volta):
        left += f'<ending number="{numbers}" type="start"/>'
    if bar["repeat_start"]:
        left += '<repeat direction="forward"/>'
    right += held
    if volta and (row == len(bars) - 1 or int(bars["volta"][row + 1]) != volta):
        right += f'<ending number="{numbers}" type="stop"/>'
    if bar["repeat_end"]:
        times = f' times="{bar["repeat_end"]}"' if bar["repeat_end"] > 2 else ""
        right += f'<repeat direction="backward"{times}/>'
    style = "light-heavy" if row == len(bars) - 1 or bar["repeat_end"] else "light-light" if bar["double_bar"] else ""
    if left:
        heavy = "<bar-style>heavy-light</bar-style>" if bar["repeat_start"] else ""
        left = f'<barline location="left">{heavy}{left}</barline>'
    if right or style:
        right = f'<barline location="right">{f"<bar-style>{style}</bar-style>" if style else ""}{right}</barline>'
    return left, right


def nominal_ticks(bar: Any) -> int:
    """Return the length the metre asks for, in ticks."""
    return 4 * TICKS_PER_QUARTER * int(bar["beats"]) // max(1, int(bar["beat_type"]))


def pickup_shift(bar: Any) -> int:
    """Return how far into its metre a pickup begins, so that beats fall where they are."""
    return max(0, nominal_ticks(bar) - int(bar["duration"])) if bar["pickup"] else 0
