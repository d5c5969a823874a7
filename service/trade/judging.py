"""The judge: does a unit leave every account at zero or more at the end of every day?

A unit is judged on its combined effect. Its postings are already in the books (journalled);
the judge walks each touched account from its newest day to the unit's first, and a negative end
of day refuses, naming the earliest such day, the account and the shortage.
"""

from datetime import date
from typing import NamedTuple

from service.trade.books import Account, Books


class Short(NamedTuple):
    """An account below zero: the earliest day, by how much there, and by how much at worst."""

    account: Account
    day: date
    shortage: int
    worst: int


def shortage(account: Account, first_day: date) -> Short | None:
    """The earliest failing end of day on or after `first_day`, or None."""
    if not account.bounded:
        return None
    running = account.balance
    last = account.last_day
    if last is None or last <= first_day:
        return Short(account, first_day, -running, -running) if running < 0 else None
    earliest, short, worst = None, 0, 0
    days = [day for day in account.nets if day > first_day]
    days.sort(reverse=True)
    for day in days:
        if running < 0:
            earliest, short, worst = day, -running, max(worst, -running)
        running -= account.nets[day]
    # what is left is the end of the first day itself
    if running < 0:
        earliest, short, worst = first_day, -running, max(worst, -running)
    return Short(account, earliest, short, worst) if earliest is not None else None


def soft(books: Books, account: Account, day: date) -> bool:
    """Whether the account may yield more than its figure: estimated, and not counted since."""
    kind = account.key.kind
    if kind == "bag":
        basis = books.bags[account.key.ref].basis if account.key.ref in books.bags else "counted"
    elif kind == "liners":
        basis = books.lots[account.lot].basis
    else:
        return False
    return basis != "counted" and not any(anchor.day <= day for anchor in account.anchors)
