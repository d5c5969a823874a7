"""The beta-binomial distribution exactly: what draws are held against."""

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics.betabinomial import log_chance, shape

Floats = NDArray[np.float64]


def chances(trials: int, mean: float, rho: float) -> Floats:
    """Of 0, 1 ... `trials` good ones: float[trials + 1], summing to 1."""
    found = np.exp(log_chance(np.arange(trials + 1), trials, mean, rho))
    whole: Floats = found / found.sum()
    return whole


def at_least(sure: float, trials: int, mean: float, rho: float) -> int:
    """The most of `trials` that will be good with probability `sure` at least."""
    none_less = np.cumsum(chances(trials, mean, rho)[::-1])[::-1]
    return int(np.flatnonzero(none_less >= sure - 1e-12)[-1])


def after(good: float, bad: float, mean: float = 0.5, rho: float = 0.5) -> tuple[float, float]:
    """Mean and rho of a lot's share once `good` and `bad` were seen of it.

    The default, a = b = 1/2, is the Jeffreys prior of a share of which nothing is known.
    """
    a, b = shape(mean, rho)
    total = float(a + b) + good + bad
    return float(a + good) / total, 1 / (total + 1)
