"""What a site's record of daily temperatures lacks, and how gaps are filled."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

SHORT_GAP_DAYS = 5
"""Gaps of at most so many days are filled between their neighbours; longer ones by the mean."""
HALF_WINDOW_DAYS = 3
"""The mean of a day of the year is taken over it and so many days to either side, all years."""

_DAY = timedelta(days=1)


@dataclass(frozen=True)
class Gap:
    """Days without a record, both ends included."""

    first: date
    last: date

    @property
    def days(self) -> int:
        return (self.last - self.first).days + 1


def missing_ranges(recorded: Mapping[date, object], first: date, last: date) -> list[Gap]:
    """Ranges of days from `first` to `last`, both included, that are not recorded."""
    gaps: list[Gap] = []
    expected = first
    for day in sorted(day for day in recorded if first <= day <= last):
        if day > expected:
            gaps.append(Gap(expected, day - _DAY))
        expected = day + _DAY
    if expected <= last:
        gaps.append(Gap(expected, last))
    return gaps
