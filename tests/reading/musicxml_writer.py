"""Small MusicXML documents for the tests of reading, put together from text."""

from __future__ import annotations


def note(pitch="C4", duration=4, *, voice=1, staff=1, kind="", before="", notations="", chord=False, ties="", tail=""):
    """One <note>; *before* goes in front of the pitch (grace, cue), *notations* inside <notations>."""
    step, alter, octave = pitch[0], {"#": 1, "b": -1}.get(pitch[1], 0), pitch[-1]
    parts = ["<note>", before, "<chord/>" if chord else ""]
    parts.append(f"<pitch><step>{step}</step><alter>{alter}</alter><octave>{octave}</octave></pitch>")
    if "<grace" not in before:
        parts.append(f"<duration>{duration}</duration>")
    parts += [f'<tie type="{way}"/>' for way in ties.split()]
    parts.append(f"<voice>{voice}</voice>")
    if kind:
        parts.append(f"<type>{kind}</type>")
    parts.append(f"<staff>{staff}</staff>")
    if notations or ties:
        tied = "".join(f'<tied type="{way}"/>' for way in ties.split())
        parts.append(f"<notations>{tied}{notations}</notations>")
    return "".join([*parts, tail, "</note>"])


def rest(duration=4, *, voice=1, staff=1):
    """One rest."""
    return f"<note><rest/><duration>{duration}</duration><voice>{voice}</voice><staff>{staff}</staff></note>"


def direction(content, *, staff=1, placement="below", sound=""):
    """One <direction> with the given sign."""
    return (
        f'<direction placement="{placement}"><direction-type>{content}</direction-type>'
        f"<staff>{staff}</staff>{sound}</direction>"
    )


def attributes(*, divisions=4, fifths=0, beats=4, beat_type=4, staves=2, extra=""):
    """The <attributes> at the start of a part."""
    return (
        f"<attributes><divisions>{divisions}</divisions><key><fifths>{fifths}</fifths></key>"
        f"<time><beats>{beats}</beats><beat-type>{beat_type}</beat-type></time><staves>{staves}</staves>{extra}</attributes>"
    )


def document(*bars, parts=None, numbers=None, head=""):
    """A whole score: bars as text for one part, or *parts* as lists of such bars."""
    parts = parts if parts is not None else [list(bars)]
    names = "".join(
        f'<score-part id="P{row}"><part-name>Part {row}</part-name></score-part>' for row in range(1, len(parts) + 1)
    )
    body = "".join(
        f'<part id="P{row}">'
        + "".join(
            f'<measure number="{numbers[index] if numbers else index + 1}">{bar}</measure>'
            for index, bar in enumerate(part)
        )
        + "</part>"
        for row, part in enumerate(parts, start=1)
    )
    top = '<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0">'
    return f"{top}{head}<part-list>{names}</part-list>{body}</score-partwise>"


def piano(right, left="", *, length=16, start=""):
    """One bar of two staves: the right hand, back, the left hand."""
    return f"{start}{right}<backup><duration>{length}</duration></backup>{left or rest(length, voice=5, staff=2)}"
