"""How form, repeats, figuration and pedal compare with people, beside chance.

    python bench/form.py FOLDER [--orders 20]

FOLDER holds open scores to measure on (V01 ...) and, in subfolder ``annotations``, what people said of them; none of
it is part of the project. Prints one table per question; every figure stands beside its random baseline.
"""

import argparse
import csv
import dataclasses
import time
from itertools import pairwise
from pathlib import Path

import numpy as np

from reading import figuration, form, pedal, repeats
from reading.reader import read

FORM = ("V02", "V07")
UNSEEN = "V05"  # an orchestral movement nobody looked at while choosing the method
PEDAL = ("V03", "V08", "V09")
ENCODINGS = ("V01", "V02")
DRAWS = 300


def rows_of(path):
    """Return a table as a list of dicts."""
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(file, delimiter="\t"))


def find(folder, name):
    """Return the score of a piece and its annotation folder."""
    path = next(p for p in sorted(folder.glob(f"{name}*")) if p.is_file())
    return read(path), next((folder / "annotations").glob(f"{name}*"))


def human_starts(annotations, score):
    """Return the bars (index) at which level 0 and 1 start, the first left out.

    The form labels count bars without second endings of their own; where the last labelled bar plus the offset of the
    first is the last bar of the score, this offset holds throughout.
    """
    rows = rows_of(annotations / "norm_form.tsv")
    offset = int(rows[0]["score_measure_index"]) - int(rows[0]["bar"])
    starts = sorted({int(row["bar"]) + offset for row in rows if int(row["level"]) <= 1})
    return [bar for bar in starts[1:] if bar <= len(score.bars)], offset


def second_expert(annotations, offset):
    """Return the bars at which sections and zones of the second labelling start, the first left out."""
    rows = rows_of(annotations / "norm_form_bps.tsv")
    seen, starts = set(), set()
    for before, row in zip([{}, *rows], rows, strict=False):
        bar = max(int(row["bar"]), 1)
        key = (row["section"], row["zone"])
        if (before.get("section"), before.get("zone")) != key and key not in seen:
            starts.add(bar + offset)
        seen.add(key)
    return sorted(starts)[1:]


def matched(human, proposed, tolerance):
    """Return the share of human starts matched one to one within *tolerance* bars."""
    pairs = sorted((abs(a - b), a, b) for a in human for b in proposed if abs(a - b) <= tolerance)
    used_a, used_b = set(), set()
    for _, a, b in pairs:
        if a not in used_a and b not in used_b:
            used_a.add(a)
            used_b.add(b)
    return len(used_a) / len(human)


def by_chance(human, count, n_bars, tolerance, rng):
    """Return what as many random bars, two or more apart, would match."""
    total = 0.0
    for _ in range(DRAWS):
        chosen = []
        for bar in rng.permutation(np.arange(2, n_bars + 1)):
            if all(abs(bar - other) >= 2 for other in chosen):
                chosen.append(int(bar))
            if len(chosen) == count:
                break
        total += matched(human, chosen, tolerance)
    return total / DRAWS


def report_sections(folder):
    """Print recall of the human starts at once, twice and three times their count."""
    print("SECTION STARTS  recall (chance)            1x           2x           3x")
    rng = np.random.default_rng(0)
    means = {1: [], 0: []}
    for name in (*FORM, UNSEEN):
        score, annotations = find(folder, name)
        found = form.sections(score)
        for label, starts in human_lists(annotations, score, name):
            for tolerance in (1, 0):
                values = recall(found, starts, len(score.bars), tolerance, rng)
                text = "  ".join(f"{value:.2f} (.{round(100 * chance):02d})" for value, chance in values)
                print(f"  {name} {label:14s} n={len(starts):2d} {'±1 bar' if tolerance else 'exact ':6s}   {text}")
                if label == "labels" and name in FORM:
                    means[tolerance].append([value for value, _ in values])
        total = len(found.rows + found.more) - 1
        print(f"  {name} main list {len(found.rows) - 1} of {total} candidates, {len(score.bars)} bars")
    for tolerance, values in means.items():
        mean = "  ".join(f"{value:.2f}" for value in np.mean(values, axis=0))
        print(f"  mean of {' and '.join(FORM)}, labels, {'±1 bar' if tolerance else 'exact '} {mean}")


