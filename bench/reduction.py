"""How near the reduction of an orchestral score comes to the one its first edition prints for the pianist.

    python bench/reduction.py FOLDER

FOLDER holds the opening tutti of F. Chopin, Concerto op. 21, first movement: ``V06_chopin_op21_1_tutti_orch.krn``
(humdrum-polish-scores, CC BY 4.0), and as the first edition prints it for the pianist:
``annotations/V06_chopin_op21_1_tutti/human_piano_reduction.krn`` (humdrum-chopin-first-editions, CC BY 4.0). Every
piano piece in FOLDER is also reduced as it stands: given literally to one player, it should come back whole. Prints F1
by onset and pitch, and by onset and pitch class, and what the hands are asked to do.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path[0] = str(Path(__file__).resolve().parents[1])  # else this script would stand in for the package it measures

INSTRUMENTS = {
    **{"FLAUTO": "flute", "OBOE": "oboe", "CLARINETTO": "clarinet", "FAGOTTO": "bassoon", "CORNO": "horn"},
    **{"TROMPA": "trumpet", "TROMBA": "trumpet", "TROMBONE": "trombone", "TIMPANI": "timpani", "VIOLINO": "violin"},
    **{"VIOLA": "viola", "VIOLONCELLO": "cello"},
}


def orchestra(score):
    """The score's parts as an arrangement, each for the instrument its name begins with."""
    from mapping.arrangement import PART_DTYPE, Arrangement, Part
    from mapping.orchestra import player

    parts = []
    for row, info in enumerate(score.parts):
        own = score.notes[score.notes["part"] == row]
        notes = np.zeros(len(own), dtype=PART_DTYPE)
        for name in own.dtype.names:
            notes[name] = own[name]
        notes["source"], notes["dynamic"] = own["id"], -1
        parts.append(Part(player(INSTRUMENTS[info.name.split()[0]]), notes))
    return Arrangement("tutti", "", score, tuple(parts))


def struck(notes):
    """Onset and pitch, onset and pitch class of notes with a length, each as one number."""
    own = notes[notes["duration"] > 0]
    onset, pitch = own["onset"].astype(np.int64), own["pitch"].astype(np.int64)
    return onset * 128 + pitch, onset * 12 + pitch % 12


def told(name, ours, theirs):
    """One line of figures."""
    from mapping.translated_back import agreement

    exact, loose = (agreement(a, b) for a, b in zip(struck(ours), struck(theirs), strict=True))
    print(
        f"{name:34} F1 {exact.f1:.3f} (precision {exact.precision:.3f}, recall {exact.recall:.3f}), by pitch class "
        f"{loose.f1:.3f} (precision {loose.precision:.3f}, recall {loose.recall:.3f})"
    )


def hands(notes):
    """Largest grip, and widest span, of a hand."""
    sizes, spans = [0], [0]
    for staff in (1, 2):
        own = notes[notes["staff"] == staff]
        for onset in np.unique(own["onset"]).tolist():
            pitch = own["pitch"][own["onset"] == onset]
            sizes.append(len(pitch))
            spans.append(int(pitch.max() - pitch.min()))
    return max(sizes), max(spans)


def main():
    """Print the figures."""
    import mapping
    import reading

    folder = Path(sys.argv[1])
    tutti = reading.read(folder / "V06_chopin_op21_1_tutti_orch.krn")
    printed = reading.read(folder / "annotations/V06_chopin_op21_1_tutti/human_piano_reduction.krn")
    reduction = mapping.reduced(orchestra(tutti))
    told("tutti, everything kept", tutti.notes, printed.notes)
    told("tutti, reduced", reduction.notes, printed.notes)
    size, span = hands(reduction.notes)
    print(f"{'':34} at most {size} notes and {span} semitones in a hand, {reduction.resonance} notes left to the pedal")
    for path in sorted(folder.glob("V*")):
        score = reading.read(path)
        if len(score.parts) == 1:
            told(path.name, mapping.reduced(mapping.piano(score)).notes, score.notes)


if __name__ == "__main__":
    main()
