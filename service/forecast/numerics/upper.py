"""Above the lots: a crop's log-middle with effects of method, site and season, pooled in part.

A small linear mixed model. A lot's log-middle less the prior's is

    m = X b + lot effect,   lot effect ~ N(0, tau^2),

and its own rows weigh it by exp(pull * m - precision * m^2 / 2): what they say, where it is normal,
is pull / precision; a precision of 0 is no trouble. The prior of the intercept is normal, effects
of each factor are N(0, sd^2), tau and the sds half-normal. Given those, b is normal exactly. They
themselves are kept as a weighted cloud of points, so that eight lots do not make believe that the
lots' sd is known.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
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

    @property
    def origin(self) -> Floats:
        """What b is counted from: the prior's middle in the intercept, [P]."""
        return np.where(self.factor == 0, self.belief.middle, 0.0)

    def given(self, logs: Floats, pull: Floats, precision: Floats) -> Given:
        """logs: log of tau and of each factor's sd. pull, precision: by lot. The mean is b's, with
        the prior's middle not in it."""
        sds = np.exp(np.clip(logs, -_LARGEST_LOG * 4, _LARGEST_LOG))
        tau2, cells = sds[0] ** 2, len(self.x)
        shrunk = 1 / (1 + precision * tau2)
        weight = np.bincount(self.cell, precision * shrunk, cells)
        pulled = np.bincount(self.cell, pull * shrunk, cells)
        spread = np.concatenate([[self.belief.middle_sd], sds[1:]])[self.factor]
        # In units of the prior sds the matrix is 1 + something: never near singular.
        scaled = self.x * spread
        matrix = scaled.T @ (weight[:, None] * scaled)
        matrix[np.diag_indices_from(matrix)] += 1.0
        lower = np.linalg.cholesky(matrix)
        half = np.linalg.solve(lower, scaled.T @ pulled)
        log = 0.5 * (np.log(shrunk) + pull * pull * tau2 * shrunk).sum()
        log += 0.5 * half @ half - np.log(np.diag(lower)).sum()
        log += (logs - 0.5 * (sds / self.scales) ** 2).sum()
        root = spread[:, None] * np.linalg.inv(lower).T
        return Given(float(log), root @ half, root)

    def climbed(self, pull: Floats, precision: Floats, logs: Floats) -> Floats:
        """A Newton step of the log sds towards the top of their posterior."""
        here, slope, root = self._slope(pull, precision, logs)
        step = np.clip(root @ (root.T @ slope), -1.0, 1.0)
        for _ in range(4):
            there = np.clip(logs + step, np.log(self.scales) - 6, np.log(self.scales) + 2.5)
            if self.given(there, pull, precision).log > here:
                return np.asarray(there, np.float64)
            step = step / 3
        return logs

    def cloud(
        self, pull: Floats, precision: Floats, top: Floats
    ) -> tuple[Floats, list[Given], Floats]:
        """Points of log sds [K, 1 + factors], what is given each, and their weights [K]."""
        root = self._slope(pull, precision, top)[2] * _WIDER
        steps = _steps(len(top))
        points = top + steps @ root.T
        all_given = [self.given(point, pull, precision) for point in points]
        logs = np.array([one.log for one in all_given]) + 0.5 * (steps**2).sum(axis=1)
        weights = np.exp(logs - logs.max())
        return points, all_given, weights / weights.sum()

    def _slope(self, pull: Floats, precision: Floats, logs: Floats) -> tuple[float, Floats, Floats]:
        """By differences: height, slope, and a root of the inverse curvature of the posterior."""

        def at(logs: Floats) -> float:
            return self.given(logs, pull, precision).log

        size, step = len(logs), 0.05
        here, axes = at(logs), np.eye(size) * step
        ups = np.array([at(logs + axis) for axis in axes])
        downs = np.array([at(logs - axis) for axis in axes])
        curve = np.diag(2 * here - ups - downs)
        for i in range(size):
            for j in range(i):
                both = at(logs + axes[i] + axes[j])
                curve[i, j] = curve[j, i] = ups[i] + ups[j] - both - here
        values, vectors = np.linalg.eigh(curve / step**2)
        root = np.asarray(vectors / np.sqrt(np.clip(values, 0.5, None)), np.float64)
        return here, (ups - downs) / (2 * step), root


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