def human_lists(annotations, score, name):
    """Return (who, bars) for every list of starts there is of a piece."""
    if name == UNSEEN:
        rows = rows_of(annotations / "norm_sections.tsv")
        return [("labels", sorted({int(row["score_measure_index"]) for row in rows} - {1}))]
    human, offset = human_starts(annotations, score)
    return [("labels", human), ("second expert", second_expert(annotations, offset))]


def recall(found, starts, n_bars, tolerance, rng):
    """Return (recall, chance) with as many proposals as human starts, twice and three times as many."""
    ranked = [row.bar_index for row in found.rows[1:] + found.more]
    counts = [times * len(starts) for times in (1, 2, 3)]
    return [
        (matched(starts, ranked[:count], tolerance), by_chance(starts, count, n_bars, tolerance, rng))
        for count in counts
    ]


def copied(annotations, offset):
    """Return (bar, source bar) for every bar the form labels say is taken from an earlier one."""
    pairs = []
    for line in (annotations / "form_takingform.csv").read_text(encoding="utf-8").splitlines():
        head = line.split(",")[0]
        if "=" in head and "-" in head:
            (a, b), (c, _) = ([int(n) for n in side.split("-")] for side in head.split("="))
            pairs += [(a + k + offset, c + k + offset) for k in range(b - a + 1)]
    return pairs


def same_letter(annotations, offset):
    """Return (first bar of a phrase of the recapitulation, first bar of the exposition's phrase of the same name)."""
    rows = rows_of(annotations / "norm_form_bps.tsv")
    source = {}
    for row in rows:
        if row["section"] == "exp":
            source.setdefault((row["zone"], row["phrase"]), []).append(max(int(row["bar"]), 1) + offset)
    counts, pairs = {}, []
    for row in (row for row in rows if row["section"] == "rec"):
        key = (row["zone"], row["phrase"])
        models = sorted(set(source.get(key, [])))
        nth = counts.get(key, 0)
        counts[key] = nth + 1
        if nth < len(models):
            pairs.append((int(row["bar"]) + offset, models[nth]))
    return sorted(set(pairs))


def report_repeats(folder, orders):
    """Print how many copied passages are found with the right source, and what random orders of the bars give."""
    print("REPEATS         found  right source   repeats in the piece, in each of the random orders of its bars")
    for name in FORM:
        score, annotations = find(folder, name)
        _, offset = human_starts(annotations, score)
        found = repeats.find(score)
        source = {}
        for repeat in found:
            for step in range(repeat.later[1] - repeat.later[0] + 1):
                source.setdefault(repeat.later[0] + step, []).append(repeat.first[0] + step)
        control = [len(repeats.find(shuffled(score, seed))) for seed in range(orders)]
        for label, pairs, near in (
            ("bars copied", copied(annotations, offset), 0),
            ("same phrase", same_letter(annotations, offset), 1),
        ):
            if not pairs:
                continue
            hit = [bar in source for bar, _ in pairs]
            right = [any(abs(model - other) <= near for other in source.get(bar, ())) for bar, model in pairs]
            shares = f"{np.mean(hit):.2f}   {np.mean(right):.2f}"
            print(f"  {name} {label} n={len(pairs):2d} {shares}           {len(found)}, {control}")


def shuffled(score, seed):
    """Return the score with its bars in random order."""
    order = np.random.default_rng(seed).permutation(len(score.bars))
    bars, notes, place = score.bars[order].copy(), score.notes.copy(), np.argsort(order)
    bars["index"] = np.arange(1, len(bars) + 1)
    bars["onset"] = np.cumsum(bars["duration"]) - bars["duration"]
    bars["pickup"] = False
    bars["volta"] = 0
    row = notes["bar"] - 1
    notes["onset"] += bars["onset"][place[row]] - score.bars["onset"][row]
    notes["bar"] = place[row] + 1
    notes = notes[np.lexsort((notes["pitch"], notes["onset"]))]
    notes["id"] = np.arange(len(notes))
    return dataclasses.replace(score, notes=notes, bars=bars, marks=())


