"""How good harmony spans, held voices and filling voices are: figures against people, in one run.

    python bench/voicing.py                  Bach's inner voices, all chorales of the music21 corpus (a minute)
    python bench/voicing.py DATA [--pieces]  also (only) pieces with labels: DATA holds V02…, V07… as MusicXML and
                                             annotations/PIECE/dcml_harmonies.tsv (the labels as the lab publishes them)

Labels: Annotated Beethoven Corpus and sonata corpora of the Digital and Cognitive Musicology Lab, EPFL.
"""

from __future__ import annotations

import csv
import sys
import time
from fractions import Fraction
from pathlib import Path

import chorales
import textures

PIECES = ("V02_beethoven_op2n1_1", "V07_beethoven_op14n1_1")
MAJOR = {"I": 0, "II": 2, "III": 4, "IV": -1, "V": 1, "VI": 3, "VII": 5}
MINOR = {"I": 0, "II": 2, "III": -3, "IV": -1, "V": 1, "VI": -4, "VII": -2}


def fifths(key, degree=None, *, minor=False):
    """Place on the line of fifths (C = 0) of a key's letter, or of a degree of it."""
    if degree is None:
        return "FCGDAEB".index(key[0].upper()) - 1 + 7 * key.count("#") - 7 * key[1:].count("b")
    plain = degree.replace("#", "").replace("b", "").upper()
    return fifths(key) + (MINOR if minor else MAJOR)[plain] + 7 * (degree.count("#") - degree.count("b"))


def labels(path):
    """``(start, end, pitch classes)`` in ticks from a published table of labels."""
    from reading.score import ticks

    found = []
    with path.open(encoding="utf-8") as stream:
        for row in csv.DictReader(stream, delimiter="\t"):
            if not row["chord_tones"] or not row["duration_qb"] or not row["quarterbeats"]:
                continue  # the scores measured on have no first endings, whose "quarterbeats" are empty
            local = fifths(row["globalkey"], row["localkey"], minor=row["globalkey_is_minor"] == "1")
            tones = {(local + int(tone)) * 7 % 12 for tone in row["chord_tones"].split(",")}
            start = Fraction(row["quarterbeats"])
            found.append((ticks(start), ticks(start + Fraction(row["duration_qb"])), tones))
    return found


def inside(notes, table):
    """Share of the time of ``(start, end, pitch)`` notes that lies inside the labelled chord."""
    good = whole = 0
    for start, end, pitch in notes:
        for first, last, tones in table:
            both = min(end, last) - max(start, first)
            if both > 0:
                whole += both
                good += both * (pitch % 12 in tones)
    return good / whole if whole else 1.0


def labelled(folder, name):
    """Print the figures of one labelled piece."""
    import reading
    from mapping.harmony import spans
    from mapping.voicing import gap_voices, held_voices

    score = reading.read(folder / f"{name}.musicxml")
    table = labels(folder / "annotations" / name / "dcml_harmonies.tsv")
    start = time.perf_counter()
    harmony = spans(score)
    took = time.perf_counter() - start
    chords = [(span.start_ticks, span.end_ticks, pc) for span in harmony for pc in span.pcs]
    share = inside(chords, table)
    print(f"{name}: {len(harmony)} spans, {len(table)} labels; span classes inside {share:.3f}; {took:.3f} s")
    tune = reading.find_layers(score).roles == 0
    for count, ranges in (
        (1, [(48, 72, 60)]),
        (2, [(50, 74, 62), (46, 69, 55)]),
        (4, [(57, 77, 67), (53, 72, 62), (48, 69, 57), (43, 64, 52)]),
    ):
        start = time.perf_counter()
        voices = held_voices(score, harmony, ranges, melody=tune)
        took = time.perf_counter() - start
        notes = [note for voice in voices for note in voice]
        cover = sum(end - begin for begin, end, _ in notes) / count / score.end
        print(
            f"  hold, {count} voices: inside {inside(notes, table):.3f}, playing {cover:.2f} of the time, {took:.2f} s"
        )
    rows = textures.rows_of(score)
    fill = gap_voices(score, [(43, 79, 62), (43, 79, 55)], melody=tune, harmony=harmony)
    added = [note for voice in fill for note in voice]
    before, after = textures.open_share(score, rows), textures.open_share(score, rows + added)
    print(f"  fill, 2 voices: gaps over an octave {before:.3f} -> {after:.3f} of the time,", end=" ")
    print(f"inside {inside(added, table):.3f}")


def main():
    """Print everything."""
    files = chorales.files()
    sets = (("set on", files[: chorales.TUNED]), ("others", files[chorales.TUNED :]))
    for name, part in () if "--pieces" in sys.argv else sets:
        start = time.perf_counter()
        result = chorales.measure(part)
        took = time.perf_counter() - start
        figures = ", ".join(f"{key} {value:.3f}" for key, value in result.items())
        print(f"chorales ({name}): {figures}; {took:.0f} s")
    folders = [word for word in sys.argv[1:] if not word.startswith("-")]
    for name in PIECES if folders else ():
        labelled(Path(folders[0]), name)


if __name__ == "__main__":
    main()
