"""What a fit of thermal times is given, and what is believed after it (`times.py` says of what)."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, ndtr

from service.forecast.numerics.upper import Columns

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FEW_LOTS = 5
"""With fewer an answer says that it borrows."""


@dataclass(frozen=True, kw_only=True)
class Times:
    """R rows about trees of L lots. A row says of `trees` trees of `lot` that their event came
    after `low` and at `high` at the latest (Cd); `high` infinite: it had not come at `low`; both
    infinite: it is known never to come (culled as unfit).

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


@dataclass(frozen=True, kw_only=True)
class Fit:
    """What was learned.

    spread, never, tau: as `Prior` says, with log-sd of the spread and `never_n` trees' worth of
    belief in never. n_trees, n_lots: seen. loglik: log of the evidence (spread, never and sds at
    their best; all else integrated out), to compare clocks of the same rows; `logliks`: by family,
    of the lots that the family was chosen on. fallback: in words, what it leans on; empty: on its
    own observations. points, means, roots, weights: the cloud of upper.py; shape_covariance,
    bends: as `learning.Bends`.
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
    shape_covariance: Floats
    bends: Floats
    seen: dict[tuple[int, ...], tuple[float, int]]

    def design(self, factors: Mapping[str, Ints], lots: int) -> Floats:
        """X[L, P]; levels that are -1, new or not named go to the factor's unknown level."""
        columns = Columns(self.levels)
        return columns.design(columns.of(factors, lots))

    def middle(self, levels: Mapping[str, int] | None = None) -> tuple[float, float]:
        """Mean and sd of the expected log-middle of lots with these levels, and unknown ones of the
        factors not named; a single lot lies about it with sd `tau` more."""
        factors = {name: np.array([level]) for name, level in (levels or {}).items()}
        mean, variance = self.expected(factors, 1)
        return float(mean[0]), math.sqrt(variance[0])

    def typical(self, levels: Mapping[str, int] | None = None) -> tuple[float, float, float]:
        """Mean and sd of the average log-middle of the lots seen with these levels, and the sd of a
        new lot about it, whatever its other levels. Without such lots: as `middle`."""
        asked = levels or {}
        kinds = [kind for kind in self.seen if self._matches(kind, asked)]
        if not kinds:
            mean, sd = self.middle(asked)
            return mean, sd, self.tau
        columns = Columns(self.levels)
        at = np.array(kinds).reshape(len(kinds), -1)
        factors = dict(zip(self.levels, at.T, strict=True))
        x = columns.design(columns.of(factors, len(kinds)))
        lots = np.array([self.seen[kind][1] for kind in kinds], np.float64)
        middle, variance = self._of((lots @ x / lots.sum())[None])
        others = [n for n, name in enumerate(self.levels, 1) if name not in asked]
        between = self.weights @ np.exp(2 * self.points[:, [0, *others]]).sum(axis=1)
        return float(middle[0]), math.sqrt(variance[0]), math.sqrt(between)

    def expected(self, factors: Mapping[str, Ints], lots: int) -> tuple[Floats, Floats]:
        """Mean and variance of the expected log-middle of each of `lots` lots, [L] both; a single
        lot lies about it with variance `tau`^2 more."""
        columns = Columns(self.levels)
        cells, cell = columns.cells(columns.of(factors, lots))
        mean, variance = self._of(columns.design(cells))
        return mean[cell], variance[cell]

    def _of(self, x: Floats) -> tuple[Floats, Floats]:
        """Mean and variance of x @ b, for each row of x[N, P]."""
        each = self.means @ x.T
        mean = self.weights @ each
        bent = x @ self.bends
        variance = self.weights @ (((x @ self.roots) ** 2).sum(axis=2) + (each - mean) ** 2)
        return mean, variance + ((bent @ self.shape_covariance) * bent).sum(axis=1)

    def _matches(self, kind: tuple[int, ...], levels: Mapping[str, int]) -> bool:
        return all(levels.get(name, at) == at for name, at in zip(self.levels, kind, strict=True))

    def based_on(self, levels: Mapping[str, int] | None = None) -> tuple[float, int]:
        """Trees and lots seen with these levels."""
        some = [told for kind, told in self.seen.items() if self._matches(kind, levels or {})]
        return sum(trees for trees, _ in some), sum(lots for _, lots in some)

    def borrows(self, levels: Mapping[str, int] | None = None) -> str:
        """In words, what an estimate for these levels leans on; empty: on its own observations."""
        if self.fallback:
            return self.fallback
        said = []
        for name, level in (levels or {}).items():
            count = self.based_on({name: level})[1]
            if count == 0:
                said.append(f"nothing seen yet of this {name}: borrowed from the others")
            elif count < FEW_LOTS:
                lots = lots_in_words(count)
                said.append(f"{lots} of this {name}: borrows from the others")
        return "; ".join(said)

    def draw(self, rng: np.random.Generator, draws: int) -> Draws:
        """`draws` draws of all that is shared."""
        which = rng.choice(len(self.weights), draws, p=self.weights)
        chance = rng.standard_normal((draws, self.means.shape[1]))
        off = rng.standard_normal((draws, 2)) @ np.linalg.cholesky(self.shape_covariance).T
        return Draws(
            coefficients=self.means[which]
            + np.einsum("dpq,dq->dp", self.roots[which], chance, optimize=True)
            + off @ self.bends.T,
            tau=np.exp(self.points[which, 0]),
            spread=self.spread * np.exp(off[:, 0]),
            never=self._never(off[:, 1]),
        )

    def _never(self, off: Floats) -> Floats:
        """Beta shares that rank as the log odds do: with few trees those are too wide upward."""
        if self.never <= 0:
            return np.zeros(len(off))
        rank = ndtr(off / math.sqrt(self.shape_covariance[1, 1]))
        n = self.never_n
        return np.asarray(betaincinv(max(self.never * n, 1e-3), (1 - self.never) * n, rank))


def lots_in_words(count: int) -> str:
    """So many lots."""
    return "1 lot" if count == 1 else f"{count} lots"
