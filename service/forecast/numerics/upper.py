"""Above the lots: a crop's log-middle with effects of method, site and season, pooled in part.

A small linear mixed model. Each lot brings y with precision q (its own observations); then

    y = X b + lot effect + noise,   lot effect ~ N(0, tau^2),   noise ~ N(0, 1/q)

with a normal prior on the intercept, effects of each factor N(0, sd^2) and half-normal priors on
tau and the sds. Given those, b is normal exactly. They themselves are kept as a weighted cloud of
points, so that eight lots do not make believe that the lots' sd is known.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import ndtri

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_CLOUD = 64
_WIDER = 1.15
"""The cloud is drawn a little wider than the curvature at the top says, and weighted back."""
_LARGEST_LOG = 3.0


@dataclass(frozen=True)
class Columns:
    """Which column of X is which level: the intercept, then each factor's levels, then its unknown
    level. `levels`: how many levels of each factor have a column, the unknown one not counted."""

    levels: dict[str, int]

    @property
    def count(self) -> int:
        return 1 + sum(self.levels.values()) + len(self.levels)

    def of(self, factors: Mapping[str, Ints], lots: int) -> Ints:
        """The columns that are 1 in each lot's row of X, [L, 1 + factors]."""
        columns, first = np.zeros((lots, 1 + len(self.levels)), np.int64), 1
        for at, (name, count) in enumerate(self.levels.items(), 1):
            level = np.asarray(factors.get(name, np.full(lots, -1)), np.int64)
            columns[:, at] = first + np.where((level < 0) | (level >= count), count, level)
            first += count + 1
        return columns

    def design(self, columns: Ints) -> Floats:
        """X from the columns of each lot, [L, P]."""
        x = np.zeros((len(columns), self.count))
        np.put_along_axis(x, columns, 1.0, axis=1)
        return x

    def cells(self, columns: Ints) -> tuple[Ints, Ints]:
        """The combinations of levels there are, and which of them each lot is."""
        code = np.zeros(len(columns), np.int64)
        for column in columns.T:
            code = np.unique(code * self.count + column, return_inverse=True)[1]
        first = np.unique(code, return_index=True)[1]
        return columns[first], code

    def factor(self) -> Ints:
        """Which factor each column belongs to: 0 the intercept, then 1, 2 ..."""
        sizes = [1, *(count + 1 for count in self.levels.values())]
        return np.repeat(np.arange(len(sizes)), sizes)


class Belief(NamedTuple):
    """Priors of the upper level: intercept N(middle, middle_sd^2), half-normal scales."""

    middle: float
    middle_sd: float
    factor_sd: float
    lot_sd: float


class Given(NamedTuple):
    """With the sds given: log of the evidence (and of the prior of the log sds), b's mean and the
    lower root of its covariance."""

    log: float
    mean: Floats
    root: Floats


class Upper:
    """The mixed model over lots that fall into cells (combinations of levels)."""

    def __init__(self, columns: Columns, of_lots: Ints, belief: Belief) -> None:
        self.columns, self.belief = columns, belief
        cells, self.cell = columns.cells(of_lots)
        self.x = columns.design(cells)
        self.factor = columns.factor()
        self.scales = np.array([belief.lot_sd, *[belief.factor_sd] * len(columns.levels)])

    def given(self, logs: Floats, y: Floats, q: Floats) -> Given:
        """logs: log of tau and of each factor's sd. y, q: by lot."""
        sds = np.exp(np.minimum(logs, _LARGEST_LOG))
        precision = q / (1 + q * sds[0] ** 2)
        away = y - self.belief.middle
        cells = len(self.x)
        weight = np.bincount(self.cell, precision, cells)
        pull = np.bincount(self.cell, precision * away, cells)
        spread = np.concatenate([[self.belief.middle_sd], sds[1:]])[self.factor]
        # In units of the prior sds the matrix is 1 + something: never near singular.
        scaled = self.x * spread
        matrix = scaled.T @ (weight[:, None] * scaled)
        matrix[np.diag_indices_from(matrix)] += 1.0
        lower = np.linalg.cholesky(matrix)
        half = np.linalg.solve(lower, scaled.T @ pull)
        log = -0.5 * (np.log1p(q * sds[0] ** 2).sum() + (precision * away * away).sum())
        log += 0.5 * half @ half - np.log(np.diag(lower)).sum()
        log += (logs - 0.5 * (sds / self.scales) ** 2).sum()
        root = spread[:, None] * np.linalg.inv(lower).T
        mean = root @ half
        mean[0] += self.belief.middle
        return Given(float(log), mean, root)

    def best(self, y: Floats, q: Floats, start: Floats) -> Floats:
        """The log sds at the top of the posterior."""
        found = minimize(
            lambda logs: -self.given(logs, y, q).log, start, method="BFGS", options={"gtol": 1e-3}
        )
        top: Floats = found.x if np.isfinite(found.fun) else start
        return np.clip(top, np.log(self.scales) - 6, np.log(self.scales) + 2)

    def cloud(self, y: Floats, q: Floats, top: Floats) -> tuple[Floats, list[Given], Floats]:
        """Points of log sds [K, 1 + factors], what is given each, and their weights [K]."""
        root = self._root(y, q, top) * _WIDER
        steps = _steps(len(top))
        points = top + steps @ root.T
        all_given = [self.given(point, y, q) for point in points]
        logs = np.array([one.log for one in all_given]) + 0.5 * (steps**2).sum(axis=1)
        weights = np.exp(logs - logs.max())
        return points, all_given, weights / weights.sum()

    def _root(self, y: Floats, q: Floats, top: Floats) -> Floats:
        """A root of the inverse curvature at the top, by differences."""
        size, step = len(top), 0.05
        here = self.given(top, y, q).log
        axes = np.eye(size) * step
        sides = [
            (self.given(top + axis, y, q).log, self.given(top - axis, y, q).log) for axis in axes
        ]
        curve = np.diag([(2 * here - up - down) / step**2 for up, down in sides])
        for i in range(size):
            for j in range(i):
                both = self.given(top + axes[i] + axes[j], y, q).log
                cross = (both - sides[i][0] - sides[j][0] + here) / step**2
                curve[i, j] = curve[j, i] = -cross
        values, vectors = np.linalg.eigh(curve)
        return np.asarray(vectors / np.sqrt(np.clip(values, 0.5, None)), np.float64)


def _steps(size: int) -> Floats:
    """Evenly strewn points of a normal in `size` dimensions (Halton 1960), always the same."""
    primes = (2, 3, 5, 7, 11, 13, 17)[:size]
    index = np.arange(1, _CLOUD + 1)
    shares = np.zeros((_CLOUD, size))
    for column, prime in enumerate(primes):
        left, part = index.copy(), 1.0
        while left.any():
            part /= prime
            shares[:, column] += part * (left % prime)
            left //= prime
    return np.asarray(ndtri(shares), np.float64)
