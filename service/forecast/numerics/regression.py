"""What share of a lot's trees comes well, over lots that differ: a beta-binomial regression.

    logit(mean of lot i) = intercept + an effect of its level of each factor

The intercept has a prior; the effects of a factor's levels are normal about 0 with an sd of their
own, learned too, so that a level with few trees borrows from the rest. `rho` is the correlation of
two trees of one lot that the factors do not explain.

Coefficients are the maximum of the penalised likelihood, the sds by expectation-maximisation, rho
by its likelihood with the coefficients integrated out (Laplace's approximation).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize_scalar
from scipy.special import digamma, expit, logit, polygamma

from service.forecast.numerics.betabinomial import LEAST_RHO, log_chance, shape

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

UNKNOWN = -1
"""The level of a factor that is not known."""
ROUNDS, STEPS = 40, 30
"""Rounds of learning sds and rho in turn with the coefficients, and Newton's steps in each."""
ROUGHLY = 1e-2
"""Log-likelihood that a step must gain while sds and rho are still being learned."""
MIX = 500
"""So many trees stand for all when a level is told in the mix of the others."""
FEW_LOTS, FEW_TREES = 5, 100
"""With fewer an estimate is said to lean on what is usual."""
AVOID = 1.5
"""The belief about an sd falls off as a half-normal and, by this power, towards 0: the likeliest sd
of a few levels is often 0 without it, and then each would be taken for like the rest, wrongly and
surely (Chung et al. 2013, Psychometrika 78: 685-709)."""
RHO_BETWEEN = (-11.0, 2.0)
"""Logits of rho that are looked at."""


@dataclass(frozen=True, kw_only=True)
class Prior:
    """What is believed of a share before lots were seen.

    mean: of lots of the usual kind; mean_sd: of its logit. rho, and rho_sd of its logit.
    effect_sd: by factor, the scale of what the sd of its levels' effects (on the logit) comes from,
    a half-normal but for values near 0; any_effect_sd: of factors that it does not name.
    """

    mean: float = 0.85
    mean_sd: float = 1.0
    rho: float = 0.05
    rho_sd: float = 1.0
    effect_sd: Mapping[str, float] = field(default_factory=dict)
    any_effect_sd: float = 0.5

    def scale(self, factor: str) -> float:
        return self.effect_sd.get(factor, self.any_effect_sd)


WEAK = Prior()


@dataclass(frozen=True)
class Level:
    """One level of a factor: what its share would be in the mix of all lots, with 80 % from `low`
    to `high`; and what was seen of it plainly: `good` of `trials` in `lots`."""

    level: int
    share: float
    low: float
    high: float
    good: float
    trials: float
    lots: int


