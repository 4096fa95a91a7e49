"""Measure the layers against people: melodies of songs hidden in the piano, and the bass of human harmony labels.

    python bench/layers.py DATA

Without DATA only the time is measured, on the demo piece. DATA is a folder of scores with an ``annotations/`` folder
beside them (see ``docs/survey.md`` for the tables read). Nothing of it is part of the project. Beside each figure stand
the random choice among the same candidate lines and the plain rule "highest note of the right hand".
"""

from __future__ import annotations

import csv
import sys
import time
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from reading.layers import Role, find_layers
from reading.layers_lines import lines_of
from reading.layers_texture import texture_of
from reading.reader import read
from reading.score import PartInfo, Score, quarters

WAYS = ("right hand", "left hand, all kept", "left hand alone")
ROMAN = {"I": 0, "II": 1, "III": 2, "IV": 3, "V": 4, "VI": 5, "VII": 6}
MAJOR, MINOR = (0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 8, 10)
LETTERS = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}


def folded(score: Score, way: str) -> tuple[Score, np.ndarray]:
    """Return the song with its voices hidden in the piano, and the rows of the voices' notes in the new table."""
    piano = max(row for row, part in enumerate(score.parts) if part.staves >= 2)
    notes = score.notes.copy()
    sung = notes["part"] != piano
    notes["part"] = 0
    notes["staff"][sung] = 1 if way == "right hand" else 2
    if way != "right hand":
        notes["pitch"][sung] -= 12
    keep = (notes["duration"] > 0) & (notes["flags"] & (1 << 0) == 0)
    if way == "left hand alone":
        keep &= sung | (notes["staff"] == 1)
    twin = set(zip(notes["onset"][sung].tolist(), notes["pitch"][sung].tolist(), strict=True))
    same = [(o, p) in twin for o, p in zip(notes["onset"].tolist(), notes["pitch"].tolist(), strict=True)]
    keep &= sung | ~np.asarray(same)
    notes, sung = notes[keep], sung[keep]
    order = np.lexsort((notes["pitch"], notes["onset"]))
    notes, sung = notes[order], sung[order]
    notes["id"] = np.arange(len(notes))
    return replace(score, notes=notes, parts=(PartInfo("Piano", 2),), marks=()), np.flatnonzero(sung)


def lenient(score: Score, truth: np.ndarray, predicted: np.ndarray) -> float:
    """F1 by onset and pitch class where the voice sounds: precision by predicted note, recall by note of the voice."""
    notes = score.notes
    key = notes["onset"].astype(np.int64) * 12 + notes["pitch"] % 12
    spans = [(int(notes["onset"][row]), int(notes["onset"][row] + notes["duration"][row])) for row in truth]
    starts, ends = (np.asarray(side) for side in zip(*spans, strict=True))
    onset = notes["onset"][predicted]
    inside = np.asarray([bool(((starts <= at) & (ends > at)).any()) for at in onset], dtype=bool)
    predicted = predicted[inside]
    precision = np.isin(key[predicted], key[truth]).mean() if len(predicted) else 0.0
    recall = np.isin(key[truth], key[predicted]).mean()
    return float(2 * precision * recall / max(precision + recall, 1e-9))


