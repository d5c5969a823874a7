"""How much heat trees need until something happens to them, learned from what was seen of many lots.

The event is a push or becoming ready; times are degree-days (Cd) on one clock. A tree's event lies
between two looks (interval-censored), or had not come when it was last seen (right-censored), or
never comes. Of tree i in lot l, among those to which it happens at all,

    log T = m[l] + spread * W,      m[l] = X[l] @ b + lot effect,      lot effect ~ N(0, tau^2)

W has median 0 and sd 1: normal (T lognormal), or Gumbel for minima (T Weibull). `b` is the crop's
intercept and an effect for each level of each factor (method, site, season), every factor's effects
normal about 0 with an sd of their own, learned. Each factor has one level more than was seen: for
levels that are unknown or new.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
LOGNORMAL, WEIBULL = "lognormal", "weibull"


@dataclass(frozen=True, kw_only=True)
class Times:
    """R rows about trees of L lots. A row says of `trees` trees of `lot` that their event came
    after `low` and at `high` at the latest (Cd); `high` infinite: it had not come at `low`.

    lot: int[R], below L. low, high: float[R], 0 <= low <= high. trees: float[R]. factors: by name,
    int[L], the level of each lot, -1 where not known; names are the same for all lots of a fit.
    """

    lot: Ints
    low: Floats
    high: Floats
    trees: Floats
    factors: Mapping[str, Ints] = field(default_factory=dict)
    lots: int = 0


@dataclass(frozen=True, kw_only=True)
class Prior:
    """What is believed before anything was seen: weak, and sourced by whoever fills it in.

    middle: Cd; middle_sd: sd of its logarithm. spread: sd of log T within a lot; spread_sd: of the
    logarithm of that. never: share; never_n: how many trees' worth of belief that is. factor_sd,
    lot_sd: scale of the half-normal that the sds of the factors' levels and of the lots come from.
    mistakes: share of rows that are not what they say (wrong row, wrong day).
    """

    middle: float
    middle_sd: float = 0.5
    spread: float = 0.2
    spread_sd: float = 0.4
    never: float = 0.04
    never_n: float = 10.0
    factor_sd: float = 0.12
    lot_sd: float = 0.12
    mistakes: float = 0.001


@dataclass(frozen=True, kw_only=True)
class Draws:
    """D draws from what is believed after the fit: coefficients[D, P], tau[D], spread[D], never[D].

    The log-middle of a lot with own observations (y, variance) in draw d is normal with
    w = tau^2 / (tau^2 + variance), mean w*y + (1-w) * X[l] @ coefficients[d],
    sd sqrt(w * variance), or tau where variance is infinite.
    """

    coefficients: Floats
    tau: Floats
    spread: Floats
    never: Floats

    def middles(self, design: Floats, own: "LotTimes", rng: np.random.Generator) -> Floats:
        """A log-middle of each lot in each draw, [D, L]."""
        raise NotImplementedError


@dataclass(frozen=True, kw_only=True)
class LotTimes:
    """What lots' own observations say of their log-middles: y[L] with variance[L] (inf: nothing)."""

    y: Floats
    variance: Floats


@dataclass(frozen=True, kw_only=True)
class Fit:
    """What was learned. `loglik`: by family, of the same lots (all, or the sample that the family
    was chosen on). `fallback`: in words, empty where the observations carry it."""

    family: str
    spread: float
    spread_sd: float
    never: float
    never_n: float
    tau: float
    levels: dict[str, int]
    n_trees: float
    n_lots: int
    logliks: dict[str, float]
    loglik: float
    fallback: str

    def design(self, factors: Mapping[str, Ints], lots: int = 1) -> Floats:
        """X[L, P]; levels that are -1, new or not named go to the factor's unknown level."""
        raise NotImplementedError

    def middle(self, levels: Mapping[str, int] | None = None) -> tuple[float, float]:
        """Mean and sd of the expected log-middle of lots with these levels (without tau)."""
        raise NotImplementedError

    def based_on(self, levels: Mapping[str, int] | None = None) -> tuple[float, int]:
        """Trees and lots that were seen with these levels."""
        raise NotImplementedError

    def borrows(self, levels: Mapping[str, int] | None = None) -> str:
        """In words, what an estimate for these levels leans on; empty: on its own observations."""
        raise NotImplementedError

    def draw(self, rng: np.random.Generator, draws: int) -> Draws:
        raise NotImplementedError


def fit(times: Times, prior: Prior, family: str | None = None) -> Fit:
    """Learn from `times`. No rows: the prior comes back, and `fallback` says so."""
    raise NotImplementedError


def lots(fit: Fit, times: Times) -> LotTimes:
    """What the own observations of lots (of the fit, or others) say of their log-middles."""
    raise NotImplementedError


def cdf(family: str, time: Floats, log_middle: Floats, spread: Floats) -> Floats:
    """Share of the trees to which it happens at all whose event has come by `time` (Cd)."""
    raise NotImplementedError


def quantile(family: str, share: Floats, log_middle: Floats, spread: Floats) -> Floats:
    """The time (Cd) by which `share` of those trees have had their event."""
    raise NotImplementedError