@dataclass(frozen=True, kw_only=True)
class Fit:
    """What was learned.

    coefficients[P]: the intercept, then the levels of each factor in order, from `starts`, so many
    as `counts`; covariance[P, P]. effect_sd: by factor. rho; rho_sd: of its logit. loglik: of what
    was seen, at the coefficients. fallback: in words, empty where the observations carry it.
    kinds: rows of the design of trees spread evenly over all seen; one of no lot where none was.
    seen: by factor [levels, 3], good, trials and lots.
    """

    coefficients: Floats
    covariance: Floats
    starts: dict[str, int]
    counts: dict[str, int]
    effect_sd: dict[str, float]
    rho: float
    rho_sd: float
    loglik: float
    trials: float
    lots: int
    fallback: str
    kinds: Floats
    seen: dict[str, Floats]

    def draw(self, rng: np.random.Generator, draws: int) -> Floats:
        """Draws of the coefficients, [draws, P]."""
        return _drawn(self.coefficients, self.covariance, rng, draws)

    def design(self, levels: Mapping[str, Ints]) -> Floats:
        """X[N, P] of N lots; a level that is not known or was not seen has no effect."""
        return _design(levels, len(next(iter(levels.values()))), self.starts, self.counts)

    def rates(
        self, levels: Mapping[str, ArrayLike], rng: np.random.Generator, draws: int
    ) -> tuple[Floats, Floats]:
        """Mean and rho, each [M, draws], of M kinds of lots; `levels`: by factor int[M].

        A level that is not known or was not seen gets an effect as its factor's levels have.
        """
        drawn = _drawn(self.coefficients, self.covariance, rng, draws).T
        sizes = [np.size(level) for level in levels.values()]
        eta = np.repeat(drawn[:1], max(sizes, default=1), axis=0)
        for name, start in self.starts.items():
            new = rng.normal(0.0, self.effect_sd[name], draws)
            level = np.broadcast_to(np.asarray(levels.get(name, UNKNOWN), int), len(eta))
            known = (level >= 0) & (level < self.counts[name])
            effects = np.vstack([drawn[start : start + self.counts[name]], new])
            eta += effects[np.where(known, level, self.counts[name])]
        rho = expit(logit(self.rho) + self.rho_sd * rng.standard_normal(draws))
        return expit(eta), np.repeat(np.clip(rho, LEAST_RHO, 0.9)[None], len(eta), axis=0)

    def typical(
        self, levels: Mapping[str, int], rng: np.random.Generator, draws: int
    ) -> tuple[Floats, Floats]:
        """Mean share and rho, each [draws], of trees as they were seen, but of these levels.

        The other factors stay as they are, tree by tree: a grafter who got the hard rootstocks is
        not blamed for them. A level that was not seen gets an effect as its factor's levels have.
        """
        drawn = self.draw(rng, draws)
        kinds = self.kinds.copy()
        new = np.zeros(draws)
        for name, level in levels.items():
            start, count = self.starts[name], self.counts[name]
            kinds[:, start : start + count] = 0.0
            if 0 <= level < count:
                kinds[:, start + level] = 1.0
            else:
                new += rng.normal(0.0, self.effect_sd[name], draws)
        rho = expit(logit(self.rho) + self.rho_sd * rng.standard_normal(draws))
        share = expit(drawn @ kinds.T + new[:, None]).mean(axis=1)
        return share, np.clip(rho, LEAST_RHO, 0.9)

    def levels(self, factor: str, rng: np.random.Generator, draws: int = 1000) -> list[Level]:
        """Each level that was seen: its share in the mix of all that was seen otherwise."""
        found = []
        for level in range(self.counts[factor]):
            good, trials, lots = self.seen[factor][level].tolist()
            if lots:
                share, _ = self.typical({factor: level}, rng, draws)
                low, middle, high = np.quantile(share, (0.1, 0.5, 0.9))
                found.append(
                    Level(level, float(middle), float(low), float(high), good, trials, int(lots))
                )
        return found


def regress(
    successes: ArrayLike,
    trials: ArrayLike,
    factors: Mapping[str, ArrayLike] | None = None,
    prior: Prior = WEAK,
) -> Fit:
    """Learn a share from N lots: `successes[N]` of `trials[N]`; factors: by name int[N].

    Nothing seen: the prior comes back, and `fallback` says so. ValueError where more came well than
    there were.
    """
    given, of = np.asarray(successes, float), np.asarray(trials, float)
    if (given > of).any() or (given < 0).any():
        raise ValueError("of a lot's trees between none and all come well")
    some = of > 0
    good, tried = given[some], of[some]
    columns = {name: np.asarray(column, int)[some] for name, column in (factors or {}).items()}
    counts = {name: int(column.max(initial=UNKNOWN)) + 1 for name, column in columns.items()}
    starts = dict(zip(counts, np.cumsum([1, *counts.values()]).tolist(), strict=False))
    design = _design(columns, len(good), starts, counts)
    parts = {name: slice(starts[name], starts[name] + counts[name]) for name in counts}
    state = _State(good, tried, design, prior.rho)
    spreads = _learn(state, parts, prior)
    return Fit(
        coefficients=state.coefficients,
        covariance=state.covariance,
        starts=starts,
        counts=counts,
        effect_sd=spreads,
        rho=state.rho,
        rho_sd=state.rho_sd,
        loglik=state.loglik(),
        trials=float(tried.sum()),
        lots=len(tried),
        fallback=_fallback(tried),
        kinds=_kinds(design, tried),
        seen={name: _seen(columns[name], counts[name], good, tried) for name in counts},
    )


