"""How much heat trees need until something happens to them, learned from what was seen of lots.

The event is a push or becoming ready; times are degree-days (Cd) on one clock. A tree's event lies
between two looks (interval-censored), or had not come when it was last seen (right-censored), or
never comes. Of tree i in lot l, among those to which it happens at all,

    log T = m[l] + spread * W,      m[l] = X[l] @ b + lot effect,      lot effect ~ N(0, tau^2)

W has median 0 and sd 1: normal (T lognormal), or Gumbel for minima (T Weibull). `b` is the crop's
intercept and an effect for each level of each factor (method, site, season), every factor's effects
normal about 0 with an sd of their own, learned. Each factor has one level more than was seen: for
levels that are unknown or new.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics import learning
from service.forecast.numerics.families import FAMILIES, LOGNORMAL, WEIBULL, cdf, quantile
from service.forecast.numerics.inside import Rows, Shape, prepared
from service.forecast.numerics.upper import Belief, Columns, Upper

__all__ = ["LOGNORMAL", "WEIBULL", "Draws", "Fit", "LotTimes", "Prior", "Times", "cdf", "fit"]
__all__ += ["lots", "quantile"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_SAMPLE_LOTS = 2000
"""So many lots settle the family and come near the rest; all lots then have the last word."""
_TURNS, _LAST_TURNS = 25, 3
_LEAD = 2.0
"""The Weibull must be so much likelier (log): else it would be now this, now that with few lots."""
_FEW_LOTS = 5


@dataclass(frozen=True, kw_only=True)
class Times:
    """R rows about trees of L lots. A row says of `trees` trees of `lot` that their event came
    after `low` and at `high` at the latest (Cd); `high` infinite: it had not come at `low`.

    lot: int[R], below L. low, high: float[R], 0 <= low <= high. trees: float[R]. factors: by name,
    int[L], the level of each lot, -1 where not known. lots: L. Rows that break these rules, or
    have no trees, say nothing.
    """

    lot: Ints
    low: Floats
    high: Floats
    trees: Floats
    lots: int
    factors: Mapping[str, Ints] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Prior:
    """What is believed before anything was seen: weak, and sourced by whoever fills it in.

    middle: Cd; middle_sd: sd of its logarithm. spread: sd of log T within a lot; spread_sd: of the
    logarithm of that. never: share (0: it happens to all in the end); never_n: how many trees'
    worth of belief that is. factor_sd, lot_sd: scale of the half-normal that the sds of a factor's
    levels and of the lots come from. mistakes: share of rows that are not what they say (wrong lot,
    wrong day): one such row does not drag a lot along.
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
class LotTimes:
    """What lots' own rows say of their log-middles: y[L] with variance[L] (inf: nothing)."""

    y: Floats
    variance: Floats


@dataclass(frozen=True, kw_only=True)
class Draws:
    """D draws from what is believed after the fit: coefficients[D, P], tau[D], spread[D], never[D].

    The log-middle of a lot with own rows (y, variance) is normal in each draw: with
    w = tau^2 / (tau^2 + variance), mean w * y + (1 - w) * X[l] @ b, sd tau * sqrt(1 - w).
    """

    coefficients: Floats
    tau: Floats
    spread: Floats
    never: Floats

    def middles(self, design: Floats, own: LotTimes | None, rng: np.random.Generator) -> Floats:
        """A log-middle of each lot in each draw, [D, L]; `design`: [L, P]; `own` None: new lots."""
        expected = self.coefficients @ design.T
        chance = rng.standard_normal(expected.shape)
        tau2 = self.tau[:, None] ** 2
        if own is None:
            return np.asarray(expected + self.tau[:, None] * chance)
        weight = tau2 / (tau2 + own.variance)
        return np.asarray(
            expected + weight * (own.y - expected) + np.sqrt(tau2 * (1 - weight)) * chance
        )


