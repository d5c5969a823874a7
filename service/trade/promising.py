"""How many of an item can be promised for a day: supply told ahead against what is promised.

All is of one set of stock: an item at a site or at all, of one grade or of any. A claim must be
covered in every set it lies in. Days are ordinals (`date.toordinal()`).
"""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Sequence
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


def _promised_by(due: Iterable[Due]) -> Callable[[int], int]:
    """`due_by` for many days of the same claims."""
    in_order = sorted(due)
    days = [one.day for one in in_order]
    totals = [0, *accumulate(one.quantity for one in in_order)]
    return lambda day: totals[bisect_right(days, day)]


def left(steps: Iterable[Step], due: Sequence[Due], day: int) -> int:
    """How many are left on `day` and on each later one; below zero what is short.

    What is promised for a later day is kept back from now on, unless more is there by then.
    """
    promised = _promised_by(due)
    return min(one.quantity - promised(one.last) for one in steps if one.last >= day)


def promise(steps: Iterable[Step], due: Sequence[Due], day: int) -> int:
    """How many can still be promised for `day`."""
    return max(0, left(steps, due, day))


def earliest(steps: Sequence[Step], due: Sequence[Due], quantity: int, today: int) -> int | None:
    """The first day from `today` on for which `quantity` can be promised; None when there is none.

    It never falls from one day to a later one, since every later day is looked at for each.
    """
    promised = _promised_by(due)
    short = [one.last for one in steps if one.quantity - promised(one.last) < quantity]
    first = max(today, max(short, default=today - 1) + 1)
    return first if first <= FOR_EVER else None
