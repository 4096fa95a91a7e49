"""Hostile files and two thousand mutated good ones: always one clear message with the file's name, never a crash."""

from __future__ import annotations

import io
import random
import resource
import struct
import time
import zipfile

import pytest

from base.errors import KlangprobeError, ScoreError
from reading.reader import read

HANG_S, LIMIT_BYTES = 20.0, 500_000_000  # the time tells a hang, not speed: on an idle core the slowest takes below 2 s


def archive(members, *, compression=zipfile.ZIP_DEFLATED):
    """A zip archive of names and contents."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", compression) as made:
        for name, content in members.items():
            made.writestr(name, content)
    return stream.getvalue()


def container(path):
    """A container.xml that names the score."""
    return f'<container><rootfiles><rootfile full-path="{path}"/></rootfiles></container>'


def midi(*tracks, kind=1, division=480):
    """A MIDI file from raw track bytes."""
    head = b"MThd" + struct.pack(">IHHH", 6, kind, len(tracks), division & 0xFFFF)
    return head + b"".join(b"MTrk" + struct.pack(">I", len(track)) + track for track in tracks)


def bar(xml, content):
    """A one-bar score around raw content."""
    return xml.document(xml.attributes(staves=1) + content)


def raw_note(duration="4", *, pitch="<step>C</step><octave>4</octave>", extra=""):
    """A note with whatever stands for its duration."""
    return f"<note><pitch>{pitch}</pitch><duration>{duration}</duration>{extra}</note>"


BOMB = "".join(f'<!ENTITY l{level} "{f"&l{level - 1};" * 10}">' for level in range(1, 10))
HOSTILE = {
    "entities that double": lambda xml: f'<!DOCTYPE s [<!ENTITY l0 "lol">{BOMB}]><score-partwise>&l9;</score-partwise>',
    "a file from outside": lambda xml: (
        '<!DOCTYPE s [<!ENTITY x SYSTEM "file:///etc/passwd">]><score-partwise><part>&x;</part></score-partwise>'
    ),
    "entities in UTF-16": lambda xml: ("\ufeff" + '<!DOCTYPE s [<!ENTITY x "y">]><score-partwise/>').encode(
        "utf-16-le"
    ),
    "a parameter entity": lambda xml: '<!DOCTYPE s [<!ENTITY % x SYSTEM "http://localhost:9/x"> %x;]><score-partwise/>',
    "nested too deep": lambda xml: "<score-partwise>" + "<part>" * 20_000 + "</part>" * 20_000 + "</score-partwise>",
    "millions of tags": lambda xml: "<score-partwise>" + "<a/>" * 2_500_000 + "</score-partwise>",
    "not closed": lambda xml: "<score-partwise><part>",
    "no score": lambda xml: "<html><body/></html>",
    "no parts": lambda xml: "<score-partwise/>",
    "no notes": lambda xml: xml.document(xml.attributes() + xml.rest(16)),
    "empty": lambda xml: "",
    "blank": lambda xml: "  \n\n ",
    "text": lambda xml: "dear reader, this is a letter",
    "random bytes": lambda xml: random.Random(1).randbytes(5000),
    "wrong encoding": lambda xml: b'<?xml version="1.0" encoding="UTF-8"?><score-partwise><a>' + b"\xff\xfe\xc3",
    "zero bytes": lambda xml: b"**kern\n4c\x00\x00\n*-\n",
    "negative duration": lambda xml: bar(xml, raw_note("-4")),
    "duration NaN": lambda xml: bar(xml, raw_note("NaN")),
    "duration without end": lambda xml: bar(xml, raw_note("inf")),
    "gigantic duration": lambda xml: bar(xml, raw_note("9" * 23)),
    "duration of a thousand digits": lambda xml: bar(xml, raw_note("9" * 1000)),
    "no duration": lambda xml: bar(xml, "<note><pitch><step>C</step><octave>4</octave></pitch></note>"),
    "divisions of zero": lambda xml: bar(xml, "<attributes><divisions>0</divisions></attributes>" + raw_note()),
    "a metre over zero": lambda xml: bar(
        xml, "<attributes><time><beats>4</beats><beat-type>0</beat-type></time></attributes>"
    ),
    "no such step": lambda xml: bar(xml, raw_note(pitch="<step>H</step><octave>4</octave>")),
    "octave a million": lambda xml: bar(xml, raw_note(pitch="<step>C</step><octave>1000000</octave>")),
    "staff a billion": lambda xml: bar(xml, raw_note(extra="<staff>1000000000</staff>")),
    "tempo of zero": lambda xml: bar(xml, '<sound tempo="0"/>' + raw_note()),
    "ten thousand voices": lambda xml: bar(
        xml,
        "".join(
            raw_note(extra=f"<voice>{row}</voice>") + "<backup><duration>4</duration></backup>" for row in range(10_000)
        ),
    ),
    "a thousand parts": lambda xml: xml.document(parts=[[xml.rest(16)]] * 1000),
    "a million bars": lambda xml: "<score-partwise><part>" + "<measure/>" * 1_000_000 + "</part></score-partwise>",
    "a million marks": lambda xml: bar(
        xml, "<direction><direction-type><dynamics><p/></dynamics></direction-type></direction>" * 250_000
    ),
    "slurs that never end": lambda xml: bar(
        xml,
        "".join(
            f"<note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration>"
            f'<notations><slur type="start" number="{row}"/></notations></note>'
            for row in range(200)
        ),
    ),
    "zip bomb": lambda xml: archive({"META-INF/container.xml": container("s.xml"), "s.xml": b" " * 30_000_000}),
    "zip of lies": lambda xml: archive({"s.xml": "<score-partwise/>"}).replace(b"score", b"scare"),
    "path out of the archive": lambda xml: archive({"../../s.xml": "<score-partwise/>"}),
    "absolute path": lambda xml: archive({"/etc/s.xml": "<score-partwise/>"}),
    "no score in the archive": lambda xml: archive({"readme.txt": "nothing"}),
    "a missing root file": lambda xml: archive({"META-INF/container.xml": container("gone.xml")}),
    "thousands of members": lambda xml: archive({f"{row}.txt": "" for row in range(2000)}),
    "half an archive": lambda xml: archive({"s.xml": "<score-partwise/>" * 50})[:80],
    "MIDI cut short": lambda xml: midi(b"\x00\x90\x3c\x40")[:-3],
    "MIDI of type 2": lambda xml: midi(b"\x00\x90\x3c\x40\x60\x80\x3c\x00\x00\xff\x2f\x00", kind=2),
    "MIDI in film frames": lambda xml: midi(b"\x00\x90\x3c\x40\x60\x80\x3c\x00\x00\xff\x2f\x00", division=0xE728),
    "MIDI of a thousand years": lambda xml: midi(b"\x00\x90\x3c\x40\xff\xff\xff\x7f\x80\x3c\x00\x00\xff\x2f\x00"),
    "MIDI without notes": lambda xml: midi(b"\x00\xff\x2f\x00"),
    "kern with a column too many": lambda xml: "**kern\t**kern\n4c\t4e\t4g\n*-\t*-\n",
    "kern with a gigantic duration": lambda xml: "**kern\n99999999999c\n*-\n",
    "kern of three thousand spines": lambda xml: (
        "**kern\n" + "\n".join("\t".join(["*^"] * 2**row) for row in range(12)) + "\n"
    ),
    "kern on which the converter dies": lambda xml: (
        "**kern\t**keM4/4\n=1\t=*M4/4\n=1\t=1\n4C\t8ee(L\n.\t8ff)J\n4E 4G\t"
    ),
    "kern without notes": lambda xml: "**kern\n4r\n*-\n",
    "MEI with impossible pitch": lambda xml: mei('<note dur="4" oct="99" pname="c"/>'),
    "MEI with impossible duration": lambda xml: mei('<note dur="0" oct="4" pname="c"/>'),
    "MEI with deep beams": lambda xml: mei("<beam>" * 60 + '<note dur="4" oct="4" pname="c"/>' + "</beam>" * 60),
}


def mei(content):
    """A one-bar MEI document around raw content."""
    return (
        '<mei xmlns="http://www.music-encoding.org/ns/mei"><music><body><mdiv><score><scoreDef><staffGrp>'
        '<staffDef n="1" lines="5"/></staffGrp></scoreDef><section><measure n="1"><staff n="1"><layer n="1">'
        f"{content}</layer></staff></measure></section></score></mdiv></body></music></mei>"
    )


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_file_is_refused(name, xml, tmp_path):
    """A hostile file is refused by name, without a hang and within 500 MB."""
    content = HOSTILE[name](xml)
    path = tmp_path / "hostile.bin"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    before, start = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024, time.process_time()
    with pytest.raises(ScoreError) as caught:
        read(path)
    assert "hostile.bin" in str(caught.value)
    assert "Traceback" not in str(caught.value)
    assert time.process_time() - start < HANG_S
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 - before < LIMIT_BYTES


def test_missing_file_and_folder(tmp_path):
    """A missing file and a folder are told apart."""
    with pytest.raises(ScoreError, match="no such file"):
        read(tmp_path / "gone.xml")
    with pytest.raises(ScoreError, match="is a folder"):
        read(tmp_path)


def test_impossible_things_name_part_bar_and_line(xml, reads):
    """What is wrong inside a bar is placed by part, bar and line."""
    with pytest.raises(ScoreError, match=r"part 'Part 1', bar 2 \(line 1\)"):
        reads(xml.document(xml.attributes(staves=1) + xml.note("C4", 16), raw_note("-4")))


def seeds(xml):
    """Small good files of every format, with many signs."""
    signs = (
        xml.direction("<dynamics><p/></dynamics>")
        + xml.direction('<wedge type="crescendo" number="1"/>')
        + xml.direction('<pedal type="start"/>', staff=2)
        + xml.note("E5", kind="16th", before='<grace slash="yes"/>')
        + xml.note("D5", 4, notations='<slur type="start"/><ornaments><trill-mark/></ornaments>')
        + xml.note("C5", 4, notations='<slur type="stop"/><arpeggiate/>')
        + xml.note("E5", 4, chord=True, ties="start", notations="<arpeggiate/>")
        + xml.note("E5", 8, ties="stop")
    )
    last = xml.note("C4", 16) + '<barline location="right"><repeat direction="backward" times="2"/></barline>'
    good = xml.document(xml.piano(signs, xml.note("C3", 16, voice=5, staff=2), start=xml.attributes()), last).encode()
    track = b"\x00\xff\x58\x04\x03\x02\x18\x08\x00\xff\x51\x03\x07\xa1\x20\x00\xb0\x40\x7f"
    track += b"".join(bytes([0, 0x90, 60 + row, 64, 96, 0x80, 60 + row, 0]) for row in range(12)) + b"\x00\xff\x2f\x00"
    kern = "**kern\t**kern\n*M4/4\t*M4/4\n=1\t=1\n4C\t8ee(L\n.\t8ff)J\n4E 4G\t[4gg\n"
    kern += "*\t*^\n2C\t2gg]\t4b\n.\t.\t4cc\n*\t*v\t*v\n==\t==\n*-\t*-\n"
    text = mei(
        '<note dur="4" oct="4" pname="c"/><chord dur="4"><note oct="4" pname="e"/><note oct="4" pname="g"/></chord>'
    )
    return {
        "xml": (good, 1160),
        "mxl": (archive({"META-INF/container.xml": container("s.xml"), "s.xml": good}), 300),
        "mid": (midi(track), 300),
        "mei": (text.encode(), 200),
        "krn": (kern.encode(), 40),
    }


def mutated(good, chance):
    """One copy of *good* with one to four random injuries."""
    data = bytearray(good)
    for _ in range(chance.randint(1, 4)):
        place = chance.randrange(len(data))
        kind = chance.randrange(6)
        if kind == 0:
            data[place] = chance.randrange(256)
        elif kind == 1:
            del data[place : place + chance.randint(1, 30)]
        elif kind == 2:
            data[place:place] = data[place : place + chance.randint(1, 60)]
        elif kind == 3:
            data[place:place] = chance.choice(
                [b"-", b"9999999999", b"NaN", b"<", b">", b"\x00", b"\xff", b"&x;", b"\t", b"*^"]
            )
        elif kind == 4:
            data[place:] = data[place : place + chance.randint(0, len(data) - place)]
        else:
            other = chance.randrange(len(data))
            size = chance.randint(1, 20)
            data[place : place + size] = data[other : other + size]
        if not data:
            data = bytearray(b"x")
    return bytes(data)


def attempt(path):
    """Read a file: the score, or None and the message."""
    try:
        return read(path), ""
    except KlangprobeError as error:
        return None, str(error)


@pytest.mark.parametrize("kind", ["xml", "mxl", "mid", "mei", "krn"])
def test_mutated_files(kind, xml, tmp_path):
    """A damaged file is read or refused with its name; nothing else ever happens (2 000 files in all)."""
    good, count = seeds(xml)[kind]
    path = tmp_path / f"damaged.{kind}"
    path.write_bytes(good)
    assert len(read(path).notes) > 2
    chance = random.Random(20_000 + len(kind))
    refused = 0
    for _ in range(count):
        path.write_bytes(mutated(good, chance))
        score, message = attempt(path)
        refused += score is None
        if score is None:
            assert "damaged." in message
            continue
        notes = score.notes
        assert len(notes)
        assert (notes["duration"] >= 0).all()
        assert ((notes["pitch"] >= 0) & (notes["pitch"] < 128)).all()
        assert ((notes["bar"] >= 1) & (notes["bar"] <= len(score.bars))).all()
    assert 0 < refused < count
