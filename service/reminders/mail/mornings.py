"""When a mail is due: a site's morning by its own clock, and the hours in which nothing disturbs.

Pure. A time that the clocks skip is taken with the offset from before the change, so 02:30 on that
night is 03:30; one that comes twice is the first (both as RFC 5545 section 3.3.5 reads them).
"""

from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import msgspec

MORNING = time(6)
# A digest that could not be made for longer tells of a morning that is over.
LATE = timedelta(hours=8)


def moment_of(day: date, at: time, zone: ZoneInfo) -> datetime:
    """The moment, in UTC, at which it is `at` on a site's `day`."""
    return datetime.combine(day, at, zone).astimezone(UTC)


def digest_day(
    now: datetime, at: time, zone: ZoneInfo, free_at: Callable[[datetime], datetime]
) -> date | None:
    """The site's day whose digest is due at `now`; None before the morning and long after it.

    `free_at`: the first moment from another one on at which its reader may be disturbed: far from
    the site that may be half a day later.
    """
    day = now.astimezone(zone).date()
    # Late in the day `at` may still be owed from yesterday.
    for one in (day, day - timedelta(days=1)):
        if timedelta(0) <= now - free_at(moment_of(one, at, zone)) < LATE:
            return one
    return None


class Quiet(msgspec.Struct, frozen=True):
    """Hours of the night, by the clock of a person's site; `from_` may be later than `until`."""

    from_: time
    until: time

    def free_at(self, now: datetime, zone: ZoneInfo) -> datetime:
        """The first moment from `now` on that is not in these hours (UTC)."""
        local = now.astimezone(zone)
        clock = local.time().replace(tzinfo=None)
        over_night = self.from_ > self.until
        if over_night:
            inside = clock >= self.from_ or clock < self.until
        else:
            inside = self.from_ <= clock < self.until
        if not inside:
            return now
        next_day = over_night and clock >= self.from_
        end = moment_of(local.date() + timedelta(days=next_day), self.until, zone)
        # Where the clocks go back the end may be behind: the hour comes a second time.
        return max(end, now)
