"""Instruments, players and ensembles."""

from pathlib import Path

import pytest

import mapping
from base.errors import InputError, SpecError
from mapping.instrument_tables import read_yaml
from mapping.instruments import FAMILIES, built_in_table, instrument, instruments, midi_of, reset
from mapping.orchestra import ensembles, load_orchestra, palette_of, player, players_of, seat_of


@pytest.fixture(autouse=True)
def _only_built_in():
    """What a test adds is forgotten after it."""
    yield
    reset()
    from mapping import orchestra

    orchestra._user.clear()
    orchestra._read.clear()


@pytest.mark.parametrize("item", [one for one in instruments().values() if one.unpitched], ids=lambda item: item.name)
def test_percussion_without_pitch_has_no_compass(item):
    """No pitch is in range of an instrument without pitch; ring and change are given, with their source."""
    assert not any(item.in_range(pitch) for pitch in range(128))
    assert item.unpitched.ring_s > 0
    assert item.unpitched.change_s > 0
    assert item.family == "percussion"
    assert item.sources["unpitched"].startswith("keys: General MIDI")


@pytest.mark.parametrize(
    "item", [one for one in instruments().values() if not one.unpitched], ids=lambda item: item.name
)
def test_instrument_is_consistent(item):
    """Safe range lies in the range, registers tile it from the bottom, and every figure has a source."""
    assert item.low <= item.safe_low < item.safe_high <= item.high
    assert item.family in FAMILIES
    assert item.abbreviation
    assert item.programs["plain"] in range(128)
    assert "written" in item.sources
    assert "safe" in item.sources
    if item.registers:
        assert item.registers[0].low == item.low
        assert item.registers[-1].high == item.high
        for below, above in zip(item.registers, item.registers[1:], strict=False):
            assert above.low == below.high + 1
        assert all(register.source for register in item.registers)
    if item.family in ("woodwind", "brass"):
        assert item.breath_soft_s > item.breath_loud_s > 0
        assert item.repeat_safe_hz < item.repeat_max_hz
        assert {"breath_s", "repeat"} <= set(item.sources)


def test_there_are_enough_instruments():
    """A symphony orchestra, a wind band and the usual percussion are known."""
    assert len(instruments()) >= 35


@pytest.mark.parametrize(
    ("name", "chromatic", "diatonic"),
    [
        ("clarinet", -2, -1),
        ("clarinet in A", -3, -2),
        ("horn", -7, -4),
        ("piccolo", 12, 7),
        ("double bass", -12, -7),
        ("bass clarinet", -14, -8),
        ("baritone saxophone", -21, -12),
        ("glockenspiel", 24, 14),
        ("clarinet in E-flat", 3, 2),
    ],
)
def test_transposition_in_semitones_and_steps(name, chromatic, diatonic):
    """Transposition is right in both counts a MusicXML file needs."""
    assert (instrument(name).transpose, instrument(name).transpose_diatonic) == (chromatic, diatonic)


def test_pitch_names():
    """Middle C is C4 = 60, flats and sharps shift by one, spelling may cross the octave."""
    assert [midi_of(name) for name in ("C4", "Bb3", "F#5", "Cb1", "B#3", "A0")] == [60, 58, 78, 23, 60, 21]


@pytest.mark.parametrize("name", ["H4", "C", "4C", ""])
def test_bad_pitch_is_refused(name):
    """What is not a pitch is named in the error."""
    with pytest.raises(InputError, match="is not a pitch"):
        midi_of(name)


def test_unknown_instrument_names_the_nearest():
    """A misspelt instrument gets the nearest name."""
    with pytest.raises(InputError) as caught:
        instrument("clarinett")
    assert "'clarinet'" in str(caught.value)


@pytest.mark.parametrize("name", ensembles())
def test_ensembles_are_in_score_order(name):
    """Woodwind, brass, percussion, plucked and keyboard, strings; numbers rise."""
    order = ("woodwind", "brass", "percussion", "plucked", "keyboard", "strings")
    players = players_of(name)
    ranks = [order.index(one.family) for one in players]
    assert ranks == sorted(ranks)
    assert sorted(one.name for one in players) == sorted(ensembles()[name])


def test_horns_stand_above_trumpets_except_in_a_band():
    """Orchestral and band order differ in the brass."""
    orchestra = [one.name for one in players_of("classical full")]
    band = [one.name for one in players_of("wind band")]
    assert orchestra.index("horn 2") < orchestra.index("trumpet 1")
    assert band.index("trumpet 3") < band.index("horn 1")


def test_default_is_classical_full():
    """Without words the orchestra is that of Palette's default."""
    from reading.palette import Palette

    assert palette_of(players_of()) == Palette()


@pytest.mark.parametrize("name", ensembles())
def test_palette_names_only_players_that_are_there(name):
    """Every player an option may name sits in the ensemble, and somebody takes tune, middle and bass."""
    players = players_of(name)
    there = {one.name for one in players}
    palette = palette_of(players)
    for field in set(palette.__dataclass_fields__) - {"reaches"}:
        assert {word.removesuffix(" 8vb") for word in getattr(palette, field)} <= there
    assert palette.melody
    assert palette.inner
    assert palette.bass