def maximum_likelihood(
    successes: ArrayLike, trials: ArrayLike, design: ArrayLike
) -> tuple[Floats, float, float]:
    """Without priors: coefficients[P] of `design[N, P]` on the logit, rho, log-likelihood."""
    good, tried = np.asarray(successes, float), np.asarray(trials, float)
    state = _State(good, tried, np.asarray(design, float), 0.05)
    nothing = np.full(state.design.shape[1], 1e-10)
    for _ in range(10 * ROUNDS):
        before = state.loglik()
        state.solve(np.zeros_like(nothing), nothing)
        state.learn_rho(0.0, np.inf, integrated=False)
        if abs(state.loglik() - before) < 1e-10:
            break
    return state.coefficients, state.rho, state.loglik()


class _State:
    """Coefficients and rho on their way to the maximum."""

    def __init__(self, good: Floats, trials: Floats, design: Floats, rho: float) -> None:
        self.good, self.trials, self.design, self.rho = good, trials, design, rho
        self.rho_sd = 0.0
        self.coefficients = np.zeros(design.shape[1])
        self.covariance: Floats = np.zeros((design.shape[1],) * 2)
        self.precision = np.zeros(design.shape[1])

    def loglik(self, coefficients: Floats | None = None, rho: float | None = None) -> float:
        eta = self.design @ (self.coefficients if coefficients is None else coefficients)
        rho = self.rho if rho is None else rho
        return float(log_chance(self.good, self.trials, expit(eta), rho).sum())

    def solve(self, middle: Floats, precision: Floats, gain: float = 1e-9) -> None:
        """The best coefficients at this rho, their prior normal about `middle`, until a step gains
        less than `gain`."""
        self.precision = precision

        def worth(at: Floats) -> float:
            return self.loglik(at) - float(precision @ (at - middle) ** 2) / 2

        at, now = self.coefficients, worth(self.coefficients)
        for _ in range(STEPS):
            score, weight = self._slopes(at, self.rho)
            slope = self.design.T @ score - precision * (at - middle)
            step = np.linalg.solve(self._curvature(weight), slope)
            for _ in range(STEPS):
                then = worth(at + step)
                if then >= now:
                    break
                step = step / 2
            gained, at, now = then - now, at + step, max(then, now)
            if gained < gain:
                break
        self.coefficients = at
        curvature = self._curvature(self._slopes(at, self.rho)[1])
        self.covariance = np.asarray(np.linalg.inv(curvature), float)

    def learn_rho(self, logit_middle: float, logit_sd: float, integrated: bool = True) -> None:
        """The best rho at these coefficients; `integrated`: over what they might be."""
        here = float(logit(self.rho))
        drift = (self._size(here + 0.25) - self._size(here - 0.25)) if integrated else 0.0

        def against(at: float) -> float:
            prior = ((at - logit_middle) / logit_sd) ** 2 / 2
            return prior + drift * (at - here) - self.loglik(rho=float(expit(at)))

        best = float(minimize_scalar(against, bounds=RHO_BETWEEN, method="bounded").x)
        bend = (against(best + 0.2) - 2 * against(best) + against(best - 0.2)) / 0.04
        self.rho = float(expit(best))
        self.rho_sd = min(1 / math.sqrt(max(bend, 1e-2)), logit_sd)

    def _size(self, at: float) -> float:
        """Half the log-determinant of the curvature at a logit of rho."""
        _, weight = self._slopes(self.coefficients, float(expit(at)))
        return float(np.linalg.slogdet(self._curvature(weight))[1]) / 2

    def _curvature(self, weight: Floats) -> Floats:
        bent: Floats = (self.design.T * weight) @ self.design + np.diag(self.precision)
        return bent

    def _slopes(self, coefficients: Floats, rho: float) -> tuple[Floats, Floats]:
        """Of the log-likelihood by each lot's logit: first derivative, and minus the second
        without the part whose mean is 0, which is never negative."""
        mean = np.clip(expit(self.design @ coefficients), 1e-9, 1 - 1e-9)
        a, b = shape(mean, rho)
        good, bad = self.good, self.trials - self.good
        inner = mean * (1 - mean) * (a + b)
        score = inner * (digamma(good + a) - digamma(a) - digamma(bad + b) + digamma(b))
        bend = polygamma(1, a) - polygamma(1, good + a) + polygamma(1, b) - polygamma(1, bad + b)
        return score, inner**2 * bend


