"""Exact statistics against published tables and scipy.

Critical numbers of forced-choice listening tests and the p values 8/10 .055, 9/10 .011, 10/10 .001, 15/20 .021 (table
at theaudiostuff.com/tools/abx-test); 11/16 90 %, 12/16 96 %, 13/16 99 % (forum table, hydrogenaudio t1558);
scipy.stats.binomtest (exact interval after Clopper & Pearson) as reference library.
"""

import pytest
from scipy import stats

from compare.listening import critical_number, interval, power, tail

CRITICAL = {
    5: (5, None, None), 8: (7, 8, None), 10: (9, 10, 10), 12: (10, 11, 12), 16: (12, 14, 15), 20: (15, 16, 18),
    24: (17, 19, 20), 25: (18, 19, 21), 30: (20, 22, 24), 40: (26, 28, 31), 50: (32, 34, 37), 100: (59, 63, 66),
}  # fmt: skip


@pytest.mark.parametrize("trials", CRITICAL)
def test_critical_numbers(trials):
    """Least number of right answers at 5 %, 1 % and 0.1 %."""
    assert tuple(critical_number(trials, alpha) for alpha in (0.05, 0.01, 0.001)) == CRITICAL[trials]


@pytest.mark.parametrize(("correct", "trials", "p"), [(8, 10, 0.055), (9, 10, 0.011), (10, 10, 0.001), (15, 20, 0.021)])
def test_published_p_values(correct, trials, p):
    """One-sided p values to three places."""
    assert tail(correct, trials) == pytest.approx(p, abs=5e-4)


@pytest.mark.parametrize(("correct", "confidence"), [(11, 90), (12, 96), (13, 99)])
def test_published_confidence_of_sixteen_trials(correct, confidence):
    """The older way of saying it: one minus p, in whole percent (rounded or cut)."""
    assert 100.0 * (1.0 - tail(correct, 16)) == pytest.approx(confidence, abs=0.6)


@pytest.mark.parametrize(("correct", "trials"), [(0, 7), (12, 16), (16, 16), (31, 50), (640, 1000)])
def test_the_same_as_scipy(correct, trials):
    """Tail and exact interval equal scipy's."""
    reference = stats.binomtest(correct, trials, 0.5, alternative="greater")
    assert tail(correct, trials) == pytest.approx(reference.pvalue, rel=1e-9)
    exact = stats.binomtest(correct, trials).proportion_ci(0.95, method="exact")
    assert interval(correct, trials) == pytest.approx((exact.low, exact.high), abs=1e-9)


@pytest.mark.parametrize(("trials", "value"), [(10, 0.244), (16, 0.630), (25, 0.727), (50, 0.971)])
def test_power(trials, value):
    """A listener right in 75 % of the trials passes at 5 % with these probabilities (scipy's binomial tail)."""
    assert power(trials, 0.75) == pytest.approx(value, abs=5e-4)
    assert power(trials, 0.75) == pytest.approx(stats.binom.sf(critical_number(trials) - 1, trials, 0.75), rel=1e-9)
