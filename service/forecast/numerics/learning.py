"""What lots share (spread, never, sds, effects) and what each lot says, learned in turns.

Each lot's likelihood of its log-middle is stood in for by a normal one with the same mean and
variance once the belief from all *other* lots is laid over it (expectation propagation, Minka
2001; the belief from the others is exact here). The stand-ins feed the mixed model above; spread
and never climb the evidence by Newton steps.
"""

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics.inside import Inside, Rows, Shape, crude, look
from service.forecast.numerics.upper import Given, Upper

Floats = NDArray[np.float64]

_LEAST = 1e-4
"""Of the precision from elsewhere: so little a lot's rows say at least."""
_NARROW, _WIDE = math.log(0.01), math.log(1.5)
_ODDS = 12.0
_LOOKS = 5
_BEND_TURNS = 5


@dataclass(frozen=True)
class ShapePrior:
    """Spread lognormal about `spread`; never Beta with mean `never` and `never_n` trees' worth."""

    spread: float
    spread_sd: float
    never: float
    never_n: float

    def pulls(self, shape: Shape) -> tuple[Floats, Floats]:
        """Gradient and information of the prior in (log spread, log odds of never)."""
        weight = 1 / self.spread_sd**2
        gradient = [weight * math.log(self.spread / shape.spread), 0.0]
        information = [weight, 1.0]
        if self.never > 0:
            gradient[1] = self.never_n * (self.never - shape.never)
            information[1] = self.never_n * shape.never * (1 - shape.never)
        return np.array(gradient), np.diag(information)


@dataclass(frozen=True)
class State:
    """Where the learning stands. y, q: the lots' stand-ins; centre, scale: where to look next."""

    shape: Shape
    logs: Floats
    y: Floats
    q: Floats
    centre: Floats
    scale: Floats
    information: Floats
    climb: Floats
    evidence: float = -math.inf


def begin(rows: Rows, upper: Upper, shape: Shape, logs: Floats | None = None) -> State:
    """A first guess: lots' middles from the middles of their intervals."""
    middle, error = crude(rows, shape.spread)
    seen = np.isfinite(middle)
    y = np.where(seen, middle, 0.0)
    q = np.where(seen, 1 / np.where(seen, error, 1.0) ** 2, 0.0)
    logs = np.log(upper.scales) if logs is None else logs
    mean, sd = elsewhere(upper, upper.given(logs, y, q), logs, y, q)
    precision = q + 1 / sd**2
    centre = (q * y + mean / sd**2) / precision
    return State(shape, logs, y, q, centre, 1 / np.sqrt(precision), np.eye(2), np.zeros(2))


def learned(rows: Rows, upper: Upper, prior: ShapePrior, state: State, turns: int) -> State:
    """Turns of: look into all lots, the mixed model anew, a step of the shape; until it stands."""
    for _ in range(turns):
        before = state
        state = _turn(rows, upper, prior, state)
        state = replace(state, shape=_step(prior, state))
        change = abs(math.log(state.shape.spread / before.shape.spread))
        change += abs(state.shape.never - before.shape.never)
        change += float(np.abs(state.logs - before.logs).max())
        if change < 2e-3 and abs(state.evidence - before.evidence) < 0.01:
            break
    return state


def _turn(rows: Rows, upper: Upper, prior: ShapePrior, state: State) -> State:
    """Everything anew but the shape. `climb`: the slope of the posterior by the shape."""
    given = upper.given(state.logs, state.y, state.q)
    mean, sd = elsewhere(upper, given, state.logs, state.y, state.q)
    seen = look(rows, state.shape, mean, sd, state.centre, state.scale)
    y, q = stand_in(seen, mean, sd)
    logs = upper.best(y, q, state.logs)
    centre, scale = moved(seen, state.scale)
    pull, weight = prior.pulls(state.shape)
    evidence = upper.given(state.logs, y, q).log + _kept(seen, mean, sd, y, q)
    return State(
        *(state.shape, logs, y, q, centre, scale),
        *(seen.information + weight, seen.score + pull, evidence),
    )


class Bends(NamedTuple):
    """How unsure the shape is, and what bends with it: `covariance` of (log spread, log odds of
    never); `slopes`: of the coefficients b by these two, [P, 2]."""

    covariance: Floats
    slopes: Floats


