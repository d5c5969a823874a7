"""Two shapes of the spread between the trees of one lot, in units that compare.

log T = log_middle + spread * W, where W has median 0 and sd 1: normal (T is lognormal) or Gumbel
for minima (T is Weibull). So `spread` is the sd of log T and the middle the median of T in both.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

Floats = NDArray[np.float64]
LOGNORMAL, WEIBULL = "lognormal", "weibull"
FAMILIES = (LOGNORMAL, WEIBULL)

_SD = math.pi / math.sqrt(6)  # of a Gumbel of scale 1
_MEDIAN = math.log(2)
_FAR = 37.0  # beyond it a normal density is no number any more


class Mass(NamedTuple):
    """How much of W lies between two bounds, and its two derivatives by the log of the spread."""

    mass: Floats
    first: Floats
    second: Floats


def between(family: str, low: Floats, high: Floats) -> Floats:
    """P(low < W <= high), exact in both tails too. Bounds may be infinite."""
    if family == LOGNORMAL:
        # Far above the middle the difference of two numbers near 1 is noise: mirror it.
        side = np.where(low > 0, -1.0, 1.0)
        return np.asarray(np.abs(ndtr(side * high) - ndtr(side * low)), np.float64)
    low_hazard, high_hazard = _hazard(low), _hazard(high)
    return np.exp(-low_hazard) * -np.expm1(low_hazard - high_hazard)


def mass(family: str, low: Floats, high: Floats) -> Mass:
    """`between`, with derivatives by log spread, where bounds are (log t - middle) / spread."""
    first_low, second_low = _by_log_spread(family, low)
    first_high, second_high = _by_log_spread(family, high)
    return Mass(between(family, low, high), first_high - first_low, second_high - second_low)


def _by_log_spread(family: str, w: Floats) -> tuple[Floats, Floats]:
    """First and second derivative of P(W <= w) by log spread; w moves by -w for a step of 1."""
    if family == LOGNORMAL:
        w = np.clip(w, -_FAR, _FAR)
        square = w * w
        first = w * np.exp(-0.5 * square) * (-1 / math.sqrt(2 * math.pi))
        return first, first * (square - 1)
    w = np.clip(w, -_FAR, 5.0)  # beyond 5 the hazard is over 400
    hazard = _hazard(w)
    first = w * hazard * np.exp(-hazard) * -_SD
    return first, first * (-1 - _SD * w * (1 - hazard))


def _hazard(w: Floats) -> Floats:
    return _MEDIAN * np.exp(_SD * np.minimum(w, _FAR))


def cdf(family: str, time: Floats, log_middle: Floats, spread: Floats) -> Floats:
    """Share of the trees to which it happens at all whose event has come by `time` (Cd)."""
    with np.errstate(divide="ignore"):
        w = (np.log(time) - log_middle) / spread
    if family == LOGNORMAL:
        return np.asarray(ndtr(w), np.float64)
    return -np.expm1(-_hazard(w))


def quantile(family: str, share: Floats, log_middle: Floats, spread: Floats) -> Floats:
    """The time (Cd) by which `share` of those trees have had their event: inverse of `cdf`."""
    return np.exp(log_middle + spread * standard(family, share))


def standard(family: str, share: Floats) -> Floats:
    """The quantile of W."""
    if family == LOGNORMAL:
        return np.asarray(ndtri(share), np.float64)
    with np.errstate(divide="ignore"):
        return np.log(-np.log1p(-np.asarray(share, np.float64)) / _MEDIAN) / _SD
