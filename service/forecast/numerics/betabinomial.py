"""Shares that differ from lot to lot: the beta-binomial distribution.

Of a lot's n trees k are good; the lot's own share is beta distributed about a mean, and `rho` is
the correlation of two of its trees: a = mean * (1/rho - 1), b = (1 - mean) * (1/rho - 1). With rho
0 lots do not differ and k is binomial.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaln, gammaln

Floats = NDArray[np.float64]

LEAST_RHO = 1e-6


def log_chance(good: ArrayLike, trials: ArrayLike, mean: ArrayLike, rho: ArrayLike) -> Floats:
    """Logarithm of the chance of `good` in `trials`; broadcast."""
    k, n = np.asarray(good, float), np.asarray(trials, float)
    a, b = shape(mean, rho)
    choose = gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)
    chance: Floats = choose + betaln(k + a, n - k + b) - betaln(a, b)
    return chance


def shape(mean: ArrayLike, rho: ArrayLike) -> tuple[Floats, Floats]:
    """The a and b of the beta distribution of lots' shares; broadcast."""
    size = 1 / np.clip(np.asarray(rho, float), LEAST_RHO, 1 - LEAST_RHO) - 1
    share = np.clip(np.asarray(mean, float), 1e-9, 1 - 1e-9)
    return share * size, (1 - share) * size
