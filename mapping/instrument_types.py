"""What is known of one instrument: the type behind the table, and the names of its pitches."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from base.errors import InputError, nearest

__all__ = ["FAMILIES", "Drums", "Instrument", "Register", "Unpitched", "midi_of"]

FAMILIES = ("woodwind", "brass", "percussion", "keyboard", "plucked", "voice", "strings")
"""Families in score order."""

_DIATONIC = (0, 1, 1, 2, 2, 3, 4, 4, 5, 5, 6, 6)  # scale steps of 0–11 semitones; six are taken as a fifth
_PITCH = re.compile(r"([A-G])(b{1,2}|♭{1,2}|#{1,2}|♯{1,2}|)(-?\d)$")
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def midi_of(name: str) -> int:
    """Return the MIDI pitch of a name such as ``Bb3`` (C4 is middle C, 60).

    Raises
    ------
    InputError
        Where the name is not a pitch.
    """
    match = _PITCH.match(str(name).strip())
    if not match:
        msg = f"'{name}' is not a pitch."
        raise InputError(msg, hint="Write a letter, an accidental and an octave: C4 (middle C), Bb3, F#5.")
    letter, sign, octave = match.groups()
    alter = sum(1 if character in "#♯" else -1 for character in sign)
    return 12 * (int(octave) + 1) + _STEPS[letter] + alter


@dataclass(frozen=True)
class Register:
    """One stretch of the compass.

    Attributes
    ----------
    name, character : str
    low, high : int
        Sounding MIDI pitch, both included.
    softest, loudest : str
        Softest and loudest dynamic it can be relied on for; empty where nothing limits it.
    source : str
        Key of the sources table.
    """

    name: str
    character: str
    low: int
    high: int
    softest: str = ""
    loudest: str = ""
    source: str = ""


@dataclass(frozen=True)
class Drums:
    """A set of timpani: range of each drum (MIDI, low to high), how many are usual, seconds to retune one."""

    ranges: tuple[tuple[int, int], ...]
    usual: int
    tuning_s: float


@dataclass(frozen=True)
class Unpitched:
    """An instrument of struck noise: it has strokes and rolls in place of pitches.

    Attributes
    ----------
    key : int
        Key of the General MIDI percussion map; the ``pitch`` of its notes holds it.
    ring_s : float
        How long a stroke rings where nobody damps it, seconds.
    rolls : bool
        Whether it can be rolled.
    change_s : float
        Time a player needs to leave another instrument and take this one up, seconds.
    kit_key : int
        Key in the drum kit that sounds it (the instrument's program); a font without that kit plays the key in the
        standard one.
    lower : int
        Semitones by which that sound is taken down, where General MIDI has the instrument only in a smaller size.
    """

    key: int
    ring_s: float
    rolls: bool
    change_s: float
    kit_key: int = 0
    lower: int = 0


@dataclass(frozen=True)
class Instrument:
    """What an arranger must know of an instrument.

    Attributes
    ----------
    name, plural, abbreviation : str
    section : str
        Name of the section in a spec (``violins``); empty for instruments that do not play in sections.
    family : str
        One of :data:`FAMILIES`.
    clefs : tuple of str
        Usual clefs, the first is the default (for two staves: upper, lower).
    staves : int
    low, high : int
        Sounding compass of a professional, MIDI.
    safe_low, safe_high : int
        Sounding compass for students, and for exposed or soft writing, MIDI.
    transpose : int
        Sounding minus written, semitones.
    programs : dict of str to int
        General MIDI program (from 0) per way of playing; ``section`` where it is not one but many players.
    breath_soft_s, breath_loud_s : float or None
        Longest note on one breath; None where no breath is needed.
    repeat_safe_hz, repeat_max_hz : float or None
        Repetitions a second on one pitch; None where the bow makes any speed possible.
    pizzicato_hz : float or None
        Plucked notes a second.
    leap : int or None
        Sudden leaps of this many semitones or more are awkward.
    poor_arpeggio : bool
        Slurred arpeggios and fast alternation of two notes do not suit it.
    slide : bool
        No true legato between most notes.
    notes_at_once : int
        How many notes one player can sound together.
    hand_span : int or None
        Semitones one hand reaches.
    open_strings : tuple of int
        MIDI, low to high.
    stop_reach : int
        Widest comfortable stretch between fingers on neighbouring strings, in semitones along the string: with
        strings a fifth apart, 5 allows double stops from a second to an octave.
    natural_notes : tuple of int
        Written notes of the natural instrument (for scoring without valves).
    crooks : dict of str to int
        Keys of the natural instrument: sounding minus written, semitones.
    drums : Drums or None
    unpitched : Unpitched or None
        For instruments without pitch; their compass is empty (``low`` above ``high``), so that no pitch is in range.
    pedal_s : float or None
        Seconds for one pedal change of the harp.
    registers : tuple of Register
    sources : dict of str to str
        Source of every figure, spelt out.
    """

    name: str
    plural: str
    abbreviation: str
    family: str
    clefs: tuple[str, ...]
    low: int
    high: int
    safe_low: int
    safe_high: int
    transpose: int = 0
    section: str = ""
    staves: int = 1
    programs: dict[str, int] = field(default_factory=dict, hash=False)
    breath_soft_s: float | None = None
    breath_loud_s: float | None = None
    repeat_safe_hz: float | None = None
    repeat_max_hz: float | None = None
    pizzicato_hz: float | None = None
    leap: int | None = None
    poor_arpeggio: bool = False
    slide: bool = False
    notes_at_once: int = 1
    hand_span: int | None = None
    open_strings: tuple[int, ...] = ()
    stop_reach: int = 0
    natural_notes: tuple[int, ...] = ()
    crooks: dict[str, int] = field(default_factory=dict, hash=False)
    drums: Drums | None = None
    unpitched: Unpitched | None = None
    pedal_s: float | None = None
    registers: tuple[Register, ...] = ()
    sources: dict[str, str] = field(default_factory=dict, hash=False)

    @property
    def transpose_diatonic(self) -> int:
        """Sounding minus written in scale steps (``clarinet``: −1)."""
        sign = -1 if self.transpose < 0 else 1
        octaves, rest = divmod(abs(self.transpose), 12)
        return sign * (octaves * 7 + _DIATONIC[rest])

    @property
    def written_low(self) -> int:
        """Lowest written note, MIDI."""
        return self.low - self.transpose

    @property
    def written_high(self) -> int:
        """Highest written note, MIDI."""
        return self.high - self.transpose

    @property
    def sustains(self) -> bool:
        """Whether a note can be held at an even level."""
        return self.family in ("woodwind", "brass", "voice", "strings")

    def register_of(self, pitch: int) -> Register | None:
        """Return the register that holds the sounding *pitch*, or None where the table has none."""
        return next((register for register in self.registers if register.low <= pitch <= register.high), None)

    def program(self, technique: str = "plain", *, count: int = 1) -> int:
        """Return the General MIDI program (from 0) for *technique* played by *count* players."""
        if technique == "plain" and count > 1:
            return self.programs.get("section", self.programs["plain"])
        return self.programs.get(technique, self.programs["plain"])

    def natural_pitches(self, crook: str) -> tuple[int, ...]:
        """Return the sounding pitches of the natural instrument with a crook, for scoring as before valves.

        Parameters
        ----------
        crook : str
            One of ``crooks``: ``E-flat``, ``D``.

        Raises
        ------
        InputError
            Where there is no such crook.
        """
        if crook not in self.crooks:
            raise InputError(f"the {self.name} has no crook in '{crook}'.", hint=nearest(crook, self.crooks))
        return tuple(note + self.crooks[crook] for note in self.natural_notes)

    @property
    def sudden_leap(self) -> int | None:
        """Semitones from which a sudden leap is awkward: its own, of other brass beyond the octave; None for others.

        Brass beyond the octave: common practice, no source.
        """
        return self.leap or (13 if self.family == "brass" else None)

    def in_range(self, pitch: int) -> bool:
        """Whether the sounding *pitch* exists on the instrument."""
        return self.low <= pitch <= self.high
