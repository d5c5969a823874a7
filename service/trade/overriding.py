"""What may be promised of a set of stock when somebody said so by hand, for some days.

What is said of a set takes the place of what is told of it. What is said of a narrower set (one
site of all, one grade of any) moves the wider one by its difference, for the stock of the one is
in the other. Days are ordinals.
"""

from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

from service.trade.promising import FOR_EVER, Due, Step, earliest
from service.trade.supply import OutKey, covers

Base = Callable[[OutKey], Sequence[Step]]


class Ruling(NamedTuple):
    """An override: of which set, from when to when, how many; what went out since taken off."""

    of: OutKey
    days: Step


def concerning(of: OutKey, rulings: Iterable[Ruling], day: int) -> list[Ruling]:
    """The rulings that count for what is asked of a set for `day`, in the order in which they were
    made. One whose last day is over counts for nothing any more."""
    return [one for one in rulings if covers(of, one.of) and one.days.last >= day]


def told(of: OutKey, base: Base, rulings: Iterable[Ruling], day: int) -> list[Step]:
    """What is there of a set from when to when, for a claim on `day`.

    `base`: what is told of a set without overrides. The younger ruling of one set wins. After its
    last day what a ruling said is there still, unless more is told: what is promised for one of
    its days would else be held against the days after, and nothing could be promised by it.
    """
    counting = concerning(of, rulings, day)
    if not counting:
        return list(base(of))
    bases = {each: base(each) for each in {of, *(one.of for one in counting)}}
    starts = {0}
    for steps in bases.values():
        starts.update(step.first for step in steps)
    for one in counting:
        starts.update((one.days.first, one.days.last + 1))
    begins = sorted(start for start in starts if start <= FOR_EVER)
    ends = [start - 1 for start in begins[1:]] + [FOR_EVER]
    return [
        Step(first, last, _on(first, of, bases, counting))
        for first, last in zip(begins, ends, strict=True)
    ]


def _on(day: int, of: OutKey, bases: dict[OutKey, Sequence[Step]], rulings: list[Ruling]) -> int:
    begun = {one.of for one in rulings if one.days.first <= day}
    inside = begun - {of}
    widest = [each for each in inside if not any(covers(o, each) for o in inside - {each})]
    quantity = _base(bases[of], day)
    for each in widest:
        before = _base(bases[each], day)
        quantity += _said(day, each, before, rulings) - before
    return _said(day, of, quantity, rulings)


def _base(steps: Sequence[Step], day: int) -> int:
    """What is told for a day; before the first step that is the first one's."""
    return next((step for step in steps if step.last >= day), steps[-1]).quantity


def _said(day: int, of: OutKey, otherwise: int, rulings: list[Ruling]) -> int:
    """What the rulings of exactly this set make of it on a day."""
    own = [one.days for one in rulings if one.of == of and one.days.first <= day]
    now = [step.quantity for step in own if step.last >= day]
    return now[-1] if now else max([otherwise, *(step.quantity for step in own)])


def first_day(
    of: OutKey, base: Base, rulings: Sequence[Ruling], due: Sequence[Due], count: int, day: int
) -> int | None:
    """The first day from `day` on for which so many can be promised; None when there is none."""
    return first_by(lambda on: told(of, base, rulings, on), of, rulings, due, count, day)


def first_by(
    steps: Callable[[int], Sequence[Step]],
    of: OutKey,
    rulings: Sequence[Ruling],
    due: Sequence[Due],
    count: int,
    day: int,
) -> int | None:
    """The same of what is there by `steps`, for a claim on a day; `of` holds all of it."""
    while True:
        counting = concerning(of, rulings, day)
        found = earliest(steps(day), due, count, day)
        over = min((one.days.last for one in counting), default=FOR_EVER)
        if found is not None and found <= over:
            return found
        if not counting:
            return found
        # For later days one ruling fewer counts.
        day = over + 1
