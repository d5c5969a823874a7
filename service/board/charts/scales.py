"""From figures to places on paper: scales, and marks at round numbers and at days people say."""

from collections.abc import Iterator
from datetime import date, timedelta
from math import ceil, floor, log10
from typing import NamedTuple


class Scale(NamedTuple):
    """Straight from `low` … `high` to `start` … `end` on paper."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Where a value lies; what lies outside is drawn at the border."""
        if self.high == self.low:
            return self.start
        share = (value - self.low) / (self.high - self.low)
        return self.start + min(max(share, 0.0), 1.0) * (self.end - self.start)


def nice(value: float, *, rounded: bool) -> float:
    """1, 2, 5 or 10 times a power of ten: the nearest (`rounded`), else the next one up.

    Heckbert, "Nice numbers for graph labels", Graphics Gems (1990), page 61.
    """
    power = 10.0 ** floor(log10(value))
    share = value / power
    if rounded:
        step = 1 if share < 1.5 else 2 if share < 3 else 5 if share < 7 else 10
    else:
        step = next(one for one in (1, 2, 5, 10) if share <= one + 1e-9)
    return step * power


def ticks(low: float, high: float, about: int = 5, *, whole: bool = False) -> list[float]:
    """Round numbers from below `low` to above `high`, some `about` of them ("loose labels").

    `whole`: no fractions, for what is counted.
    """
    if high <= low:
        high = low + 1
    step = nice(nice(high - low, rounded=False) / max(about - 1, 1), rounded=True)
    if whole:
        step = max(step, 1.0)
    first, last = floor(low / step + 1e-9), ceil(high / step - 1e-9)
    return [round(n * step, 10) for n in range(first, last + 1)]


def day_ticks(first: date, last: date, most: int) -> list[date]:
    """At most `most` days that people go by: days, Mondays, or firsts of months."""
    for days in (1, 2):
        if (last - first).days < days * most:
            return [first + timedelta(days=n) for n in range(0, (last - first).days + 1, days)]
    for found in (*(_mondays(first, last, n) for n in (1, 2)), *_months_each(first, last)):
        if len(found) <= most:
            return found
    return [first, last][:most]


def _mondays(first: date, last: date, weeks: int) -> list[date]:
    start = first + timedelta(days=-first.weekday() % 7)
    return [
        start + timedelta(weeks=n)
        for n in range(0, max((last - start).days, 0) // 7 + 1, weeks)
        if start <= last
    ]


def _months_each(first: date, last: date) -> Iterator[list[date]]:
    """Firsts of each month, each second, third, sixth and twelfth, then of fewer years."""
    start = first if first.day == 1 else _months_on(first.replace(day=1), 1)
    for months in (1, 2, 3, 6, 12, 24, 60, 120, 600):
        # Counted from January, so that a year's marks are always the same.
        day = _months_on(start, -(start.year * 12 + start.month - 1) % months)
        found = []
        while day <= last:
            found.append(day)
            day = _months_on(day, months)
        yield found


def _months_on(day: date, months: int) -> date:
    whole = day.year * 12 + day.month - 1 + months
    return date(min(whole // 12, 9999), whole % 12 + 1, 1)
