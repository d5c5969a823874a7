"""Times to push and to ready: other hands' fits of the same data, known parameters, hard cases."""

import math

import numpy as np
import pytest
import surpyval
from lifelines import LogNormalFitter, WeibullFitter
from numpy.polynomial.hermite_e import hermegauss
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.stats import lognorm, norm, weibull_min

from service.forecast.numerics.families import between, mass
from service.forecast.numerics.times import (
    LOGNORMAL,
    WEIBULL,
    LotTimes,
    Prior,
    Times,
    cdf,
    evidences,
    fit,
    lots,
    quantile,
)
from tests.support.coverage import lot_middles, ranks, within
from tests.support.looked_at import Nature, looked_at

FAMILIES = (LOGNORMAL, WEIBULL)
NOT_YET = math.inf
GUMBEL_SD = math.pi / math.sqrt(6)


def rows(*told: tuple[int, float, float, float], lots: int = 0, **factors: list[int]) -> Times:
    """Rows of (lot, low, high, trees)."""
    columns = np.array(told, float).reshape(-1, 4)
    return Times(
        lot=columns[:, 0].astype(np.int64),
        low=columns[:, 1],
        high=columns[:, 2],
        trees=columns[:, 3],
        lots=lots or int(columns[:, 0].max(initial=-1)) + 1,
        factors={name: np.array(levels) for name, levels in factors.items()},
    )


def one_lot_of(trees: int, family: str, seed: int = 3) -> Times:
    nature = Nature(family=family, never=0.0, trees=(trees, trees), methods=(0.0,))
    return looked_at(np.random.default_rng(seed), nature, 1, 0).times


# --- against other libraries ---------------------------------------------------------------------


@pytest.mark.parametrize("family", FAMILIES)
def test_the_families_are_those_of_a_reference_library(family: str) -> None:
    time, middle, spread = np.array([50.0, 200, 330, 350, 380, 700]), math.log(350), 0.25
    if family == LOGNORMAL:
        reference = lognorm(s=spread, scale=350)
    else:
        shape = GUMBEL_SD / spread
        reference = weibull_min(shape, scale=350 / math.log(2) ** (1 / shape))
    share = cdf(family, time, middle, spread)
    assert share == pytest.approx(reference.cdf(time), rel=1e-9)
    assert quantile(family, np.array([0.1, 0.5, 0.9]), middle, spread) == pytest.approx(
        reference.ppf([0.1, 0.5, 0.9])
    )
    # The spread is the sd of the logarithm in both.
    second = quad(lambda p: np.log(reference.ppf(p)) ** 2, 0, 1)[0]
    first = quad(lambda p: np.log(reference.ppf(p)), 0, 1)[0]
    assert math.sqrt(second - first**2) == pytest.approx(spread, rel=1e-4)


@pytest.mark.parametrize("family", FAMILIES)
def test_derivatives_by_the_spread_are_those_by_differences(family: str) -> None:
    low, high = np.array([-np.inf, -3.0, -0.5, 0.4, 2.0]), np.array([-1.0, 0.2, 0.5, np.inf, 3.0])
    step = 1e-4
    there, back = (between(family, low * s, high * s) for s in np.exp([-step, step]))
    here = mass(family, low, high)
    assert here.first == pytest.approx((there - back) / (2 * step), abs=1e-7)
    assert here.second == pytest.approx((there + back - 2 * here.mass) / step**2, abs=1e-5)


def test_far_from_the_middle_chances_are_still_numbers() -> None:
    assert between(LOGNORMAL, np.array([9.0]), np.array([10.0])) == pytest.approx(
        [norm.sf(9) - norm.sf(10)], rel=1e-9
    )
    assert between(LOGNORMAL, np.array([-10.0]), np.array([-9.0])) == pytest.approx(
        [norm.sf(9) - norm.sf(10)], rel=1e-9
    )
    assert 0 < between(WEIBULL, np.array([-25.0]), np.array([-24.0]))[0] < 1e-12


