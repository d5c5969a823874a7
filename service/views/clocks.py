"""Both clocks of a question: as of when it happened, and as known when.

`as_of` is a day, which means its end at each site; or a moment, which means at each site the day
that it has then: the books know days, not hours. `known_at` is a position of the log, or a time.
Left out, both mean now. What is answered is what the events known by then, of days that had come
by then, add up to; a void known by then undoes what it voids, whenever it was said.

What a lot is (cultivar, parents) and the catalogue with its check plans have one clock only, what
was known: the newest known by then counts, for every day.
"""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, date, datetime
from typing import Any

import msgspec

from service.clock import Clock
from service.log.as_known import Changed, changed_since
from service.log.incoming import FUTURE_TOLERANCE
from service.storage.pool import Connection, Pool
from service.storage.sql import load
from service.storage.walls import past_the_wall, seeing
from service.trade.words import EARLIEST_YEAR, LATEST_YEAR
from service.views.positions import position
from service.views.site_days import site_days

SQL = load(__package__, "clocks.sql")


class Asked(msgspec.Struct, frozen=True, kw_only=True):
    """The clocks as asked for."""

    as_of: date | datetime | None = None
    known_at: int | datetime | None = None


class ClockError(ValueError):
    """One of the clocks can't be what was asked: `clock` says which, `kind` what is wrong."""

    def __init__(self, clock: str, detail: str, kind: str = "not_a_day") -> None:
        super().__init__(detail)
        self.clock, self.kind = clock, kind


class Clocks(msgspec.Struct, frozen=True, kw_only=True):
    """The clocks understood. Those of now: `Clocks()`.

    `days` is each site's day that is judged by; `last_day` the last day that counts (None: all do),
    `behind` the sites where it has not come, `left_out` the positions of their legs on it. `known`
    is the last position that counts, None when all do, `known_until` a time for what is
    outside the log. `changed` holds lots and bags that were something else then.
    """

    position: int = 0
    as_of: date | datetime | None = None
    days: dict[str, date] = {}
    last_day: date | None = None
    behind: list[str] = []
    left_out: list[int] = []
    known: int | None = None
    known_until: datetime | None = None
    changed: Changed = Changed()

    @property
    def are_now(self) -> bool:
        """Whether the question is about now, as known now."""
        return self.last_day is None and self.known is None

    @property
    def known_at(self) -> int:
        """The position up to which the log is reflected."""
        return self.position if self.known is None else self.known

    @property
    def legs(self) -> tuple[Any, ...]:
        """What `legs_after` is asked with."""
        return self.last_day, self.left_out, self.known

    @property
    def events(self) -> tuple[Any, ...]:
        """What decides if an event counts: `last_day`, `behind`, `known`."""
        return self.last_day, self.behind, self.known

    def said(self, sites: list[str] | None) -> dict[str, Any]:
        """What an answer says of its clocks: position, as_of, known_at, and of a moment the day at
        each site that may be seen."""
        days = {s: day for s, day in self.days.items() if sites is None or s in sites}
        return {
            "position": self.position,
            "as_of": self.as_of and self.as_of.isoformat(),
            "known_at": self.known_at,
            "days": days if isinstance(self.as_of, datetime) else None,
        }


@asynccontextmanager
async def asking(
    pool: Pool, sites: list[str] | None, asked: Asked, clock: Clock, *, view: str | None = None
) -> AsyncIterator[tuple[Connection, Clocks]]:
    """A reader's connection at one moment, with the clocks understood there.

    Clocks of now reflect what `view` does, where one is named that answers them. Raises ClockError.
    An old question is answered from the events of every site and must narrow its answer to `sites`
    itself: what a lot's checks hang on may have happened elsewhere.
    """
    async with seeing(pool, sites, timeout=10) as conn:
        async with past_the_wall(conn):
            clocks = await understood(conn, asked, clock())
        if clocks.are_now:
            if view is not None:
                clocks = msgspec.structs.replace(clocks, position=await position(conn, view))
            yield conn, clocks
            return
        await conn.execute(SQL.plan_for_values)
        async with past_the_wall(conn):
            yield conn, clocks


async def understood(conn: Connection, asked: Asked, now: datetime) -> Clocks:
    """The clocks at the moment `now`, on a connection that sees every site. Raises ClockError."""
    for name, given in (("as_of", asked.as_of), ("known_at", asked.known_at)):
        if isinstance(given, date) and not EARLIEST_YEAR < given.year < LATEST_YEAR:
            raise ClockError(name, f"{given.isoformat()} lies outside the years that are told of.")
    head = int(await conn.fetchval(SQL.head))
    today = await site_days(conn, now)
    known, until = await _known(conn, asked.known_at, head)
    days, last_day, behind = await _days(conn, asked.as_of, today, now)
    left_out = await conn.fetch(SQL.left_out, last_day, behind) if behind else []
    return Clocks(
        position=head,
        as_of=asked.as_of,
        days=days,
        last_day=last_day,
        behind=behind,
        left_out=[row["position"] for row in left_out],
        known=known,
        known_until=until,
        changed=await changed_since(conn, known) if known is not None else Changed(),
    )


async def _known(
    conn: Connection, known_at: int | datetime | None, head: int
) -> tuple[int | None, datetime | None]:
    if known_at is None:
        return None, None
    if isinstance(known_at, datetime):
        known = int(await conn.fetchval(SQL.position_at, known_at))
        return (known if known < head else None), known_at
    if known_at < 0:
        raise ClockError("known_at", "known_at is a position from 0 on, or a time")
    if known_at >= head:
        return None, None
    recorded = await conn.fetchval(SQL.recorded_at, known_at)
    return known_at, recorded or datetime(1900, 1, 1, tzinfo=UTC)


async def _days(
    conn: Connection, as_of: date | datetime | None, today: dict[str, date], now: datetime
) -> tuple[dict[str, date], date | None, list[str]]:
    """Each site's day, the last day that counts, and the sites where it has not come."""
    if as_of is None:
        return today, None, []
    if isinstance(as_of, datetime):
        if as_of > now + FUTURE_TOLERANCE:
            raise ClockError("as_of", f"{as_of.isoformat()} is still to come.", "in_the_future")
        days = await site_days(conn, as_of)
        last_day = max(days.values(), default=as_of.astimezone(UTC).date())
        return days, last_day, [site for site, day in days.items() if day < last_day]
    newest = max(today.values(), default=now.astimezone(UTC).date())
    if as_of > newest:
        raise ClockError(
            "as_of",
            f"{as_of} is still to come: the furthest site is at {newest} now.",
            "in_the_future",
        )
    return dict.fromkeys(today, as_of), as_of, []


async def lot_ids(conn: Connection, codes: list[str]) -> list[int]:
    """The ids of these lots: accounts and legs are found by them."""
    return [row["lot_id"] for row in await conn.fetch(SQL.lot_ids, codes)]
