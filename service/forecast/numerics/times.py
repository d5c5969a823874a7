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
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics import learning
from service.forecast.numerics.believed import (
    FEW_LOTS,
    Draws,
    Fit,
    LotTimes,
    Prior,
    Times,
    lots_in_words,
)
from service.forecast.numerics.families import FAMILIES, LOGNORMAL, WEIBULL, cdf, quantile
from service.forecast.numerics.inside import Rows, Shape, prepared
from service.forecast.numerics.upper import Belief, Columns, Upper

__all__ = ["LOGNORMAL", "WEIBULL", "Draws", "Fit", "LotTimes", "Prior", "Times", "cdf"]
__all__ += ["evidences", "fit", "lots", "quantile"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_SAMPLE_LOTS = 2000
"""So many lots settle the family and come near the rest; all lots then have the last word."""
_TURNS, _LAST_TURNS = 40, 3
_KNOWN_LOTS = 400
"""With more lots the spread and never are so well known that nothing else bends with them."""
_LEAD = 2.0
"""The Weibull must be so much likelier (log): else it would be now this, now that with few lots."""


def fit(times: Times, prior: Prior, family: str | None = None) -> Fit:
    """Learn from `times`; `family` None: the likelier one. No rows: the prior comes back."""
    case = _case(times, prior)
    state = learning.begin(case.rows, case.upper, _shape(prior, family or LOGNORMAL))
    logliks: dict[str, float] = {}
    if case.rows.lots:
        states = _on_a_sample(case, prior, _evenly(case.rows.lots, _SAMPLE_LOTS), family)
        logliks = {name: each.evidence for name, each in states.items()}
        state = states[_likelier(logliks)]
        if case.rows.lots > _SAMPLE_LOTS:
            state = learning.begin(case.rows, case.upper, state.shape, state.logs)
            state = learning.learned(case.rows, case.upper, _shape_prior(prior), state, _LAST_TURNS)
    return _told(times, prior, case, state, logliks)


def evidences(candidates: Sequence[tuple[Times, Prior]]) -> list[float]:
    """How likely the same rows are on other clocks (log): the likelier family's, of the same lots.

    For choosing a clock before `fit`; at most `_KNOWN_LOTS` lots are looked at.
    """
    cases = [_case(times, prior) for times, prior in candidates]
    present = np.unique(np.concatenate([case.rows.lot for case in cases]))
    chosen = present[_evenly(len(present), _KNOWN_LOTS)]
    found = []
    for case, (_, prior) in zip(cases, candidates, strict=True):
        which = np.flatnonzero(np.isin(case.rows.lot, chosen))
        states = _on_a_sample(case, prior, which, None) if len(which) else {}
        found.append(max((each.evidence for each in states.values()), default=0.0))
    return found


class _Case(NamedTuple):
    """Rows, and the mixed model over their lots; of_lots: the columns of each lot's levels."""

    rows: Rows
    upper: Upper
    of_lots: Ints


def _case(times: Times, prior: Prior) -> _Case:
    columns = Columns({name: int(at.max(initial=-1)) + 1 for name, at in times.factors.items()})
    rows = _rows(times, prior)
    of_lots = columns.of(times.factors, times.lots)[rows.lot]
    belief = Belief(math.log(prior.middle), prior.middle_sd, prior.factor_sd, prior.lot_sd)
    return _Case(rows, Upper(columns, of_lots, belief), of_lots)


def _shape(prior: Prior, family: str) -> Shape:
    return Shape(family, prior.spread, prior.never, prior.mistakes)


def _shape_prior(prior: Prior) -> learning.ShapePrior:
    return learning.ShapePrior(prior.spread, prior.spread_sd, prior.never, prior.never_n)


def _evenly(count: int, most: int) -> Ints:
    return np.unique(np.linspace(0, count - 1, min(count, most)).astype(np.int64))


def _on_a_sample(
    case: _Case, prior: Prior, which: Ints, family: str | None
) -> dict[str, learning.State]:
    """By family, what the lots at positions `which` teach."""
    rows, upper = case.rows, case.upper
    if len(which) < rows.lots:
        rows = rows.some(which)
        upper = Upper(upper.columns, case.of_lots[which], upper.belief)
    found: dict[str, learning.State] = {}
    for name in (family,) if family else FAMILIES:
        state = learning.begin(rows, upper, _shape(prior, name))
        found[name] = learning.learned(rows, upper, _shape_prior(prior), state, _TURNS)
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
    times: Times, prior: Prior, case: _Case, state: learning.State, logliks: dict[str, float]
) -> Fit:
    rows, upper, shape = case.rows, case.upper, state.shape
    points, all_given, weights = upper.cloud(state.pull, state.precision, state.logs)
    if not rows.lots:
        state = replace(state, information=_shape_prior(prior).pulls(shape)[1])
    if 0 < rows.lots <= _KNOWN_LOTS:
        unsure = learning.bends(rows, upper, _shape_prior(prior), state)
    else:
        unsure = learning.flat_bends(upper, _shape_prior(prior), state)
    trees = np.add.reduceat(rows.trees, rows.starts) if rows.lots else np.zeros(0)
    return Fit(
        family=shape.family,
        spread=shape.spread,
        spread_sd=math.sqrt(unsure.covariance[0, 0]),
        never=shape.never,
        never_n=1 / (unsure.covariance[1, 1] * max(shape.never * (1 - shape.never), 1e-9)),
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
        means=np.array([one.mean for one in all_given]) + upper.origin,
        roots=np.array([one.root for one in all_given]),
        weights=weights,
        shape_covariance=unsure.covariance,
        bends=unsure.slopes,
        seen=_seen(times, rows, trees),
    )


def _fallback(rows: Rows) -> str:
    if not rows.lots:
        return "no observations of its own: a weak prior"
    if not (rows.never == 0).any():
        return "no tree has got so far yet: a weak prior, and how long it has not happened"
    if rows.lots < FEW_LOTS:
        lots = lots_in_words(rows.lots)
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
    mean, unsure = fit.expected(times.factors, times.lots)
    mean, sd = mean[rows.lot], np.sqrt(fit.tau**2 + unsure)[rows.lot]
    shape = Shape(fit.family, fit.spread, fit.never, fit.mistakes)
    y[rows.lot], variance[rows.lot] = learning.alone(rows, shape, mean, sd)
    return LotTimes(y=y, variance=variance)