@dataclass(frozen=True, kw_only=True)
class Fit:
    """What was learned.

    spread, never, tau: as `Prior` says, with log-sd of the spread and `never_n` trees' worth of
    belief in never. n_trees, n_lots: seen. loglik: log of the evidence (spread, never and sds at
    their best; all else integrated out), to compare clocks of the same rows; `logliks`: by family,
    of the lots that the family was chosen on. fallback: in words, what it leans on; empty: on its
    own observations. points, means, roots, weights: the cloud of upper.py.
    """

    family: str
    spread: float
    spread_sd: float
    never: float
    never_n: float
    tau: float
    mistakes: float
    levels: dict[str, int]
    n_trees: float
    n_lots: int
    loglik: float
    logliks: dict[str, float]
    fallback: str
    prior: Prior
    points: Floats
    means: Floats
    roots: Floats
    weights: Floats
    seen: dict[tuple[int, ...], tuple[float, int]]

    def design(self, factors: Mapping[str, Ints], lots: int) -> Floats:
        """X[L, P]; levels that are -1, new or not named go to the factor's unknown level."""
        columns = Columns(self.levels)
        return columns.design(columns.of(factors, lots))

    def middle(self, levels: Mapping[str, int] | None = None) -> tuple[float, float]:
        """Mean and sd of the expected log-middle of lots with these levels; a single lot lies
        about it with sd `tau` more."""
        x = self.design({name: np.array([at]) for name, at in (levels or {}).items()}, 1)
        mean, variance = self._expected(x)
        return float(mean[0]), math.sqrt(variance[0])

    def _expected(self, x: Floats) -> tuple[Floats, Floats]:
        """Means and variances of x @ b, over the cloud, for each row of x."""
        each = self.means @ x.T
        mean = self.weights @ each
        within = ((x @ self.roots) ** 2).sum(axis=2)
        return mean, np.asarray(self.weights @ (within + (each - mean) ** 2))

    def based_on(self, levels: Mapping[str, int] | None = None) -> tuple[float, int]:
        """Trees and lots seen with these levels."""
        asked = levels or {}
        wanted = [asked.get(name) for name in self.levels]
        trees, count = 0.0, 0
        for key, (some_trees, some_lots) in self.seen.items():
            if all(want is None or want == at for want, at in zip(wanted, key, strict=True)):
                trees, count = trees + some_trees, count + some_lots
        return trees, count

    def borrows(self, levels: Mapping[str, int] | None = None) -> str:
        """In words, what an estimate for these levels leans on; empty: on its own observations."""
        if self.fallback:
            return self.fallback
        said = []
        for name, level in (levels or {}).items():
            count = self.based_on({name: level})[1]
            if count == 0:
                said.append(f"nothing seen yet of this {name}: borrowed from the others")
            elif count < _FEW_LOTS:
                lots = "1 lot" if count == 1 else f"{count} lots"
                said.append(f"{lots} of this {name}: borrows from the others")
        return "; ".join(said)

    def draw(self, rng: np.random.Generator, draws: int) -> Draws:
        """`draws` draws of all that is shared."""
        which = rng.choice(len(self.weights), draws, p=self.weights)
        chance = rng.standard_normal((draws, self.means.shape[1]))
        never = np.zeros(draws)
        if self.never > 0:
            n = max(self.never_n, 1e-3)
            never = rng.beta(max(self.never * n, 1e-3), max((1 - self.never) * n, 1e-3), draws)
        return Draws(
            coefficients=self.means[which]
            + np.einsum("dpq,dq->dp", self.roots[which], chance, optimize=True),
            tau=np.exp(self.points[which, 0]),
            spread=self.spread * np.exp(self.spread_sd * rng.standard_normal(draws)),
            never=never,
        )


def fit(times: Times, prior: Prior, family: str | None = None) -> Fit:
    """Learn from `times`; `family` None: the likelier one. No rows: the prior comes back."""
    columns = Columns(
        {name: int(max(level.max(initial=-1), -1)) + 1 for name, level in times.factors.items()}
    )
    rows = _rows(times, prior)
    of_lots = columns.of(times.factors, times.lots)[rows.lot]
    belief = Belief(math.log(prior.middle), prior.middle_sd, prior.factor_sd, prior.lot_sd)
    upper = Upper(columns, of_lots, belief)
    shape = Shape(family or LOGNORMAL, prior.spread, prior.never, prior.mistakes)
    shape_prior = learning.ShapePrior(prior.spread, prior.spread_sd, prior.never, prior.never_n)
    state = learning.begin(rows, upper, shape)
    logliks = {}
    if rows.lots:
        states = _on_a_sample(rows, of_lots, columns, belief, shape_prior, shape, family)
        logliks = {name: each.evidence for name, each in states.items()}
        state = states[_likelier(logliks)]
        if rows.lots > _SAMPLE_LOTS:
            state = learning.begin(rows, upper, state.shape, state.logs)
            state = learning.learned(rows, upper, shape_prior, state, _LAST_TURNS)
    return _told(times, prior, rows, upper, state, logliks)


