"""What will become of each tree of a lot, drawn on the day of its grafting.

The weather to come is drawn already, so a tree's push and readiness are days. People at the sites
see of it only what they look at, on the day on which they look.
"""

import math
import random
from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import date, timedelta

import msgspec

from seed_scenario.nature import UNRECORDED, Growth, Nature
from seed_scenario.weather import Weather


class Tree:
    """One tree as it truly is. Days are None where they lie beyond the weather that was drawn, or
    where it never comes to that; `first`: it will grade first.

    What people do with it: `graded_on`, in which `size`; `left_on`: sold, thrown away, given up.
    """

    __slots__ = (
        *("cause", "dies_on", "first", "graded_on", "left_on", "never", "push_on", "ready_on"),
        *("size", "took", "unfit"),
    )

    def __init__(self) -> None:
        self.took = True
        self.never = self.unfit = False
        self.first = True
        self.push_on: date | None = None
        self.ready_on: date | None = None
        self.dies_on: date | None = None
        self.cause = ""
        self.graded_on: date | None = None
        self.left_on: date | None = None
        self.size = ""

    def dead(self, day: date) -> bool:
        """Dead by that day, and to be seen (nobody ever finds an unrecorded one)."""
        return self.cause != UNRECORDED and self.gone(day)

    def gone(self, day: date) -> bool:
        """Dead or away by that day."""
        return self.dies_on is not None and self.dies_on <= day

    def pushed(self, day: date) -> bool:
        return self.push_on is not None and self.push_on <= day

    def ready(self, day: date) -> bool:
        return self.ready_on is not None and self.ready_on <= day


def leave(trees: Iterable[Tree], day: date) -> None:
    """They are no longer among the trees of their lot from that day on."""
    for tree in trees:
        tree.left_on = day


class LotFate(msgspec.Struct, frozen=True, kw_only=True):
    """What truly comes of a lot, for scoring. `by`: person → [grafted, took]. `push_on` and
    `ready_on`: day → trees that push, or are ready, on it (deaths left out of account); `never`
    push, are `unfit`; `later`: push or are ready beyond the weather drawn. `dies_on`: day → trees
    that die, had nobody sold them before."""

    lot: str
    site: str
    cultivar: str
    crop: str
    method: str
    grafted_on: date
    by: dict[str, tuple[int, int]]
    push_on: dict[date, int]
    never: int
    ready_on: dict[date, int]
    unfit: int
    later: int
    dies_on: dict[date, int]


def draw(
    nature: Nature,
    weather: Weather,
    growth: Growth,
    site: str,
    day: date,
    shares: Sequence[tuple[str, int]],
    hazard_from: date,
    chance: random.Random,
) -> tuple[list[Tree], dict[str, tuple[int, int]]]:
    """The trees of a lot grafted on `day` by several people with their counts.

    Answers the trees and person → (grafted, took). Deaths begin at `hazard_from`.
    """
    trees: list[Tree] = []
    by: dict[str, tuple[int, int]] = {}
    lot_push, lot_ready = chance.gauss(0, growth.lot_sd), chance.gauss(0, growth.lot_sd / 2)
    site_log = nature.site_log[site]
    for person, count in shares:
        take, inside = nature.take(growth, person), 1 / nature.take_spread - 1
        lots_take = chance.betavariate(take * inside, (1 - take) * inside)
        took = 0
        for _ in range(count):
            tree = Tree()
            tree.took = chance.random() < lots_take
            took += tree.took
            if tree.took:
                _grow(tree, growth, weather, day, site_log + lot_push, lot_ready, chance)
                _end(tree, nature, growth, weather, site, hazard_from, chance)
            trees.append(tree)
        grafted_before, took_before = by.get(person, (0, 0))
        by[person] = (grafted_before + count, took_before + took)
    return trees, by


def _grow(
    tree: Tree,
    growth: Growth,
    weather: Weather,
    day: date,
    push_log: float,
    ready_log: float,
    chance: random.Random,
) -> None:
    tree.first = chance.random() < growth.first_grade
    tree.never = chance.random() < growth.never
    if tree.never:
        return
    wanted = growth.push_cd * math.exp(push_log + chance.gauss(0, growth.push_sd))
    tree.push_on = weather.reached(growth.heat, begins(growth, day), wanted)
    tree.unfit = chance.random() < growth.unfit
    wanted = growth.ready_cd * math.exp(ready_log + chance.gauss(0, growth.ready_sd))
    if tree.push_on is not None and not tree.unfit:
        tree.ready_on = weather.reached(growth.heat, tree.push_on, wanted)


def begins(growth: Growth, day: date) -> date:
    """The day after which the degree-days of a graft of `day` count."""
    if growth.asleep_until is None:
        return day
    month, of_month = growth.asleep_until
    woken = date(day.year, month, of_month)
    return woken if woken > day else date(day.year + 1, month, of_month)


def _end(
    tree: Tree,
    nature: Nature,
    growth: Growth,
    weather: Weather,
    site: str,
    hazard_from: date,
    chance: random.Random,
) -> None:
    dies = hazard_from + timedelta(days=int(chance.expovariate(growth.deaths_a_year / 365.25)) + 1)
    unrecorded = chance.random() < nature.unrecorded
    choice = chance.random()
    if dies > weather.last:
        return
    tree.dies_on = dies
    tree.cause = UNRECORDED if unrecorded else _cause(nature.causes[site], weather.on(dies), choice)


def _cause(weights: dict[str, float], weather: tuple[float, float], choice: float) -> str:
    low, high = weather
    fits = {
        cause: weight
        for cause, weight in weights.items()
        if not (cause == "frost" and low >= 0) and not (cause == "heat" and high <= 33)
    }
    left = choice * sum(fits.values())
    for cause, weight in fits.items():
        left -= weight
        if left < 0:
            return cause
    return "unknown"


def fate_of(
    lot: str,
    site: str,
    cultivar: str,
    growth: Growth,
    day: date,
    trees: Sequence[Tree],
    by: dict[str, tuple[int, int]],
) -> LotFate:
    """A lot's trees told as numbers by day."""
    taken = [tree for tree in trees if tree.took]
    pushing = [tree for tree in taken if not tree.never]
    fit = [tree for tree in pushing if not tree.unfit]
    return LotFate(
        lot=lot,
        site=site,
        cultivar=cultivar,
        crop=growth.crop,
        method=growth.method,
        grafted_on=day,
        by=by,
        push_on=_by_day(tree.push_on for tree in pushing),
        never=len(taken) - len(pushing),
        ready_on=_by_day(tree.ready_on for tree in fit),
        unfit=len(pushing) - len(fit),
        later=sum(1 for tree in fit if tree.ready_on is None),
        dies_on=_by_day(tree.dies_on for tree in taken),
    )


def _by_day(days: Iterable[date | None]) -> dict[date, int]:
    return dict(sorted(Counter(day for day in days if day is not None).items()))
