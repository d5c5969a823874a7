"""The non-parametric estimate: published masses, what must hold at the top, and its limits."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from lifelines import KaplanMeierFitter

from service.forecast.numerics.npmle import npmle

NOT_YET = np.inf

# Finkelstein & Wolfe 1985 (Biometrics 41:933-945), the 46 patients with radiotherapy alone: months
# to the breast's retraction, in (low, high].
RETRACTED = (
    *((0, 7), (0, 8), (0, 5), (4, 11), (5, 12), (5, 11), (6, 10), (7, 16), (7, 14), (11, 15)),
    *((11, 18), (17, 25), (17, 25), (19, 35), (18, 26), (25, 37), (26, 40), (27, 34), (36, 44)),
    *((36, 48), (37, 44)),
)
NOT_RETRACTED = (*(15, 17, 18, 22, 24, 24, 32, 33, 34, 36, 36, 37, 37, 37, 38, 40, 45), *[46] * 8)
LOW = np.array([low for low, _ in RETRACTED] + list(NOT_RETRACTED), float)
HIGH = np.array([high for _, high in RETRACTED] + [NOT_YET] * len(NOT_RETRACTED), float)


def test_the_radiotherapy_arm_has_the_published_masses() -> None:
    found = npmle(LOW, HIGH)
    assert found.low.tolist() == [4, 6, 7, 11, 24, 33, 38, 46]
    assert found.high.tolist() == [5, 7, 8, 12, 25, 34, 40, 48]
    assert found.mass == pytest.approx(
        [0.0463, 0.0334, 0.0887, 0.0708, 0.0926, 0.0818, 0.1209, 0.4656], abs=6e-5
    )
    assert found.loglik == pytest.approx(-58.060, abs=5e-4)


def test_weights_are_so_many_trees() -> None:
    once, weights = npmle(LOW, HIGH), np.arange(1.0, len(LOW) + 1)
    assert npmle(LOW, HIGH, weights).mass == pytest.approx(
        npmle(np.repeat(LOW, weights.astype(int)), np.repeat(HIGH, weights.astype(int))).mass,
        abs=1e-4,
    )
    assert npmle(LOW, HIGH, np.full(len(LOW), 7.0)).mass == pytest.approx(once.mass, abs=1e-4)


def test_exact_times_and_trees_that_wait_give_the_kaplan_meier_curve() -> None:
    rng = np.random.default_rng(5)
    time = rng.integers(1, 40, 200).astype(float)
    happened = rng.random(200) < 0.7
    found = npmle(time, np.where(happened, time, NOT_YET))
    reference = KaplanMeierFitter().fit(time, happened)
    days = np.unique(time[happened])
    assert found.cdf(days) == pytest.approx(
        1 - reference.survival_function_at_times(days).to_numpy(), abs=1e-4
    )


@given(
    arrays(float, 30, elements=st.integers(0, 20)),
    arrays(float, 30, elements=st.integers(1, 15) | st.just(NOT_YET)),
)
def test_no_mass_elsewhere_would_be_likelier(low: np.ndarray, width: np.ndarray) -> None:
    found = npmle(low, low + width)
    assert found.mass.sum() == pytest.approx(1)
    assert found.gap <= 0.01
    rng = np.random.default_rng(0)
    for _ in range(20):
        other = 0.9 * found.mass + 0.1 * rng.dirichlet(np.ones(len(found.mass)))
        inside = (low[:, None] <= found.low) & (found.high <= (low + width)[:, None])
        assert np.log(inside @ other).sum() <= found.loglik + 0.01


def test_all_unseen_or_all_alike() -> None:
    nothing_yet = npmle(np.array([3.0, 9.0]), np.full(2, NOT_YET))
    assert (nothing_yet.low[0], nothing_yet.high[0], nothing_yet.mass[0]) == (9, NOT_YET, 1)
    assert nothing_yet.cdf(np.array([5.0, 100.0])).tolist() == [0, 0]
    alike = npmle(np.full(5, 2.0), np.full(5, 6.0))
    assert alike.cdf(np.array([2.0, 4.0, 6.0])).tolist() == [0, 0.5, 1]


@pytest.mark.parametrize(
    ("low", "high", "weights", "says"),
    [
        ([], [], [], "no observations"),
        ([2.0], [1.0], [1.0], "low"),
        ([np.nan], [1.0], [1.0], "low"),
        ([1.0], [2.0], [0.0], "weights"),
    ],
)
def test_what_cannot_be_is_refused(
    low: list[float], high: list[float], weights: list[float], says: str
) -> None:
    with pytest.raises(ValueError, match=says):
        npmle(np.array(low), np.array(high), np.array(weights))