def report_pedal(folder):
    """Print Jaccard of bars with a printed pedal start, marks hidden from the reader, beside every bar."""
    print("PEDAL           Jaccard   every bar   printed  implied")
    values = []
    for name in PEDAL:
        score, annotations = find(folder, name)
        index = {}
        for row in rows_of(annotations / "score_measures.tsv"):
            index.setdefault(row["number"], int(row["index"]))
        rows = rows_of(annotations / "norm_pedal.tsv")
        human = {index[row["bar"]] for row in rows if row["state"] in ("on", "start")}
        found = set(pedal.find(score, use_marks=False).bars)
        value = len(human & found) / len(human | found)
        values.append(value)
        every = len(human) / len(score.bars)
        print(f"  {name}            {value:.2f}      {every:.2f}        {len(human):3d}      {len(found):3d}")
    print(f"  mean           {np.mean(values):.2f}")


def report_figuration(folder):
    """Print how long families hold, and the commonest of the left hand."""
    print(
        "FIGURATION      mean run of a family in bars, of a finer class; changes; commonest families of the left hand"
    )
    for path in sorted(folder.glob("V*")):
        if path.suffix not in (".musicxml", ".mxl", ".krn") or path.name[:3] in ("V05", "V06"):
            continue
        found = figuration.describe(read(path))
        lower = [row for row in found.rows if row.staff == 2]
        run = [
            1 + sum(getattr(a, what) != getattr(b, what) for a, b in pairwise(lower)) for what in ("family", "figure")
        ]
        names, counts = np.unique([row.family for row in lower], return_counts=True)
        common = ", ".join(f"{names[i]} {counts[i]}" for i in np.argsort(-counts)[:4])
        print(
            f"  {path.name[:3]} {len(lower) / run[0]:.1f} {len(lower) / run[1]:.1f}; {len(found.changes[2])}; {common}"
        )


def report_encodings(folder):
    """Print how far two encodings of one piece agree."""
    print("TWO ENCODINGS   starts of the main list within a bar; repeats within a bar")
    for name in ENCODINGS:
        one, _ = find(folder, name)
        other = next((p for p in sorted((folder / "alt").glob(f"{name}*"))), None)
        if other is None:
            continue
        two = read(other)
        first, second = form.sections(one), form.sections(two)
        main = [row.bar_index for row in first.rows]
        near = [row.bar_index for row in second.rows + second.more][: 2 * len(main)]
        alike = np.mean([any(abs(a - b) <= 1 for b in near) for a in main])
        places = [(r.first, r.later) for r in repeats.find(two)]
        same = [
            any(max(abs(r.first[0] - f[0]), abs(r.later[0] - g[0])) <= 1 for f, g in places) for r in repeats.find(one)
        ]
        print(f"  {name} bars {len(one.bars)} and {len(two.bars)}: starts {alike:.2f}, repeats {np.mean(same):.2f}")


def report_cost(folder):
    """Print what the four analyses cost beside the reading of the file."""
    print("COST            reading s; sections, repeats, figuration, pedal s; ratio to reading")
    for name in FORM:
        begin = time.perf_counter()
        score, _ = find(folder, name)
        reading_s = time.perf_counter() - begin
        costs = []
        for analysis in (form.sections, repeats.find, figuration.describe, pedal.find):
            begin = time.perf_counter()
            analysis(score)
            costs.append(time.perf_counter() - begin)
        each = ", ".join(f"{cost:.3f}" for cost in costs)
        print(f"  {name} {len(score.notes)} notes: {reading_s:.2f}; {each}; {sum(costs) / reading_s:.2f}")


def main():
    """Print every table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path, nargs="?", help="scores with an annotations folder beside them")
    parser.add_argument("--orders", type=int, default=20, help="random orders of the bars for the control")
    options = parser.parse_args()
    if options.folder is None:
        print("There is nothing to compare with: name a folder of scores and annotations.")
        return
    report_sections(options.folder)
    report_repeats(options.folder, options.orders)
    report_pedal(options.folder)
    report_figuration(options.folder)
    report_encodings(options.folder)
    report_cost(options.folder)


if __name__ == "__main__":
    main()
