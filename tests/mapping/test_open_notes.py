"""Period scoring: horns and trumpets confined to the open notes of a crook."""

from __future__ import annotations

import pytest

from base.errors import InputError
from mapping import check
from mapping.instruments import instrument
from mapping.open_notes import crook_for

PLAIN = ["{play: melody, on: violins 1}", "{play: accompaniment, on: [violins 2, violas]}", "{play: bass, on: cellos}"]


def made(variants, name: str, *steps: str):
    """The arrangement of a piece with steps on top of the plain ones."""
    return variants(name, {"a": [*PLAIN, *steps]})["a"]


def pitches(arrangement, player: str) -> list[int]:
    """Sounding pitches of a player."""
    (part,) = [part for part in arrangement.parts if part.player.name == player]
    return part.notes["pitch"].tolist()


@pytest.mark.parametrize(
    ("name", "fifths", "crook"),
    [
        *[("horn", -3, "E-flat"), ("horn", 2, "D"), ("horn", -2, "B-flat alto"), ("horn", 0, "C basso")],
        *[("trumpet", 2, "D"), ("trumpet", -3, "E-flat"), ("trumpet", 1, "C")],
    ],
)
def test_the_crook_goes_by_the_key(name: str, fifths: int, crook: str) -> None:
    """Horns and trumpets stand in the major key of the signature, or the nearest crook they have."""
    assert crook_for(instrument(name), fifths) == crook


@pytest.mark.parametrize("name", ["demo", "polonaise", "sonata"])
def test_held_horns_have_open_notes_only(name: str, variants, piece) -> None:
    """Every note of held natural horns is open on the crook of the key; the same step without the wish leaves them."""
    step = "{{hold: harmony, on: [horn 1, horn 2]{}}}"
    arrangement = made(variants, name, step.format(", notes: natural"))
    item = instrument("horn")
    allowed = set(item.natural_pitches(crook_for(item, int(piece(name)[0].bars["fifths"][0]))))
    found = pitches(arrangement, "horn 1") + pitches(arrangement, "horn 2")
    assert found
    assert set(found) <= allowed
    assert not [one for one in check(arrangement) if one.kind == "open notes"]
    free = made(variants, name, step.format(""))
    assert not set(pitches(free, "horn 1") + pitches(free, "horn 2")) <= allowed


def test_accents_on_a_named_crook(variants) -> None:
    """Accents of natural horns and trumpets in D have open notes only; bassoons beside them are free."""
    step = "{stress: notes, beats: '1', on: [horn 1, horn 2, trumpet 1, bassoon 1], notes: natural, crook: D}"
    arrangement = made(variants, "demo", step)
    for player in ("horn 1", "horn 2", "trumpet 1"):
        item = instrument(player[:-2])
        assert pitches(arrangement, player)
        assert set(pitches(arrangement, player)) <= set(item.natural_pitches("D"))
    assert len(pitches(arrangement, "bassoon 1")) > len(pitches(arrangement, "horn 1"))


def test_a_note_that_is_not_open_is_told_where_it_was_asked(variants) -> None:
    """A tune given to a horn that is to be natural is advised against; without the wish nothing is said."""
    double = "{double: melody, on: horn 1, at: 8vb, bars: 1-4}"
    natural = "{hold: harmony, on: [horn 1, horn 2], notes: natural, bars: 1-4}"
    told = [one for one in check(made(variants, "demo", natural, double)) if one.kind == "open notes"]
    assert told
    assert all(one.player == "horn 1" and one.severity == "advice" and one.bar_index <= 4 for one in told)
    assert "is not an open note of the horn in B-flat alto" in told[0].message
    assert not [one for one in check(made(variants, "demo", double)) if one.kind == "open notes"]


@pytest.mark.parametrize(
    ("step", "message"),
    [
        ("{hold: harmony, on: [flute 1], notes: natural}", "none of flute 1 has a natural form"),
        ("{hold: harmony, on: [horn 1], notes: natural, crook: H}", "no crook in 'H'"),
    ],
)
def test_what_cannot_be_natural_is_refused(step: str, message: str, variants) -> None:
    """An instrument without natural notes, or a crook that does not exist, is refused with words."""
    with pytest.raises(InputError, match=message):
        made(variants, "demo", step)