def test_add_without_and_desks():
    """Players are put in and left out, desks count two players."""
    players = players_of("classical", add=["harp", "trumpet 1"], without=["horn 2"], desks={"violins 1": 6})
    names = [one.name for one in players]
    assert names[names.index("horn 1") + 1] == "trumpet 1"
    assert names.index("harp") < names.index("violins 1")
    assert next(one.count for one in players if one.name == "violins 1") == 12


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ({"use": "clasical"}, "unknown ensemble"),
        ({"without": ["harp"]}, "not in the orchestra"),
        ({"add": ["flute 1"]}, "twice"),
        ({"add": ["flutes"]}, "more than one player"),
        ({"add": ["fluet 3"]}, "unknown player"),
        ({"desks": {"harp": 2}}, "not in the orchestra"),
        ({"players": ["oboe 1"], "without": ["oboe 1"]}, "no players"),
    ],
)
def test_bad_orchestras_are_refused(words, message):
    """Every mistake in an orchestra is named, with what to do."""
    with pytest.raises(InputError, match=message) as caught:
        players_of(**words)
    assert caught.value.hint


def test_solo_string_and_section():
    """`cello` is one player, `cellos` are a section."""
    assert player("cello").count == 1
    assert player("cellos").count > 1
    assert player("violin 1").count == 1


def test_seats_are_apart():
    """No two string sections and no two winds of a kind sit on one chair; first violins sit left in both plans."""
    for plan in ("american", "antiphonal"):
        seats = {one.name: seat_of(one, plan) for one in players_of("romantic")}
        strings = [seats[name] for name in ("violins 1", "violins 2", "violas", "cellos", "basses")]
        assert len(set(strings)) == 5
        assert seats["violins 1"][0] < -30
        assert seats["flute 1"] != seats["flute 2"]
    with pytest.raises(InputError, match="seat plan"):
        seat_of(player("flute 1"), "round")


def test_user_instruments_and_ensembles(tmp_path):
    """A YAML file adds an instrument like another one, and an ensemble that uses it."""
    path = tmp_path / "mine.yaml"
    path.write_text(
        "instruments:\n  basset horn: {like: clarinet, transpose: -7, written: C3-G6, safe: F2-C5}\n"
        "ensembles:\n  trio: {players: [basset horn 1, basset horn 2, bassoon 1]}\n"
    )
    assert load_orchestra(path) == ("trio",)
    item = instrument("basset horn")
    assert (item.low, item.high, item.family) == (41, 84, "woodwind")
    assert [one.name for one in players_of("trio")] == ["bassoon 1", "basset horn 1", "basset horn 2"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("instruments: {kazoo: {family: woodwind}}", "'written' is missing"),
        ("instruments: {kazoo: {family: woodwind, written: C4-C3}}", "runs downwards"),
        ("instruments: {kazoo: {family: wood, written: C4-C5}}", "unknown family"),
        ("instruments: {kazoo: {family: woodwind, written: C4-C5, colour: red}}", "unknown key"),
        ("instruments: [kazoo]", "table of instruments"),
        ("[1, 2]", "expected a mapping"),
        ("a: [", "expected"),
        ("ensembles: {trio: {players: [kazoo 1]}}", "unknown player"),
        ("ensembles: {trio: []}", "players"),
    ],
)
def test_bad_user_files_are_refused(tmp_path, text, message):
    """A bad table is refused with the file's name and the entry at fault."""
    path = tmp_path / "mine.yaml"
    path.write_text(text)
    with pytest.raises(SpecError, match=message) as caught:
        load_orchestra(path)
    assert "mine.yaml" in str(caught.value)


@pytest.mark.parametrize("name", ["instruments", "ensembles"])
def test_built_in_tables_are_yaml_too(name):
    """Entries of the built-in tables can be pasted into a user's YAML file; no key is said twice (ruamel.yaml)."""
    path = Path(mapping.__file__).parent / "data" / f"{name}.json"
    assert read_yaml(path) == built_in_table(name)


def test_the_documented_table_is_the_table():
    """docs/instruments.md lists every instrument with the figures of the data."""
    from pathlib import Path

    from reading.register import pitch_name

    text = (Path(__file__).parents[3] / "docs" / "instruments.md").read_text(encoding="utf-8")
    rows = {row.split("|")[1].strip(): row for row in text.splitlines() if row.startswith("| ")}
    for item in instruments().values():
        if item.unpitched:
            assert f"| kit {item.programs['plain']} |" in rows[item.name]
            facts = f"{item.unpitched.ring_s:g} s | {'yes' if item.unpitched.rolls else 'no'} | "
            assert f"| {item.unpitched.key} " in text
            assert f"{facts}{item.unpitched.change_s:g} s |" in text
            continue
        assert f"{pitch_name(item.low)} – {pitch_name(item.high)} " in rows[item.name]
        assert f"| {item.programs['plain']} |" in rows[item.name]


def test_every_kind_of_check_is_documented():
    """docs/checks.md has a row for every kind a check may report."""
    import re
    from pathlib import Path

    root = Path(__file__).parents[3]
    source = "".join(path.read_text(encoding="utf-8") for path in (root / "mapping" / "checks").glob("*.py"))
    kinds = set(re.findall(r'(?:"advice"|"error"|severity), "([a-z ]+)"', source))
    rows = (root / "docs" / "checks.md").read_text(encoding="utf-8")
    assert len(kinds) >= 18
    assert all(f"| {kind} |" in rows for kind in kinds)


def test_the_users_folder_is_known_everywhere(tmp_path, monkeypatch):
    """A file in the user's data folder adds its instruments and ensembles without being named, and is read anew."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    folder = tmp_path / "klangprobe" / "instruments"
    folder.mkdir(parents=True)
    added = "instruments: {heckelphone: {like: oboe, transpose: -12}}\n"
    (folder / "mine.yaml").write_text(added + "ensembles: {two: {players: [heckelphone, oboe 1]}}\n")
    assert [one.name for one in players_of("two")] == ["oboe 1", "heckelphone"]
    (folder / "mine.yaml").write_text("instruments: {heckelphone: 3}")
    import os

    os.utime(folder / "mine.yaml", ns=(1, 1))
    with pytest.raises(SpecError, match=r"mine\.yaml"):
        instruments()