def plain_lines(score: Score, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Rows of the highest right-hand notes, and of a random candidate line chosen anew in every bar."""
    texture = texture_of(score)
    lines = lines_of(texture)
    upper = [line for line in lines if line.staff == 0 and line.kind == "top"]
    choice = np.random.default_rng(seed).integers(0, len(lines), texture.bars)
    random = [line.rows[choice[texture.bar[line.rows] - 1] == column] for column, line in enumerate(lines)]
    return texture.ids[upper[0].rows] if upper else np.empty(0, int), texture.ids[np.concatenate(random)]


def songs(data: Path) -> None:
    """Print how well the voice is found again."""
    found: dict[str, list[tuple[float, float, float]]] = {way: [] for way in WAYS}
    print("\nmelody of songs, voice hidden in the piano: F1 by onset and pitch class")
    print(f"{'':28}" + "".join(f"{way + ': found/top/random':>44}" for way in WAYS))
    for path in sorted(data.glob("*.mxl")):
        score = read(path)
        if len(score.parts) < 2 or len(score.parts) > 4 or not any(part.staves >= 2 for part in score.parts):
            continue
        line = f"{path.stem[:26]:28}"
        for way in WAYS:
            song, truth = folded(score, way)
            layers = find_layers(song)
            top, chance = plain_lines(song, 7)
            mine = np.flatnonzero(layers.roles == int(Role.MELODY))
            row = lenient(song, truth, mine), lenient(song, truth, top), lenient(song, truth, chance)
            found[way].append(row)
            line += f"{row[0]:>28.3f}{row[1]:>8.3f}{row[2]:>8.3f}"
        print(line)
    if found[WAYS[0]]:
        print(
            f"{'mean':28}" + "".join("{:>28.3f}{:>8.3f}{:>8.3f}".format(*np.mean(found[way], axis=0)) for way in WAYS)
        )


def labelled(data: Path) -> None:
    """Print how well the melody agrees with notes that people labelled.

    ``annotations/<piece>/melody_notes.tsv``: ``onset_q``, ``midi``, ``span``; every melody note of each span is named,
    and our notes count from its first to its last onset.
    """
    tables = sorted(data.glob("annotations/*/melody_notes.tsv"))
    if tables:
        print("\nmelody against labelled notes: precision, recall, F1; left hand found, of, added; F1 of the top line")
    for table in tables:
        score = read(next(path for path in data.glob(table.parent.name + ".*") if path.is_file()))
        with table.open(encoding="utf-8") as file:
            rows = [(float(r["onset_q"]), int(r["midi"]), r["span"]) for r in csv.DictReader(file, delimiter="\t")]
        spans = [[onset for onset, _, span in rows if span == one] for one in sorted({row[2] for row in rows})]
        truth = {(round(onset * 48), midi) for onset, midi, _ in rows}
        mine = np.flatnonzero(find_layers(score).roles == int(Role.MELODY))
        figures = [agreement(score, chosen, truth, spans) for chosen in (mine, plain_lines(score, 7)[0])]
        print(f"{table.parent.name[:26]:28}", *figures[0], " ", figures[1][2])


def agreement(score: Score, rows: np.ndarray, truth: set[tuple[int, int]], spans: list[list[float]]) -> list[str]:
    """Precision, recall and F1 inside the spans; of the lowest staff's notes found, labelled, and wrongly added."""
    notes = score.notes
    named: dict[tuple[int, int], int] = {}
    for row in range(len(notes)):
        if notes["duration"][row] > 0:
            key = round(float(quarters(int(notes["onset"][row]))) * 48), int(notes["pitch"][row])
            named[key] = max(named.get(key, 0), int(notes["staff"][row]))
    onsets = [float(quarters(int(at))) for at in notes["onset"][rows]]
    found = {
        (round(at * 48), int(notes["pitch"][row]))
        for at, row in zip(onsets, rows.tolist(), strict=True)
        if notes["duration"][row] > 0 and any(min(span) <= at <= max(span) for span in spans)
    }
    hits, low = found & truth, int(notes["staff"].max())
    precision, recall = len(hits) / max(len(found), 1), len(hits) / max(len(truth), 1)
    left = [sum(named.get(key) == low for key in keys) for keys in (hits, truth, found - truth)]
    return [f"{value:.3f}" for value in (precision, recall, 2 * precision * recall / max(precision + recall, 1e-9))] + [
        str(count) for count in left
    ]


def tonic(global_key: str, local_key: str) -> int:
    """Pitch class of a local key given in Roman numerals of the global one."""
    base = LETTERS[global_key[0].lower()] + global_key.count("#") - global_key[1:].count("b")
    for step in reversed(local_key.split("/")):
        numeral = step.lstrip("#b")
        scale = MINOR if global_key[0].islower() else MAJOR
        base += scale[ROMAN[numeral.upper()]] + step.count("#") - step.count("b")
    return base % 12


def bass(data: Path) -> None:
    """Print how well the bass agrees with the bass of human harmony labels."""
    print("\nbass against harmony labels: share of labels found, share of bass notes that agree, F")
    for table in sorted(data.glob("annotations/*/dcml_harmonies.tsv")):
        path = next(data.glob(table.parent.name + ".*"))
        score = read(path)
        with table.open(encoding="utf-8") as file:
            rows = [row for row in csv.DictReader(file, delimiter="\t") if row["bass_note"] and row["localkey"]]
        ends = [float(Fraction(row["quarterbeats_all_endings"])) + float(row["duration_qb"] or 0) for row in rows]
        # an encoding without the first ending is a bar shorter than the labels, which offer a column for either
        column = "quarterbeats_all_endings" if max(ends) <= float(quarters(score.end)) + 0.5 else "quarterbeats"
        rows = [row for row in rows if row[column]]
        starts = [float(Fraction(row[column])) for row in rows]
        classes = [{(tonic(row["globalkey"], row["localkey"]) + 7 * int(float(row["bass_note"]))) % 12} for row in rows]
        sounding = [known | pedal_class(row) for known, row in zip(classes, rows, strict=True)]
        roles = find_layers(score).roles
        found, lowest = roles == int(Role.BASS), lowest_of_onset(score)
        carried = found | ((roles == int(Role.MELODY)) & lowest & (score.notes["staff"] == score.notes["staff"].max()))
        for name, picked, truth in (
            ("found", found, classes),
            ("found, the pedal point's note accepted too", found, sounding),
            ("the same, and the melody where it lies lowest", carried, sounding),
            ("lowest note of each onset", lowest, classes),
            ("random note of each onset", None, classes),
        ):
            print(f"{table.parent.name[:26]:28}{name:46}", *bass_figures(score, picked, starts, truth))


def pedal_class(row: dict[str, str]) -> set[int]:
    """Pitch class of the pedal point a label stands over, if any."""
    numeral = row.get("pedal") or ""
    if not numeral:
        return set()
    scale = MINOR if row["localkey"].lstrip("#b")[0].islower() else MAJOR
    degree = scale[ROMAN[numeral.split("/")[0].lstrip("#b").upper()]]
    return {(tonic(row["globalkey"], row["localkey"]) + degree) % 12}


def lowest_of_onset(score: Score) -> np.ndarray:
    """Mark the lowest note of every onset."""
    texture = texture_of(score)
    result = np.zeros(len(score.notes), bool)
    result[texture.ids[np.flatnonzero(np.diff(texture.onset, prepend=-1))]] = True
    return result


def bass_figures(score: Score, picked: Any, starts: list[float], classes: list[set[int]]) -> tuple[str, str, str]:
    """Recall, precision and F; a random bass takes one note of each onset.

    A label is found where a bass note of its class sounds under it: a bass may be held from one label into the next.
    A bass note agrees with the label it is struck under.
    """
    notes = score.notes
    if picked is None:
        order = np.random.default_rng(5).permutation(len(notes))
        _, first = np.unique(notes["onset"][order], return_index=True)
        picked = np.zeros(len(notes), bool)
        picked[order[first]] = True
    rows = np.flatnonzero(picked & (notes["duration"] > 0))
    onset, end = (
        np.asarray([float(quarters(int(at))) for at in moments])
        for moments in (notes["onset"][rows], notes["onset"][rows] + notes["duration"][rows])
    )
    first, last = (np.searchsorted(starts, at, side="right") - 1 for at in (onset + 1e-6, end - 1e-6))
    pitch = (notes["pitch"][rows] % 12).tolist()
    agrees = [at >= 0 and one in classes[at] for at, one in zip(first.tolist(), pitch, strict=True)]
    heard = {
        label
        for one, start, stop in zip(pitch, first.tolist(), last.tolist(), strict=True)
        for label in range(max(start, 0), stop + 1)
        if one in classes[label]
    }
    recall, precision = len(heard) / len(starts), float(np.mean(agrees))
    return f"{recall:.3f}", f"{precision:.3f}", f"{2 * recall * precision / (recall + precision):.3f}"


def cost(data: Path) -> None:
    """Print the time per thousand notes."""
    print("\ntime for the layers, seconds per 1000 notes")
    for path in sorted(data.glob("*.musicxml")):
        score = read(path)
        find_layers(score)
        start = time.perf_counter()
        for _ in range(5):
            find_layers(score)
        print(f"{path.stem[:26]:28}{(time.perf_counter() - start) / 5 / len(score.notes) * 1000:.4f}")


if __name__ == "__main__":
    if len(sys.argv) == 2:
        songs(Path(sys.argv[1]))
        labelled(Path(sys.argv[1]))
        bass(Path(sys.argv[1]))
    cost(Path(sys.argv[1]) if len(sys.argv) == 2 else Path(__file__).parents[1] / "demo")
