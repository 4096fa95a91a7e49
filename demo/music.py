"""The notes of "The Watchman and the Weathercock", bar by bar; see piece.py for how a bar is written."""

from __future__ import annotations

from typing import NamedTuple

TITLE = "The Watchman and the Weathercock"


class Bar(NamedTuple):
    """One bar: the right hand, and the left hand in one or two voices."""

    right: str
    left: tuple[str, ...]


def bar(right: str, *left: str) -> Bar:
    """Return a bar; the second left-hand line is the lower voice."""
    return Bar(right, left)


KEYS = {1: (-2, "minor"), 25: (-3, "major"), 33: (-3, "minor"), 41: (-2, "minor"), 49: (1, "major")}

GATE = (  # 1-8: the watchman unlocks the town gate
    bar("G4+Bb4+D5+G5:6* A5:2( D5+Bb5:4 D5+G5:4)", "G1+D2+G2:4* D3+G3+Bb3:4 G1+G2:4 D3+G3+Bb3:4"),
    bar("C5+D5+A5:6 Bb5:2( D5+A5+C6:4 A5:4)", "F#1+F#2:4 D3+A3+C4:4 F#1+F#2:4 D3+A3+C4:4"),
    bar("Bb4+D5+Bb5:4 D5+G5+D6:4 Eb5+G5+C6:3( Bb5:1 C5+Eb5+A5:4)", "G1+G2:4 D3+G3+Bb3:4 Eb2+Eb3:4 C2+C3:4"),
    bar("Bb4+D5+G5:4( A4+D5+F#5:8) -:4", "D2+D3:4 D2+D3:6 -:2 D2+D3:2 F#2+F#3:2"),
    bar("Bb4+D5+G5:6 A5:2( D5+Bb5:4 D5+G5:4)", "G1+G2:4 D3+G3+Bb3:4 G1+G2:4 D3+G3+Bb3:4"),
    bar("Eb5+G5+C6:6 D6:2( G5+Eb6:4 Eb5+C6:4)", "C2+C3:4 Eb3+G3+C4:4 C2+C3:4 Eb3+G3+C4:4"),
    bar("F5+Bb5+D6:6 C6:2( G5+Bb5:4 Eb5+G5:4)", "D3:4 F3+Bb3:4 Eb3:4 G3+Bb3:4"),
    bar("Bb4+D5+G5:4 C5+D5+A5:2( F#5:2 Bb4+D5+G5:6) -:2", "D2+D3:4 D2+D3:4 G1+G2:6 -:2"),
)
RIVER = (  # 9-16: the river below the bridge; 13-14 and 15-16 call the hour twice
    bar("Bb4:6( C5:2 D5:8)", "G2:2 D3:2 G3:2 Bb3:2 D4:2 Bb3:2 G3:2 D3:2"),
    bar("Eb5:6( D5:2 C5:8~", "C2:2 G2:2 C3:2 Eb3:2 G3:2 Eb3:2 C3:2 G2:2"),
    bar("C5:2 A4:2 C5:4) F5:6( Eb5:2", "F2:2 C3:2 F3:2 A3:2 Eb4:2 C4:2 A3:2 C3:2"),
    bar("D5:12) -:4", "Bb1:2 F2:2 Bb2:2 D3:2 F3:2 D3:2 Bb2:2 F2:2"),
    bar("F5:6_ G5:2( F5:4 D5:4)", "Bb1:2 F2:2 D3:2 F3:2 Bb3:2 F3:2 D3:2 F2:2"),
    bar("Eb5:6_ F5:2( Eb5:4 C5:4)", "C2:2 G2:2 Eb3:2 G3:2 F2:2 C3:2 Eb3:2 A3:2"),
    bar("F5:6_ G5:2( F5:4 D5:4)", "Bb1:2 F2:2 D3:2 F3:2 Bb3:2 F3:2 D3:2 F2:2"),
    bar("Eb5:6_ F5:2( Eb5:4 C5:4)", "C2:2 G2:2 Eb3:2 G3:2 F2:2 C3:2 Eb3:2 A3:2"),
)
SHUTTER = (  # 17-20: a shutter bangs in the wind
    bar("D5:8~ D5:2( Eb5:2 E5:2 F5:2)", "Bb1:2 F2:2 D3:2 F3:2 Bb3:2 F3:2 D3:2 F2:2"),
    bar("Bb4+Db5+E5+Bb5:12> -:4", "Gb1+Gb2+Db3:12> -:4"),
    bar("A4+C5+F5:6_ F5:2( Eb5:4 C5:4)", "F2+C3:8 F2+A2+Eb3:8"),
    bar("Bb4+D5:12 -:4", "Bb1+Bb2+F3:12 -:4"),
)
GUSTS = (  # 21-24: gusts and stillness
    bar(
        "Bb4+Db5+F5+Bb5:3> C6:1 Db5+F5+Db6:4> Bb4+Db5+Bb5:4 Bb4+Db5+Bb5:4",
        "Bb1+Bb2:3> C2+C3:1 Db2+Db3:4> Bb1+Bb2:4 Bb1+Bb2:4",
    ),
    bar("F4+Bb4:3( C5:1 F4+Db5:4 Db4+Bb4:8)", "Bb2+Db3:8 Bb2+F3:8"),
    bar(
        "Ab4+C5+Eb5+Ab5:3> Bb5:1 C5+Eb5+C6:4> Ab4+C5+Ab5:4 Ab4+C5+Ab5:4",
        "Ab1+Ab2:3> Bb1+Bb2:1 C2+C3:4> Ab1+Ab2:4 Ab1+Ab2:4",
    ),
    bar("F4+Ab4:3( Bb4:1 C5:4 Ab4+D5:8)", "Bb2+D3:8 Bb1+Bb2+F3:8"),
)
WEATHERCOCK = (  # 25-32: the weathercock wakes and sings while the clock strikes
    bar("Eb5:3. F5:1 G5:2. Bb5:2. C6:4>( Bb5:4)", "Eb2:4 G3+Bb3+Eb4:4> Bb2:4 G3+Bb3+Eb4:4>"),
    bar("Ab5:2( G5:2) F5:2. Ab5:2. G5:4_ Eb5:4", "Bb1:4 F3+Ab3+D4:4> Eb2:4 G3+Bb3+Eb4:4>"),
    bar("F5:3. G5:1 Ab5:2. C6:2. D6:4>( C6:4)", "Ab2:4 Ab3+C4+F4:4> Bb2:4 Ab3+D4+F4:4>"),
    bar("Bb5:2( A5:2) Bb5:2. G5:2. F5:8_", "Eb2:4 G3+Bb3+Eb4:4> Bb1:4 F3+Bb3+D4:4>"),
    bar("Eb5:3. F5:1 G5:2. Bb5:2. C6:4>( Eb6:4)", "Eb2:4 G3+Bb3+Eb4:4> C2:4 G3+C4+Eb4:4>"),
    bar("D6:2( C6:2) Bb5:2. Ab5:2. G5:4_ C6:4", "Bb1:4 F3+Ab3+D4:4> C2:4 G3+C4+Eb4:4>"),
    bar("Ab5:2( G5:2) F5:2. Ab5:2. G5:4( F5:4)", "Ab2:4 Ab3+C4+F4:4> Bb1:4 F3+Ab3+D4:4>"),
    bar("Eb5:8_ -:8", "Eb2:4 G3+Bb3+Eb4:4> Eb2:4 -:4"),
)
LANTERN = (  # 33-36: the watchman lifts his lantern; two voices in the left hand
    bar("G5:6( Ab5:2 G5:4 Eb5:4)", "-:2 G3:2( C4:2 D4:2 Eb4:4 C4:4)", "C3:16"),
    bar("F5:6( G5:2 F5:4 D5:4)", "-:2 G3:2( D4:2 Eb4:2 D4:4 G3:4)", "B2:8 G2:8"),
    bar("Eb5:4( Ab5:4 C6:6 Bb5:2", "-:2 Eb3:2( Ab3:2 Bb3:2 Ab3:4 C4:4)", "Ab2:8 F2:8"),
    bar("Ab5:4 G5:4 F5:2 Eb5:2 D5:4)", "-:2 D4:2( C4:2 B3:2 C4:4 B3:4)", "F2:8 G2:8"),
)
LADDER = (  # 37-40: up the ladder of the tower, both hands leaving each other
    bar("C6+Eb6:8( D6+F6:4 C6+Eb6:4)", "C2:1 C3:1 G2:1 Eb3:1 " * 4),
    bar("D6+F6:8( F6+Ab6:4 D6+F6:4)", "B1:1 B2:1 G2:1 F3:1 " * 4),
    bar("Eb6+G6:8( F6+Ab6:4 Eb6+G6:4)", "Eb2:1 Eb3:1 C3:1 G3:1 " * 4),
    bar("D6+F#6:8( F#6+A6:8)", "F#2:1 F#3:1 C3:1 A3:1 " * 4),
)
STAIRWELL = (  # 41-44: the bare stairwell
    bar(
        "G4+G5:3^ A4+A5:1 Bb4+Bb5:4 A4+A5:2 G4+G5:2 F#4+F#5:4",
        "G2+G3:3^ A2+A3:1 Bb2+Bb3:4 A2+A3:2 G2+G3:2 F#2+F#3:4",
    ),
    bar(
        "G4+G5:2 Bb4+Bb5:2 D5+D6:4 C#5+C#6:2 D5+D6:2 Eb5+Eb6:4", "G2+G3:2 Bb2+Bb3:2 D3+D4:4 C#3+C#4:2 D3+D4:2 Eb3+Eb4:4"
    ),
    bar("D5+D6:2 C#5+C#6:2 C5+C6:2 B4+B5:2 Bb4+Bb5:4 A4+A5:4", "D3+D4:2 C#3+C#4:2 C3+C4:2 B2+B3:2 Bb2+Bb3:4 A2+A3:4"),
    bar("Eb5+Eb6:4> D5+D6:8! -:4", "Eb3+Eb4:4> D3+D4:8! -:4"),
)
DIALOGUE = (  # 45-48: below the watchman asks, above the weathercock answers
    bar("-:16", "G2+Bb2:3( A2+C3:1 Bb2+D3:4 A2+C3:4 D2+A2:4)"),
    bar("Bb5+D6:3( C6+Eb6:1 Bb5+D6:2. G5+Bb5:2. A5+C6:4 F#5+A5:4)", "-:16"),
    bar("-:16", "C3+Eb3:3( Bb2+D3:1 A2+C3:4 G2+Bb2:4 F#2+A2:4)"),
    bar("A5+C6:3( B5+D6:1 A5+C6:2. F#5+A5:2. G5+B5:4 F#5+A5:4)!", "D2+D3:16"),
)
DAWN = (  # 49-56: the sun rises, and the gate stands open
    bar("G4+B4+D5+G5:6* A5:2( D5+B5:4 D5+G5:4)", "G1+D2+G2:4* D3+G3+B3:4 G1+G2:4 D3+G3+B3:4"),
    bar("C5+D5+A5:6 B5:2( D5+A5+C6:4 A5:4)", "F#1+F#2:4 D3+A3+C4:4 F#1+F#2:4 D3+A3+C4:4"),
    bar("B4+D5+B5:4 D5+G5+D6:4 E5+G5+C6:3( B5:1 C5+E5+A5:4)", "G1+G2:4 D3+G3+B3:4 E2+E3:4 C2+C3:4"),
    bar("D5+G5+B5:8( C5+D5+A5:4 C5+F#5+A5:4)", "D2+D3:8 D2+A2+D3:8"),
    bar("Eb5+G5+Bb5:8> Eb5+G5+C6:8>", "Eb2+Eb3:8> C2+C3:8>"),
    bar("D5+G5+B5:8 C5+D5+F#5+A5:8", "D2+D3:8 D2+A2+D3:8"),
    bar("B4+D5+G5:4^ -:4 D5+G5+B5:4^ -:4", "G1+G2+D3:4^ -:4 G1+D2+G2:4^ -:4"),
    bar("G4+B4+D5+G5:16!", "G1+D2+G2:16!"),
)

