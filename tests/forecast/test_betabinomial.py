"""Shares that differ from lot to lot: exact values, a published fit, and what a level borrows."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from service.forecast.numerics import betabinomial
from service.forecast.numerics.regression import Prior, maximum_likelihood, regress
from tests.support.exact_shares import at_least, chances

# Crowder 1978, Beta-binomial anova for proportions, Applied Statistics 27: 34-37: seeds that
# germinated on each of 21 plates, of two species of Orobanche on two root extracts.
PLATES = {
    (0, 0): [(10, 39), (23, 62), (23, 81), (26, 51), (17, 39)],
    (0, 1): [(5, 6), (53, 74), (55, 72), (32, 51), (46, 79), (10, 13)],
    (1, 0): [(8, 16), (10, 30), (8, 28), (23, 45), (0, 4)],
    (1, 1): [(3, 12), (22, 41), (15, 30), (32, 51), (3, 7)],
}
SHARES = st.floats(0.01, 0.99)


def plates() -> tuple[list[int], list[int], list[list[float]]]:
    rows = [
        (good, of, [1.0, seed, root, seed * root])
        for (seed, root), seen in PLATES.items()
        for good, of in seen
    ]
    good, of, design = zip(*rows, strict=True)
    return list(good), list(of), list(design)


def test_the_published_plates_give_the_published_fit() -> None:
    # The same fit by the beta-binomial models made for this data elsewhere: coefficients of seed *
    # root on the logit, phi and log-likelihood, to the last digit that is printed.
    good, of, design = plates()
    coefficients, rho, loglik = maximum_likelihood(good, of, design)
    assert coefficients == pytest.approx([-0.5420, 0.0974, 1.3201, -0.7979], abs=5e-5)
    assert rho == pytest.approx(0.01236, abs=5e-6)
    assert loglik == pytest.approx(-53.767, abs=5e-4)
    _, rho, loglik = maximum_likelihood(good, of, np.ones((len(of), 1)))
    assert rho == pytest.approx(0.0816, abs=5e-5)
    assert loglik == pytest.approx(-64.516, abs=5e-4)


@given(st.integers(0, 300), SHARES, st.floats(0.001, 0.8))
def test_chances_are_those_of_the_reference_library(trials: int, mean: float, rho: float) -> None:
    size = 1 / rho - 1
    expected = stats.betabinom(trials, mean * size, (1 - mean) * size).pmf(np.arange(trials + 1))
    assert chances(trials, mean, rho) == pytest.approx(expected, abs=1e-9)


@given(st.integers(1, 200), SHARES, st.floats(0.0, 0.8), st.sampled_from([0.5, 0.8, 0.9, 0.99]))
def test_at_least_is_the_most_that_is_so_sure(
    trials: int, mean: float, rho: float, sure: float
) -> None:
    found, chance = at_least(sure, trials, mean, rho), chances(trials, mean, rho)
    assert chance[found:].sum() >= sure - 1e-9
    assert chance[found + 1 :].sum() < sure + 1e-9


def test_nothing_seen_is_what_is_usual_and_said_to_be() -> None:
    found = regress([], [], {"method": []}, Prior(mean=0.9, mean_sd=0.5, rho=0.05))
    mean, rho = found.rates({"method": [-1]}, np.random.default_rng(1), 20_000)
    assert float(np.median(mean)) == pytest.approx(0.9, abs=0.01)
    assert float(np.median(rho)) == pytest.approx(0.05, rel=0.1)
    assert "no lot was seen" in found.fallback
    assert "1 lots" in regress([3], [4]).fallback
    assert regress([90] * 40, [100] * 40).fallback == ""


def test_more_good_trees_than_trees_are_refused() -> None:
    with pytest.raises(ValueError, match="between none and all"):
        regress([5], [4])


def test_a_level_with_few_trees_borrows_from_the_rest() -> None:
    # Forty lots by one method, two by another, one that failed wholly: it is not believed to fail
    # always, nor taken for as good as the rest.
    good, of = [90] * 20 + [86] * 20 + [0] + [17], [100] * 40 + [5] + [20]
    found = regress(good, of, {"method": [0] * 20 + [1] * 20 + [2, 2]})
    usual, _, rare = found.levels("method", np.random.default_rng(2))
    assert 0.4 < rare.share < usual.share - 0.03
    assert rare.high - rare.low > 2 * (usual.high - usual.low)
    assert (rare.good, rare.trials, rare.lots) == (17, 25, 2)


def test_a_grafter_is_not_blamed_for_the_rootstocks_given_to_him() -> None:
    # Rootstock 1 takes worse; grafter 1 got nearly only that, and is as good as grafter 0.
    rng = np.random.default_rng(3)
    rootstock = np.repeat([0, 1], 200)
    grafter = np.where(rng.random(400) < 0.9, rootstock, 1 - rootstock)
    of = np.full(400, 60)
    share = rng.beta(*betabinomial.shape(np.where(rootstock == 1, 0.7, 0.92), 0.04))
    good = rng.binomial(of, share)
    found = regress(good, of, {"grafter": grafter, "rootstock": rootstock})
    first, second = found.levels("grafter", np.random.default_rng(4))
    plain = first.good / first.trials - second.good / second.trials
    assert plain > 0.12
    assert abs(first.share - second.share) < 0.03


def test_known_parameters_come_back_as_often_as_the_intervals_say() -> None:
    # 200 invented nurseries of 60 lots: the mean of lots by a method lies within its 80 % interval
    # in about 80 of 100, and lots are found to differ as much as they do.
    inside, rhos = [], []
    for number in range(200):
        rng = np.random.default_rng(number)
        method = rng.integers(0, 4, 60)
        effect = rng.normal(0, 0.4, 4)
        of = rng.integers(10, 120, 60)
        truth = 1 / (1 + np.exp(-1.8 - effect))
        good = rng.binomial(of, rng.beta(*betabinomial.shape(truth[method], 0.06)))
        found = regress(good, of, {"method": method})
        mean, _ = found.rates({"method": np.arange(4)}, np.random.default_rng(0), 400)
        low, high = np.quantile(mean, (0.1, 0.9), axis=1)
        inside += ((low <= truth) & (truth <= high)).tolist()
        rhos.append(found.rho)
    # 800 methods, somewhat alike within a nursery: two standard errors are about 0.04. The sd of
    # four methods' effects is taken at its likeliest, which costs some of the width.
    assert 0.74 <= np.mean(inside) <= 0.85
    assert math.exp(np.log(rhos).mean()) == pytest.approx(0.06, rel=0.15)
