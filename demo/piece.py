"""Write the demo piece, "The Watchman and the Weathercock", as MusicXML.

The music is invented for this project. It is kept here as text, one line per bar and voice, and written out by a
small engraver's assistant below: beams by the beat, accidentals by the bar, ties, slurs and signs.

    python demo/piece.py [OUT.musicxml]

How a bar is written: notes separated by spaces, each ``PITCHES:LENGTH`` and its signs. A chord joins its pitches
by ``+``, a rest is ``-``; the length counts sixteenths (4 a quarter, 6 a dotted quarter). Signs: ``>`` accent,
``^`` strong accent, ``.`` staccato, ``_`` tenuto, ``*`` arpeggio, ``!`` fermata, ``~`` tied to the next,
``(`` and ``)`` slur.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import NamedTuple
from xml.sax.saxutils import escape

from music import BARS, DIRECTIONS, HAIRPINS, KEYS, PEDALS, TITLE, Bar

DIVISIONS = 4  # sixteenths: the unit of LENGTH
BAR_LENGTH = 16
TYPES = {1: ("16th", 0), 2: ("eighth", 0), 3: ("eighth", 1), 4: ("quarter", 0), 6: ("quarter", 1), 8: ("half", 0),
         12: ("half", 1), 16: ("whole", 0)}  # fmt: skip
ALTERS = {"": 0, "#": 1, "b": -1}
SIGNS = {1: "sharp", -1: "flat", 0: "natural"}
NOTE = re.compile(r"(?P<pitches>[^:]+):(?P<length>\d+)(?P<signs>[>^._*!~()]*)$")
PITCH = re.compile(r"([A-G])([#b]?)(\d)$")


class Note(NamedTuple):
    """One note, chord or rest of a voice."""

    onset: int
    length: int
    pitches: tuple[tuple[str, int, int], ...]  # (step, alter, octave)
    signs: str


def notes_of(line: str) -> list[Note]:
    """Read one bar of one voice; a bar that does not add up stops the run."""
    notes, onset = [], 0
    for word in line.split():
        found = NOTE.match(word)
        if not found or int(found["length"]) not in TYPES:
            raise SystemExit(f"cannot read the note '{word}' in '{line}'")
        pitches = [] if found["pitches"] == "-" else [PITCH.match(text) for text in found["pitches"].split("+")]
        if None in pitches:
            raise SystemExit(f"cannot read a pitch of '{word}' in '{line}'")
        spelled = tuple((p[1], ALTERS[p[2]], int(p[3])) for p in pitches if p)
        notes.append(Note(onset, int(found["length"]), spelled, found["signs"]))
        onset += int(found["length"])
    if onset != BAR_LENGTH:
        raise SystemExit(f"a bar of {onset} sixteenths, expected {BAR_LENGTH}: '{line}'")
    return notes


def key_alter(step: str, fifths: int) -> int:
    """Return the alteration of a step in a key signature."""
    if fifths > 0:
        return int(step in "FCGDAEB"[:fifths])
    return -int(step in "BEADGCF"[: -fifths or 0]) if fifths else 0


def beams(notes: list[Note]) -> dict[int, list[str]]:
    """Return the beam tags of each onset: eighths by the half bar, anything with sixteenths by the beat."""
    tags: dict[int, list[str]] = {}
    for half in (0, 8):
        within = [n for n in notes if half <= n.onset < half + 8]
        plain = all(n.length == 2 and n.pitches for n in within)
        for start in (half,) if plain else (half, half + 4):
            size = 8 if plain else 4
            group = [n for n in within if start <= n.onset < start + size and n.length < 4 and n.pitches]
            if len(group) > 1:
                for place, note in enumerate(group):
                    tags[note.onset] = _beam(group, place)
    return tags


def _beam(group: list[Note], place: int) -> list[str]:
    """Beam tags of one note of a group: the eighth beam, then the sixteenth beam or its stump."""
    last = len(group) - 1
    lines = ["begin" if place == 0 else "end" if place == last else "continue"]
    if group[place].length == 1:
        before = place > 0 and group[place - 1].length == 1
        after = place < last and group[place + 1].length == 1
        lines.append("continue" if before and after else "end" if before else "begin" if after
                     else "backward hook" if place else "forward hook")  # fmt: skip
    return [f'<beam number="{row}">{word}</beam>' for row, word in enumerate(lines, 1)]


class Staff:
    """Writes the voices of one staff through one bar, remembering which accidentals the bar has already shown."""

    def __init__(self, staff: int, fifths: int, before: dict[tuple[str, int], int]) -> None:
        self.staff = staff
        self.fifths = fifths
        self.before = before  # what the bar before has changed: reminded of once
        self.shown: dict[tuple[str, int], int] = {}
        self.tied: set[tuple[str, int, int]] = set()

    def accidental(self, pitch: tuple[str, int, int]) -> str:
        """Return the accidental tag where the bar needs one."""
        step, alter, octave = pitch
        if pitch in self.tied:
            return ""
        clear = self.reminded(step, alter)
        if clear and self.shown.get((step, octave), key_alter(step, self.fifths)) == alter:
            return ""
        self.shown[step, octave] = alter
        return f"<accidental>{SIGNS[alter]}</accidental>"

    def reminded(self, step: str, alter: int) -> bool:
        """Say whether the bar before leaves no doubt about a step, in any octave; a doubt is cleared up once."""
        doubts = [place for place, value in self.before.items() if place[0] == step and value != alter]
        for place in doubts:
            del self.before[place]
        return not doubts

    def voice(self, notes: list[Note], voice: int, stem: str, tied: set[tuple[str, int, int]]) -> list[str]:
        """Return the note elements of one voice; *tied* holds the pitches tied into and out of the bar."""
        out = []
        tags = beams(notes)
        for note in notes:
            self.tied = set(tied)
            tied.clear()
            if "~" in note.signs:
                tied.update(note.pitches)
            out += self.chord(note, voice, stem, tags.get(note.onset, []))
        return out

    def chord(self, note: Note, voice: int, stem: str, tags: list[str]) -> list[str]:
        """Return the elements of one note, chord or rest."""
        kind, dots = TYPES[note.length]
        tail = f"<voice>{voice}</voice>"
        shape = f"<type>{kind}</type>{'<dot/>' * dots}"
        if not note.pitches:
            whole = note.length == BAR_LENGTH
            rest = '<rest measure="yes"/>' if whole else "<rest/>"
            shape = "" if whole else shape
            return [f"<note>{rest}<duration>{note.length}</duration>{tail}{shape}<staff>{self.staff}</staff></note>"]
        out = []
        for row, pitch in enumerate(note.pitches):
            out.append(
                "<note>" + ("<chord/>" if row else "") + _pitch(pitch) + f"<duration>{note.length}</duration>"
                + self.ties(pitch, note, "tie") + tail + shape
                + self.accidental(pitch) + stem + f"<staff>{self.staff}</staff>"
                + ("" if row else "".join(tags)) + self.notations(pitch, note, first=row == 0) + "</note>"
            )  # fmt: skip
        return out

    def ties(self, pitch: tuple[str, int, int], note: Note, tag: str) -> str:
        """Return the tie tags of one pitch: stop first, as the standard orders them."""
        stop = f'<{tag} type="stop"/>' if pitch in self.tied else ""
        return stop + (f'<{tag} type="start"/>' if "~" in note.signs else "")

    def notations(self, pitch: tuple[str, int, int], note: Note, *, first: bool) -> str:
        """Return ties, slurs, articulations, arpeggio and fermata of one note of a chord."""
        inside = self.ties(pitch, note, "tied")
        if first:
            inside += '<slur type="stop" number="1"/>' if ")" in note.signs else ""
            inside += '<slur type="start" number="1"/>' if "(" in note.signs else ""
            names = {">": "accent", "^": "strong-accent", ".": "staccato", "_": "tenuto"}
            signs = "".join(f"<{name}/>" for sign, name in names.items() if sign in note.signs)
            inside += f"<articulations>{signs}</articulations>" if signs else ""
            inside += "<fermata/>" if "!" in note.signs else ""
        inside += "<arpeggiate/>" if "*" in note.signs else ""
        return f"<notations>{inside}</notations>" if inside else ""


def _pitch(pitch: tuple[str, int, int]) -> str:
    """Pitch element."""
    step, alter, octave = pitch
    return f"<pitch><step>{step}</step>{f'<alter>{alter}</alter>' if alter else ''}<octave>{octave}</octave></pitch>"


def direction(inside: str, onset: int, place: str, staff: int, sound: str = "") -> str:
    """Return a direction at *onset* sixteenths into the bar, written before all notes with an offset."""
    offset = f"<offset>{onset}</offset>" if onset else ""
    return (f'<direction placement="{place}"><direction-type>{inside}</direction-type>{offset}'
            f"<staff>{staff}</staff>{sound}</direction>")  # fmt: skip


def directions(number: int) -> list[str]:
    """Return tempo marks, words, dynamics, hairpin ends and pedal signs of one bar."""
    out = []
    for onset, kind, value in DIRECTIONS.get(number, ()):
        if kind == "tempo":
            words, bpm = value.split("|")
            metronome = f"<metronome><beat-unit>quarter</beat-unit><per-minute>{bpm}</per-minute></metronome>"
            text = f'<words font-weight="bold">{escape(words)}  </words></direction-type><direction-type>{metronome}'
            out.append(direction(text, onset, "above", 1, f'<sound tempo="{bpm}"/>'))
        elif kind == "words":
            out.append(direction(f'<words font-style="italic">{escape(value)}</words>', onset, "below", 1))
        else:
            out.append(direction(f"<dynamics><{value}/></dynamics>", onset, "below", 1))
    for first, start, last, end, kind in HAIRPINS:
        if first == number:
            out.append(direction(f'<wedge type="{kind}"/>', start, "below", 1))
        if last == number:
            out.append(direction('<wedge type="stop"/>', end, "below", 1))
    for onset, kind in PEDALS.get(number, ()):
        out.append(direction(f'<pedal type="{kind}" line="no" sign="yes"/>', onset, "below", 2))
    return out


def attributes(number: int) -> str:
    """Return clefs and metre at the start, a new key signature where there is one."""
    inside = f"<divisions>{DIVISIONS}</divisions>" if number == 1 else ""
    if number in KEYS:
        fifths, mode = KEYS[number]
        inside += f"<key><fifths>{fifths}</fifths><mode>{mode}</mode></key>"
    if number == 1:
        inside += "<time><beats>4</beats><beat-type>4</beat-type></time><staves>2</staves>"
        inside += (
            '<clef number="1"><sign>G</sign><line>2</line></clef><clef number="2"><sign>F</sign><line>4</line></clef>'
        )
    return f"<attributes>{inside}</attributes>" if inside else ""


def measure(
    number: int,
    bar: Bar,
    fifths: int,
    tied: dict[int, set[tuple[str, int, int]]],
    changed: dict[int, dict[tuple[str, int], int]],
    *,
    last: bool,
) -> str:
    """Return one bar: the voices of the upper staff, then those of the lower, each after a backup.

    *tied* keeps, per voice, the pitches tied over the bar line; *changed*, per staff, the last bar's accidentals.
    """
    out = [f'<measure number="{number}">', attributes(number), *directions(number)]
    staves = ((1, (bar.right,), (1,)), (2, bar.left, (5, 6)))
    for staff, lines, voices in staves:
        writer = Staff(staff, fifths, changed.pop(staff, {}))
        for row, line in enumerate(lines):
            if staff == 2 or row:
                out.append(f"<backup><duration>{BAR_LENGTH}</duration></backup>")
            stem = f"<stem>{('up', 'down')[row]}</stem>" if len(lines) > 1 else ""
            out += writer.voice(notes_of(line), voices[row], stem, tied.setdefault(voices[row], set()))
        changed[staff] = writer.shown
    style = "light-heavy" if last else "light-light" if number + 1 in KEYS else ""
    out.append(f'<barline location="right"><bar-style>{style}</bar-style></barline>' if style else "")
    return "\n".join(part for part in [*out, "</measure>"] if part)


def musicxml() -> str:
    """Return the whole piece as MusicXML 4.0."""
    tied: dict[int, set[tuple[str, int, int]]] = {}
    changed: dict[int, dict[tuple[str, int], int]] = {}
    bars, fifths = [], 0
    for number, bar in enumerate(BARS, 1):
        fifths = KEYS.get(number, (fifths, ""))[0]
        bars.append(measure(number, bar, fifths, tied, changed, last=number == len(BARS)))
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
        '"http://www.musicxml.org/dtds/partwise.dtd">\n'
        '<score-partwise version="4.0">\n'
        f"<work><work-title>{escape(TITLE)}</work-title></work>\n"
        '<identification><creator type="composer">made for Klangprobe</creator>'
        "<rights>Made for this project; MIT licence, as the program.</rights>"
        "<encoding><software>demo/piece.py</software></encoding></identification>\n"
        '<part-list><score-part id="P1"><part-name>Piano</part-name></score-part></part-list>\n'
        '<part id="P1">\n' + "\n".join(bars) + "\n</part>\n</score-partwise>\n"
    )


if __name__ == "__main__":
    out = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).with_name("weathercock.musicxml")
    out.write_text(musicxml(), encoding="utf-8")
    print(out)
