"""How often an interval holds what is true: of new lots, of lots half seen, of what is learned."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics.times import Draws, LotTimes, Prior, fit, lots
from tests.support.looked_at import Nature, looked_at

WHAT = ("new lot", "new method", "expected middle", "lot half seen", "spread", "never")


def ranks(
    simulations: int, seed: int, sizes: tuple[int, int], family: str | None = None
) -> dict[str, NDArray[np.float64]]:
    """Share of the draws below what is true; even between 0 and 1 where draws tell the truth.

    Each simulation is another crop (middle, effects of two methods) with between `sizes` lots, a
    quarter of them still young.
    """
    rng = np.random.default_rng(seed)
    found: dict[str, list[float]] = {name: [] for name in WHAT}
    for _ in range(simulations):
        effects = rng.normal(0, 0.1, 3)
        nature = Nature(middle=400 * np.exp(rng.normal(0, 0.3)), methods=tuple(effects[:2]))
        count = int(rng.integers(sizes[0], sizes[1] + 1))
        young = max(1, count // 4)
        times, middles = looked_at(rng, nature, count, young)
        learned = fit(times, Prior(middle=400), family)
        draws = learned.draw(rng, 400)
        design = learned.design({"method": np.array([0, 1, -1])}, 3)
        expected = np.log(nature.middle) + effects
        new = _ranks(lot_middles(draws, design, None, rng), expected + rng.normal(0, nature.tau, 3))
        found["new lot"] += new[:2]
        found["new method"] += new[2:]
        found["expected middle"] += _ranks(draws.coefficients @ design[:2].T, expected[:2])
        own = lots(learned, times)
        own = LotTimes(y=own.y[:young], variance=own.variance[:young])
        x = learned.design(times.factors, count)[:young]
        found["lot half seen"] += _ranks(lot_middles(draws, x, own, rng), middles[:young])
        found["spread"] += _ranks(draws.spread[:, None], [nature.spread])
        found["never"] += _ranks(draws.never[:, None], [nature.never])
    return {name: np.array(each) for name, each in found.items()}


def lot_middles(
    draws: Draws, design: NDArray[np.float64], own: LotTimes | None, rng: np.random.Generator
) -> NDArray[np.float64]:
    """A log-middle of each lot in each draw, [D, L], as `Draws` says; `own` None: new lots."""
    expected = draws.coefficients @ design.T
    chance = rng.standard_normal(expected.shape)
    tau2 = draws.tau[:, None] ** 2
    weight = tau2 / (tau2 + (np.inf if own is None else own.variance))
    y = 0.0 if own is None else own.y
    return np.asarray(expected + weight * (y - expected) + np.sqrt(tau2 * (1 - weight)) * chance)


def within(ranks: NDArray[np.float64], share: float) -> float:
    """How often the middle `share` of the draws held what is true."""
    return float(np.mean(np.abs(ranks - 0.5) < share / 2))


def _ranks(draws: NDArray[np.float64], truth: Sequence[float] | NDArray[np.float64]) -> list[float]:
    return list((draws < np.asarray(truth)).mean(axis=0))
