"""Listening tests: blind trials, their results as files, and what the results say.

:func:`plan_matching` and :func:`judge_matching` for "which of the two is it?", :func:`plan_ratings` and
:func:`judge_ratings` for marks from 0 to 100 with a hidden reference, :func:`write_session` and :func:`read_session`
for the files. Running a test (sound, keys, screen) is the application's work.
"""

from compare.listening.binomial import critical_number, holm, interval, power, tail, trials_needed
from compare.listening.matching import (
    MatchingAnswer,
    MatchingJudgement,
    MatchingTrial,
    judge_matching,
    plan_matching,
    power_in_words,
)
from compare.listening.rating import (
    ANCHOR,
    REFERENCE,
    Rating,
    RatingJudgement,
    RatingTrial,
    anchor,
    judge_ratings,
    plan_ratings,
)
from compare.listening.results import Session, as_csv, read_session, write_session

__all__ = [
    "ANCHOR",
    "REFERENCE",
    "MatchingAnswer",
    "MatchingJudgement",
    "MatchingTrial",
    "Rating",
    "RatingJudgement",
    "RatingTrial",
    "Session",
    "anchor",
    "as_csv",
    "critical_number",
    "holm",
    "interval",
    "judge_matching",
    "judge_ratings",
    "plan_matching",
    "plan_ratings",
    "power",
    "power_in_words",
    "read_session",
    "tail",
    "trials_needed",
    "write_session",
]
