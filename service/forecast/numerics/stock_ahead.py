"""How many of what there will be: ready trees by item, grade, site and day, with their deaths."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics.fates import Fates
from service.forecast.numerics.stands import NONE, Shares, Task, ToldStock
from service.forecast.shapes import LEVELS, STEP_DAYS, STEPS

Floats = NDArray[np.float64]
Halves = NDArray[np.float32]
Ints = NDArray[np.int64]
Counts = NDArray[np.int32]

YEAR = 365.25


@dataclass(frozen=True)
class Set:
    """One set of stock, told: see `stands.ToldStock`."""

    kin: int
    size: int
    grade: int
    site: int
    quantities: Counts
    mean: Halves
    trees: int


class Arrivals:
    """Trees of one kin that become ready, float32[sites, draws, STEPS, sizes * (1 + grades)].

    `came` counts them by the books, `new` those that are there: some are gone, and nobody noticed.
    The first of the grades is any. `trees[sites, sizes, 1 + grades]` counts what stands.
    """

    def __init__(self, task: Task, kin: int, stands: Ints) -> None:
        self.task, self.kin = task, kin
        stock, told = task.stock, task.stands
        self.ready = np.flatnonzero(stock.ready_kin == kin)
        free = stands[told.free[stands]]
        sizes = stock.size_shares.kind[np.unique(told.sizes[free])]
        grades = stock.grade_shares.kind[np.unique(told.grades[free])]
        self.sites = np.unique(np.concatenate([told.site[free], stock.ready_site[self.ready]]))
        self.sizes = _kinds(sizes, stock.ready_size[self.ready])
        self.grades = _kinds(grades, stock.ready_grade[self.ready])
        self.trees = np.zeros((len(self.sites), len(self.sizes), 1 + len(self.grades)))
        kinds = self.trees[0].size if len(self.sites) else 0
        self.new = np.zeros((len(self.sites), task.draws, STEPS, kinds), np.float32)
        self.came = np.zeros_like(self.new)
        self.unnoticed = stock.kin_unnoticed[kin]
        self._stand_ready()

    def _stand_ready(self) -> None:
        """What is ready now is there from the first day on."""
        stock = self.task.stock
        site = _place(self.sites, stock.ready_site[self.ready])
        size = _place(self.sizes, stock.ready_size[self.ready])
        grade = stock.ready_grade[self.ready]
        trees = stock.ready_trees[self.ready].astype(float)
        there = trees[:, None] * np.exp(-self.unnoticed * stock.ready_unseen[self.ready][:, None])
        graded = np.flatnonzero(grade != NONE)
        every, any_grade = np.arange(len(trees)), np.zeros_like(site)
        left = np.zeros((*self.trees.shape, self.task.draws))
        for rows, slot in ((every, any_grade), (graded, 1 + _place(self.grades, grade[graded]))):
            np.add.at(self.trees, (site[rows], size[rows], slot), trees[rows])
            np.add.at(left, (site[rows], size[rows], slot), there[rows])
        kinds = self.new.shape[3]
        self.came[:, :, 0] = self.trees.reshape(len(self.sites), 1, kinds)
        self.new[:, :, 0] = left.reshape(len(self.sites), kinds, self.task.draws).transpose(0, 2, 1)

    def add(self, stands: Ints, fates: Fates, rng: np.random.Generator) -> None:
        """Count the fates of `stands` that are free."""
        told, stock = self.task.stands, self.task.stock
        rows = np.flatnonzero(told.free[stands])
        if not len(rows):
            return
        free = stands[rows]
        expected = fates.ready[rows].mean(axis=1)
        size = _drawn(stock.size_shares, told.sizes[free], self.sizes, expected, self.task, rng)
        grade = _drawn(stock.grade_shares, told.grades[free], self.grades, expected, self.task, rng)
        grade = np.concatenate([np.ones((*grade.shape[:2], 1)), grade], axis=2)
        # [draws, stands, kinds]: kinds of one size and one grade, any grade first.
        kinds = size[:, :, :, None] * grade[:, :, None, :]
        kinds = kinds.reshape(*size.shape[:2], -1).transpose(1, 0, 2)
        possible = kinds.any(axis=0) * told.trees[free, None]
        still = np.exp(-self.unnoticed[:, None] * told.unseen[free])
        until = np.exp(-self.unnoticed[:, None] * np.arange(STEPS) * STEP_DAYS / YEAR)
        both = np.concatenate([kinds, kinds * still[:, :, None]], axis=2, dtype=np.float32)
        site = _place(self.sites, told.site[free])
        for at in np.unique(site):
            here = np.flatnonzero(site == at)
            coming = self._coming(fates.day[rows[here]], fates.trees[rows[here]])
            came, there = np.split(coming @ both[:, here], 2, axis=2)
            self.came[at] += came
            self.new[at] += there * until[:, :, None].astype(np.float32)
            self.trees[at] += possible[here].sum(axis=0).reshape(self.trees.shape[1:])

    def _coming(self, day: Ints, trees: Ints) -> Halves:
        """[draws, STEPS, stands]: trees that are there by a step and were not by the one before."""
        wait = day - self.task.first
        step = np.clip(-(-wait // STEP_DAYS), 0, STEPS)
        stands, draws, _ = day.shape
        cell = (np.arange(draws)[:, None] * (STEPS + 1) + step) * stands
        cell += np.arange(stands)[:, None, None]
        counted = np.bincount(cell.ravel(), trees.ravel(), stands * draws * (STEPS + 1))
        coming: Halves = counted.astype(np.float32).reshape(draws, STEPS + 1, stands)[:, :STEPS]
        return coming

    def told(self, rng: np.random.Generator) -> list[Set]:
        """Every set of stock of the kin that trees stand for, at each site and at all."""
        alive, mean = self._alive(rng)
        sets = []
        for kind, (size, grade) in enumerate(np.ndindex(self.trees.shape[1:])):
            trees = self.trees[:, size, grade]
            name = (self.kin, int(self.sizes[size]), int(self.grades[grade - 1]) if grade else NONE)
            places = [(int(site), slice(at, at + 1)) for at, site in enumerate(self.sites)]
            for site, at in [*places, (NONE, slice(None))]:
                if trees[at].sum() > 0:
                    there = alive[:, at, kind].sum(axis=1, dtype=np.int32)
                    told = mean[:, at, kind].sum(axis=1)
                    sets.append(Set(*name, site, surely(there), told, round(trees[at].sum())))
        return sets

    def _alive(self, rng: np.random.Generator) -> tuple[Counts, Halves]:
        """Whole ready trees alive [STEPS, sites, kinds, draws], and their mean over the draws.

        Each ready tree dies at the kin's rate, or is gone already. How many by chance is normal
        with the variance of as many trees with one chance to be there, and the same way out on all
        days of a draw.
        """
        kept = np.exp(-self.task.stock.kin_losses[self.kin] * STEP_DAYS / YEAR).astype(np.float32)
        new, all_new = (
            np.ascontiguousarray(each.transpose(2, 0, 3, 1)) for each in (self.new, self.came)
        )
        chance = rng.standard_normal(new.shape[1:], np.float32)
        whole = np.zeros(new.shape, np.int32)
        mean = np.zeros(new.shape[:-1], np.float32)
        evenly = np.full(self.task.draws, 1 / self.task.draws, np.float32)
        alive = came = np.zeros(new.shape[1:], np.float32)
        for step in range(STEPS):
            alive, came = alive * kept + new[step], came + all_new[step]
            variance = (came - alive) * (alive / np.maximum(came, 1e-9))
            there = alive + chance * np.sqrt(np.maximum(variance, 0.0))
            whole[step] = np.rint(np.minimum(np.maximum(there, 0.0), came))
            mean[step] = alive @ evenly
        return whole, mean


def surely(there: Counts) -> Counts:
    """int[STEPS, len(LEVELS)] of the draws [STEPS, draws]: so sure, at least so many.

    The order statistic that a new draw reaches with at least that probability.
    """
    draws = there.shape[-1]
    ranks = [max(int((1 - level) * (draws + 1) + 1e-9), 1) - 1 for level in LEVELS]
    ordered: Counts = np.sort(there, axis=-1)[..., ranks]
    return ordered


def gathered(sets: list[Set]) -> ToldStock:
    """As columns."""

    def column(name: str) -> Ints:
        return np.asarray([getattr(each, name) for each in sets], np.int64)

    shape = (len(sets), STEPS, len(LEVELS))
    return ToldStock(
        kin=column("kin"),
        size=column("size"),
        grade=column("grade"),
        site=column("site"),
        quantities=np.asarray([each.quantities for each in sets], np.int64).reshape(shape),
        mean=np.asarray([each.mean for each in sets], float).reshape(shape[:2]),
        trees=column("trees"),
    )


def _kinds(growing: Ints, ready: Ints) -> Ints:
    every = np.unique(np.concatenate([growing.ravel(), ready]))
    kinds: Ints = every[every != NONE]
    return kinds


def _place(kinds: Ints, wanted: Ints) -> Ints:
    """Where `wanted` stand among `kinds`, which are in order."""
    return np.asarray(np.searchsorted(kinds, wanted), np.int64)


def _drawn(
    shares: Shares,
    row: Ints,
    kinds: Ints,
    trees: Floats,
    task: Task,
    rng: np.random.Generator,
) -> Floats:
    """[stands, draws, kinds]: what share of a stand's `trees` turns out as each kind.

    Dirichlet, with the variance that whole trees of a lot have that are correlated.
    """
    kind, share = shares.kind[row], shares.share[row]
    drawn = np.zeros((len(row), task.draws, len(kinds)))
    only = kind[np.arange(len(row)), share.argmax(axis=1)]
    # A row of NONE alone: as what they turn out is not known, so they are of no kind.
    whole = np.flatnonzero((share.max(axis=1, initial=0.0) >= 1) & (only != NONE))
    drawn[whole, :, _place(kinds, only[whole])] = 1.0
    split = np.flatnonzero(share.max(axis=1, initial=0.0) < 1)
    if not len(split):
        return drawn
    kind, share = kind[split], share[split]
    alike = shares.correlation[row[split]]
    alike = np.clip(alike + (1 - alike) / np.maximum(trees[split], 1.0), 1e-6, 0.99)
    size = (1 - alike) / alike
    parts = rng.standard_gamma(
        (size[:, None] * share)[:, None, :], (len(split), task.draws, share.shape[1])
    )
    # With few trees all may be of one kind, the parts being too small for a number.
    pick = (rng.random((len(split), task.draws, 1)) > np.cumsum(share, axis=1)[:, None, :-1]).sum(
        axis=2
    )
    np.put_along_axis(
        parts, pick[:, :, None], np.take_along_axis(parts, pick[:, :, None], 2) + 1e-290, 2
    )
    parts /= parts.sum(axis=2, keepdims=True)
    for column in range(share.shape[1]):
        used = np.flatnonzero(kind[:, column] != NONE)
        at = _place(kinds, kind[used, column])
        drawn[split[used], :, at] += parts[used, :, column]
    return drawn
