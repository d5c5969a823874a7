"""When it happened, without assuming any shape: the non-parametric estimate of Turnbull (1976).

Each tree's time lies in (low, high]; `high` is infinite where it had not happened when last seen.
The likelihood can only put mass on the innermost intervals: those from a low to the next high with
no other end between. Their masses are climbed to by EM steps in turn with steps of the iterative
convex minorant (Wellner & Zhan 1997), and they are known to be at the top by how far any
mass could still gain (Gentleman & Geyer 1994).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import isotonic_regression

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_TURNS = 2000
_HALVINGS = 12
_LITTLE = 1e-300


@dataclass(frozen=True, kw_only=True)
class Npmle:
    """Masses on intervals (low, high], rising; they sum to 1, none is 0. `gap`: no other masses
    have a log likelihood higher than `loglik` by more."""

    low: Floats
    high: Floats
    mass: Floats
    loglik: float
    gap: float

    def cdf(self, time: Floats) -> Floats:
        """Share by `time`; within an interval, where it is not known, spread evenly over it."""
        with np.errstate(invalid="ignore"):
            part = (np.asarray(time)[..., None] - self.low) / (self.high - self.low)
        return np.asarray(np.clip(np.nan_to_num(part), 0, 1) @ self.mass)


def npmle(low: Floats, high: Floats, weights: Floats | None = None, gap: float = 1e-7) -> Npmle:
    """The likeliest masses for times in (low[n], high[n]], each seen of weights[n] trees.

    `gap`: how far, per tree, the log likelihood may be from its top. Equal ends mean an exact time.
    ValueError: no rows, an end that is no number, low above high, weights that are not positive.
    """
    weights = np.ones(len(low)) if weights is None else np.asarray(weights, np.float64)
    low, high, weights = _grouped(np.asarray(low, np.float64), np.asarray(high, float), weights)
    left, right = _innermost(low, high)
    # Of the innermost intervals, an observation holds those from `first` up to `last`.
    first = np.searchsorted(left, low, side="left")
    last = np.searchsorted(right, high, side="right")
    problem = _Problem(first, last, weights, len(left))
    mass = problem.solved(gap * weights.sum())
    some = mass > 1e-9
    mass = np.where(some, mass, 0.0) / mass[some].sum()
    return Npmle(
        low=left[some],
        high=right[some],
        mass=mass[some],
        loglik=problem.loglik(mass),
        gap=problem.gap(mass),
    )


def _grouped(low: Floats, high: Floats, weights: Floats) -> tuple[Floats, Floats, Floats]:
    """Equal observations as one, exact times as the shortest interval that ends in them."""
    if not len(low):
        raise ValueError("no observations")
    if np.isnan(low).any() or np.isnan(high).any() or (low > high).any():
        raise ValueError("every observation needs a low and a high end, the low one not above")
    if not (weights > 0).all() or not np.isfinite(weights).all():
        raise ValueError("weights are positive numbers")
    low = np.where(low == high, np.nextafter(low, -np.inf), low)
    ends, which = np.unique(np.column_stack([low, high]), axis=0, return_inverse=True)
    grouped = np.bincount(which.reshape(-1), weights).astype(np.float64)
    return ends[:, 0], ends[:, 1], grouped


def _innermost(low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Intervals (left, right] from a low end to the next high end with no other end between."""
    values = np.concatenate([low, high])
    is_low = np.repeat([1, 0], [len(low), len(high)])
    # At one value highs come first: (a, 5] and (5, b] have nothing in common.
    order = np.lexsort((is_low, values))
    values, is_low = values[order], is_low[order]
    at = np.flatnonzero((is_low[:-1] == 1) & (is_low[1:] == 0))
    return values[at], values[at + 1]


class _Problem:
    """Observation n holds masses first[n] to last[n] - 1 of `size`, and counts weights[n] times."""

    def __init__(self, first: Ints, last: Ints, weights: Floats, size: int) -> None:
        self.first, self.last, self.weights, self.size = first, last, weights, size
        self.total = float(weights.sum())

    def chances(self, mass: Floats) -> Floats:
        sums = np.concatenate([[0.0], np.cumsum(mass)])
        return np.asarray(np.maximum(sums[self.last] - sums[self.first], _LITTLE), np.float64)

    def loglik(self, mass: Floats) -> float:
        return float(self.weights @ np.log(self.chances(mass)))

    def gains(self, mass: Floats) -> Floats:
        """Derivative of the log likelihood by each mass."""
        share = self.weights / self.chances(mass)
        steps = np.bincount(self.first, share, self.size + 1)
        steps -= np.bincount(self.last, share, self.size + 1)
        return np.asarray(np.cumsum(steps)[:-1], np.float64)

    def gap(self, mass: Floats) -> float:
        """The log likelihood is concave, so it can rise by no more than this."""
        return max(float(self.gains(mass).max()) - self.total, 0.0)

    def solved(self, gap: float) -> Floats:
        mass = np.full(self.size, 1 / self.size)
        for _ in range(_TURNS):
            if self.gap(mass) <= gap:
                break
            mass = self._convex_minorant(mass * self.gains(mass) / self.total)
        return mass

    def _convex_minorant(self, mass: Floats) -> Floats:
        """A step towards the best rising curve of running totals, by the diagonal curvature."""
        if self.size == 1:
            return mass
        sums = np.cumsum(mass)[:-1]
        chances = self.chances(mass)
        share, curve = self.weights / chances, self.weights / chances**2
        slope = np.bincount(self.last, share, self.size + 1)
        slope -= np.bincount(self.first, share, self.size + 1)
        weight = np.bincount(self.last, curve, self.size + 1)
        weight += np.bincount(self.first, curve, self.size + 1)
        slope, weight = slope[1:-1], np.maximum(weight[1:-1], _LITTLE)
        aim = isotonic_regression(sums + slope / weight, weights=weight).x
        step = np.diff(np.clip(aim, 0, 1), prepend=0.0, append=1.0) - mass
        here, rise = self.loglik(mass), float(self.gains(mass) @ step)
        for halving in range(_HALVINGS):
            there = mass + step * 0.5**halving
            if self.loglik(there) >= here + 0.1 * 0.5**halving * rise:
                return np.asarray(np.maximum(there, 0.0))
        return mass
