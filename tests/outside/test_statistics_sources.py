"""The statistics of figures against published values and against SciPy."""

from __future__ import annotations

import random

import numpy
import pytest
import scipy.stats

from tester.records.statistics import at_most, pareto, quantile, slope, wilson

# R 4 binom.confint, method wilson, as stored in statsmodels' results_proportion.py (vector 18)
BINOM_CONFINT = [(18, 20, 0.6989663547715128, 0.972133518786232)]

# R 3.6.2 prop.test, correct=FALSE, as stored in SciPy's test_morestats.py (vector 19)
PROP_TEST = [(3, 10, 0.1077913, 0.6032219), (0, 10, 0.0, 0.2775328), (10, 10, 0.7224672, 1.0)]

# Wilson's formula of 1927, computed; SciPy and statsmodels agree (vector 20)
COMPUTED = [(0, 20, 0.0, 0.161125), (1, 20, 0.008881, 0.236131), (95, 100, 0.888250, 0.978456)]

# Newcombe 1998, table I, method 3; computed, the print from memory (vector 21)
NEWCOMBE = [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (1, 29, 0.0061, 0.1718)]


@pytest.mark.parametrize(("hits", "trials", "low", "high"), BINOM_CONFINT)
def test_wilson_equals_binom_confint(hits: int, trials: int, low: float, high: float) -> None:
    assert wilson(hits, trials) == pytest.approx((low, high), abs=1e-9)


@pytest.mark.parametrize(("hits", "trials", "low", "high"), PROP_TEST)
def test_wilson_equals_prop_test(hits: int, trials: int, low: float, high: float) -> None:
    assert wilson(hits, trials) == pytest.approx((low, high), abs=5e-8)


@pytest.mark.parametrize(("hits", "trials", "low", "high"), COMPUTED)
def test_wilson_equals_its_own_formula(hits: int, trials: int, low: float, high: float) -> None:
    assert wilson(hits, trials) == pytest.approx((low, high), abs=5e-7)


@pytest.mark.parametrize(("hits", "trials", "low", "high"), NEWCOMBE)
def test_wilson_equals_newcombes_table(hits: int, trials: int, low: float, high: float) -> None:
    assert wilson(hits, trials) == pytest.approx((low, high), abs=5e-5)


def test_wilson_equals_scipy_for_every_share_up_to_sixty() -> None:
    for trials in range(1, 61):
        for hits in range(trials + 1):
            theirs = scipy.stats.binomtest(hits, trials).proportion_ci(0.95, method="wilson")
            assert wilson(hits, trials) == pytest.approx((theirs.low, theirs.high), abs=1e-9)


def test_wilson_covers_the_true_share_about_as_often_as_it_says() -> None:
    # exact coverage from the binomial distribution; Newcombe 1998 reports a mean near 0.95 for this method
    trials = 40
    shares = numpy.linspace(0.05, 0.95, 91)
    covered = [
        sum(
            scipy.stats.binom.pmf(hits, trials, share)
            for hits in range(trials + 1)
            if wilson(hits, trials)[0] <= share <= wilson(hits, trials)[1]
        )
        for share in shares
    ]
    assert 0.945 < numpy.mean(covered) < 0.96


def test_nonsense_has_no_interval() -> None:
    assert wilson(0, 0) == (0.0, 1.0)
    for hits, trials in ((-1, 3), (4, 3)):
        with pytest.raises(ValueError, match="of"):
            wilson(hits, trials)


def test_none_seen_bounds_the_share_as_the_rule_of_three_says() -> None:
    # vector 22: 3/n for n = 300 and 1500 (rule of three), exact 0.139108 for n = 20
    assert at_most(300) == pytest.approx(1 / 100, rel=0.01)
    assert at_most(1500) == pytest.approx(1 / 500, rel=0.01)
    assert at_most(20) == pytest.approx(0.139108, abs=5e-7)
    clopper = scipy.stats.binomtest(0, 20, alternative="less").proportion_ci(0.95, method="exact")
    assert at_most(20) == pytest.approx(clopper.high, abs=1e-12)
    assert at_most(0) == 1.0


def test_quantiles_and_slope_equal_numpy_and_scipy() -> None:
    rng = random.Random(7)
    for _ in range(200):
        values = sorted(rng.uniform(0, 100) for _ in range(rng.randint(1, 30)))
        for share in (0.25, 0.5, 0.75):
            assert quantile(values, share) == pytest.approx(float(numpy.quantile(values, share)))
        points = [(rng.uniform(0, 3), rng.gauss(0, 5)) for _ in range(rng.randint(3, 30))]
        theirs = scipy.stats.linregress([x for x, _ in points], [y for _, y in points])
        assert slope(points) == pytest.approx((theirs.slope, theirs.stderr))
    assert slope([(0, 1), (1, 2)]) is None and slope([(1, 1), (1, 2), (1, 3)]) is None


def test_pareto_sorts_by_count_and_adds_up_to_a_hundred_percent() -> None:
    # no printed source; running shares against numpy's cumulated sum
    counts = {"H-11": 7, "D-1": 12, "H-2": 1, "D-9": 7}
    bars = pareto(counts)
    assert [bar.name for bar in bars] == ["D-1", "D-9", "H-11", "H-2"]
    assert [bar.running for bar in bars] == pytest.approx(list(numpy.cumsum([12, 7, 7, 1]) / 27 * 100))
    assert pareto({}) == []