BARS = GATE + RIVER + SHUTTER + GUSTS + WEATHERCOCK + LANTERN + LADDER + STAIRWELL + DIALOGUE + DAWN

DIRECTIONS = {  # bar: (sixteenths from its start, kind, value)
    1: ((0, "tempo", "Maestoso|76"), (0, "dynamics", "f")),
    5: ((0, "dynamics", "f"),),
    9: ((0, "tempo", "Poco più tranquillo|69"), (0, "dynamics", "p"), (0, "words", "dolce")),
    13: ((0, "dynamics", "mp"),),
    18: ((0, "dynamics", "sfz"),),
    19: ((0, "dynamics", "p"),),
    21: ((0, "tempo", "Tempo I|76"), (0, "dynamics", "f")),
    22: ((0, "dynamics", "p"),),
    23: ((0, "dynamics", "f"),),
    24: ((0, "dynamics", "p"),),
    25: ((0, "tempo", "Più mosso, giocoso|96"), (0, "dynamics", "mf")),
    33: ((0, "tempo", "Meno mosso|76"), (0, "dynamics", "p"), (0, "words", "espressivo")),
    37: ((0, "dynamics", "mp"),),
    41: ((0, "dynamics", "ff"),),
    45: ((0, "dynamics", "p"), (0, "words", "misterioso")),
    46: ((0, "words", "leggiero"),),
    48: ((0, "words", "poco rit."),),
    49: ((0, "tempo", "Tempo I, trionfante|72"), (0, "dynamics", "f")),
    53: ((0, "dynamics", "ff"),),
}
HAIRPINS = (  # bar and sixteenth of the start, bar and sixteenth of the end, kind
    (3, 0, 4, 4, "diminuendo"),
    (11, 8, 12, 8, "diminuendo"),
    (17, 0, 17, 16, "crescendo"),
    (35, 0, 35, 16, "crescendo"),
    (36, 0, 36, 16, "diminuendo"),
    (37, 8, 40, 16, "crescendo"),
    (48, 0, 48, 16, "crescendo"),
    (51, 0, 52, 16, "crescendo"),
)
PEDALS = {  # marked in places only; 13-16 want pedal as much as 9-12 and do not say so
    1: ((0, "start"), (8, "stop")),
    **dict.fromkeys((9, 10, 11, 12), ((0, "start"), (16, "stop"))),
    49: ((0, "start"), (8, "stop")),
}
