"""Presets of the user's choice, taken from any font: crisp solo strings of one, winds of another.

The file ``presets.json`` in the user's data folder holds, for each instrument, the ways of playing to exchange::

    {"violin": {"plain": {"font": "TimGM6mb", "program": 40}},
     "oboe": {"any": {"font": "~/fonts/winds.sf2", "bank": 0, "program": 68}}}

Ways are those of a spec (``plain``, ``pizzicato``, ``tremolo`` …), ``section`` for several players, and ``any``.
A font is the name of an installed one or a path; without it the main font is meant. Without ``program`` the
instrument's own is taken.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from base.errors import InputError, nearest
from soundfonts.installed import Font, data_folder, find, open_font

__all__ = ["DRUM_BANK", "FONT_BANKS", "INSTRUMENTS_OWN", "Choice", "Presets", "presets_path", "user_presets"]

FONT_BANKS = 256
"""Bank ``FONT_BANKS·n + b`` of a request is bank b of the n-th further font (MIDI's own banks end at 128)."""

DRUM_BANK = 128
"""Bank of the drum kits in a soundfont (SoundFont 2.04); kit 0 is the standard one, which every font has."""

_KEYS = ("font", "bank", "program")
_MOST = {"bank": 128, "program": 127}


@dataclass(frozen=True)
class Choice:
    """Where one instrument's way of playing is taken from.

    Attributes
    ----------
    font : Font or None
        None for the main font.
    bank : int
    program : int or None
        From 0; None for the instrument's own.
    """

    font: Font | None
    bank: int
    program: int | None


@dataclass(frozen=True)
class Presets:
    """All choices of a user.

    Attributes
    ----------
    choices : dict of (instrument, way) to Choice
    fonts : tuple of Font
        The further fonts that the choices name.
    """

    choices: dict[tuple[str, str], Choice]
    fonts: tuple[Font, ...] = ()

    def preset(self, instrument: str, way: str, count: int, program: int, bank: int = 0) -> tuple[int, int]:
        """Return bank (with the font in it, see FONT_BANKS) and program for *count* players of *instrument*.

        Parameters
        ----------
        instrument : str
        way : str
            One of mapping.arrangement.TECHNIQUES.
        count : int
        program, bank : int
            What the instrument's own table says.
        """
        ways = ("section", way, "any") if way == "plain" and count > 1 else (way, "any")
        for one in ways:
            if choice := self.choices.get((instrument, one)):
                row = self.fonts.index(choice.font) + 1 if choice.font else 0
                return FONT_BANKS * row + choice.bank, program if choice.program is None else choice.program
        return bank, program


INSTRUMENTS_OWN = Presets({})
"""No choices: every instrument by its own table, from the main font."""


def presets_path() -> Path:
    """Return the file in which a user may choose presets."""
    return data_folder() / "klangprobe" / "presets.json"


def user_presets(instruments: tuple[str, ...], ways: tuple[str, ...]) -> Presets:
    """Return the user's choices, none where there is no file.

    Parameters
    ----------
    instruments, ways : tuple of str
        What may be named.

    Raises
    ------
    InputError
        Where the file is not such a table, or a font is not there; names instrument and way.
    """
    path = presets_path()
    try:
        text = path.read_text(encoding="utf-8")
    except OSError:
        return INSTRUMENTS_OWN
    return _parsed(text, path, instruments, (*ways, "section", "any"))


@cache
def _parsed(text: str, path: Path, instruments: tuple[str, ...], ways: tuple[str, ...]) -> Presets:
    """Read the user's text."""
    try:
        table = json.loads(text)
    except ValueError as error:
        raise InputError(f"this is not JSON ({error}).", path=path) from error
    if not isinstance(table, dict) or not all(isinstance(row, dict) for row in table.values()):
        msg = "expected instruments, each with its ways of playing."
        raise InputError(msg, path=path, hint='For example {"violin": {"plain": {"font": "TimGM6mb"}}}.')
    choices = {}
    for name, row in table.items():
        if name not in instruments:
            raise InputError(f"no instrument is called '{name}'.", path=path, hint=nearest(name, instruments))
        for way, given in row.items():
            if way not in ways:
                msg = f"no way of playing is called '{way}'."
                raise InputError(msg, path=path, place=name, hint=nearest(way, ways))
            choices[name, way] = _choice(given, path, f"{name}, {way}")
    fonts = {choice.font.sha256: choice.font for choice in choices.values() if choice.font}
    same = {
        key: Choice(fonts[one.font.sha256], one.bank, one.program) if one.font else one for key, one in choices.items()
    }
    return Presets(same, tuple(fonts.values()))


def _choice(given: Any, path: Path, place: str) -> Choice:
    """One entry of the file."""
    if not isinstance(given, dict):
        raise InputError("expected font, bank or program.", path=path, place=place)
    for key, value in given.items():
        if key not in _KEYS:
            raise InputError(f"unknown key '{key}'.", path=path, place=place, hint=nearest(key, _KEYS))
        if key == "font" and not isinstance(value, str):
            raise InputError("expected a name or a path for 'font'.", path=path, place=place)
        if key in _MOST and not (type(value) is int and 0 <= value <= _MOST[key]):
            msg = f"expected a whole number from 0 to {_MOST[key]} for '{key}'."
            raise InputError(msg, path=path, place=place)
    font = _font(given["font"], path, place) if "font" in given else None
    return Choice(font, int(given.get("bank", 0)), given.get("program"))


def _font(word: str, path: Path, place: str) -> Font:
    """The installed font of this name, else the file at this path (seen from the folder of the choices)."""
    installed = {font.name: font for font in reversed(find())}  # of two editions the better stays
    if word in installed:
        return installed[word]
    if word.lower().endswith((".sf2", ".sf3")):
        return open_font(path.parent / Path(word).expanduser())
    raise InputError(f"no soundfont is called '{word}'.", path=path, place=place, hint=nearest(word, tuple(installed)))
