"""Trees that are gone and stand in the books all the same: how many a year nobody notices.

Dead trees that nobody writes down are found by a stock count, as missing. Whoever grades goes by
what the books have, so a tree is known to be there when its lot's push is counted, or its lot's
ready trees are; from then on it may go unnoticed. Whoever sells takes trees that are there: the
more of a lot was sold, the more of what is left in the books may be gone.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics import priors
from service.forecast.numerics.beliefs import DAYS_A_YEAR, seeded
from service.forecast.numerics.seen import Seen
from service.forecast.shapes import LATER, Known

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Unnoticed:
    """By crop: trees that counts did not find, and the tree-years in which they went. By lot of
    `Known`: tree-years of its ready trees, those sold too, that no count has looked at."""

    missing: Mapping[str, float]
    years: Mapping[str, float]
    unseen: Floats

    def rate(self, crop: str, seed: int, draws: int) -> Floats:
        """Trees that go unnoticed a year, of each tree (a hazard), by draw.

        Gamma-Poisson twice: of the whole nursery, from a weak prior, and of the crop, about that.
        """
        gone, years = sum(self.missing.values()), sum(self.years.values())
        shape = priors.UNNOTICED_A_YEAR * priors.UNNOTICED_YEARS + gone
        of_all = seeded(seed, "unnoticed").gamma(shape, 1 / (priors.UNNOTICED_YEARS + years), draws)
        # A rate of next to nothing would divide by 0.
        of_all = np.maximum(of_all, 1e-9)
        shape = priors.UNNOTICED_ALIKE + self.missing.get(crop, 0.0)
        scale = 1 / (priors.UNNOTICED_ALIKE / of_all + self.years.get(crop, 0.0))
        return np.asarray(seeded(seed, f"{crop} unnoticed").gamma(shape, scale))


@dataclass(frozen=True)
class _Ready:
    """Rows of trees that became ready, and of what became of them later: on which day they were
    graded and left (0: never did), how many (taken off again where they left)."""

    lot: Ints
    graded: Ints
    left: Ints
    trees: Floats

    def years(self, since: Floats, until: Floats) -> Floats:
        """Tree-years of each row between two days."""
        days = until - np.clip(self.left, since, np.maximum(until, since))
        return self.trees * np.maximum(days, 0.0) / DAYS_A_YEAR


def unnoticed_of(known: Known, seen: Seen, today: int) -> Unnoticed:
    """Learn it from the stock counts."""
    rows, gone = _ready(known)
    pushed_on = seen.pushed_on[rows.lot]
    counted_on = np.asarray(known.lots.counted_on, float)[rows.lot]
    counted = rows.graded <= counted_on
    told = pushed_on > 0
    looked_at = np.where(told & counted, rows.years(pushed_on, counted_on), 0.0)
    since = np.where(counted, counted_on, pushed_on)
    unseen = np.where(told, rows.years(since, np.full(len(since), today - 1.0)), 0.0)
    crops = np.asarray(known.lots.crop, object)[rows.lot]

    def by_crop(of: Floats) -> dict[str, float]:
        return {crop: max(float(of[crops == crop].sum()), 0.0) for crop in set(known.lots.crop)}

    return Unnoticed(
        missing=by_crop(np.where(told & counted, gone, 0.0)),
        years=by_crop(looked_at),
        unseen=np.bincount(rows.lot, unseen, len(known.lots.code)).clip(0.0),
    )


def _ready(known: Known) -> tuple[_Ready, Floats]:
    """The rows, and of each how many trees a count did not find."""
    grown = known.growths
    outcome = np.asarray(grown.outcome, object)
    later = np.isin(outcome, LATER)
    some = np.flatnonzero(later | (outcome == "ready"))
    after, by = np.asarray(grown.after, np.int64)[some], np.asarray(grown.by, np.int64)[some]
    trees = np.asarray(grown.trees, float)[some]
    later = later[some]
    rows = _Ready(
        lot=np.asarray(grown.lot, np.int64)[some],
        graded=np.where(later, after, by),
        left=np.where(later, by, 0),
        trees=np.where(later, -trees, trees),
    )
    return rows, np.where(outcome[some] == "ready_missing", trees, 0.0)