def _on_a_sample(
    rows: Rows,
    of_lots: Ints,
    columns: Columns,
    belief: Belief,
    prior: learning.ShapePrior,
    shape: Shape,
    family: str | None,
) -> dict[str, learning.State]:
    """By family, what evenly picked lots teach."""
    which = np.arange(rows.lots)
    if rows.lots > _SAMPLE_LOTS:
        which = np.linspace(0, rows.lots - 1, _SAMPLE_LOTS).astype(np.int64)
        rows = rows.some(which)
    upper = Upper(columns, of_lots[which], belief)
    found: dict[str, learning.State] = {}
    for name in (family,) if family else FAMILIES:
        state = learning.begin(rows, upper, shape._replace(family=name))
        found[name] = learning.learned(rows, upper, prior, state, _TURNS)
    return found


def _likelier(logliks: dict[str, float]) -> str:
    return max(logliks, key=lambda name: logliks[name] - (_LEAD if name == WEIBULL else 0.0))


def _rows(times: Times, prior: Prior) -> Rows:
    known = (times.lot >= 0) & (times.lot < times.lots)
    return prepared(
        times.lot[known],
        times.low[known],
        times.high[known],
        times.trees[known],
        middle=prior.middle,
        mistakes=prior.mistakes,
    )


def _told(
    times: Times,
    prior: Prior,
    rows: Rows,
    upper: Upper,
    state: learning.State,
    logliks: dict[str, float],
) -> Fit:
    points, all_given, weights = upper.cloud(state.y, state.q, state.logs)
    shape = state.shape
    spread_sd, never_n = prior.spread_sd, prior.never_n
    if rows.lots:
        spread_sd = math.sqrt(np.linalg.inv(state.information)[0, 0])
        odds = np.linalg.inv(state.information)[1, 1]
        never_n = 1 / (odds * max(shape.never * (1 - shape.never), 1e-9))
    trees = np.add.reduceat(rows.trees, rows.starts) if rows.lots else np.zeros(0)
    return Fit(
        family=shape.family,
        spread=shape.spread,
        spread_sd=spread_sd,
        never=shape.never,
        never_n=never_n,
        tau=math.sqrt(weights @ np.exp(2 * points[:, 0])),
        mistakes=prior.mistakes,
        levels=upper.columns.levels,
        n_trees=float(trees.sum()),
        n_lots=rows.lots,
        loglik=state.evidence if rows.lots else 0.0,
        logliks=logliks,
        fallback=_fallback(rows),
        prior=prior,
        points=points,
        means=np.array([one.mean for one in all_given]),
        roots=np.array([one.root for one in all_given]),
        weights=weights,
        seen=_seen(times, rows, trees),
    )


def _fallback(rows: Rows) -> str:
    if not rows.lots:
        return "no observations of its own: a weak prior"
    if not (rows.never == 0).any():
        return "no tree has got so far yet: a weak prior, and how long it has not happened"
    if rows.lots < _FEW_LOTS:
        lots = "1 lot" if rows.lots == 1 else f"{rows.lots} lots"
        return f"only {lots} of its own: leans on a weak prior"
    return ""


def _seen(times: Times, rows: Rows, trees: Floats) -> dict[tuple[int, ...], tuple[float, int]]:
    """Trees and lots by combination of levels."""
    if not rows.lots:
        return {}
    keys = np.array([np.asarray(level)[rows.lot] for level in times.factors.values()], np.int64)
    kinds, which = np.unique(keys.reshape(-1, rows.lots), axis=1, return_inverse=True)
    which = which.reshape(-1)
    sums, counts = np.bincount(which, trees), np.bincount(which)
    return {
        tuple(int(at) for at in kind): (float(sums[n]), int(counts[n]))
        for n, kind in enumerate(kinds.T)
    }


def lots(fit: Fit, times: Times) -> LotTimes:
    """What the own rows of lots (of the fit, or others) say of their log-middles."""
    y, variance = np.zeros(times.lots), np.full(times.lots, math.inf)
    rows = _rows(times, fit.prior)
    if not rows.lots:
        return LotTimes(y=y, variance=variance)
    columns = Columns(fit.levels)
    cells, cell = columns.cells(columns.of(times.factors, times.lots)[rows.lot])
    mean, unsure = fit._expected(columns.design(cells))
    mean, sd = mean[cell], np.sqrt(fit.tau**2 + unsure)[cell]
    shape = Shape(fit.family, fit.spread, fit.never, fit.mistakes)
    own, q = learning.alone(rows, shape, mean, sd)
    y[rows.lot], variance[rows.lot] = own, 1 / q
    return LotTimes(y=y, variance=variance)
