"""The MIDI file: what is in it, note by note."""

from __future__ import annotations

import io
from collections import Counter

import mido
import numpy as np
import pytest

from mapping.midi import RESOLUTIONS, VELOCITIES, midi_bytes, velocities
from reading.score import TICKS_PER_QUARTER, Flag

PLAIN = [
    "{play: melody, on: violins 1}",
    "{play: accompaniment, on: [violins 2, violas, cellos, basses]}",
    "{play: bass, on: [cellos, basses], share: divide}",
]


def opened(arrangement) -> mido.MidiFile:
    """The file as mido reads it."""
    return mido.MidiFile(file=io.BytesIO(midi_bytes(arrangement)))


def struck(track: mido.MidiTrack, resolution: int) -> list[tuple[int, int]]:
    """(onset in score ticks, pitch) of a track."""
    now, found = 0, []
    for message in track:
        now += message.time
        if message.type == "note_on" and message.velocity:
            found.append((now * TICKS_PER_QUARTER // resolution, message.note))
    return found


@pytest.mark.parametrize("name", ["rag", "mazurka", "polonaise", "solfeggio", "sonata", "opus 19", "demo"])
def test_onsets_are_exact_to_the_tick(name: str, piece, variants) -> None:
    """Every note of the plain variant starts at the score's tick, in the track of its player; none is lost."""
    score, _ = piece(name)
    arrangement = variants(name, {"plain": PLAIN})["plain"]
    file = opened(arrangement)
    assert file.ticks_per_beat in RESOLUTIONS
    for part, track in zip(arrangement.parts, file.tracks[1:], strict=True):
        main = (part.notes["flags"] & int(Flag.GRACE)) == 0
        found = Counter(struck(track, file.ticks_per_beat))
        wanted = Counter(zip(part.notes["onset"][main].tolist(), part.notes["pitch"][main].tolist(), strict=True))
        assert not wanted - found
        assert sum(found.values()) == len(part.notes)
    assert sum(len(struck(track, 1)) for track in file.tracks) == len(score.notes)


def test_every_track_has_its_player_and_program(variants) -> None:
    """Tracks are named in score order, programs are General MIDI's, each player has port and channel alone."""
    arrangement = variants("demo", {"a": [*PLAIN, "{hold: harmony, on: [horn 1, horn 2]}"]}, "romantic")["a"]
    file = opened(arrangement)
    assert [track.name for track in file.tracks[1:]] == [part.player.name for part in arrangement.parts]
    seen = set()
    for part, track in zip(arrangement.parts, file.tracks[1:], strict=True):
        programs = [message for message in track if message.type == "program_change"]
        assert programs[0].program == part.player.instrument.program(count=part.player.count)
        port = next(message.port for message in track if message.type == "midi_port")
        seen.add((port, programs[0].channel))
        assert programs[0].channel != 9
    assert len(seen) == len(arrangement.parts) > 16


def test_the_way_of_playing_changes_the_program(variants) -> None:
    """Pizzicato changes the program at its first note and back at the first bowed one."""
    arrangement = variants(
        "demo",
        {
            "a": [
                "{play: melody, on: violins 1, bars: 1-4}",
                "{play: melody, on: violins 1, bars: 5-8, how: pizzicato}",
                "{play: melody, on: violins 1, bars: 9-12}",
            ]
        },
    )["a"]
    track = next(track for track in opened(arrangement).tracks if track.name == "violins 1")
    programs = [message.program for message in track if message.type == "program_change"]
    assert programs[1] == 45
    assert programs[0] == programs[2] in (40, 48, 49)


def test_tempo_metre_and_key_are_the_scores(piece, variants) -> None:
    """The first track has the score's metres and keys at their bars, and its tempo map gives the timeline's seconds."""
    from reading import Timeline

    score, _ = piece("demo")
    file = opened(variants("demo", {"a": PLAIN})["a"])
    step = TICKS_PER_QUARTER // file.ticks_per_beat
    now, metres, tempos = 0, [], []
    for message in file.tracks[0]:
        now += message.time
        if message.type == "time_signature":
            metres.append((now * step, message.numerator, message.denominator))
        elif message.type == "set_tempo":
            tempos.append((now, message.tempo))
    changes = [
        (int(bar["onset"]), int(bar["beats"]), int(bar["beat_type"]))
        for row, bar in enumerate(score.bars)
        if row == 0
        or (bar["beats"], bar["beat_type"]) != (score.bars[row - 1]["beats"], score.bars[row - 1]["beat_type"])
    ]
    assert metres == changes
    places = score.bars["onset"][1:]
    ticks = np.array([tick for tick, _ in tempos] + [10**12])
    rates = np.array([tempo for _, tempo in tempos]) / 1e6 / file.ticks_per_beat
    seconds = [float(np.sum(np.clip(place // step - ticks[:-1], 0, np.diff(ticks)) * rates)) for place in places]
    assert np.allclose(seconds, Timeline(score).seconds(places), atol=2e-3)


def test_velocities_follow_dynamics_and_accents(variants) -> None:
    """A step's own level sets the velocity of its notes; an accent adds to it; a hairpin rises note by note."""
    found = variants(
        "demo",
        {
            "soft": ["{play: melody, on: violins 1, level: pp}"],
            "loud": ["{play: melody, on: violins 1, level: ff}", "{mark: accent, on: violins 1, bars: 1-2}"],
        },
    )
    soft, loud = (velocities(next(p for p in a.parts if len(p.notes)), a) for a in (found["soft"], found["loud"]))
    assert np.median(soft) == VELOCITIES[2]
    assert np.median(loud) == VELOCITIES[7]
    assert loud[0] > VELOCITIES[7]
