"""Shares that differ from lot to lot: the beta-binomial distribution, exact.

Of a lot's n trees k are good; the lot's own share is beta distributed about a mean, and `rho` is
the correlation of two of its trees: a = mean * (1/rho - 1), b = (1 - mean) * (1/rho - 1). With rho
0 lots do not differ and k is binomial.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, betaln, gammaln

Floats = NDArray[np.float64]

LEAST_RHO = 1e-6


def log_chance(good: ArrayLike, trials: ArrayLike, mean: ArrayLike, rho: ArrayLike) -> Floats:
    """Logarithm of the chance of `good` in `trials`; broadcast."""
    k, n = np.asarray(good, float), np.asarray(trials, float)
    a, b = shape(mean, rho)
    choose = gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)
    chance: Floats = choose + betaln(k + a, n - k + b) - betaln(a, b)
    return chance


def chances(trials: int, mean: float, rho: float) -> Floats:
    """Of 0, 1 ... `trials` good ones: float[trials + 1], summing to 1."""
    found = np.exp(log_chance(np.arange(trials + 1), trials, mean, rho))
    whole: Floats = found / found.sum()
    return whole


def at_least(sure: float, trials: int, mean: float, rho: float) -> int:
    """The most of `trials` that will be good with probability `sure` at least."""
    none_less = np.cumsum(chances(trials, mean, rho)[::-1])[::-1]
    return int(np.flatnonzero(none_less >= sure - 1e-12)[-1])


def sd(trials: float, mean: float, rho: float) -> float:
    """Standard deviation of the number of good ones."""
    return float(np.sqrt(trials * mean * (1 - mean) * (1 + (trials - 1) * rho)))


def after(good: float, bad: float, mean: float = 0.5, rho: float = 0.5) -> tuple[float, float]:
    """Mean and rho of a lot's share once `good` and `bad` were seen of it.

    The default, a = b = 1/2, is the Jeffreys prior of a share of which nothing is known.
    """
    a, b = shape(mean, rho)
    total = float(a + b) + good + bad
    return float(a + good) / total, 1 / (total + 1)


def clopper_pearson(good: int, trials: int, sure: float = 0.95) -> tuple[float, float]:
    """The exact interval of a share of which `good` in `trials` were seen (1934)."""
    tail = (1 - sure) / 2
    low = 0.0 if good == 0 else float(betaincinv(good, trials - good + 1, tail))
    high = 1.0 if good == trials else float(betaincinv(good + 1, trials - good, 1 - tail))
    return low, high


def jeffreys(good: int, trials: int, sure: float = 0.95) -> tuple[float, float]:
    """The equal-tailed interval of the share after the Jeffreys prior."""
    tail, a, b = (1 - sure) / 2, good + 0.5, trials - good + 0.5
    return float(betaincinv(a, b, tail)), float(betaincinv(a, b, 1 - tail))


def product(parts: list[tuple[float, float]]) -> tuple[float, float]:
    """Mean and rho of the product of independent shares, each given by (mean, rho).

    A product of beta shares is not quite beta: the one with its mean and variance.
    """
    mean = square = 1.0
    for part, rho in parts:
        mean *= part
        square *= part**2 + part * (1 - part) * rho
    room = mean * (1 - mean)
    return mean, float(np.clip((square - mean**2) / room, 0.0, 1.0)) if room > 0 else 0.0


def shape(mean: ArrayLike, rho: ArrayLike) -> tuple[Floats, Floats]:
    """The a and b of the beta distribution of lots' shares; broadcast."""
    size = 1 / np.clip(np.asarray(rho, float), LEAST_RHO, 1 - LEAST_RHO) - 1
    share = np.clip(np.asarray(mean, float), 1e-9, 1 - 1e-9)
    return share * size, (1 - share) * size
