"""Humdrum kern, by way of verovio's MEI, counted against the file's own tokens.

The general kern reader at hand loses notes where a staff splits into three or more voices, and reads neither slurs nor
pedal; verovio's keeps them. Whether it did is checked here, note head by note head, against the text of the file.
"""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING

from base.errors import ScoreError
from reading.converting import through_verovio
from reading.kern_tokens import KernTokens, Token, TokenError, read_tokens
from reading.mei import read_mei
from reading.score import Flag, ticks
from reading.sung import ELISION, syllable_value

if TYPE_CHECKING:
    from pathlib import Path

    from reading.draft import Draft, RawNote

__all__ = ["decoded", "read_kern"]

_NOTE_ID = re.compile(r"note-L(\d+)F(\d+)(?:S(\d+))?")
_BAR_ID = re.compile(r"measure-L(\d+)")
_NAMED = 3
_ROUNDING = 2  # ticks
_SEMITONES = (0, 2, 4, 5, 7, 9, 11)


def decoded(data: bytes, path: Path) -> str:
    """Return the text of a plain-text score: UTF-8, else Latin-1 as older files have it."""
    if b"\x00" in data:
        raise ScoreError("the text encoding is broken (zero bytes)", path=path, hint="Save it as UTF-8.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def read_kern(data: bytes, path: Path) -> Draft:
    """Return what a kern file holds.

    Raises
    ------
    ScoreError
        Where the file is broken, or where the reading does not hold what the file's tokens say (with the bar).
    """
    text = decoded(data, path).replace("\r\n", "\n").replace("\r", "\n")
    # Written-out tremolos stay written out: folded ones would hide notes from the count.
    text = re.sub(r"(?m)(?<=[\t\n])\*X?tremolo(?=[\t\n])", "*", text)
    # One name for sung text: under the others the converter joins syllables that share a note.
    text = re.sub(r"(?m)(?<=[\t\n])\*\*(silbe|lyrics)(?=[\t\n])", "**text", text)
    try:
        tokens = read_tokens(text)
    except TokenError as error:
        place = f"line {error.line}"
        raise ScoreError(str(error), path=path, place=place, hint="Check the file with a validator.") from error
    if not tokens.heads:
        raise ScoreError("the file holds no notes", path=path)
    draft = read_mei(through_verovio(text, "humdrum", path), path)
    _check(draft, tokens, path)
    return draft


def _check(draft: Draft, tokens: KernTokens, path: Path) -> None:
    """Match every note with its token; correct times by the tokens; refuse where notes are missing or strange."""
    left = dict(tokens.heads)
    trills = {id(note): mark for mark in draft.marks if mark.value == "trill" for note in mark.notes}
    strange: list[str] = []
    moved = 0
    for note in draft.notes:
        match = _NOTE_ID.match(note.xml_id)
        token = left.pop((int(match[1]), int(match[2]), int(match[3] or 1)), None) if match else None
        if token is None or token.pitch != note.pitch:
            strange.append(f"line {match[1]}" if match else f"bar {draft.bars[note.bar - 1].number}")
            continue
        moved += _corrected(note, token)
        if id(note) in trills:
            trills[id(note)].value += _neighbour(note, token.text)
    if left or strange:
        _refuse(draft, tokens, list(left.values()), strange, path)
    _text(draft, tokens)
    _bars(draft, tokens)
    _hairpins(draft, tokens)
    if moved:
        draft.repair("times", f"{moved} notes whose converted time differed from their tokens; taken from the tokens")
    for line in tokens.torn[:20]:
        draft.repair("spines", f"line {line} of the file: its columns disagree about the time; the later one is taken")


def _corrected(note: RawNote, token: Token) -> bool:
    """Give a note its token's time and ties; return whether the time differed by more than rounding."""
    onset, end = ticks(token.onset), ticks(token.onset + token.duration)
    duration = 0 if token.grace else end - onset
    differs = abs(note.onset - onset) > 2 or (abs(note.duration - duration) > 2 and not token.grace)
    if not note.flags & Flag.GRACE_AFTER:
        note.onset = onset
    note.duration = duration
    note.tie_start, note.tie_stop = token.tie_start, token.tie_stop
    if "z" in token.text:
        note.flags |= Flag.SFORZANDO
    return differs


def _neighbour(note: RawNote, text: str) -> str:
    """Return the accidental of a trill's upper note: the token says whole tone (T) or semitone (t)."""
    degree = note.step + 1
    natural = _SEMITONES[degree % 7] + 12 * (note.octave + 1 + degree // 7)
    alter = note.pitch + (2 if "T" in text else 1) - natural
    names = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
    return f":above {names[alter]}" if alter in names else ""


def _text(draft: Draft, tokens: KernTokens) -> None:
    """Tell apart syllables that share a note (``la|lo``), and say how many tokens of text stand under no note."""
    for mark in draft.marks:
        if mark.kind == "lyric" and "|" in (text := mark.value.partition("|")[2]):
            head, pieces = mark.value.partition("|")[0], [piece for piece in text.split("|") if piece]
            verse, _, kinds = head.partition(" ")
            words = [kinds.removesuffix("_"), *["single"] * (len(pieces) - 1)][: max(1, len(pieces))]
            mark.value = syllable_value(verse, ELISION.join(pieces), words, extend=kinds.endswith("_"))
    if tokens.syllables > draft.syllables:
        draft.lose("lyric", f"{tokens.syllables - draft.syllables} of {tokens.syllables} syllables stand under no note")


def _bars(draft: Draft, tokens: KernTokens) -> None:
    """Put bars where the file's bar lines stand; marks move with their bars."""
    starts = []
    for bar in draft.bars:
        match = _BAR_ID.match(bar.xml_id)
        line = int(match[1]) if match else 0
        starts.append(ticks(tokens.barlines.get(line, 0 if line <= 1 else -1)))
    if any(start < 0 for start in starts) or starts != sorted(starts):
        return
    ends = [*starts[1:], max(ticks(tokens.end), starts[-1])]
    shifts = [start - bar.onset for start, bar in zip(starts, draft.bars, strict=True)]
    for mark in draft.marks:
        mark.onset += shifts[mark.bar - 1]
        mark.end += shifts[(mark.end_bar or mark.bar) - 1]
    for bar, start, end in zip(draft.bars, starts, ends, strict=True):
        bar.onset, bar.filled = start, end - start
    if any(shifts):
        first = next(row for row, shift in enumerate(shifts) if shift)
        draft.repair("bar lines", "bar lines moved to where the file's tokens put them, from here on", first + 1)


def _hairpins(draft: Draft, tokens: KernTokens) -> None:
    """Add the hairpins the conversion left out: those without an end, and the second of two that overlap.

    One without an end lasts until the next sign of loudness or, if that is nearer, the end of its bar.
    """
    known = [mark for mark in draft.marks if mark.kind == "hairpin"]
    places = Counter((mark.part, mark.staff) for mark in draft.marks if mark.kind in ("hairpin", "dynamic"))
    part, staff = places.most_common(1)[0][0] if places else (0, 0)
    for pin in tokens.hairpins:
        at = ticks(pin.onset)
        twin = next((mark for mark in known if mark.value == pin.kind and abs(mark.onset - at) <= _ROUNDING), None)
        if twin is not None:
            known.remove(twin)
            continue
        bar = max((bar for bar in draft.bars if bar.onset <= at), key=lambda bar: bar.onset, default=draft.bars[0])
        later = [ticks(sign) for sign in tokens.signs if sign > pin.onset]
        end = ticks(pin.end) if pin.end is not None else min([bar.onset + bar.filled, *later])
        mark = draft.mark("hairpin", bar.index, at, part, staff, pin.kind)
        mark.end = end
        if pin.end is None:
            draft.repair(
                "hairpin without an end", "ended at the next sign of loudness or the bar line", bar.index, part
            )


def _refuse(draft: Draft, tokens: KernTokens, missing: list[Token], strange: list[str], path: Path) -> None:
    """Say which notes of the file are not in the reading, by printed bar."""
    lines = sorted(tokens.barlines)
    places = []
    for token in missing[:_NAMED]:
        before = [line for line in lines if line < token.line and line in tokens.numbers]
        number = tokens.numbers[before[-1]] if before else "0"
        places.append(f"bar {number} (line {token.line}, {token.text})")
    places += strange[:_NAMED]
    count = f"{len(missing)} of {len(tokens.heads)} notes of the file are missing from the reading"
    if not missing:
        count = f"{len(strange)} notes of the reading are not in the file"
    raise ScoreError(f"{count}: {'; '.join(places)}", path=path, hint="Convert it to MusicXML and read that.")
