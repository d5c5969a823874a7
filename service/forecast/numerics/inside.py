"""Inside the lots: what the rows of each lot say of its log-middle, and all together of the shape.

Each lot's log-middle has a normal belief from elsewhere; times the likelihood of its rows it is
integrated by Gauss-Hermite points that sit where the product is (they move with each pass).
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics.families import between, mass

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_POINTS, _WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
_LOG_WEIGHTS = np.log(_WEIGHTS) + _POINTS**2 / 2 - 0.5 * math.log(2 * math.pi)
_CHUNK = 2048
"""Rows worked on at once: their columns stay in the processor's cache."""
_NARROWEST = 0.5
"""An interval is at least so many Cd wide: two winter looks may have no heat between them."""
_BACKGROUND_SD = 1.5
_LITTLE = 1e-300


@dataclass(frozen=True)
class Rows:
    """Rows sorted by lot. low, high: logarithms (infinite ends too); `stray`: how likely the row is
    if it is not what it says; `ends[n]`: where the rows of lot `lot[n]` end."""

    lot: Ints
    starts: Ints
    low: Floats
    high: Floats
    trees: Floats
    never: Floats
    stray: Floats

    @property
    def lots(self) -> int:
        return len(self.lot)

    def chunks(self) -> Iterator[tuple[slice, slice]]:
        """Slices of lots and of their rows."""
        ends = np.append(self.starts[1:], len(self.low))
        first = 0
        while first < self.lots:
            full = self.starts[first] + _CHUNK
            last = max(first + 1, int(np.searchsorted(ends, full, side="right")))
            yield slice(first, last), slice(int(self.starts[first]), int(ends[last - 1]))
            first = last

    def some(self, which: Ints) -> "Rows":
        """The rows of the lots at positions `which` (rising)."""
        sizes = np.diff(np.append(self.starts, len(self.low)))[which]
        starts = np.cumsum(sizes) - sizes
        rows = np.repeat(self.starts[which] - starts, sizes) + np.arange(sizes.sum())
        return Rows(
            self.lot[which],
            starts,
            self.low[rows],
            self.high[rows],
            self.trees[rows],
            self.never[rows],
            self.stray[rows],
        )


def prepared(
    lot: Ints, low: Floats, high: Floats, trees: Floats, *, middle: float, mistakes: float
) -> Rows:
    """Rows that say something, sorted; `middle` is where mistaken rows lie around (Cd).

    Left out: rows without trees, of no number, or that only say that the event came after 0 Cd
    or at some time (they hold of every tree).
    """
    use = (trees > 0) & np.isfinite(trees) & (low >= 0) & (high >= low)
    use &= (low > 0) | np.isfinite(high)
    order = np.flatnonzero(use)
    order = order[np.argsort(lot[order], kind="stable")]
    lot, low, high, trees = lot[order], low[order], high[order], trees[order]
    narrow = high < low + _NARROWEST
    low[narrow] = np.maximum((low + high - _NARROWEST) / 2, 0)[narrow]
    high[narrow] = low[narrow] + _NARROWEST
    with np.errstate(divide="ignore"):
        low, high = np.log(low), np.log(high)
    around = math.log(middle)
    far = between("lognormal", (low - around) / _BACKGROUND_SD, (high - around) / _BACKGROUND_SD)
    present, starts = np.unique(lot, return_index=True)
    never = np.isposinf(high).astype(np.float64)
    stray = mistakes * far + _LITTLE
    return Rows(present, starts.astype(np.int64), low, high, trees.astype(float), never, stray)


class Shape(NamedTuple):
    """What all lots of a crop share."""

    family: str
    spread: float
    never: float
    mistakes: float


class Inside(NamedTuple):
    """By lot: log of the integral, mean and variance of the log-middle. `score`, `information`: of
    (log spread, log odds of never) over all lots, with the log-middles integrated out."""

    logz: Floats
    mean: Floats
    variance: Floats
    edge: Floats
    score: Floats
    information: Floats


