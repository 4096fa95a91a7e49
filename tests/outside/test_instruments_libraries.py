"""Instruments against open libraries: music21's instrument classes, pretty_midi's General MIDI table.

Sources: music21 10.5.1, module ``instrument`` (BSD licence); pretty_midi, ``instrument_name_to_program`` (MIT licence),
which carries the General MIDI Level 1 Sound Set of the MIDI Association.
"""

import pytest

from mapping.instruments import instrument, instruments, midi_of

CLASSES = {
    "piccolo": "Piccolo", "flute": "Flute", "oboe": "Oboe", "english horn": "EnglishHorn", "clarinet": "Clarinet",
    "bass clarinet": "BassClarinet", "bassoon": "Bassoon", "contrabassoon": "Contrabassoon",
    "soprano saxophone": "SopranoSaxophone", "alto saxophone": "AltoSaxophone", "tenor saxophone": "TenorSaxophone",
    "baritone saxophone": "BaritoneSaxophone", "horn": "Horn", "trumpet": "Trumpet", "trombone": "Trombone",
    "bass trombone": "BassTrombone", "tuba": "Tuba", "timpani": "Timpani", "glockenspiel": "Glockenspiel",
    "xylophone": "Xylophone", "vibraphone": "Vibraphone", "marimba": "Marimba", "tubular bells": "TubularBells",
    "celesta": "Celesta", "piano": "Piano", "harp": "Harp", "violin": "Violin", "viola": "Viola",
    "cello": "Violoncello", "double bass": "Contrabass",
}  # fmt: skip

NO_OCTAVE = {"contrabassoon": -12, "celesta": 12, "glockenspiel": 24, "xylophone": 12}
"""music21 carries no transposition for these; the octaves are common practice, no source."""

OTHER_LOWEST = {
    # music21's Horn goes down to written C2 (old notation); ours ends where the valves end, from memory.
    "horn": "C2",
    # music21 has the saxophones' B flat for the baritone too; today's baritones have written A.
    "baritone saxophone": "Bb3",
    # music21 has the four-stringed bass; ours counts the extension to C.
    "double bass": "E2",
    # The pedals flatten the lowest string: C flat.
    "harp": "C1",
}


NO_LOWEST = {"timpani", "glockenspiel", "xylophone", "vibraphone", "marimba", "tubular bells", "celesta"}
"""music21 names no lowest note for these."""


@pytest.fixture(scope="module")
def theirs():
    """music21's instruments by our names."""
    from music21 import instrument as module

    return {name: getattr(module, kind)() for name, kind in CLASSES.items()}


@pytest.mark.parametrize("name", CLASSES)
def test_transposition_agrees_with_music21(theirs, name):
    """Sounding minus written is music21's, or one of the four known gaps."""
    interval = theirs[name].transposition
    expected = NO_OCTAVE.get(name, int(interval.semitones) if interval is not None else 0)
    assert (interval is None) >= (name in NO_OCTAVE)
    assert instrument(name).transpose == expected


@pytest.mark.parametrize("name", CLASSES)
def test_steps_of_transposition_agree_with_music21(theirs, name):
    """The diatonic part, which MusicXML needs, is music21's generic interval."""
    interval = theirs[name].transposition
    if interval is None:
        assert instrument(name).transpose_diatonic == instrument(name).transpose // 12 * 7
        return
    generic = interval.generic.directed
    steps = generic - 1 if generic > 0 else generic + 1
    assert instrument(name).transpose_diatonic == steps


@pytest.mark.parametrize("name", CLASSES)
def test_lowest_written_note_agrees_with_music21(theirs, name):
    """Where music21 names a lowest (written) note, ours is the same, or the difference is listed with its reason."""
    lowest = theirs[name].lowestNote
    if lowest is None:
        assert name in NO_LOWEST
        return
    if name in OTHER_LOWEST:
        assert int(lowest.midi) == midi_of(OTHER_LOWEST[name])
        assert instrument(name).written_low != int(lowest.midi)
        return
    assert instrument(name).written_low == int(lowest.midi)


@pytest.mark.parametrize("name", ["violin", "viola", "cello", "double bass"])
def test_open_strings_agree_with_music21(theirs, name):
    """Open strings are music21's (its bass strings are written an octave above their sound)."""
    strings = [midi_of(str(pitch).replace("-", "b")) for pitch in theirs[name].stringPitches]
    assert list(instrument(name).open_strings) == strings


@pytest.mark.parametrize("name", CLASSES)
def test_program_agrees_with_music21(theirs, name):
    """The General MIDI program, counted from 0, is music21's."""
    assert instrument(name).programs["plain"] == theirs[name].midiProgram


