"""How steady the survey is: pieces noted otherwise, with the same music, must give the same findings.

    python bench/steadiness.py [DATA] [--each]

Each piece of the music21 corpus named below (and each piano piece in DATA, a folder of scores) is surveyed as it is and
as another engraver might have written it; printed is the share of first-rank findings that the other survey has too, of
the same kind and with both ends within a bar, counted both ways. The second figure lets the start of a passage be
called a theme by one and a contrast by the other. Changes of the first group leave the music as it is; those of the
second are what two editions differ in, and need not agree wholly.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from survey import marked_like, shared_findings

from reading.playing import performed_notes
from reading.reader import read
from reading.score import BAR_DTYPE, Flag, Mark, Score
from reading.survey import survey

CORPUS = (
    "joplin/maple_leaf_rag.mxl",
    "schumann_clara/polonaise_op1n1.mxl",
    "schumann_clara/polonaise_op1n2.mxl",
    "schumann_clara/polonaise_op1n3.mxl",
    "schumann_clara/polonaise_op1n4.mxl",
    "mozart/k545/movement1_exposition.mxl",
    "chopin/mazurka06-2.krn",
    "bach/bwv846.mxl",
    "cpebach/h186.mxl",
    "schubert/Lindenbaum.xml",
    "beach/prayer_of_a_tired_child.musicxml",
    "schumann_clara/opus17/movement3.xml",
)
TWICE = tuple(f"beethoven/opus18no1/movement{number}" for number in (1, 2, 3, 4))  # the corpus has .krn and .mxl
NOT_PIANO = ("V05", "V06")
SIGNS = Flag.ACCENT | Flag.MARCATO | Flag.SFORZANDO | Flag.FP
EVERY = 12  # bars from one changed place to the next


def noted(score: Score, **changes: object) -> Score:
    """The score with other tables, under a name of its own."""
    return replace(score, sha256="", **changes)  # type: ignore[arg-type]


def voices_renumbered(score: Score) -> Score:
    """Voice numbers drawn at random."""
    notes = score.notes.copy()
    notes["voice"] = np.random.default_rng(0).integers(1, 5, len(notes))
    return noted(score, notes=notes)


def tone_higher(score: Score) -> Score:
    """Every pitch and the key signature a tone higher."""
    notes, bars = score.notes.copy(), score.bars.copy()
    notes["pitch"] += 2
    bars["fifths"] = (bars["fifths"].astype(int) + 2 + 6) % 12 - 6
    return noted(score, notes=notes, bars=bars)


def values_halved(score: Score) -> Score:
    """Every note value half as long, the lower figure of the metre doubled; strokes keep what they stand for."""
    notes, bars = score.notes.copy(), score.bars.copy()
    for rows in (notes, bars):
        for name in ("onset", "duration"):
            rows[name] //= 2
    bars["beat_type"] *= 2
    return noted(score, notes=notes, bars=bars, marks=tuple(map(halved, score.marks)))


def halved(mark: Mark) -> Mark:
    """A mark at half its time."""
    value = mark.value
    if mark.kind == "tempo":
        value = str(float(value) / 2)
    elif mark.kind == "tremolo":
        way, _, beams = value.rpartition(":")
        value = f"{way}:{int(beams) + 1}".removeprefix(":")
    return replace(mark, onset=mark.onset // 2, end=mark.end // 2, value=value)


def divided(score: Score, rows: list[int]) -> Score:
    """The score with some bars (rows from 0) divided before their last beat, as a repeat sign there would have it."""
    pieces, numbers = [], []
    for row, bar in enumerate(score.bars):
        beat = 4 * 10_080 // max(int(bar["beat_type"]), 1)
        parts = [bar]
        if row in rows and bar["duration"] > beat:
            early, late = bar.copy(), bar.copy()
            early["duration"] -= beat
            early["double_bar"], early["repeat_end"] = False, 0
            late["onset"], late["duration"], late["repeat_start"] = bar["onset"] + bar["duration"] - beat, beat, False
            parts = [early, late]
        pieces += parts
        numbers += [score.bar_numbers[row]] * len(parts)
    bars = np.array([part.tolist() for part in pieces], dtype=BAR_DTYPE)
    bars["index"] = np.arange(1, len(bars) + 1)
    notes = score.notes.copy()
    notes["bar"] = np.maximum(np.searchsorted(bars["onset"], notes["onset"], side="right"), 1)
    return noted(score, notes=notes, bars=bars, bar_numbers=tuple(numbers))


def bars_divided(score: Score) -> Score:
    """One bar in twelve divided before its last beat."""
    return divided(score, list(range(EVERY - 1, len(score.bars) - 1, EVERY)))


def through_mei(score: Score, path: Path) -> Score:
    """The file as Verovio writes it in MEI (music-encoding.org), read again."""
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    if not toolkit.loadFile(str(path)):
        return score
    with tempfile.TemporaryDirectory() as folder:
        other = Path(folder) / "other.mei"
        other.write_text(toolkit.getMEI(), encoding="utf-8")
        return read(other)


def bar_lines_plain(score: Score) -> Score:
    """No double bars, no repeat signs; endings keep their brackets."""
    bars = score.bars.copy()
    for name in ("double_bar", "repeat_start", "repeat_end"):
        bars[name] = 0
    return noted(score, bars=bars)


def repeat_printed(score: Score) -> Score:
    """A repeat sign in the middle of the piece that divides its bar, as where a movement is printed with repeats."""
    row = len(score.bars) // 3
    other = divided(score, [row])
    if len(other.bars) == len(score.bars):
        return score
    bars = other.bars.copy()
    bars["repeat_end"][row], bars["double_bar"][row], bars["repeat_start"][row + 1] = 2, True, True
    return noted(other, bars=bars)


def hairpins_shorter(score: Score) -> Score:
    """Hairpins end a beat earlier, or half as long where they are short."""
    beat = 4 * 10_080 // max(int(score.bars["beat_type"][0]), 1)

    def shorter(mark: Mark) -> Mark:
        length = mark.end - mark.onset
        return replace(mark, end=mark.onset + max(length - beat, length // 2)) if mark.kind == "hairpin" else mark

    return noted(score, marks=tuple(shorter(mark) for mark in score.marks))


def releases_earlier(score: Score) -> Score:
    """One note in ten written half as long with a rest after it."""
    notes = score.notes.copy()
    some = (np.random.default_rng(1).random(len(notes)) < 0.1) & (notes["duration"] > 0)
    notes["duration"][some] = np.maximum(notes["duration"][some] // 2, 1)
    return noted(score, notes=notes)


def misprints(score: Score) -> Score:
    """One note in a hundred a semitone off."""
    notes = score.notes.copy()
    rng = np.random.default_rng(2)
    some = rng.random(len(notes)) < 0.01
    notes["pitch"][some] += np.where(rng.random(some.sum()) < 0.5, 1, -1).astype(notes["pitch"].dtype)
    return noted(score, **sorted_notes(score, notes, score.notes["id"]))


def written_out(score: Score, signs: Flag) -> Score:
    """The score with some signs as the notes they are played as, the signs left out."""
    kept = score.notes.copy()
    kept["flags"] &= np.uint32(signs | Flag.CUE)
    played = performed_notes(score, kept, marks=score.marks)
    notes = np.zeros(len(played), dtype=score.notes.dtype)
    for name in score.notes.dtype.names:
        notes[name] = played[name]
    notes["flags"] = score.notes["flags"][played["written"]] & ~np.uint32(signs)
    own = (score.notes["flags"] & np.uint32(signs)) == 0  # as written, with lengths of their own (graces have none)
    same = own[played["written"]]
    for name in ("onset", "duration"):
        notes[name][same] = score.notes[name][played["written"][same]]
    return noted(score, **sorted_notes(score, notes, played["written"]))


def trills_written_out(score: Score) -> Score:
    """Every trill in the notes it is played as."""
    return written_out(score, Flag.TRILL)


def tremolos_written_out(score: Score) -> Score:
    """Every tremolo, of one note or between two, in the notes it is played as."""
    return written_out(score, Flag.TREMOLO | Flag.TREMOLO_BETWEEN)


def sorted_notes(score: Score, notes: np.ndarray, was: np.ndarray) -> dict[str, object]:
    """The notes in the order of the table, and the marks with the notes they belong to; *was* holds the old ids."""
    order = np.lexsort((notes["voice"], notes["staff"], notes["part"], notes["pitch"], notes["onset"]))
    notes, was = notes[order], was[order]
    notes["id"] = np.arange(len(notes))
    notes["bar"] = np.maximum(np.searchsorted(score.bars["onset"], notes["onset"], side="right"), 1)
    now: dict[int, int] = {}
    for new, old in enumerate(was.tolist()):
        now.setdefault(old, new)
    marks = (replace(mark, notes=tuple(now[row] for row in mark.notes if row in now)) for mark in score.marks)
    return {"notes": notes, "marks": tuple(marks)}


def accents_gone(score: Score) -> Score:
    """No accents and no sforzandos."""
    notes = score.notes.copy()
    notes["flags"] &= ~np.uint32(SIGNS)
    return noted(score, notes=notes, marks=tuple(mark for mark in score.marks if mark.kind != "accent"))


SAME_MUSIC: dict[str, Callable[[Score], Score]] = {
    "voices renumbered": voices_renumbered,
    "a tone higher": tone_higher,
    "note values halved": values_halved,
    "bars divided": bars_divided,
    "trills written out": trills_written_out,
    "tremolos written out": tremolos_written_out,
}
EDITIONS: dict[str, Callable[[Score], Score]] = {
    "plain bar lines": bar_lines_plain,
    "a repeat sign more": repeat_printed,
    "hairpins end earlier": hairpins_shorter,
    "releases earlier": releases_earlier,
    "misprints, 1 in 100": misprints,
    "no accents": accents_gone,
}


def pieces(data: Path | None) -> list[Path]:
    """The files to measure on."""
    import music21

    corpus = Path(music21.__file__).parent / "corpus"
    found = [corpus / name for name in CORPUS]
    if data is not None:
        found += [path for path in sorted(data.glob("V*_*")) if path.is_file() and path.name[:3] not in NOT_PIANO]
    return found


def counted(one: Score, two: Score) -> tuple[np.ndarray, list[str]]:
    """(found, found by any name of a start, all) over both directions, and what is missing by name."""
    a, b = survey(one), survey(two)
    total, missing = np.zeros(3, int), []
    for here, there in ((a, b), (b, a)):
        first, strict, kin = shared_findings(here, there)
        total += (len(first) - len(strict), len(first) - len(kin), len(first))
        missing += [finding.name for finding in strict]
    return total, missing


def report(name: str, rows: list[tuple[str, np.ndarray, list[str]]], *, each: bool) -> None:
    """Print one line for one way of noting, and one for each piece where asked."""
    found, kin, total = np.sum([row[1] for row in rows], axis=0)
    print(f"  {name:22s} {found / total:.3f}  {kin / total:.3f}  of {total}")
    for piece, count, missing in rows:
        if each and missing:
            print(f"      {piece[:24]:24s} {count[0]}/{count[2]} {missing}")


def main() -> None:
    """Print every table."""
    each = "--each" in sys.argv
    names = [word for word in sys.argv[1:] if not word.startswith("--")]
    paths = pieces(Path(names[0]) if names else None)
    scores = [(path.stem, path, read(path)) for path in paths]
    for title, ways in (("the same music noted otherwise", SAME_MUSIC), ("what editions differ in", EDITIONS)):
        print(f"{title} ({len(scores)} pieces): first-rank findings found in the other; by any name of a start; of all")
        for name, way in ways.items():
            report(name, [(stem, *counted(score, way(score))) for stem, _, score in scores], each=each)
        if ways is SAME_MUSIC:
            report(
                "MEI", [(stem, *counted(score, through_mei(score, path))) for stem, path, score in scores], each=each
            )
    corpus = Path(paths[0]).parents[1]
    pairs = [(name, read(corpus / f"{name}.krn"), read(corpus / f"{name}.mxl")) for name in TWICE]
    report("quartets, kern and XML", [(name, *counted(one, two)) for name, one, two in pairs], each=each)
    alike = [(name, *counted(marked_like(one, two), two)) for name, one, two in pairs]
    report("the same, marks of XML", alike, each=each)


if __name__ == "__main__":
    main()
