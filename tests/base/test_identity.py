"""Names of products: equal exactly when what made them is equal, in this process and the next."""

from __future__ import annotations

import itertools
import subprocess
import sys
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

import numpy as np
import pytest

from base.identity import canonical, digest, file_digest


class _Colour(Enum):
    RED = 1


@dataclass(frozen=True)
class _Point:
    x: int
    y: float


@dataclass(frozen=True)
class _Other:
    x: int
    y: float


DIFFERENT = [
    None, True, False, 0, 1, -1, 0.0, -0.0, 1.0, 1.0000000000000002, "", "1", "True", b"", b"1",
    (), (1,), (1, 2), ((1,), 2), {}, {"a": 1}, {"a": 2}, {"b": 1}, {1: "a"}, frozenset(), frozenset({1}),
    Fraction(1, 2), Fraction(1, 3), _Colour.RED,
    _Point(1, 2.0), _Point(1, 3.0), _Other(1, 2.0),
    np.zeros(2, np.float32), np.zeros(2, np.float64), np.zeros((2, 1), np.float32), np.ones(2, np.float32),
    np.zeros(1, np.dtype([("a", "<i4")])), np.zeros(1, np.dtype([("b", "<i4")])),
]  # fmt: skip


def test_every_pair_of_different_values_has_different_names() -> None:
    """No two values that mean different things share a key."""
    names = [digest("t", 1, value) for value in DIFFERENT]
    clashes = [(a, b) for (a, x), (b, y) in itertools.combinations(zip(DIFFERENT, names, strict=True), 2) if x == y]
    assert clashes == []


def test_stage_and_version_are_part_of_the_name() -> None:
    """Another stage or a raised version never meets an old entry."""
    assert len({digest("a", 1, 0), digest("b", 1, 0), digest("a", 2, 0)}) == 3


def test_order_of_a_mapping_does_not_matter() -> None:
    """Two dicts that are equal have one name."""
    assert digest("t", 1, {"a": 1, "b": 2}) == digest("t", 1, {"b": 2, "a": 1})


def test_another_process_gives_the_same_name() -> None:
    """The name does not hang on hash seeds or on this process."""
    code = "from base.identity import digest; print(digest('t', 1, {'b': {3, 1, 2}, 'a': 0.1}))"
    runs = [subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True) for _ in range(2)]
    assert {run.stdout for run in runs} == {digest("t", 1, {"b": {3, 1, 2}, "a": 0.1}) + "\n"}


def test_an_unknown_type_is_refused() -> None:
    """A value without a canonical form raises; it never gets a guessed key."""
    with pytest.raises(TypeError, match="no canonical form for object"):
        canonical(object())


def test_file_digest_is_sha256(tmp_path) -> None:
    """SHA-256 of "abc", from FIPS 180-2 appendix B.1."""
    path = tmp_path / "abc"
    path.write_bytes(b"abc")
    assert file_digest(path) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