def bends(rows: Rows, upper: Upper, prior: ShapePrior, state: State) -> Bends:
    """By differences: all else is learned anew with the shape a little off to either side.

    The middles of lots of which most trees are still to come hang on the spread: neither is as
    well known as it would be if the other were.
    """
    size = 2 if prior.never > 0 else 1
    weight = prior.pulls(state.shape)[1]
    information, slopes = weight.copy(), np.zeros((upper.columns.count, 2))
    for at in range(size):
        step = np.zeros(2)
        step[at] = min(max(1 / math.sqrt(max(state.information[at, at], 1e-9)), 0.02), 0.5)
        sides = []
        for side in (step, -step):
            other = replace(state, shape=_shifted(state.shape, side))
            for _ in range(_BEND_TURNS):
                other = _turn(rows, upper, prior, other)
            sides.append((other.climb, upper.given(other.logs, other.y, other.q).mean))
        (climb_up, up), (climb_down, down) = sides
        information[:size, at] = (climb_down - climb_up)[:size] / (2 * step[at])
        slopes[:, at] = (up - down) / (2 * step[at])
    values, vectors = np.linalg.eigh((information + information.T) / 2)
    values = np.maximum(values, np.diag(weight).min() / 2)
    return Bends(np.array((vectors / values) @ vectors.T, np.float64), slopes)


def flat_bends(upper: Upper, state: State) -> Bends:
    """With so many lots that the shape is known and nothing bends."""
    covariance = np.asarray(np.linalg.inv(state.information), np.float64)
    return Bends(covariance, np.zeros((upper.columns.count, 2)))


def elsewhere(
    upper: Upper, given: Given, logs: Floats, y: Floats, q: Floats
) -> tuple[Floats, Floats]:
    """Mean and sd of each lot's log-middle by all other lots alone."""
    tau2 = float(np.exp(2 * logs[0]))
    expected = (upper.x @ given.mean)[upper.cell]
    unsure = ((upper.x @ given.root) ** 2).sum(axis=1)[upper.cell]
    own = np.minimum(unsure * q / (1 + q * tau2), 1 - 1e-9)
    return (expected - own * y) / (1 - own), np.sqrt(tau2 + unsure / (1 - own))


def stand_in(seen: Inside, mean: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """y and precision q of the normal likelihood that, under N(mean, sd^2), does as the rows do."""
    q = np.maximum(1 / np.maximum(seen.variance, 1e-12) - 1 / sd**2, _LEAST / sd**2)
    return seen.mean + (seen.mean - mean) / (q * sd**2), q


def moved(seen: Inside, scale: Floats) -> tuple[Floats, Floats]:
    """Where the points should sit: where the mass was, wider where it lay at their edge."""
    narrower = np.maximum(np.sqrt(seen.variance), scale / 3)
    return seen.mean, np.where(seen.edge > 0.3, scale * 2, np.maximum(narrower, 1e-6))


def _kept(seen: Inside, mean: Floats, sd: Floats, y: Floats, q: Floats) -> float:
    """What the evidence has beyond that of the stand-ins."""
    total = 1 + q * sd**2
    return float((seen.logz + 0.5 * np.log(total) + 0.5 * q * (y - mean) ** 2 / total).sum())


def _step(prior: ShapePrior, state: State) -> Shape:
    """A Newton step of spread and never."""
    information = state.information.copy()
    if prior.never <= 0:
        information[0, 1] = information[1, 0] = 0.0
    values, vectors = np.linalg.eigh(information)
    values = np.maximum(values, np.diag(prior.pulls(state.shape)[1]).min() / 2)
    step = vectors @ ((vectors.T @ state.climb) / values)
    return _shifted(state.shape, np.clip(step, -0.7, 0.7))


def _shifted(shape: Shape, step: Floats) -> Shape:
    """The shape with log spread and log odds of never moved."""
    spread = math.exp(min(max(math.log(shape.spread) + step[0], _NARROW), _WIDE))
    never = shape.never
    if never > 0:
        odds = math.log(never / (1 - never)) + step[1]
        never = 1 / (1 + math.exp(-min(max(odds, -_ODDS), _ODDS)))
    return shape._replace(spread=spread, never=never)


def alone(rows: Rows, shape: Shape, mean: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """The stand-ins (y, q) of lots under the belief N(mean, sd^2); nothing else is learned."""
    middle, error = crude(rows, shape.spread)
    q = np.where(np.isfinite(middle), 1 / error**2, 0.0)
    precision = q + 1 / sd**2
    centre = (q * np.nan_to_num(middle) + mean / sd**2) / precision
    scale = 1 / np.sqrt(precision)
    for _ in range(_LOOKS):
        seen = look(rows, shape, mean, sd, centre, scale)
        before = scale
        centre, scale = moved(seen, scale)
        if np.abs(np.log(scale / before)).max() < 0.1:
            break
    return stand_in(seen, mean, sd)
