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
_CAPS = 1.03, 2.5
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
    """Where the learning stands. pull, precision: the lots' stand-ins, as upper.py has them;
    centre, scale: where to look next; cap, grows, stands: what lots that say little say in all
    may grow by in a turn, whether it grew, and whether it has come to rest."""

    shape: Shape
    logs: Floats
    pull: Floats
    precision: Floats
    centre: Floats
    scale: Floats
    information: Floats
    climb: Floats
    evidence: float = -math.inf
    cap: float = 2.0
    grows: bool = True
    stands: bool = False


def begin(rows: Rows, upper: Upper, shape: Shape, logs: Floats | None = None) -> State:
    """A first guess: lots' middles from the middles of their intervals."""
    middle, error = crude(rows, shape.spread)
    seen = np.isfinite(middle)
    precision = np.where(seen, 1 / np.where(seen, error, 1.0) ** 2, 0.0)
    pull = precision * (np.where(seen, middle, 0.0) - upper.belief.middle)
    logs = np.log(upper.scales) if logs is None else logs
    mean, sd = elsewhere(upper, upper.given(logs, pull, precision), logs, pull, precision)
    both = precision + 1 / sd**2
    centre = upper.belief.middle + (pull + mean / sd**2) / both
    scale = 1 / np.sqrt(both)
    return State(shape, logs, pull, precision, centre, scale, np.eye(2), np.zeros(2))


def learned(rows: Rows, upper: Upper, prior: ShapePrior, state: State, turns: int) -> State:
    """Turns of: look into all lots, the mixed model anew, a step of the shape; until it stands."""
    for _ in range(turns):
        before = state
        state = _turn(rows, upper, prior, state)
        state = replace(state, shape=_step(prior, state))
        change = abs(math.log(state.shape.spread / before.shape.spread))
        change += abs(state.shape.never - before.shape.never)
        change += float(np.abs(state.logs - before.logs).max())
        if state.stands and change < 2e-3 and abs(state.evidence - before.evidence) < 0.01:
            break
    return state


def _turn(rows: Rows, upper: Upper, prior: ShapePrior, state: State) -> State:
    """Everything anew but the shape. `climb`: the slope of the posterior by the shape."""
    middle = upper.belief.middle
    given = upper.given(state.logs, state.pull, state.precision)
    mean, sd = elsewhere(upper, given, state.logs, state.pull, state.precision)
    centre, scale = _where(upper, state, mean, sd)
    seen = look(rows, state.shape, middle + mean, sd, centre, scale)
    pull, precision = stand_in(seen.mean - middle, seen.variance, mean, sd)
    evidence = _kept(seen, mean, sd, pull, precision)
    pace = _pace(state, upper, precision)
    pull = state.pull + pace.share * (pull - state.pull)
    precision = state.precision + pace.share * (precision - state.precision)
    # Until they agree, stand-ins that all say the same would say that lots do not differ.
    logs = upper.climbed(pull, precision, state.logs) if pace.stands else state.logs
    evidence += upper.given(logs, pull, precision).log
    centre, scale = moved(seen, scale)
    belief, weight = prior.pulls(state.shape)
    return State(
        *(state.shape, logs, pull, precision, centre, scale),
        *(seen.information + weight, seen.score + belief, evidence, *pace[1:]),
    )


