"""The back-translation: a variant reduced to two staves and compared with the piano piece."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from mapping import Arrangement, back_translation, piano, reduced, write_score
from mapping.reducing_hands import FINGERS, SPAN
from reading import read

_builder = importlib.util.spec_from_file_location("craft_builder", Path(__file__).parent / "craft/craft_builder.py")
craft = importlib.util.module_from_spec(_builder)
_builder.loader.exec_module(craft)

LITERAL = [
    "{play: melody, on: violins 1}",
    "{play: accompaniment, on: [violins 2, violas]}",
    "{play: bass, on: cellos}",
]
TUTTI = [
    *LITERAL,
    "{double: melody, on: flute 1, at: 8va}",
    "{double: melody, on: oboe 1, at: unison}",
    "{double: bass, on: basses, at: 8vb}",
    "{hold: harmony, on: [horn 1, horn 2, clarinet 1, clarinet 2], level: p}",
    "{stress: accents, on: [trumpet 1, trumpet 2], by: chord}",
]


def attacks(reduction: Any) -> list[tuple[float, int, int]]:
    """Onset in quarters, pitch and staff of every note."""
    return [(int(note["onset"]) / craft.Q, int(note["pitch"]), int(note["staff"])) for note in reduction.notes]


@pytest.mark.parametrize("name", ["rag", "prelude", "mazurka", "polonaise", "sonata", "solfeggio", "opus 19", "demo"])
def test_a_piano_piece_comes_back_nearly_whole(name: str, piece) -> None:
    """Given to one player as it stands, a piece comes back with nothing added and 98 of 100 notes or more kept."""
    score, layers = piece(name)
    found = back_translation(reduced(piano(score)), layers)
    assert found.pitch.precision == 1.0
    assert found.pitch.recall >= 0.98
    assert found.melody >= 0.99
    assert found.bass >= 0.98


def test_a_literal_variant_for_strings_comes_back_like_the_piano(variants, piece) -> None:
    """Spread over a string quartet without a change, the piece comes back as it does from the piano."""
    _, layers = piece("demo")
    made = variants("demo", {"a": LITERAL})["a"]
    found = back_translation(reduced(made), layers)
    assert found.pitch.precision == 1.0
    assert found.pitch.recall >= 0.95


@pytest.mark.parametrize("name", ["demo", "mazurka", "polonaise"])
def test_two_hands_can_play_a_tutti(name: str, variants, piece) -> None:
    """Of a tutti each hand strikes and holds at most five notes within a ninth; the pedal may carry an outer voice."""
    made = variants(name, {"a": TUTTI})["a"]
    reduction = reduced(made)
    notes = reduction.notes
    for staff in (1, 2):
        own = notes[notes["staff"] == staff]
        for onset in np.unique(own["onset"]).tolist():
            sounding = own[(own["onset"] <= onset) & (own["onset"] + own["duration"] > onset)]
            struck = sounding["pitch"][sounding["onset"] == onset]
            held = sounding["pitch"][sounding["onset"] < onset]
            carried = held > struck.max() if staff == 1 else held < struck.min()
            hand = np.append(struck, held[~carried])
            assert len(hand) <= FINGERS
            assert int(hand.max()) - int(hand.min()) <= SPAN
    found = back_translation(reduction, piece(name)[1])
    assert found.melody >= 0.97
    assert found.bass >= 0.95


def test_the_reduction_is_written_on_two_staves_and_reads_back(variants, tmp_path: Path) -> None:
    """Written as MusicXML and read again, every note has its onset, length, pitch and hand."""
    reduction = reduced(variants("mazurka", {"a": TUTTI})["a"])
    write_score(reduction.arrangement, tmp_path / "reduced.musicxml")
    again = read(tmp_path / "reduced.musicxml")
    names = ("onset", "pitch", "staff", "duration")
    ours, theirs = (sorted(zip(*(table[name].tolist() for name in names), strict=True)) for table in (
        reduction.notes, again.notes))  # fmt: skip
    assert again.parts[0].staves == 2
    assert ours == theirs


def test_the_order_of_players_changes_nothing(variants) -> None:
    """The same variant with its players listed backwards gives the same reduction, and so does asking twice."""
    made = variants("mazurka", {"a": TUTTI})["a"]
    turned = replace(made, parts=made.parts[::-1])
    assert attacks(reduced(made)) == attacks(reduced(made)) == attacks(reduced(turned))


def of(*parts: Any) -> Arrangement:
    """An arrangement of parts over four empty bars."""
    return craft.arrangement_of(craft.score_of([(0, 16, 60, 1)]), *parts)


def test_unisons_are_merged_and_a_third_octave_is_dropped() -> None:
    """Four players on one tune in three octaves: unisons once, the two upper octaves in one hand, the lowest gone."""
    tune = [(beat, 1, pitch) for beat, pitch in enumerate((72, 74, 76, 77))]
    lower = [(onset, length, pitch - 12) for onset, length, pitch in tune]
    bass = [(beat, 1, 36) for beat in range(4)]
    found = attacks(
        reduced(
            of(
                craft.part_of("flute 1", tune),
                craft.part_of("violins 1", tune),
                craft.part_of("clarinet 1", lower),
                craft.part_of("cellos", bass),
            )
        )
    )
    assert found == [
        (beat, pitch, staff) for beat, top in enumerate((72, 74, 76, 77)) for pitch, staff in
        ((36, 2), (top - 12, 1), (top, 1))
    ]  # fmt: skip


def test_what_horns_hold_inside_the_chord_is_left_to_the_pedal() -> None:
    """A horn that holds a note the strings strike too is no note of the reduction, but a pedal mark."""
    chord = [(beat, 1, pitch) for beat in range(4) for pitch in (60, 64)]
    reduction = reduced(
        of(
            craft.part_of("violins 1", [(beat, 1, 76) for beat in range(4)]),
            craft.part_of("violins 2", chord),
            craft.part_of("horn 1", [(0, 4, 67)]),
            craft.part_of("violas", [(2, 1, 67)]),
            craft.part_of("cellos", [(0, 4, 48)]),
        )
    )
    assert reduction.resonance == 1
    assert (0, 67, 1) not in attacks(reduction)
    (mark,) = reduction.arrangement.parts[0].marks
    assert (mark.kind, mark.onset, mark.end) == ("pedal", 0, 4 * craft.Q)


def test_repetition_faster_than_a_hand_is_thinned_to_every_second() -> None:
    """Sixteenths on one note at quarter = 120 (eight a second) come back as eighths, quarters as they are."""
    fast = [(step / 4, 1 / 4, 64) for step in range(16)]
    found = attacks(
        reduced(of(craft.part_of("violins 1", fast), craft.part_of("cellos", [(b, 1, 48) for b in range(4)])))
    )
    assert [onset for onset, pitch, _ in found if pitch == 64] == [step / 2 for step in range(8)]
    assert [onset for onset, pitch, _ in found if pitch == 48] == [0, 1, 2, 3]


def test_a_lost_bass_and_an_added_voice_are_seen() -> None:
    """One of four bass notes left out and four notes added: exact precision, recall and shares."""
    rows = [(beat, 1, 72 + beat, 1) for beat in range(4)] + [(beat, 1, 48, 2) for beat in range(4)]
    score = craft.score_of(rows)
    layers = craft.outer_layers(score)
    made = craft.arrangement_of(
        score,
        craft.part_of("violins 1", [(beat, 1, 72 + beat) for beat in range(4)]),
        craft.part_of("violas", [(beat, 1, 64) for beat in range(4)]),
        craft.part_of("cellos", [(beat, 1, 48) for beat in range(3)]),
    )
    found = back_translation(reduced(made), layers)
    assert found.pitch.to_json() == pytest.approx({"precision": 7 / 11, "recall": 7 / 8, "f1": 14 / 19})
    assert (found.melody, found.bass, found.notes) == (1.0, 0.75, 11)


def test_a_held_tune_keeps_its_length_over_repeated_notes() -> None:
    """A tune out of reach above a repeated figure keeps its written length, since the pedal carries it."""
    figure = [(step / 2, 1 / 2, 60) for step in range(1, 8)]
    reduction = reduced(
        of(
            craft.part_of("violins 1", [(0, 4, 81)]),
            craft.part_of("violas", figure),
            craft.part_of("cellos", [(0, 4, 41)]),
        )
    )
    notes = {int(note["pitch"]): int(note["duration"]) / craft.Q for note in reduction.notes}
    assert notes == {41: 4.0, 60: 0.5, 81: 4.0}


def test_silence_is_reduced_to_silence() -> None:
    """A variant without a note gives two empty staves."""
    reduction = reduced(of(craft.part_of("flute 1", [])))
    assert len(reduction.notes) == 0
    assert reduction.resonance == 0
