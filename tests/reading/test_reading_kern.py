"""Kern: staves that split into three and four voices, ties, pedal and slurs; every note head accounted for."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction

import pytest

from base.errors import ScoreError
from reading.kern_tokens import TokenError, read_tokens
from reading.score import Flag

Q = 10_080

TWO = """**kern\t**kern
*clefF4\t*clefG2
*M4/4\t*M4/4
*k[b-]\t*k[b-]
=1\t=1
(4C\t8ee(L
.\t8ff)J
4E)\t[4gg^
2GG 2G\t2gg]
=2\t=2
*\t*^
2C\t2cc\t4e
.\t.\t4f
2D\t4dd'\t2g
.\t4ee~\t.
*\t*v\t*v
==\t==
*-\t*-
"""


def split(ways, *, bars=2):
    """A staff that splits into *ways* voices of different rhythm, bar by bar, and joins again."""
    lines = ["**kern\t**kern", "*M4/4\t*M4/4"]
    voices = ["4cc 4ee", "2g", "4.e", "1c", "8B", "2.A"][:ways]
    for bar in range(1, bars + 1):
        lines.append(f"={bar}\t={bar}")
        for width in range(1, ways):
            lines.append("\t".join(["*", *["*"] * (width - 1), "*^"]))
        lines += _rows(voices)
        for width in range(ways, 1, -1):
            lines.append("\t".join(["*", *["*"] * (width - 2), "*v", "*v"]))
    return "\n".join([*lines, "==\t==", "*-\t*-", ""])


def _rows(voices):
    """Data lines for one bar: the left hand in half notes, every voice its own value again and again."""
    lengths = [Fraction(2), *[_length(voice) for voice in voices]]
    words = ["2C", *voices]
    free = [Fraction(0)] * len(words)
    rows = []
    for place in sorted({length * count for length in lengths for count in range(8) if length * count < 4}):
        row = []
        for column, (word, length) in enumerate(zip(words, lengths, strict=True)):
            if free[column] == place:
                rest = 4 - place
                row.append(word if length <= rest else _short(word, rest))
                free[column] += min(length, rest)
            else:
                row.append(".")
        if any(word != "." for word in row):
            rows.append("\t".join(row))
    return rows


def _length(word):
    """Quarters of a token."""
    number = word.split(" ")[0]
    digits = "".join(sign for sign in number if sign.isdigit())
    return Fraction(4, int(digits)) * (Fraction(3, 2) if "." in number else 1)


def _short(word, rest):
    """The same pitches, cut to what is left of the bar."""
    names = {Fraction(1): "4", Fraction(2): "2", Fraction(1, 2): "8", Fraction(5, 2): None, Fraction(3, 2): "4."}
    pitches = ["".join(sign for sign in part if sign.isalpha()) for part in word.split(" ")]
    return " ".join(f"{names[rest]}{pitch}" for pitch in pitches)


def test_two_staves_are_one_part(reads):
    """Two spines are one keyboard part; the lower spine, first in the file, is staff 2."""
    score = reads(TWO, "two.krn")
    assert [part.staves for part in score.parts] == [2]
    highest = score.notes[score.notes["pitch"].argmax()]
    lowest = score.notes[score.notes["pitch"].argmin()]
    assert (int(highest["staff"]), int(lowest["staff"])) == (1, 2)
    assert [int(bar["onset"]) for bar in score.bars] == [0, 4 * Q]
    assert int(score.bars["fifths"][0]) == -1


def test_ties_slurs_and_articulation(reads):
    """Ties merge; slurs, accents, dots and dashes are there."""
    score = reads(TWO, "two.krn")
    tied = score.notes[(score.notes["flags"] & Flag.TIED) != 0]
    assert [(int(note["pitch"]), int(note["duration"])) for note in tied] == [(79, 3 * Q)]
    assert tied["flags"][0] & Flag.ACCENT
    assert len(list(score.marks_of("slur"))) == 2
    by_pitch = {int(note["pitch"]): Flag(int(note["flags"])) for note in score.notes if note["bar"] == 2}
    assert by_pitch[74] & Flag.STACCATO
    assert by_pitch[76] & Flag.TENUTO


@pytest.mark.parametrize("ways", [2, 3, 4, 5])
def test_split_staff_loses_nothing(ways, reads):
    """A staff in two to five voices has every note of the file, at its time and length."""
    text = split(ways)
    tokens = read_tokens(text).heads.values()
    score = reads(text, "split.krn")
    expected = Counter((int(token.onset * Q), int(token.duration * Q), token.pitch) for token in tokens)
    found = Counter((int(note["onset"]), int(note["duration"]), int(note["pitch"])) for note in score.notes)
    assert found == expected
    assert sum(found.values()) >= 7 * ways
    upper = score.notes[score.notes["staff"] == 1]
    assert len(set(upper["voice"].tolist())) == ways


def test_pedal_and_dynamics_spines(reads):
    """Pedal interpretations and a dynamics spine are read."""
    rows = [
        "**kern\t**kern\t**dynam",
        "*M4/4\t*M4/4\t*",
        "=1\t=1\t=1",
        "*ped\t*\t*",
        "2C\t2cc\tp <",
        "*Xped\t*\t*",
        "2D\t2dd\t[ sf",
        "=2\t=2\t=2",
        "1C\t1cc\tff",
        "==\t==\t==",
        "*-\t*-\t*-",
    ]
    text = "\n".join(rows) + "\n"
    score = reads(text, "pedal.krn")
    assert [(mark.onset, mark.end) for mark in score.marks_of("pedal")] == [(0, 2 * Q)]
    assert {mark.value for mark in score.marks_of("dynamic")} >= {"p", "ff"}
    assert [mark.value for mark in score.marks_of("accent")] == ["sf"]


def test_hairpins_are_all_kept(reads):
    """One without an end, and one that begins while another goes on, are there beside the plain one."""
    rows = ["**kern\t**kern\t**dynam", "*M4/4\t*M4/4\t*", "=1\t=1\t=1", "2C\t2c\t<", "2D\t2d\t[", "=2\t=2\t=2"]
    rows += ["*\t*\t*^", "4C\t4c\t<\t.", "4D\t4d\t.\t<", "4E\t4e\t[\t.", "4F\t4f\t>\t.", "*\t*\t*v\t*v"]
    rows += ["=3\t=3\t=3", "1C\t1c\t]", "=4\t=4\t=4", "2C\t2c\t<", "2D\t2d\t.", "==\t==\t==", "*-\t*-\t*-"]
    score = reads("\n".join(rows) + "\n", "hairpins.krn")
    found = [(mark.value, mark.onset / Q) for mark in score.marks_of("hairpin")]
    assert found == [("cresc", 0), ("cresc", 4), ("cresc", 5), ("dim", 7), ("cresc", 12)]
    assert max(mark.end for mark in score.marks_of("hairpin")) == 16 * Q
    assert any("hairpin" in remark.kind for remark in score.repaired)


@pytest.mark.parametrize(("sign", "end"), [(">", 2), ("p", 2), ("<", 2), (".", 8)])
def test_open_hairpin_ends_where_loudness_is_set_anew(sign, end, reads):
    """A bracket long after another hairpin or a level is not the open hairpin's; without those it is."""
    words = ["<", sign, "]" if sign == ">" else "[" if sign == "<" else ".", ".", "[", ".", ".", "."]
    rows = [f"2C\t2c\t{word}" for word in words]
    bars = [line for row in range(4) for line in (f"={row + 1}\t" * 2 + f"={row + 1}", *rows[2 * row : 2 * row + 2])]
    score = reads("\n".join(["**kern\t**kern\t**dynam", "*M4/4\t*M4/4\t*", *bars, "*-\t*-\t*-"]) + "\n", "open.krn")
    assert [mark.end / Q for mark in score.marks_of("hairpin") if mark.onset == 0] == [end]