@pytest.mark.parametrize("family", FAMILIES)
def test_one_great_lot_is_fitted_as_two_other_libraries_do(family: str) -> None:
    # lifelines 0.30 and surpyval 0.25, each fitting the same (low, high] rows by likelihood alone.
    times = one_lot_of(1500, family)
    wide = Prior(middle=400, middle_sd=5, spread_sd=5, never=0, lot_sd=0.01, mistakes=0)
    found = fit(times, wide, family)
    kind = LogNormalFitter if family == LOGNORMAL else WeibullFitter
    theirs = kind().fit_interval_censoring(times.low, times.high, weights=times.trees)
    if family == LOGNORMAL:
        middle, spread = theirs.mu_, theirs.sigma_
    else:
        middle = math.log(theirs.lambda_ * math.log(2) ** (1 / theirs.rho_))
        spread = GUMBEL_SD / theirs.rho_
    assert lots(found, times).y[0] == pytest.approx(middle, abs=2e-4)
    assert found.spread == pytest.approx(spread, rel=2e-3)
    model = surpyval.LogNormal if family == LOGNORMAL else surpyval.Weibull
    each = np.repeat(np.column_stack([times.low, times.high]), times.trees.astype(int), axis=0)
    first, second = model.fit(x=each.tolist(), c=np.full(len(each), 2)).params
    if family == WEIBULL:
        first, second = math.log(first * math.log(2) ** (1 / second)), GUMBEL_SD / second
    assert lots(found, times).y[0] == pytest.approx(first, abs=2e-4)
    assert found.spread == pytest.approx(second, rel=2e-3)


def test_the_families_are_weighed_as_by_their_likelihoods() -> None:
    times = one_lot_of(600, LOGNORMAL)
    prior = Prior(middle=400, never=0, mistakes=0, spread_sd=5)
    found = fit(times, prior)
    theirs = [
        kind().fit_interval_censoring(times.low, times.high, weights=times.trees).log_likelihood_
        for kind in (LogNormalFitter, WeibullFitter)
    ]
    assert found.family == LOGNORMAL
    assert found.logliks[LOGNORMAL] - found.logliks[WEIBULL] == pytest.approx(
        theirs[0] - theirs[1], abs=0.5
    )


# --- what is known comes out ---------------------------------------------------------------------


@pytest.mark.parametrize("family", FAMILIES)
def test_many_lots_tell_what_is_true(family: str) -> None:
    nature = Nature(family=family, methods=(0.0, 0.15))
    times, middles = looked_at(np.random.default_rng(2), nature, 400, 60)
    found = fit(times, Prior(middle=250))
    assert found.family == family
    assert found.spread == pytest.approx(0.2, abs=4 * found.spread * found.spread_sd)
    assert found.never == pytest.approx(0.04, abs=0.007)
    assert found.tau == pytest.approx(0.09, abs=0.012)
    (first, sd), (second, _) = found.middle({"method": 0}), found.middle({"method": 1})
    assert first == pytest.approx(math.log(350), abs=4 * sd)
    assert second - first == pytest.approx(0.15, abs=0.04)
    own = lots(found, times)
    off = (own.y - middles)[60:] / np.sqrt(own.variance[60:])
    assert np.std(off) == pytest.approx(1, abs=0.12)
    assert found.fallback == ""


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    # 200 crops of 8 to 60 lots, looked at weekly, a quarter of the lots half seen.
    found = ranks(200, 11, (8, 60), LOGNORMAL)
    for what in ("new lot", "lot half seen"):
        assert 0.54 <= within(found[what], 0.6) <= 0.66, what
        assert 0.75 <= within(found[what], 0.8) <= 0.85, what
        assert found[what].mean() == pytest.approx(0.5, abs=0.05)
    for what in ("expected middle", "spread", "never", "new method"):
        assert 0.7 <= within(found[what], 0.8) <= 0.9, what


def test_few_lots_do_not_make_the_lots_look_alike() -> None:
    found = ranks(80, 12, (3, 3), LOGNORMAL)
    assert 0.74 <= within(found["new lot"], 0.8) <= 0.9


def test_lots_alike_that_all_wait_are_as_unsure_as_by_quadrature() -> None:
    # 30 lots of 24 trees, none pushed by 200 Cd. Reference: the posterior of the crop's middle on
    # a fine grid, with spread, never and tau as fitted.
    found = fit(rows(*((lot, 200, NOT_YET, 24) for lot in range(30))), Prior(middle=400))
    b = np.linspace(4, 8, 2001)
    points, weights = hermegauss(41)
    middles = b[:, None] + found.tau * points
    waits = (1 - found.never) * norm.cdf((middles - math.log(200)) / found.spread) + found.never
    log = 30 * np.log(waits**24 @ weights) - 0.5 * ((b - math.log(400)) / 0.5) ** 2
    share = np.exp(log - log.max()) / np.exp(log - log.max()).sum()
    mean = share @ b
    assert found.middle()[0] == pytest.approx(mean, abs=0.05)
    assert found.middle()[1] == pytest.approx(math.sqrt(share @ (b - mean) ** 2), rel=0.25)
    assert "no tree has got so far yet" in found.fallback


