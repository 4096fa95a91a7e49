"""File names for names that people chose."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compare import file_names, slug


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("horns held", "horns-held"),
        ("flute 8va", "flute-8va"),
        ("Flöte / Oboe", "Flote-Oboe"),
        ("../../etc/passwd", "etc-passwd"),
        ("B♭ clarinet", "B-flat-clarinet"),
        ("a.b", "a-b"),
    ],
)
def test_plain_names(name, expected):
    """Readable, without separators, dots or accents."""
    assert slug(name) == expected


def test_names_that_leave_nothing_get_a_mark():
    """Other scripts, signs only, reserved and endless names stay apart and usable."""
    names = ["ホルン", "角笛", "…", "con", "x" * 300, "x" * 301]
    slugs = [slug(name) for name in names]
    assert len(set(slugs)) == len(names)
    assert all(re.fullmatch(r"[A-Za-z0-9_-]{1,80}", one) for one in slugs)
    assert slug("con") != "con"


@given(st.lists(st.text(max_size=80), max_size=12))
def test_no_two_names_share_a_file(names):
    """Distinct even where capitals do not count; safe characters only; the same names give the same files."""
    given_names = file_names(names)
    assert set(given_names) == set(names)
    lowered = [one.lower() for one in given_names.values()]
    assert len(set(lowered)) == len(lowered)
    assert all(re.fullmatch(r"[A-Za-z0-9_][A-Za-z0-9_-]*", one) for one in given_names.values())
    assert file_names(names) == given_names