def test_double_bracket_ends_one_hairpin_after_its_note():
    """``[[`` is one sign, not two, and ends after the note; a hairpin of the next spine goes on to its own bracket."""
    text = "**kern\t**dynam\t**dynam\n4c\t<\t.\n4c\t.\t<\n4c\t[[\t.\n4c\t.\t.\n4c\t.\t[\n*-\t*-\t*-\n"
    assert [(pin.onset, pin.end) for pin in read_tokens(text).hairpins] == [(0, 3), (1, 4)]


def test_written_out_tremolo_stays_written_out(reads):
    """Repeated notes under a tremolo interpretation are all in the table."""
    text = "**kern\n*M1/4\n=1\n*tremolo\n16c\n16c\n16c\n16c\n*Xtremolo\n==\n*-\n"
    assert len(reads(text, "tremolo.krn").notes) == 4


def test_trills_say_their_interval(reads):
    """A trill token tells a whole tone (T) from a semitone (t); the mark keeps the upper note's accidental."""
    score = reads("**kern\n*M3/4\n=1\n4ccT\n4cct\n4bT\n==\n*-\n", "trills.krn")
    found = [mark.value for mark in score.marks_of("ornament")]
    assert found == ["trill:above natural", "trill:above flat", "trill:above sharp"]


def test_octave_and_reference_records(reads):
    """Files whose reference records stop other readers (``!!!OCO``) are read; composer and title come from theirs."""
    text = "!!!OCO: Orchestra\n!!!COM: Nobody, A.\n!!!OTL: Small Piece\n**kern\n*M4/4\n=1\n1c\n==\n*-\n"
    score = reads(text, "records.krn")
    assert (score.title, "Nobody" in score.composer) == ("Small Piece", True)


def test_missing_notes_are_refused(reads, monkeypatch):
    """Where the conversion holds fewer notes than the file has tokens, the reading is refused by bar and token."""
    from reading import kern

    real = kern.through_verovio

    def short(text, kind, path):
        return real(text.replace("4f\n", "4r\n"), kind, path)

    monkeypatch.setattr(kern, "through_verovio", short)
    with pytest.raises(
        ScoreError, match=r"1 of \d+ notes of the file are missing from the reading: bar 2 \(line 13, 4f\)"
    ):
        reads(TWO, "two.krn")


def test_tokens_of_the_manual():
    """Durations and pitches as the kern reference has them (Huron 1994): 4. is a dotted quarter, C the octave below."""
    tokens = list(read_tokens("**kern\n4.cc#\n8CC-\n3%2b\n0e\nqg\n*-\n").heads.values())
    found = [(token.pitch, token.duration, token.grace) for token in tokens]
    assert found == [
        (73, Fraction(3, 2), False),
        (35, Fraction(1, 2), False),
        (71, Fraction(8, 3), False),
        (64, Fraction(8), False),
        (67, Fraction(0), True),
    ]


def test_wrong_columns_are_named_by_line():
    """A line with the wrong number of columns is refused by its line."""
    with pytest.raises(TokenError) as caught:
        read_tokens("**kern\t**kern\n4c\n*-\t*-\n")
    assert caught.value.line == 2