def test_a_lot_half_seen_is_as_unsure_as_by_quadrature() -> None:
    # 12 of 100 trees pushed by 300 Cd, the others wait. Whether the spread is wide or the middle
    # near is not told: reference is the posterior of both on a fine grid.
    told = rows((0, 200, 260, 4), (0, 260, 300, 8), (0, 300, NOT_YET, 88))
    prior = Prior(middle=400, never=0, mistakes=0, lot_sd=1e-3)
    found = fit(told, prior, LOGNORMAL)
    b, log_spread = np.meshgrid(np.linspace(5.4, 7.5, 700), np.linspace(-3.6, 0.5, 600))
    z = (np.log([200, 260, 300]) - b[..., None]) / np.exp(log_spread)[..., None]
    pushed = np.maximum(np.diff(norm.cdf(z), axis=-1), 1e-300)
    log = np.log(pushed) @ [4, 8]
    log += 88 * norm.logsf(z[..., 2]) - 0.5 * ((b - math.log(400)) / 0.5) ** 2
    log -= 0.5 * ((log_spread - math.log(0.2)) / 0.4) ** 2
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    mean, spread = (weight * b).sum(), (weight * log_spread).sum()
    assert found.middle()[0] == pytest.approx(mean, abs=0.04)
    assert found.middle()[1] == pytest.approx(math.sqrt((weight * (b - mean) ** 2).sum()), rel=0.25)
    assert found.spread_sd == pytest.approx(
        math.sqrt((weight * (log_spread - spread) ** 2).sum()), rel=0.25
    )


def test_a_method_with_one_lot_borrows_from_the_rest() -> None:
    times, _ = looked_at(np.random.default_rng(4), Nature(methods=(0.0,)), 40)
    rare = np.zeros(40, np.int64)
    rare[7] = 1
    found = fit(_with(times, method=rare), Prior(middle=250))
    known, borrowed = found.middle({"method": 0}), found.middle({"method": 1})
    new, nothing = found.middle({"method": 2}), fit(rows(), Prior(middle=250)).middle()
    assert borrowed[0] == pytest.approx(known[0], abs=0.15)
    assert known[1] < borrowed[1] < new[1] < nothing[1]
    assert found.based_on({"method": 1}) == (times.trees[times.lot == 7].sum(), 1)
    assert found.borrows({"method": 0}) == ""
    assert found.borrows({"method": 1}) == "1 lot of this method: borrows from the others"
    assert found.borrows({"method": 2}).startswith("nothing seen yet of this method")


def test_what_is_typical_is_known_better_than_what_a_new_site_would_be() -> None:
    times, middles = looked_at(np.random.default_rng(8), Nature(methods=(0.0,)), 60)
    site = np.arange(60) % 3
    found = fit(_with(times, site=site), Prior(middle=250))
    mean, sd, lot_sd = found.typical()
    assert mean == pytest.approx(middles.mean(), abs=3 * sd)
    assert sd < 0.02 < found.middle()[1]
    assert found.tau < lot_sd < 0.3
    assert found.typical({"site": 1})[2] == pytest.approx(found.tau)
    assert found.typical({"site": 1})[:2] == pytest.approx(found.middle({"site": 1}))
    assert found.typical({"site": 7})[:2] == found.middle({"site": 7})


def test_the_likelier_clock_of_the_same_rows_is_found() -> None:
    times, _ = looked_at(np.random.default_rng(6), Nature(methods=(0.0,)), 30)
    late = np.random.default_rng(7).uniform(0, 300, 30)[times.lot]
    wrong = Times(
        lot=times.lot,
        low=times.low + np.where(times.low > 0, late, 0),
        high=times.high + late,
        trees=times.trees,
        lots=times.lots,
    )
    prior = Prior(middle=400)
    right, other = evidences([(times, prior), (wrong, prior)])
    assert right > other + 10
    assert right == pytest.approx(fit(times, prior).loglik, abs=1)


def _with(times: Times, **factors: NDArray[np.int64]) -> Times:
    return Times(
        lot=times.lot,
        low=times.low,
        high=times.high,
        trees=times.trees,
        lots=times.lots,
        factors=factors,
    )


# --- hard cases ----------------------------------------------------------------------------------