def _learn(state: _State, parts: Mapping[str, slice], prior: Prior) -> dict[str, float]:
    """Coefficients, rho and the sds of the factors' effects, in turn until they rest."""
    middle = np.zeros(state.design.shape[1])
    middle[0] = logit(prior.mean)
    precision = np.full(len(middle), prior.mean_sd**-2.0)
    spreads = {name: prior.scale(name) for name in parts}
    state.coefficients = middle.copy()
    for _ in range(ROUNDS):
        before = [*spreads.values(), state.rho]
        for name, part in parts.items():
            precision[part] = spreads[name] ** -2.0
        state.solve(middle, precision, ROUGHLY)
        state.learn_rho(float(logit(prior.rho)), prior.rho_sd)
        variance = np.diag(state.covariance)
        for name, part in parts.items():
            square = float((state.coefficients[part] ** 2 + variance[part]).sum())
            spreads[name] = _spread(square, part.stop - part.start, prior.scale(name))
        if np.allclose(before, [*spreads.values(), state.rho], rtol=2e-3, atol=1e-4):
            break
    state.solve(middle, precision)
    return spreads


def _spread(square: float, levels: int, scale: float) -> float:
    """The likeliest sd of `levels` effects whose squares sum to `square`."""
    if not levels:
        return scale * float(np.sqrt(2 / np.pi))
    of = levels - AVOID
    found = scale**2 * (np.sqrt(of**2 + 4 * square / scale**2) - of) / 2
    return float(np.sqrt(found))


def _kinds(design: Floats, trials: Floats) -> Floats:
    """Every so manieth tree's row of the design."""
    if not len(trials):
        return np.eye(1, design.shape[1])
    rows: Floats = design[evenly(trials, MIX)]
    return rows


def evenly(trees: Floats, many: int) -> Ints:
    """Positions of lots picked evenly by their trees, so that `many` picks stand for all."""
    picks = (np.arange(many) + 0.5) / many * trees.sum()
    return np.asarray(np.searchsorted(np.cumsum(trees), picks), np.int64)


def _design(
    levels: Mapping[str, Ints], lots: int, starts: Mapping[str, int], counts: Mapping[str, int]
) -> Floats:
    """X[lots, P]: the intercept, and a column for each level of each factor."""
    x = np.zeros((lots, 1 + sum(counts.values())))
    x[:, 0] = 1.0
    for name, start in starts.items():
        level = levels[name]
        known = np.flatnonzero((level >= 0) & (level < counts[name]))
        x[known, start + level[known]] = 1.0
    return x


def _seen(column: Ints, levels: int, good: Floats, trials: Floats) -> Floats:
    known = column >= 0
    return np.stack(
        [
            np.bincount(column[known], each[known], levels)
            for each in (good, trials, np.ones_like(trials))
        ],
        axis=1,
    )


def _drawn(middle: Floats, covariance: Floats, rng: np.random.Generator, draws: int) -> Floats:
    root = np.linalg.cholesky(covariance)
    drawn: Floats = middle + rng.standard_normal((draws, len(middle))) @ root.T
    return drawn


def _fallback(trials: Floats) -> str:
    if not len(trials):
        return "no lot was seen: what is usual in the trade"
    if len(trials) < FEW_LOTS or trials.sum() < FEW_TREES:
        return f"few were seen ({len(trials)} lots): it leans on what is usual in the trade"
    return ""
