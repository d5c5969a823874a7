"""Beta-binomial figures in plain Python, against a reference library and worked-out values."""

from math import ceil

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import betabinom

from service.forecast.answers.shares import EXACT, at_least, fewer_than, grafts_for


def scipys(n: int, k: int, mean: float, correlation: float) -> float:
    both = 1 / correlation - 1
    return float(betabinom.cdf(k - 1, n, mean * both, (1 - mean) * both))


@given(
    st.integers(1, 600),
    st.floats(0, 1),
    st.floats(0.02, 0.98),
    st.sampled_from([0.001, 0.01, 0.05, 0.2, 0.7]),
)
def test_chances_equal_those_of_a_reference_library(
    n: int, share: float, mean: float, correlation: float
) -> None:
    k = round(n * share)
    assert fewer_than(n, k, mean, correlation) == pytest.approx(
        scipys(n, k, mean, correlation), abs=1e-8
    )


def test_what_can_be_promised_of_a_hundred() -> None:
    # Worked out apart from this code with a statistics library, for lots that take 9 in 10 with a
    # correlation of 0.05: 9 in 10 sure 80, 95 in 100 sure 76; were lots all alike, 86.
    assert at_least(100, 0.9, 0.05, 0.9) == 80
    assert at_least(100, 0.9, 0.05, 0.95) == 76
    assert at_least(100, 0.9, 0.0, 0.9) == 86


@pytest.mark.parametrize(
    ("took", "of", "grafts", "sure"), [(180, 200, 100, 85), (180, 200, 500, 432), (45, 50, 100, 82)]
)
def test_what_few_observations_allow(took: int, of: int, grafts: int, sure: int) -> None:
    # Jeffreys' prior (one half of each) after `took` of `of`: its predictive P10, worked out apart.
    a, b = took + 0.5, of - took + 0.5
    assert at_least(grafts, a / (a + b), 1 / (a + b + 1), 0.9) == sure


@given(
    st.integers(1, 250),
    st.floats(0.2, 0.98),
    st.sampled_from([0.0, 0.01, 0.1]),
    st.sampled_from([0.5, 0.8, 0.95]),
)
def test_grafts_are_enough_and_one_fewer_is_not(
    trees: int, mean: float, correlation: float, confidence: float
) -> None:
    grafts = grafts_for(trees, mean, correlation, confidence)
    if grafts is None:
        grafts = 100 * trees
    else:
        assert fewer_than(grafts, trees, mean, correlation) <= 1 - confidence + 1e-9
    assert fewer_than(grafts - 1, trees, mean, correlation) > 1 - confidence - 1e-9


def test_large_numbers_go_in_proportion_a_little_on_the_safe_side() -> None:
    trees, mean, correlation = 4 * EXACT, 0.75, 0.03
    grafts = grafts_for(trees, mean, correlation, 0.9)
    assert grafts is not None
    assert scipys(grafts, trees, mean, correlation) <= 0.1
    assert scipys(ceil(grafts * 0.99), trees, mean, correlation) > 0.1


def test_what_no_number_of_grafts_can_reach() -> None:
    assert grafts_for(100, 0.05, 0.3, 0.95) is None
    assert grafts_for(100, 0.0, 0.1, 0.8) is None
    assert grafts_for(0, 0.5, 0.1, 0.8) == 0
    assert at_least(100, 1.0, 0.0, 0.99) == 100