HARD = {
    "no lots": rows(),
    "lots without rows": rows(lots=3, method=[0, 1, -1]),
    "all wait, early": rows((0, 100, NOT_YET, 24), (1, 150, NOT_YET, 24)),
    "all wait, far too long": rows((0, 2000, NOT_YET, 24), (1, 1500, NOT_YET, 24)),
    "pushed before the first look": rows(*((lot, 0, 300, 24) for lot in range(50))),
    "one tree": rows((0, 350, 420, 1)),
    "part of a tree": rows((0, 300, 400, 0.2), (0, 500, NOT_YET, 0.1)),
    "very many trees": rows((0, 300, 350, 1e6), (0, 350, 400, 2e6), (1, 380, 440, 1e12)),
    "no heat between looks": rows((0, 300, 300, 5), (0, 350, 350, 5), (1, 0, 0, 5)),
    "no numbers": rows((0, math.nan, 300, 5), (0, -3, 350, 5), (0, 9, 5, 1), (1, NOT_YET, 9, 5)),
    "ends that say nothing": rows((0, 0, NOT_YET, 24)),
    "far from what is believed": rows((0, 3e6, 4e6, 20), (1, 3e-3, 4e-3, 20)),
    "many lots that wait": rows(*((lot, 200, NOT_YET, 24) for lot in range(300))),
}


@pytest.mark.parametrize("case", HARD)
def test_whatever_is_recorded_gives_numbers(case: str) -> None:
    times = HARD[case]
    found = fit(times, Prior(middle=400))
    rng = np.random.default_rng(1)
    draws = found.draw(rng, 100)
    middles = lot_middles(draws, found.design(times.factors, times.lots), lots(found, times), rng)
    for drawn in (draws.coefficients, draws.tau, draws.spread, draws.never, middles):
        assert np.isfinite(drawn).all()
    assert found.middle()[1] > 0
    assert found.fallback or case in ("pushed before the first look",)


def test_nothing_seen_gives_the_prior_back() -> None:
    prior = Prior(middle=400, middle_sd=0.4, spread=0.3, never=0.06, never_n=20)
    found = fit(rows(), prior)
    assert found.middle() == pytest.approx((math.log(400), 0.4))
    assert (found.spread, found.never) == (0.3, 0.06)
    assert found.never_n == pytest.approx(20)
    assert found.n_lots == 0
    assert found.fallback == "no observations of its own: a weak prior"
    draws = found.draw(np.random.default_rng(1), 4000)
    assert draws.never.mean() == pytest.approx(0.06, abs=0.005)
    # Of a half-normal with scale 0.12.
    assert draws.tau.mean() == pytest.approx(0.12 * math.sqrt(2 / math.pi), rel=0.1)


def test_one_mistaken_row_does_not_drag_a_lot_along() -> None:
    sound = [(0, 380, 420, 8), (0, 420, 440, 8), (1, 400, 430, 10), (1, 430, 470, 10)]
    told = fit(rows(*sound), Prior(middle=400))
    mistaken = rows(*sound, (0, 1, 5, 1))
    off = lots(fit(mistaken, Prior(middle=400)), mistaken).y - lots(told, rows(*sound)).y
    assert np.abs(off).max() < 0.02


def test_trees_known_never_to_be_fit_count_as_such() -> None:
    # 10 of 200 were culled as unfit, the others were all seen to be ready.
    told = [(lot, 330, 360, 20) for lot in range(5)] + [(lot, 360, 400, 18) for lot in range(5)]
    unfit = [(lot, NOT_YET, NOT_YET, 2) for lot in range(5)]
    prior = Prior(middle=400, never=0.05, never_n=15)
    found = fit(rows(*told, *unfit), prior)
    # Beta-binomial: the prior's 15 trees and these.
    assert found.never == pytest.approx((0.05 * 15 + 10) / (15 + 200), abs=2e-3)
    assert found.never_n == pytest.approx(15 + 200, rel=0.02)
    left_out = fit(rows(*told), prior)
    assert found.middle() == pytest.approx(left_out.middle(), abs=1e-3)
    assert found.spread == pytest.approx(left_out.spread, rel=1e-3)


def test_lots_without_rows_say_nothing_and_follow_the_others() -> None:
    times = rows((1, 300, 350, 9), (1, 350, 400, 9), lots=3)
    found = fit(times, Prior(middle=400))
    own = lots(found, times)
    assert np.isinf(own.variance[[0, 2]]).all()
    assert own.variance[1] < 0.01
    rng = np.random.default_rng(2)
    drawn = lot_middles(found.draw(rng, 4000), found.design({}, 3), own, rng)
    alone = LotTimes(y=np.zeros(1), variance=np.full(1, np.inf))
    new = lot_middles(found.draw(rng, 4000), found.design({}, 1), alone, rng)
    assert drawn[:, 0].std() == pytest.approx(new.std(), rel=0.1)
    assert drawn[:, 1].std() == pytest.approx(math.sqrt(own.variance[1]), rel=0.2)
