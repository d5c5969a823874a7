"""How many of an item can be promised for a day: supply told ahead against what is promised.

All is of one set of stock: an item at a site or at all, of one grade or of any. A claim must be
covered in every set it lies in. Days are ordinals (`date.toordinal()`).
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from itertools import accumulate
from typing import NamedTuple

LEVELS = (0.5, 0.6, 0.7, 0.75, 0.8, 0.85, 0.9, 0.95, 0.975, 0.99)
"""How sure a stored quantity is: with so much probability at least so many will be there."""
STEP_DAYS, STEPS = 7, 79
"""Quantities are told for the first day and each seventh after it: a year and a half."""
ALL_SITES = ""
"""The site of a quantity that counts all sites together."""
PROMISED_AT = 0.8
"""How sure a nursery wants to be that has not said so itself."""
FOR_EVER = 10**7
"""A day after all days: the last quantity told holds until then."""
OLD_DAYS = 7
"""What was foretold longer ago says nothing any more: it knows no loss and no hold since."""


class Step(NamedTuple):
    """`quantity` is there on each day from `first` to `last`."""

    first: int
    last: int
    quantity: int


class Due(NamedTuple):
    """So many are promised for that day."""

    day: int
    quantity: int


def level_of(confidence: float) -> int:
    """The index in `LEVELS` of a confidence; between two of them of the surer one.

    ValueError beyond the surest.
    """
    found = bisect_left(LEVELS, confidence - 1e-9)
    if found == len(LEVELS):
        raise ValueError(f"nothing is told surer than {LEVELS[-1]}")
    return found


def sure(confidence: float) -> str:
    """A confidence in a clerk's words: `8 in 10` for 0.8, `975 in 1000` for 0.975."""
    for of in (10, 100):
        if abs(confidence * of - round(confidence * of)) < 1e-9:
            return f"{round(confidence * of)} in {of}"
    return f"{round(confidence * 1000)} in 1000"


def at_level(flat: Sequence[int], level: int) -> Sequence[int]:
    """The quantities of one level out of all, which stand step by step, level by level."""
    return flat[level :: len(LEVELS)]


def steps_of(first: int, quantities: Sequence[int], gone: int = 0) -> list[Step]:
    """What is there from when to when: `quantities` by `first` and each seventh day after it.

    `gone`: how many went out since this was told. The last quantity holds from then on.
    """
    starts = [first + n * STEP_DAYS for n in range(len(quantities))]
    ends = [start - 1 for start in starts[1:]] + [FOR_EVER]
    return [
        Step(a, b, quantity - gone) for a, b, quantity in zip(starts, ends, quantities, strict=True)
    ]


def due_by(due: Iterable[Due], day: int) -> int:
    """How many are promised for that day or an earlier one."""
    return sum(one.quantity for one in due if one.day <= day)


class Tight(NamedTuple):
    """A day with how many are there, and how many are promised by then."""

    day: int
    there: int
    promised: int

    @property
    def left(self) -> int:
        return self.there - self.promised


class _Days:
    """Steps and claims, asked about many days."""

    def __init__(self, steps: Sequence[Step], due: Iterable[Due]) -> None:
        in_order = sorted(due)
        self.due = [one.day for one in in_order]
        self.totals = [0, *accumulate(one.quantity for one in in_order)]
        self._steps, self._ends = steps, [one.last for one in steps]

    def on(self, day: int) -> Tight:
        """Before the first step what that one has is there; after the last one what that has."""
        step = self._steps[min(bisect_left(self._ends, day), len(self._steps) - 1)]
        return Tight(day, step.quantity, self.totals[bisect_right(self.due, day)])


def tightest(steps: Sequence[Step], due: Iterable[Due], day: int) -> Tight:
    """Of `day` and each later one that something is promised for, the one with the least left."""
    days = _Days(steps, due)
    moments = [day, *days.due[bisect_right(days.due, day) :]]
    return min((days.on(each) for each in moments), key=lambda one: one.left)


def left(steps: Sequence[Step], due: Iterable[Due], day: int) -> int:
    """How many can be promised for `day` beside what is promised; below zero what is short.

    What is promised must be there on its day: on `day`, and on each later day that something is
    promised for. A day on which nothing is due asks for nothing: supply falls in the end, by trees
    that die unsold, and a tree that stands ready today would else not be promised for tomorrow.
    """
    return tightest(steps, due, day).left


def promise(steps: Sequence[Step], due: Iterable[Due], day: int) -> int:
    """How many can still be promised for `day`."""
    return max(0, left(steps, due, day))


def lefts(steps: Sequence[Step], due: Iterable[Due], days: Iterable[int]) -> list[int]:
    """`left` for many days at once, given in their order."""
    asked = _Days(steps, due)
    # The least on each due day or a later one.
    least = list(accumulate((asked.on(day).left for day in reversed(asked.due)), min))[::-1]
    found, at, later, last, dues = [], 0, 0, len(steps) - 1, len(least)
    for day in days:
        while at < last and steps[at].last < day:
            at += 1
        while later < dues and asked.due[later] <= day:
            later += 1
        own = steps[at].quantity - asked.totals[later]
        found.append(own if later == dues else min(own, least[later]))
    return found


def earliest(steps: Sequence[Step], due: Sequence[Due], quantity: int, today: int) -> int | None:
    """The first day from `today` on for which `quantity` can be promised; None when there is none.

    Within a step it only gets less, so today and the beginnings of steps are looked at.
    """
    begins = [today, *(one.first for one in steps if one.first > today)]
    enough = (
        day for day, had in zip(begins, lefts(steps, due, begins), strict=True) if had >= quantity
    )
    return next(enough, None)
