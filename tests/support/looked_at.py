"""Invented lots whose trees push at times that are known here, and are looked at now and then."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics.families import standard
from service.forecast.numerics.times import LOGNORMAL, Times

WEEK = 77.0
"""Degree-days of a week of spring (11 Cd a day)."""


class Nature(NamedTuple):
    """What is true of a crop: as `Prior` says, and the effects of its methods on the logarithm."""

    middle: float = 350.0
    spread: float = 0.2
    tau: float = 0.09
    never: float = 0.04
    methods: tuple[float, ...] = (0.0, 0.12)
    family: str = LOGNORMAL
    trees: tuple[int, int] = (18, 38)


class Seen(NamedTuple):
    """What the looks tell, and what they do not: each lot's log-middle."""

    times: Times
    middles: NDArray[np.float64]


def looked_at(
    rng: np.random.Generator, nature: Nature, lots: int, young: int = 0, week: float = WEEK
) -> Seen:
    """Looks each `week` degree-days at every lot; of the first `young` lots, only until somewhere
    between 0.3 and 1.1 of the middle. Rows of one interval are one row."""
    method = rng.integers(0, len(nature.methods), lots)
    middles = np.log(nature.middle) + np.asarray(nature.methods)[method]
    middles = middles + rng.normal(0, nature.tau, lots)
    lot = np.repeat(np.arange(lots), rng.integers(nature.trees[0], nature.trees[1] + 1, lots))
    w = standard(nature.family, rng.random(len(lot)))
    pushed = np.exp(middles[lot] + nature.spread * w)
    pushed[rng.random(len(lot)) < nature.never] = np.inf
    last = np.full(lots, 9 * nature.middle)
    last[:young] = rng.uniform(0.3, 1.1, young) * nature.middle
    first = rng.uniform(0, week, lots)
    looks = first + np.maximum(np.floor((last - first) / week), 0) * week
    with np.errstate(invalid="ignore"):
        high = first[lot] + np.ceil((pushed - first[lot]) / week) * week
    low, seen = np.maximum(high - week, 0), high <= looks[lot]
    low, high = np.where(seen, low, looks[lot]), np.where(seen, high, np.inf)
    rows, trees = np.unique(np.column_stack([lot, low, high]), axis=0, return_counts=True)
    times = Times(
        lot=rows[:, 0].astype(np.int64),
        low=rows[:, 1],
        high=rows[:, 2],
        trees=trees.astype(np.float64),
        lots=lots,
        factors={"method": method},
    )
    return Seen(times, middles)
