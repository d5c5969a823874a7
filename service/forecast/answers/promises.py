"""What can be promised, told so that a clerk can use it and a manager can judge it. Pure.

A question is about an item at a site, or at all sites together. It lies in several sets of stock
(of its grade and of any; of the site and of all sites): what is promised must be there in each.
"""

from bisect import bisect_right
from collections.abc import Callable, Collection, Sequence
from datetime import date
from functools import cache, partial
from typing import Annotated

import msgspec
from msgspec import Meta

from service.trade import promising
from service.trade.crossing import ANY, Cross
from service.trade.drawn import Part
from service.trade.overriding import Ruling, first_by, told
from service.trade.promising import LEVELS, Due, Step
from service.trade.supply import OutKey

Base = Callable[[int, OutKey], Sequence[Step]]
"""What is told of a set from when to when, given a level (its index) and the set."""
Foretold = Callable[[OutKey, int], Sequence[int]]
"""How many of a set are told at each level, given the set and a day."""


class Stock:
    """One set of stock (`of`: an empty grade is any grade, an empty site all sites).

    `base`: what is told of a set from when to when, with the confidence of a level; `foretold`:
    the same at all levels, on a day. `rulings`: what somebody said of it, or of sets inside it.
    `due`: open claims that draw only on this set.
    """

    def __init__(
        self,
        of: OutKey,
        base: Base,
        foretold: Foretold,
        rulings: Sequence[Ruling] = (),
        due: Sequence[Due] = (),
    ) -> None:
        self.of, self.due = of, due
        self._base, self._foretold, self._rulings = base, foretold, rulings

    def steps(self, level: int, day: int) -> Sequence[Step]:
        """How many are there from when to when, for a claim on `day`."""
        return told(self.of, partial(self._base, level), self._rulings, day)

    def promise(self, level: int, day: int) -> int:
        """How many can still be promised for `day`."""
        return promising.promise(self.steps(level, day), self.due, day)

    def earliest(self, level: int, quantity: int, today: int) -> int | None:
        """The first day for which so many can be promised; None: not in sight."""
        steps = partial(self.steps, level)
        return first_by(steps, self.of, self._rulings, self.due, quantity, today)

    def there(self, day: int) -> list[int]:
        """How many are there on a day at each level, promised or not."""
        if not self._rulings:
            return list(self._foretold(self.of, day))
        return self._there(day)

    def _there(self, day: int) -> list[int]:
        found = []
        for level in range(len(LEVELS)):
            steps = self.steps(level, day)
            after = bisect_right(steps, day, key=lambda one: one.first)
            found.append(steps[max(after - 1, 0)].quantity)
        return found


class Crossed(Stock):
    """Several sets together that claims cross at, given the whole item and each set's stock."""

    def __init__(
        self,
        cross: Cross,
        all_sites: Collection[str],
        stock: Callable[[Part], Stock],
        due: Sequence[Due],
    ) -> None:
        whole = stock(ANY)
        super().__init__(whole.of, whole._base, whole._foretold, whole._rulings, due)
        self._cross, self._all_sites, self._stock = cross, all_sites, cache(stock)

    def steps(self, level: int, day: int) -> Sequence[Step]:
        return self._cross.there(self._all_sites, lambda part: self._stock(part).steps(level, day))

    def there(self, day: int) -> list[int]:
        return self._there(day)


class AtConfidence(msgspec.Struct, frozen=True, kw_only=True):
    """How many can be promised at one confidence."""

    confidence: float
    sure: Annotated[str, Meta(description="The confidence in words.", examples=["8 in 10 sure"])]
    can_be_promised: int
    earliest: Annotated[
        date | None,
        Meta(description="First day for the quantity asked; null: none asked, or not in sight."),
    ]


class Risk(msgspec.Struct, frozen=True, kw_only=True):
    """The risk that what is promised already will not be there, on the worst day."""

    probability: Annotated[
        float, Meta(ge=0, le=1, description="Above one half it is a rougher guess than below.")
    ]
    day: Annotated[date | None, Meta(description="The worst day; null: nothing is promised.")]
    promised: Annotated[int, Meta(description="Promised for that day and earlier ones.")]
    short_by: Annotated[
        int, Meta(description="How many are short then at the confidence asked; 0: none.")
    ]


NO_RISK = Risk(probability=0.0, day=None, promised=0, short_by=0)


def can_be_promised(stocks: Sequence[Stock], level: int, day: int) -> int:
    """How many can be promised for `day` in every one of the sets."""
    return min(one.promise(level, day) for one in stocks)


def earliest(stocks: Sequence[Stock], level: int, quantity: int, today: int) -> date | None:
    """The first day for which so many can be promised in every set; None: not in sight.

    An override that ends may leave less for the day after, so a later set's day is tried on the
    earlier ones again.
    """
    day = today
    while True:
        found = [one.earliest(level, quantity, day) for one in stocks]
        if None in found:
            return None
        latest = max(one for one in found if one is not None)
        if latest == day:
            return date.fromordinal(day)
        day = latest


def told_at(
    stocks: Sequence[Stock], confidence: float, day: int, quantity: int | None, today: int
) -> AtConfidence:
    """The answer at one confidence."""
    level = promising.level_of(confidence)
    return AtConfidence(
        confidence=confidence,
        sure=f"{promising.sure(confidence)} sure",
        can_be_promised=can_be_promised(stocks, level, day),
        earliest=None if quantity is None else earliest(stocks, level, quantity, today),
    )


def chance_of(quantities: Sequence[int], needed: int) -> float:
    """P(at least `needed` are there), from one day's quantities of all `LEVELS`.

    Straight lines between levels; certain below the surest by as much as lies between the surest
    and the middle. What is more than the middle is mirrored: as far above it as others are below.
    """
    middle, surest = quantities[0], quantities[-1]
    if needed > middle:
        return 1 - chance_of(quantities, 2 * middle - needed + 1)
    if needed <= surest - (middle - surest):
        return 1.0
    if needed <= surest:
        return LEVELS[-1]
    for n in range(len(LEVELS) - 1, 0, -1):
        low, high = quantities[n], quantities[n - 1]
        if low <= needed < high:
            return LEVELS[n] + (needed - low) / (high - low) * (LEVELS[n - 1] - LEVELS[n])
    return LEVELS[0]


def risk(stocks: Sequence[Stock], level: int, today: int) -> Risk:
    """The worst risk, over all sets and days, that what is promised already falls short."""
    found = [one for stock in stocks for one in _risks(stock, level, today)]
    return max(found, key=lambda one: (one.probability, one.short_by), default=NO_RISK)


def _risks(stock: Stock, level: int, today: int) -> list[Risk]:
    """The risk on each day that something is due; what is overdue is due today."""
    found = []
    for day in sorted({max(one.day, today) for one in stock.due}):
        promised, there = promising.due_by(stock.due, day), stock.there(day)
        found.append(
            Risk(
                probability=round(1 - chance_of(there, promised), 3),
                day=date.fromordinal(day),
                promised=promised,
                short_by=max(0, promised - there[level]),
            )
        )
    return found