def _where(upper: Upper, state: State, mean: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """Where to look: where the mass was last time; of lots that say little, where it must be now,
    since for them the belief from elsewhere counts and that has moved."""
    weak = _weak(upper, state.precision)
    both = state.precision + 1 / sd**2
    centre = upper.belief.middle + (state.pull + mean / sd**2) / both
    return (
        np.where(weak, centre, state.centre),
        np.where(weak, 1 / np.sqrt(both), state.scale),
    )


def _weak(upper: Upper, precision: Floats) -> NDArray[np.bool_]:
    """Lots that say less of themselves than is known of any lot."""
    return precision * upper.belief.lot_sd**2 < 1


class _Pace(NamedTuple):
    """`share`: of a turn's change, that each lot's stand-in takes. The rest: as in `State`."""

    share: Floats
    cap: float
    grows: bool
    stands: bool


def _pace(state: State, upper: Upper, precision: Floats) -> _Pace:
    """How fast to go from the stand-ins there are to those of the new precision.

    Lots that say little each but all the same (none has pushed yet) would overshoot together, each
    taking the whole change on itself: what they say in all grows or shrinks by `cap` at most, and
    the cap falls when growing turns to shrinking or back, and rises while it goes one way.
    """
    weak = _weak(upper, precision)
    firm = 1 / upper.belief.middle_sd**2
    firm += float((precision / (1 + precision * np.exp(2 * state.logs[0])))[~weak].sum())
    now, then = float(state.precision[weak].sum()), float(precision[weak].sum())
    grows, cap = then > now, state.cap
    stands = abs(then - now) < 0.1 * (now + firm)
    if not stands:
        cap = cap**1.25 if grows == state.grows else math.sqrt(cap)
        cap = min(max(cap, _CAPS[0]), _CAPS[1])
    most, least = cap * (now + firm), now / cap
    share = 1.0
    if then > most:
        share = (most - now) / (then - now)
    elif then < least and not stands:
        share = (now - least) / (now - then)
    return _Pace(np.where(weak, share, 1.0), cap, grows, stands)


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
            b = upper.given(other.logs, other.pull, other.precision).mean
            sides.append((other.climb, b))
        (climb_up, up), (climb_down, down) = sides
        information[:size, at] = (climb_down - climb_up)[:size] / (2 * step[at])
        slopes[:, at] = (up - down) / (2 * step[at])
    return Bends(_inverse(information, weight), slopes)


def flat_bends(upper: Upper, prior: ShapePrior, state: State) -> Bends:
    """With so many lots that the shape is known and nothing bends."""
    weight = prior.pulls(state.shape)[1]
    return Bends(_inverse(state.information, weight), np.zeros((upper.columns.count, 2)))


def _inverse(information: Floats, prior: Floats) -> Floats:
    """The covariance: in no direction is less known than half of what the prior says."""
    values, vectors = np.linalg.eigh((information + information.T) / 2)
    values = np.maximum(values, np.diag(prior).min() / 2)
    return np.array((vectors / values) @ vectors.T, np.float64)


def elsewhere(
    upper: Upper, given: Given, logs: Floats, pull: Floats, precision: Floats
) -> tuple[Floats, Floats]:
    """Mean and sd of each lot's log-middle (less the prior's) by all other lots alone."""
    tau2 = float(np.exp(2 * logs[0]))
    expected = (upper.x @ given.mean)[upper.cell]
    unsure = ((upper.x @ given.root) ** 2).sum(axis=1)[upper.cell]
    own = np.minimum(unsure * precision / (1 + precision * tau2), 1 - 1e-9)
    without = (expected - unsure * pull / (1 + precision * tau2)) / (1 - own)
    return without, np.sqrt(tau2 + unsure / (1 - own))


def stand_in(
    found: Floats, variance: Floats, mean: Floats, sd: Floats, least: float = 0.0
) -> tuple[Floats, Floats]:
    """Pull and precision of the normal likelihood that turns N(mean, sd^2) into one of the mean
    `found` and the variance; precision at least `least` of that from elsewhere."""
    before = 1 / sd**2
    precision = np.maximum(1 / np.maximum(variance, 1e-12) - before, least * before)
    return found * (precision + before) - mean * before, precision


def moved(seen: Inside, scale: Floats) -> tuple[Floats, Floats]:
    """Where the points should sit: where the mass was, wider where it lay at their edge."""
    narrower = np.maximum(np.sqrt(seen.variance), scale / 3)
    return seen.mean, np.where(seen.edge > 0.3, scale * 2, np.maximum(narrower, 1e-6))


def _kept(seen: Inside, mean: Floats, sd: Floats, pull: Floats, precision: Floats) -> float:
    """What the evidence has beyond that of the stand-ins."""
    total = 1 + precision * sd**2
    stands = mean * pull + 0.5 * (pull * sd) ** 2 - 0.5 * precision * mean**2
    return float((seen.logz + 0.5 * np.log(total) - stands / total).sum())


def _step(prior: ShapePrior, state: State) -> Shape:
    """A Newton step of spread and never."""
    information = state.information.copy()
    if prior.never <= 0:
        information[0, 1] = information[1, 0] = 0.0
    step = _inverse(information, prior.pulls(state.shape)[1]) @ state.climb
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
    """What rows of lots say under the belief N(mean, sd^2): y and its variance, never infinite."""
    middle, error = crude(rows, shape.spread)
    own = np.where(np.isfinite(middle), 1 / error**2, 0.0)
    both = own + 1 / sd**2
    centre, scale = (own * np.nan_to_num(middle) + mean / sd**2) / both, 1 / np.sqrt(both)
    for _ in range(_LOOKS):
        seen = look(rows, shape, mean, sd, centre, scale)
        before = scale
        centre, scale = moved(seen, scale)
        if np.abs(np.log(scale / before)).max() < 0.1:
            break
    pull, precision = stand_in(seen.mean - mean, seen.variance, np.zeros(rows.lots), sd, _LEAST)
    return mean + pull / precision, 1 / precision