def crude(rows: Rows, spread: float) -> tuple[Floats, Floats]:
    """Where to begin: by lot, a log-middle (NaN without an event seen) and its standard error."""
    seen = rows.never == 0
    weight = np.where(seen, rows.trees, 0.0)
    middle = np.where(seen, (np.maximum(rows.low, rows.high - math.log(2)) + rows.high) / 2, 0.0)
    trees = np.add.reduceat(weight, rows.starts)
    with np.errstate(invalid="ignore", divide="ignore"):
        return (
            np.add.reduceat(weight * middle, rows.starts) / trees,
            (spread + 0.05) / np.sqrt(trees),
        )


def look(
    rows: Rows, shape: Shape, mean: Floats, sd: Floats, centre: Floats, scale: Floats
) -> Inside:
    """One pass over all rows; beliefs from elsewhere N(mean, sd^2), points around `centre`."""
    logz, means, variances, edges = (np.empty(rows.lots) for _ in range(4))
    score, information = np.zeros(2), np.zeros((2, 2))
    for some, which in rows.chunks():
        points = centre[some] + scale[some] * _POINTS[:, None]
        starts = rows.starts[some] - which.start
        sizes = np.diff(np.append(starts, which.stop - which.start))
        loglik, by_spread, by_never, info = _at(rows, which, starts, sizes, shape, points)
        belief = -0.5 * ((points - mean[some]) / sd[some]) ** 2 + np.log(scale[some] / sd[some])
        terms = loglik + belief + _LOG_WEIGHTS[:, None]
        top = terms.max(axis=0)
        weights = np.exp(terms - top)
        total = weights.sum(axis=0)
        weights /= total
        logz[some] = top + np.log(total)
        means[some] = middle = (weights * points).sum(axis=0)
        variances[some] = (weights * (points - middle) ** 2).sum(axis=0)
        edges[some] = np.maximum(weights[0], weights[-1])
        # Louis 1982: of what all would tell, less what is lost as the middles are not known.
        firsts = np.stack([by_spread, by_never])
        expected = (weights * firsts).sum(axis=1)
        score += expected.sum(axis=1)
        lost = np.einsum("kl,akl,bkl->ab", weights, firsts, firsts) - expected @ expected.T
        information += _square((weights * info).sum(axis=(1, 2))) - lost
    return Inside(logz, means, variances, edges, score, information)


def _square(three: Floats) -> Floats:
    return np.array([[three[0], three[1]], [three[1], three[2]]])


def _at(
    rows: Rows, which: slice, starts: Ints, sizes: Ints, shape: Shape, points: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Log likelihood of each lot at each point [points, lots], its derivatives by log spread and
    by the log odds of never, and the information (3: both, cross, both) in its rows."""
    middles = np.repeat(points, sizes, axis=1)
    low = (rows.low[which] - middles) / shape.spread
    high = (rows.high[which] - middles) / shape.spread
    inside = mass(shape.family, low, high)
    sound, never, ends = 1 - shape.mistakes, shape.never, rows.never[which]
    step = sound * never * (1 - never)
    likely = rows.stray[which] + sound * never * ends + sound * (1 - never) * inside.mass
    trees = rows.trees[which]
    inverse = 1 / likely
    spread1 = sound * (1 - never) * inside.first * inverse
    spread2 = sound * (1 - never) * inside.second * inverse
    never1 = step * (ends - inside.mass) * inverse
    cross = -step * inside.first * inverse
    columns = (
        np.log(likely),
        spread1,
        never1,
        spread1 * spread1 - spread2,
        spread1 * never1 - cross,
        never1 * never1 - (1 - 2 * never) * never1,
    )
    sums = [np.add.reduceat(trees * column, starts, axis=1) for column in columns]
    return sums[0], sums[1], sums[2], np.stack(sums[3:])
