"""Listening tests: plans are blind, statistics behave, files are checked."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from base.errors import InputError
from compare.listening import (
    ANCHOR,
    REFERENCE,
    MatchingAnswer,
    Rating,
    Session,
    anchor,
    as_csv,
    critical_number,
    interval,
    judge_matching,
    judge_ratings,
    plan_matching,
    plan_ratings,
    power,
    power_in_words,
    read_session,
    tail,
    trials_needed,
    write_session,
)
from compare.listening.rating import sign_flip

RUNS = 10_000


def answered(rights, listener="ann"):
    """Answers to a plan, right or wrong as given."""
    plan = plan_matching(["opening", "close"], ("plain", "horns"), len(rights), seed=1)
    return [
        MatchingAnswer(listener, trial, trial.hidden if right else ({trial.first, trial.second} - {trial.hidden}).pop())
        for trial, right in zip(plan, rights, strict=True)
    ]


@pytest.mark.parametrize("trials", [10, 16, 25])
def test_who_hears_nothing_passes_no_oftener_than_said(trials):
    """10 000 sessions of guessing: the rate below 5 % is the exact size of the test, and never above 5 %."""
    counts = np.random.default_rng(1).binomial(trials, 0.5, RUNS)
    table = np.array([tail(right, trials) for right in range(trials + 1)])
    passed = np.mean(table[counts] <= 0.05)
    size = tail(critical_number(trials), trials)
    assert size <= 0.05
    assert passed == pytest.approx(size, abs=4.0 * np.sqrt(size / RUNS))


@pytest.mark.parametrize("trials", [10, 16, 25])
def test_who_is_right_four_times_in_five_passes_as_computed(trials):
    """10 000 sessions at 80 %: the rate of passing is the power computed, the 95 % interval covers the truth."""
    counts = np.random.default_rng(2).binomial(trials, 0.8, RUNS)
    table = np.array([tail(right, trials) for right in range(trials + 1)])
    computed = power(trials, 0.8)
    assert np.mean(table[counts] <= 0.05) == pytest.approx(computed, abs=4.0 * np.sqrt(0.25 / RUNS))
    bounds = np.array([interval(right, trials) for right in range(trials + 1)])[counts]
    assert np.mean((bounds[:, 0] <= 0.8) & (bounds[:, 1] >= 0.8)) >= 0.95


def test_pooled_listeners_of_unequal_ability():
    """10 000 panels of four guessers pass no oftener than 5 %; one keen listener among them is found by Holm."""
    rng = np.random.default_rng(3)
    sums = rng.binomial(16, 0.5, (RUNS, 4)).sum(axis=1)
    table = np.array([tail(right, 64) for right in range(65)])
    assert np.mean(table[sums] <= 0.05) <= 0.05
    keen = judge_matching(
        [*answered([True] * 16, "keen"), *answered([True, False] * 8, "bo"), *answered([False, True] * 8, "cy")]
    )
    assert [name for name, _, _, p in keen.listeners if p <= 0.05] == ["keen"]
    assert keen.spread < 0.05
    assert any("differ more than chance" in sentence for sentence in keen.sentences)


def test_the_judgement_says_what_it_means():
    """12 of 16: significant, with the exact interval; 8 of 10: not shown, with what such a session would miss."""
    good = judge_matching(answered([True] * 12 + [False] * 4), planned=16)
    assert (good.correct, good.trials) == (12, 16)
    assert good.p_value == pytest.approx(0.0384, abs=1e-4)
    assert any("3.8 %" in sentence for sentence in good.sentences)
    weak = judge_matching(answered([True] * 8 + [False] * 2), planned=10)
    assert any("does not show that there is no difference" in sentence for sentence in weak.sentences)
    assert "76 %" in power_in_words(10)
    assert "too few" in power_in_words(4)
    assert trials_needed(0.75) == 23


def test_a_session_stopped_early_is_not_judged():
    """Five right of five, of sixteen planned: no p value is read out."""
    early = judge_matching(answered([True] * 5), planned=16)
    assert not early.finished
    assert "stopped before its last trial" in early.sentences[-1]
    assert not any("%" in sentence for sentence in early.sentences)


def test_the_plan_gives_nothing_away():
    """Over many trials the hidden one is either variant and either position half of the time, in independent draws."""
    plan = plan_matching(["a", "b", "c"], ("plain", "horns"), 3000, seed=7)
    first = np.array([trial.first == "plain" for trial in plan])
    hidden = np.array([trial.hidden == trial.first for trial in plan])
    for coin in (first, hidden, first ^ hidden, hidden[1:] ^ hidden[:-1]):
        assert coin.mean() == pytest.approx(0.5, abs=0.04)
    assert {trial.passage for trial in plan[:3]} == {"a", "b", "c"}
    assert plan_matching(["a"], ("x", "y"), 8, seed=1) == plan_matching(["a"], ("x", "y"), 8, seed=1)
    assert len({plan_matching(["a"], ("x", "y"), 40)[0:40] for _ in range(3)}) == 3


@pytest.mark.parametrize("arguments", [([], ("a", "b"), 5), (["p"], ("a", "a"), 5), (["p"], ("a", "b"), 0)])
def test_impossible_plans_are_refused(arguments):
    """No passage, one variant twice, no trial."""
    with pytest.raises(ValueError, match="matching trials need"):
        plan_matching(*arguments)


def test_the_rating_plan_hides_reference_and_anchor():
    """Every trial has all variants, the reference and the anchor once, in changing order."""
    plan = plan_ratings(["a", "b", "c", "d"], ["plain", "horns", "flute"], "plain", "Is the tune clear?", seed=3)
    assert {trial.passage for trial in plan} == {"a", "b", "c", "d"}
    for trial in plan:
        assert sorted(trial.behind) == sorted(["horns", "flute", REFERENCE, ANCHOR])
    assert len({trial.behind for trial in plan}) > 1
    with pytest.raises(ValueError, match="a rating needs"):
        plan_ratings(["a"], ["plain"], "plain", "?")


def ratings(listener, passages, **marks):
    """The same marks for every passage."""
    return [
        Rating(listener, f"p{row}", name.replace("_", " "), mark)
        for row in range(passages)
        for name, mark in marks.items()
    ]


def test_a_listener_who_cannot_find_the_reference_is_left_out():
    """Reference below 90 in 2 of 10 passages: out, with the reason; in 1 of 10 (under 15 %): in."""
    marks = [*ratings("good", 10, hidden_reference=100, horns=70), *ratings("poor", 10, hidden_reference=95, horns=60)]
    at = [row for row, rating in enumerate(marks) if rating.listener == "poor" and rating.variant == REFERENCE]
    for row in at[:2]:
        marks[row] = Rating("poor", marks[row].passage, REFERENCE, 50)
    judged = judge_ratings(marks)
    assert judged.listeners == ("good",)
    assert judged.left_out[0][0] == "poor"
    assert "2 of 10" in judged.left_out[0][1]
    marks[at[0]] = Rating("poor", "p0", REFERENCE, 95)
    assert judge_ratings(marks).listeners == ("good", "poor")


def test_a_shared_preference_is_found_and_a_split_one_not():
    """Eight listeners who all mark horns 20 higher: p = 2/256; four against four: nothing."""
    agree, split = [], []
    for row in range(8):
        agree += ratings(f"l{row}", 3, hidden_reference=100, plain=50 + row, horns=70 + row)
        up = 20 if row % 2 else -20
        split += ratings(f"l{row}", 3, hidden_reference=100, plain=50, horns=50 + up)
    found = judge_ratings(agree)
    assert found.pairs[0][:3] == ("plain", "horns", pytest.approx(-20.0))
    assert found.pairs[0][3] == pytest.approx(2.0 / 256.0)
    assert "‘horns’ is marked 20 points higher than ‘plain’" in found.sentences[1]
    assert "No two variants" in judge_ratings(split).sentences[-1]


def test_sign_flips_of_many_listeners_agree_with_the_exact_test():
    """The random version for more than twelve listeners comes near the exact one."""
    difference = np.random.default_rng(5).normal(0.4, 1.0, 12)
    repeated = np.append(difference, 1e-12)
    assert sign_flip(repeated) == pytest.approx(sign_flip(difference), abs=0.01)


def test_the_anchor_keeps_the_mask():
    """BS.1534-3: ±0.1 dB to 3.5 kHz, −25 dB or less at 4 kHz, −50 dB or less at 4.5 kHz."""
    rate = 48_000
    click = np.zeros((rate, 2), np.float32)
    click[rate // 2] = 1.0
    response = np.abs(np.fft.rfft(anchor(click, rate)[:, 0]))
    hz = np.fft.rfftfreq(rate, 1.0 / rate)
    level = 20.0 * np.log10(np.maximum(response, 1e-9))
    assert np.all(np.abs(level[(hz > 20) & (hz <= 3500)]) <= 0.1)
    assert level[hz >= 4000.0].max() <= -25.0
    assert level[hz >= 4500.0].max() <= -50.0


def test_sessions_survive_the_file(tmp_path):
    """Both kinds are read back as they were written; the table has one line per answer."""
    matching = Session("matching", "Zoë", 4, tuple(answered([True, False, True, True], "Zoë")))
    rating = Session(
        "rating", "bo", question="clear?", ratings=tuple(ratings("bo", 2, hidden_reference=100, horns=55.5))
    )
    for session in (matching, rating):
        write_session(session, tmp_path / "s.json")
        assert read_session(tmp_path / "s.json") == session
    lines = as_csv([matching, matching]).splitlines()
    assert lines[0] == "listener,trial,passage,first,second,hidden,answer,seconds,right"
    assert len(lines) == 9
    assert len(as_csv([rating]).splitlines()) == 5
    with pytest.raises(ValueError, match="one table"):
        as_csv([matching, rating])


def test_a_table_runs_no_formula():
    """A listener named like a formula is harmless in a spreadsheet."""
    session = Session("matching", "=1+1", 1, tuple(answered([True], "=1+1")))
    assert as_csv([session]).splitlines()[1].startswith("'=1+1")


@pytest.mark.parametrize(
    "text",
    [
        "", "[]", "{}", "not json", '{"format": "klangprobe listening", "version": 2}', "[" * 100_000,
        '{"format": "klangprobe listening", "version": 1, "kind": "rating", "listener": "a", "question": "q",'
        ' "ratings": [{"passage": "p", "variant": "v", "mark": 101}]}',
        '{"format": "klangprobe listening", "version": 1, "kind": "rating", "listener": "a", "question": "q",'
        ' "ratings": [{"passage": "p", "variant": "v", "mark": NaN}]}',
        '{"format": "klangprobe listening", "version": 1, "kind": "matching", "listener": "a", "planned": 1,'
        ' "answers": [{"trial": 1, "passage": "p", "first": "a", "second": "b", "hidden": "c", "answer": "a"}]}',
        '{"format": "klangprobe listening", "version": 1, "kind": "matching", "listener": 3, "planned": 1,'
        ' "answers": []}',
    ],
)  # fmt: skip
def test_what_is_no_session_is_refused(tmp_path, text):
    """Empty, foreign, nested to the sky, out of range, inconsistent: one clear message each."""
    path = tmp_path / "bad.json"
    path.write_text(text)
    with pytest.raises(InputError, match="not a listening session"):
        read_session(path)


@given(st.lists(st.booleans(), min_size=1, max_size=60))
def test_more_right_answers_never_weaken_the_case(rights):
    """Turning a wrong answer into a right one lowers the p value and lifts the interval."""
    total, right = len(rights), sum(rights)
    if right < total:
        assert tail(right + 1, total) < tail(right, total)
        assert interval(right + 1, total)[0] >= interval(right, total)[0]
    low, high = interval(right, total)
    assert 0.0 <= low <= right / total <= high <= 1.0
    json.dumps([low, high], allow_nan=False)
