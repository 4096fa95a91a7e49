"""Checks and faithfulness on anything: no crash, values in bounds, the same answer twice."""

from hypothesis import example, given, settings
from hypothesis import strategies as st

from mapping.checks import check
from mapping.instruments import instruments
from mapping.keeping import COUNTS, faithfulness
from reading.score import DYNAMICS, Flag

SECTIONS = ("violins 1", "violins 2", "violas", "cellos", "basses")
NAMES = st.sampled_from([*SECTIONS, *(f"{name} 1" for name in instruments())])
ROWS = st.lists(st.tuples(st.integers(0, 60), st.integers(1, 24), st.integers(0, 127)), max_size=25)
PARTS = st.lists(
    st.tuples(
        NAMES,
        ROWS,
        st.sampled_from([None, *DYNAMICS]),
        st.sampled_from(["plain", "pizzicato", "tremolo", "muted"]),
        st.sampled_from([0, int(Flag.SLUR_INSIDE), int(Flag.STACCATO)]),
    ),
    max_size=6,
    unique_by=lambda part: part[0],
)
PIANO = st.lists(
    st.tuples(st.integers(0, 60), st.integers(1, 16), st.integers(21, 108), st.sampled_from([1, 2])), max_size=30
)
METRES = st.sampled_from([(4, 4), (3, 4), (6, 8), (2, 2), (5, 8)])


def _made(build, piano, parts, metre):
    """Score, layers and arrangement from random numbers (quarter lengths in quarters of a quarter)."""
    score = build.score_of([(a / 4, b / 4, p, s) for a, b, p, s in piano], bars=24, beats=metre[0], beat_type=metre[1])
    made = [
        build.part_of(name, [(a / 4, b / 4, p) for a, b, p in rows], level=level, technique=how, flags=flags)
        for name, rows, level, how, flags in parts
    ]
    return score, build.outer_layers(score), build.arrangement_of(score, *made)


NOTHING = [("violins 1", [(0, 1, 60)], None, "plain", 0), ("violins 2", [(0, 1, 60)], None, "plain", 0)]


@settings(max_examples=25)
@given(piano=PIANO, parts=PARTS, metre=METRES)
@example(piano=[], parts=NOTHING, metre=(4, 4))  # players, and a piano piece without a note
def test_checks_bear_anything(build, piano, parts, metre):
    """Whatever the parts hold, every remark has a place inside the piece, a known severity, and comes in order."""
    score, layers, arrangement = _made(build, piano, parts, metre)
    found = check(arrangement, layers)
    assert [one.bar_index for one in found] == sorted(one.bar_index for one in found)
    for one in found:
        assert 1 <= one.bar_index <= len(score.bars)
        assert one.beat >= 1
        assert one.severity in ("error", "advice")
        assert one.message
    assert found == check(arrangement, layers)


@settings(max_examples=25)
@given(piano=PIANO, parts=PARTS, metre=METRES)
def test_faithfulness_bears_anything(build, piano, parts, metre):
    """Whatever the parts hold, each count lies between 0 and 1, and is below 1 exactly where departures are listed."""
    score, layers, arrangement = _made(build, piano, parts, metre)
    kept = faithfulness(arrangement, layers)
    for name in COUNTS:
        count = getattr(kept, name)
        assert 0.0 <= count.value <= 1.0
        assert (count.value < 1.0) == bool(count.departures), name
        assert all(1 <= one.bar_index <= len(score.bars) for one in count.departures)
    assert kept == faithfulness(arrangement, layers)
