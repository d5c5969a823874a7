"""What ready trees are lost to: deaths that are written down, and those that nobody notices.

Dead trees that nobody writes down stand in the books until a stock count finds them missing.
Whoever grades goes by what the books have, so a tree is known to be there when its lot's push is
counted, or its lot's ready trees are; from then on it may go unnoticed. Whoever sells takes trees
that are there: the more of a lot was sold, the more of what is left in the books may be gone.
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
class Tally:
    """By crop: trees that were lost, and the tree-years in which they were."""

    trees: Mapping[str, float]
    years: Mapping[str, float]

    def rate(self, crop: str, about: Floats, rng: np.random.Generator) -> Floats:
        """Trees lost a year, of each tree (a hazard), by draw: gamma-Poisson, believed to be near
        `about` [draws] before the crop's own were counted."""
        # A rate of next to nothing would divide by 0.
        years = priors.LOSSES_ALIKE / np.maximum(about, 1e-9) + self.years.get(crop, 0.0)
        shape = priors.LOSSES_ALIKE + self.trees.get(crop, 0.0)
        return np.asarray(rng.gamma(shape, 1 / years))


@dataclass(frozen=True)
class Losses:
    """Of ready trees the `dead`, and the `missing` of trees since their push that a stock count
    looked at. unseen: by lot of `Known`, tree-years of its ready trees, those sold too, that no
    count has looked at."""

    dead: Tally
    missing: Tally
    unseen: Floats

    def unnoticed(self, crop: str, seed: int, draws: int) -> Floats:
        """Trees a year that go unnoticed, by draw: the crop's, about those of the whole nursery."""
        shape = priors.UNNOTICED_A_YEAR * priors.UNNOTICED_YEARS + sum(self.missing.trees.values())
        years = priors.UNNOTICED_YEARS + sum(self.missing.years.values())
        of_all = seeded(seed, "unnoticed").gamma(shape, 1 / years, draws)
        return self.missing.rate(crop, of_all, seeded(seed, f"{crop} unnoticed"))

    def deaths(self, crop: str, on_the_way: Floats, seed: int) -> Floats:
        """Deaths a year, by draw: about those of growing trees."""
        return self.dead.rate(crop, on_the_way, seeded(seed, f"{crop} deaths of ready"))


@dataclass(frozen=True)
class _Ready:
    """Rows of trees that became ready, and of what became of them later: on which day they were
    graded and left (0: never did), how many (taken off again where they left)."""

    lot: Ints
    graded: Ints
    left: Ints
    trees: Floats

    def years(self, since: Floats | Ints, until: Floats) -> Floats:
        """Tree-years of each row between two days."""
        days = until - np.clip(self.left, since, np.maximum(until, since))
        return self.trees * np.maximum(days, 0.0) / DAYS_A_YEAR


def losses_of(known: Known, seen: Seen, today: int) -> Losses:
    """Learn them from what became of ready trees, and the stock counts."""
    rows, outcome = _ready(known)
    pushed_on = seen.pushed_on[rows.lot]
    counted_on = np.asarray(known.lots.counted_on, float)[rows.lot]
    yesterday = np.full(len(rows.lot), today - 1.0)
    told, counted = pushed_on > 0, rows.graded <= counted_on
    since = np.where(counted, counted_on, pushed_on)
    unseen = np.where(told, rows.years(since, yesterday), 0.0)
    crops = np.asarray(known.lots.crop, object)[rows.lot]

    def tally(lost: str, years: Floats, some: NDArray[np.bool_]) -> Tally:
        trees = np.where(outcome == lost, -rows.trees, 0.0)
        every = {crop: some & (crops == crop) for crop in set(known.lots.crop)}
        return Tally(
            trees={crop: float(trees[mine].sum()) for crop, mine in every.items()},
            years={crop: max(float(years[mine].sum()), 0.0) for crop, mine in every.items()},
        )

    return Losses(
        dead=tally("ready_dead", rows.years(rows.graded, yesterday), rows.graded > 0),
        missing=tally("ready_missing", rows.years(pushed_on, counted_on), told & counted),
        unseen=np.bincount(rows.lot, unseen, len(known.lots.code)).clip(0.0),
    )


def _ready(known: Known) -> tuple[_Ready, NDArray[np.object_]]:
    """The rows, and their outcomes."""
    grown = known.growths
    outcome = np.asarray(grown.outcome, object)
    some = np.flatnonzero(np.isin(outcome, (*LATER, "ready")))
    after, by = np.asarray(grown.after, np.int64)[some], np.asarray(grown.by, np.int64)[some]
    trees, outcome = np.asarray(grown.trees, float)[some], outcome[some]
    later = outcome != "ready"
    rows = _Ready(
        lot=np.asarray(grown.lot, np.int64)[some],
        graded=np.where(later, after, by),
        left=np.where(later, by, 0),
        trees=np.where(later, -trees, trees),
    )
    return rows, outcome
