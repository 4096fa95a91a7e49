"""Remedies: a step a check proposes is a legal step, and the fault is gone once it is taken."""

from __future__ import annotations

import pytest

from mapping import check

STEPS = [
    "{play: melody, on: oboe 1, level: pp}",
    "{play: accompaniment, on: [viola, horn 1]}",
    "{play: bass, on: [trumpet 1, basses 8vb], level: ff}",
    "{hold: harmony, on: [horn 1], level: f}",
    "{play: bass, on: timpani}",
]
ORCHESTRA = "{use: classical full, add: [viola]}"


def _written(step):
    """A remedy as it would stand in a spec."""
    words = [f"[{', '.join(value)}]" if isinstance(value, list) else f'"{value}"' for value in step.values()]
    return "{" + ", ".join(f"{key}: {word}" for key, word in zip(step, words, strict=True)) + "}"


@pytest.fixture
def found(variants, piece):
    """Remarks on a clumsy variant of a real piece, the variant, and a function that takes one more step."""
    _, layers = piece("polonaise")

    def checked(*more):
        arrangement = variants("polonaise", {"clumsy": [*STEPS, *more]}, ORCHESTRA)["clumsy"]
        return check(arrangement, layers)

    return checked(), checked


def test_remedies_mend(found):
    """For the first remark of every kind with a step as remedy, the remark at that place is gone after the step."""
    remarks, checked = found
    tried = {}
    for one in remarks:
        if isinstance(one.remedy, dict):
            tried.setdefault(one.kind, one)
    assert len(tried) >= 3
    for one in tried.values():
        place = (one.player, one.kind, one.bar_index, one.beat)
        after = checked(_written(one.remedy))
        assert place not in [(other.player, other.kind, other.bar_index, other.beat) for other in after], one


def test_every_remark_is_complete(found):
    """Every remark says what and what to do, at a bar and beat of the piece, and can be exported."""
    import json

    remarks, _ = found
    assert {one.severity for one in remarks} == {"error", "advice"}
    for one in remarks:
        assert one.message
        assert one.remedy
        assert one.bar_index >= 1
        assert one.beat >= 1
        assert json.loads(json.dumps(one.to_json()))["kind"] == one.kind