GENERAL_MIDI = {
    "piccolo": "Piccolo", "flute": "Flute", "oboe": "Oboe", "english horn": "English Horn", "clarinet": "Clarinet",
    "bassoon": "Bassoon", "soprano saxophone": "Soprano Sax", "alto saxophone": "Alto Sax",
    "tenor saxophone": "Tenor Sax", "baritone saxophone": "Baritone Sax", "horn": "French Horn",
    "trumpet": "Trumpet", "trombone": "Trombone", "tuba": "Tuba", "timpani": "Timpani",
    "glockenspiel": "Glockenspiel", "xylophone": "Xylophone", "vibraphone": "Vibraphone", "marimba": "Marimba",
    "tubular bells": "Tubular Bells", "celesta": "Celesta", "piano": "Acoustic Grand Piano",
    "harp": "Orchestral Harp", "violin": "Violin", "viola": "Viola", "cello": "Cello", "double bass": "Contrabass",
}  # fmt: skip
VOICES = {"soprano": "Soprano", "mezzo-soprano": "MezzoSoprano", "alto": "Alto", "tenor": "Tenor",
          "baritone": "Baritone", "bass voice": "Bass", "voice": "Vocalist"}  # fmt: skip
"""Voices, by music21's class."""
TECHNIQUES = {
    ("violins", "pizzicato"): "Pizzicato Strings", ("cellos", "tremolo"): "Tremolo Strings",
    ("basses", "section"): "String Ensemble 1", ("trumpet", "muted"): "Muted Trumpet",
}  # fmt: skip
FAMILY_PROGRAM = {
    "alto flute": "Flute", "clarinet in A": "Clarinet", "clarinet in E-flat": "Clarinet", "bass clarinet": "Clarinet",
    "contrabassoon": "Bassoon", "trumpet in C": "Trumpet", "cornet": "Trumpet", "bass trombone": "Trombone",
    "euphonium": "Tuba",
}  # fmt: skip


PERCUSSION = {
    "bass drum": ("BassDrum", "Acoustic Bass Drum"), "snare drum": ("SnareDrum", "Acoustic Snare"),
    "cymbals": ("CrashCymbals", "Crash Cymbal 1"), "suspended cymbal": (None, "Crash Cymbal 2"),
    "triangle": ("Triangle", "Open Triangle"), "tambourine": ("Tambourine", "Tambourine"),
    "tam-tam": (None, "Chinese Cymbal"),
}  # fmt: skip
"""Percussion without pitch: music21's class, where it has a key, and the name of our key in General MIDI.

General MIDI has one cymbal for the suspended one and no tam-tam; the keys that stand for them are our choice.
"""


@pytest.mark.parametrize(("name", "theirs"), [(name, one[0]) for name, one in PERCUSSION.items() if one[0]])
def test_percussion_keys_agree_with_music21(name, theirs):
    """Keys of percussion without pitch are those music21's classes have from the General MIDI percussion map."""
    from music21 import instrument as module

    made = getattr(module, theirs)()
    assert made.inGMPercMap
    assert instrument(name).unpitched.key == made.percMapPitch


@pytest.mark.parametrize(("name", "theirs"), [(name, one[1]) for name, one in PERCUSSION.items()])
def test_percussion_keys_agree_with_general_midi(name, theirs):
    """Keys have the names of the General MIDI Level 1 percussion key map (MIDI Association), as pretty_midi has it."""
    import pretty_midi

    assert pretty_midi.note_number_to_drum_name(instrument(name).unpitched.key) == theirs


@pytest.fixture(scope="module")
def program_of():
    """pretty_midi's look-up of program numbers, counted from 0."""
    import pretty_midi

    return pretty_midi.instrument_name_to_program


@pytest.mark.parametrize(("name", "theirs"), [*GENERAL_MIDI.items(), *FAMILY_PROGRAM.items()])
def test_program_agrees_with_general_midi(program_of, name, theirs):
    """Every instrument has its General MIDI program, or its family's where General MIDI has none of its own."""
    assert instrument(name).programs["plain"] == program_of(theirs)


@pytest.mark.parametrize(("key", "theirs"), TECHNIQUES.items())
def test_programs_of_techniques(program_of, key, theirs):
    """Pizzicato, tremolo, sections and mutes have the programs General MIDI gives them."""
    assert instrument(key[0]).programs[key[1]] == program_of(theirs)


@pytest.mark.parametrize("name", VOICES)
def test_voices_are_music21s_and_sound_as_a_choir(name):
    """music21 knows each voice by the same abbreviation; the sound is General MIDI's Choir Aahs, next to its own."""
    import pretty_midi
    from music21 import instrument as module

    theirs, ours = getattr(module, VOICES[name])(), instrument(name)
    assert ours.abbreviation.rstrip(".") == theirs.instrumentAbbreviation
    assert pretty_midi.program_to_instrument_name(ours.programs["plain"]) == "Choir Aahs"
    assert pretty_midi.program_to_instrument_name(theirs.midiProgram) == "Voice Oohs"


def test_every_instrument_is_compared():
    """No instrument of the table is left out of the comparison with General MIDI."""
    assert set(instruments()) == set(GENERAL_MIDI) | set(FAMILY_PROGRAM) | set(PERCUSSION) | set(VOICES)
