"""The tokens of a kern file, read on their own: what must be found, when, and how long.

This is no second reader: it knows only pitch, duration, ties and where each token stands, and serves to check, and
where needed to correct, what came through the converter.

References
----------
D. Huron, The Humdrum Toolkit: Reference Manual (1994), chapter on the kern representation; Humdrum syntax for spines.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from fractions import Fraction

__all__ = ["Hairpin", "KernTokens", "Token", "TokenError", "read_tokens"]

_RECIP = re.compile(r"(\d+)(?:%(\d+))?(\.*)")
_PITCH = re.compile(r"([a-g]+|[A-G]+)(#{1,3}|-{1,3}|n)?")
_SEMITONES = dict(zip("cdefgab", (0, 2, 4, 5, 7, 9, 11), strict=True))
_MAX_SPINES = 256
_TEXTS = ("**text", "**silbe", "**lyrics")
_LEVEL = re.compile(r"(?<![a-z])(p+|m[pf]|f+)(?![a-z])")


class TokenError(ValueError):
    """The text breaks the rules of the format; carries the line."""

    def __init__(self, message: str, line: int) -> None:
        super().__init__(message)
        self.line = line


@dataclass(frozen=True, slots=True)
class Token:
    """One note head: its place in the text (line and field from 1, place in the chord from 1), time in quarters."""

    line: int
    field: int
    place: int
    onset: Fraction
    duration: Fraction
    pitch: int
    grace: bool
    tie_start: bool
    tie_stop: bool
    text: str


@dataclass(slots=True)
class Hairpin:
    """A hairpin of a ``**dynam`` spine: ``cresc`` or ``dim``, times in quarters; ``end`` None where none is found.

    ``met``: a level, or a hairpin the other way, has begun in another spine.
    """

    kind: str
    onset: Fraction
    spine: int
    end: Fraction | None = None
    met: bool = False


@dataclass
class KernTokens:
    """Note heads by place, bar lines by line of text, hairpins, the end, and lines whose spines disagree in time."""

    heads: dict[tuple[int, int, int], Token] = field(default_factory=dict)
    barlines: dict[int, Fraction] = field(default_factory=dict)
    numbers: dict[int, str] = field(default_factory=dict)
    last: Fraction = Fraction(-1)
    end: Fraction = Fraction(0)
    torn: list[int] = field(default_factory=list)
    hairpins: list[Hairpin] = field(default_factory=list)
    open: list[Hairpin] = field(default_factory=list)  # hairpins that a bracket may still end
    signs: list[Fraction] = field(default_factory=list)  # times of all signs of loudness
    syllables: int = 0  # tokens of sung text that hold any


@dataclass(slots=True)
class _Spine:
    """A column: whether it is kern, when it is free again, and whether it holds signs of loudness or sung text."""

    kern: bool
    free: Fraction = Fraction(0)
    loudness: bool = False
    sung: bool = False


def _spine(word: str, free: Fraction = Fraction(0)) -> _Spine:
    """A column that begins with an exclusive interpretation."""
    return _Spine(word == "**kern", free, word == "**dynam", word in _TEXTS)


def read_tokens(text: str) -> KernTokens:
    """Return the note heads of a kern file.

    Raises
    ------
    TokenError
        For lines with the wrong number of columns, or durations that are none.
    """
    found = KernTokens()
    spines: list[_Spine] = []
    for number, line in enumerate(text.split("\n"), start=1):
        line = line.rstrip("\r")
        if not line or line.startswith("!"):
            continue
        fields = line.split("\t")
        if fields[0].startswith("**") and not spines:
            spines = [_spine(word) for word in fields]
            continue
        if not spines:
            raise TokenError("data before the first '**' line, or after the last spine ended", number)
        if len(fields) != len(spines):
            raise TokenError(f"{len(fields)} columns where {len(spines)} spines are open", number)
        if line.startswith("*"):
            spines = _steered(spines, fields, number)
        elif line.startswith("="):
            # A rest may last several bars, so the bar ends where the first spine is free again.
            frees = [spine.free for spine in spines if spine.kern]
            time = min((free for free in frees if free > found.last), default=max(frees, default=Fraction(0)))
            found.barlines[number] = time
            if match := re.match(r"=+(\d+[a-z]?)", fields[0]):
                found.numbers[number] = match[1]
        else:
            _data(found, spines, fields, number)
    return found


def _steered(spines: list[_Spine], fields: list[str], line: int) -> list[_Spine]:
    """Return the spines after an interpretation line: split, joined, exchanged, added, ended."""
    made: list[_Spine] = []
    column = 0
    while column < len(fields):
        word, spine = fields[column], spines[column]
        if word == "*^":
            made += [spine, replace(spine)]
        elif word == "*v":
            last = column
            while last + 1 < len(fields) and fields[last + 1] == "*v" and spines[last + 1].kern == spine.kern:
                last += 1
            made.append(replace(spine, free=max(item.free for item in spines[column : last + 1])))
            column = last
        elif word == "*+":
            made += [spine, _Spine(kern=False, free=spine.free)]
        elif word.startswith("**"):
            made.append(_spine(word, spine.free))
        elif word != "*-":
            made.append(spine)
        column += 1
    crossed = [place for place, word in enumerate(fields) if word == "*x"]
    if len(crossed) == 2 and len(made) == len(spines):
        first, second = crossed
        made[first], made[second] = made[second], made[first]
    if len(made) > _MAX_SPINES:
        raise TokenError(f"more than {_MAX_SPINES} spines", line)
    return made


def _data(found: KernTokens, spines: list[_Spine], fields: list[str], line: int) -> None:
    """Read one line of data tokens; all that start here start at one time."""
    found.syllables += sum(spine.sung and word.strip("._-| ") != "" for spine, word in zip(spines, fields, strict=True))
    starting = [
        (column, spine, word)
        for column, (spine, word) in enumerate(zip(spines, fields, strict=True), start=1)
        if spine.kern and word != "."
    ]
    if not starting:
        return
    timed = [spine.free for _, spine, word in starting if "q" not in word.lower()]
    times = timed or [spine.free for _, spine, _ in starting]
    now = max(times)
    found.last = max(found.last, now) if timed else found.last
    if timed and min(timed) != now:
        found.torn.append(line)
    for column, spine, word in starting:
        length = _token(found, word, (line, column), now)
        if "q" not in word.lower():
            spine.free = now + length
            found.end = max(found.end, spine.free)
    signs = [
        (column, word)
        for column, (spine, word) in enumerate(zip(spines, fields, strict=True))
        if spine.loudness and word != "."
    ]
    after = min(spine.free for spine in spines if spine.kern)
    for column, word in signs:  # what ends here ends before anything begins, whichever spine says so
        _ended(found, word, column, (now, after))
    for column, word in signs:
        _begun(found, word, column, now)


def _ended(found: KernTokens, word: str, column: int, times: tuple[Fraction, Fraction]) -> None:
    """End hairpins: ``[`` a crescendo, ``]`` a diminuendo; ``[[`` and ``]]`` after the note (*times*: here, after it).

    One spine may end what its neighbour began (spines split where two hairpins overlap), its own first. A hairpin after
    which loudness has been set anew waits for no bracket: one left over is not its own.
    """
    for sign in re.findall(r"\[+|\]+", word):
        kind = "cresc" if sign[0] == "[" else "dim"
        waiting = [one for one in found.open if one.kind == kind]
        own = [one for one in waiting if one.spine == column]
        for one in own[-1:] or [one for one in waiting if not one.met][-1:]:
            one.end = times[len(sign) > 1]
            found.open.remove(one)


def _begun(found: KernTokens, word: str, column: int, now: Fraction) -> None:
    """Begin hairpins, ``<`` and ``>``; an open one is over where its own spine sets a level or begins another."""
    found.signs.append(now)
    begun = [kind for sign, kind in (("<", "cresc"), (">", "dim")) if sign in word]
    level = _LEVEL.search(word) is not None
    before = [one for one in found.open if one.onset < now]
    for one in before:
        one.met |= level or any(kind != one.kind for kind in begun)
        if one.spine == column and (level or begun):
            found.open.remove(one)
    made = [Hairpin(kind, now, column) for kind in begun]
    found.hairpins += made
    found.open += made


def _token(found: KernTokens, word: str, place: tuple[int, int], now: Fraction) -> Fraction:
    """Read the note heads of one token; return its length."""
    length: Fraction | None = None
    for number, part in enumerate(word.split(" "), start=1):
        grace = "q" in part.lower()
        match = _RECIP.search(part)
        if match is not None:
            length = _length(match, place[0])
        if "r" in part:
            continue
        pitch = _PITCH.search(part)
        if pitch is None:
            continue
        found.heads[(*place, number)] = Token(
            place[0],
            place[1],
            number,
            now,
            Fraction(0) if grace else (length or Fraction(0)),
            _midi(pitch),
            grace,
            "[" in part or "_" in part,
            "]" in part or "_" in part,
            part,
        )
    if length is None and "q" not in word.lower():
        raise TokenError(f"a token without duration: {word[:20]!r}", place[0])
    return length or Fraction(0)


def _length(match: re.Match[str], line: int) -> Fraction:
    """Return a printed duration in quarters: 4 is a quarter, 0 a breve, 3%2 two thirds of a whole note."""
    digits, part, dots = match[1], match[2], match[3]
    if len(digits) > 6 or (part and len(part) > 6) or len(dots) > 8:
        raise TokenError(f"a duration that is none: {match[0][:20]!r}", line)
    zero = int(digits) == 0
    base = Fraction(4 * 2 ** min(len(digits), 4)) if zero else Fraction(4 * int(part or 1), int(digits))
    return base * (2 - Fraction(1, 2 ** len(dots)))


def _midi(match: re.Match[str]) -> int:
    """Return the MIDI pitch: c is middle C, cc the octave above, C the octave below."""
    letters, sign = match[1], match[2] or ""
    octave = 3 + len(letters) if letters.islower() else 4 - len(letters)
    alter = sign.count("#") - sign.count("-")
    return _SEMITONES[letters[0].lower()] + 12 * (octave + 1) + alter
