"""The morning round of a site: what must be looked at, in the order of urgency.

First what can hurt people (closed houses), then what spoils wood and trees while nobody looks
(temperatures, frost), then the tables. Among these a tie that was left on too long comes first, as
it girdles; then what is overdue, longest first; then tables nobody looked at; then what is due.
Nothing costs more as the log grows: views, open alerts and the newest stretch of the log are read.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, date, datetime, timedelta
from typing import Any, TypeVar

import asyncpg
import msgspec

from service.forecast.records import ahead
from service.forecast.records.loggers import Watched, loggers_now, watched
from service.forecast.records.ways import ways
from service.forecast.requirements import Thresholds
from service.reminders.morning_shapes import (
    AlertsOpen,
    BagToUse,
    CheckHere,
    ComingCheck,
    Done,
    Frost,
    GraftingAhead,
    Morning,
    TableToSee,
)
from service.reminders.raising import TOLD_BY_THE_ROUND
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.check_plans import LOOK, state_on
from service.views.closed_houses import ClosedHouse, closed_houses
from service.views.positions import position

SQL = load(__package__, "morning.sql")
WEEK = timedelta(days=7)
DAY = timedelta(days=1)
LONGEST_COUNTED = timedelta(days=400)
"""Degree-days of a delay are counted no further back."""
TAKE = "read_take"

Pair = tuple[float, float]


async def morning(conn: Connection, site: str, now: datetime) -> Morning | None:
    """The round of a site at the moment `now`; None for a site that is not there or not seen."""
    about = await conn.fetchrow(SQL.site, site)
    if about is None:
        return None
    by = await watched(conn, site)
    today = now.astimezone(by.there).date()
    closed = await closed_houses(conn, site, now)
    week = (today, today + WEEK)
    return Morning(
        position=await position(conn, "checks"),
        site=site,
        site_name=about["name"],
        time_zone=by.there.key,
        table_word=about["table_word"],
        at=now.astimezone(by.there),
        today=today,
        closed_houses=closed,
        loggers=await loggers_now(conn, site, by, now),
        frost=await frost_ahead(conn, site, by, today),
        tables=await _tables(conn, site, today, closed),
        bags=await bags_to_use(conn, site, today + timedelta(days=by.watch.keeping_days)),
        grafting=GraftingAhead(**dict(await _row(conn, SQL.orders, site, *week))),
        alerts=await _list(conn, AlertsOpen, SQL.alerts, site, today, list(TOLD_BY_THE_ROUND)),
        coming=await _list(conn, ComingCheck, SQL.coming, site, *week),
        done=await _list(conn, Done, SQL.done, site, *_since_yesterday(by, today)),
    )


T = TypeVar("T", bound=msgspec.Struct)


async def _list(conn: Connection, shape: type[T], sql: str, *asked: Any) -> list[T]:
    return [shape(**dict(row)) for row in await conn.fetch(sql, *asked)]


async def _row(conn: Connection, sql: str, *asked: Any) -> asyncpg.Record:
    row = await conn.fetchrow(sql, *asked)
    assert row is not None, "sums have a row"
    return row


def _since_yesterday(by: Watched, today: date) -> tuple[date, datetime]:
    """Yesterday, and the moment it began at the site."""
    day = today - DAY
    return day, datetime(day.year, day.month, day.day, tzinfo=by.there).astimezone(UTC)


async def bags_to_use(conn: Connection, site: str, until: date) -> list[BagToUse]:
    """Bags with wood whose usual keeping time ends by a day, the first on top."""
    return await _list(conn, BagToUse, SQL.bags, site, until)


async def frost_ahead(conn: Connection, site: str, by: Watched, today: date) -> Frost:
    """Days from `today` on that the forecast in force says are as cold as the site's norm."""
    given = await ahead.in_force(conn, site)
    days = [one for one in ahead.days_of(given) if one.day >= today]
    limit = by.watch.frost_c
    return Frost(
        limit_c=limit,
        days=[] if limit is None else [one for one in days if one.min_c <= limit],
        source=given["source"] if given else None,
        given_at=given["recorded_at"].astimezone(by.there) if given else None,
        covers_until=max((one.day for one in days), default=None),
    )


async def _tables(
    conn: Connection, site: str, today: date, closed: Iterable[ClosedHouse]
) -> list[TableToSee]:
    rows = await conn.fetch(SQL.checks, site, today)
    warmth = await _Warmth.since(conn, site, rows, today)
    shut = {place for house in closed for place in house.closed_places}
    by_place: dict[str, list[CheckHere]] = defaultdict(list)
    about: dict[str, asyncpg.Record] = {}
    for row in rows:
        by_place[row["place"]].append(_check(row, today, warmth))
        about[row["place"]] = row
    tables = [
        _table(about[place], sorted(checks, key=_urgency), place in shut)
        for place, checks in by_place.items()
    ]
    return sorted(
        tables,
        key=lambda one: (one.closed, _urgency(one.checks[0]), one.structure or "", one.place),
    )


def _check(row: asyncpg.Record, today: date, warmth: "_Warmth") -> CheckHere:
    state, days_overdue = state_on(today, row["due_on"], row["overdue_on"])
    assert state != "upcoming"
    degree_days, missing = warmth.of(row["crop"], row["due_on"])
    longest: str = row["longest"]
    return CheckHere(
        check=row["check"],
        state=state,
        lot=longest[20:] or None,
        lots=row["lots"],
        trees=row["trees"],
        due_on=row["due_on"],
        overdue_on=row["overdue_on"],
        days_late=(today - row["due_on"]).days,
        days_overdue=days_overdue,
        degree_days=degree_days,
        degree_days_missing=missing,
        last_done=row["last_done"],
        counted_from=date.fromisoformat(longest[10:20]),
        after=row["after"],
        plan=row["plan"],
        source=row["source"],
        crop=row["crop"],
    )


def _urgency(one: CheckHere) -> tuple[Any, ...]:
    """Smallest first: ties left on, other work that is overdue, looks, then what is due."""
    late = one.state == "overdue"
    kind = 0 if one.check == TAKE else (2 if one.check == LOOK else 1)
    return not late, kind, -(one.days_overdue or one.days_late), -one.trees, one.check


def _table(row: asyncpg.Record, checks: list[CheckHere], closed: bool) -> TableToSee:
    return TableToSee(
        place=row["place"],
        place_kind=row["place_kind"],
        structure=row["structure"],
        closed=closed,
        state=checks[0].state,
        days_overdue=max(one.days_overdue for one in checks),
        checks=checks,
    )


class _Warmth:
    """The degree-days that a site had since a day, up to yesterday, by each crop's way."""

    def __init__(
        self, record: Mapping[date, Pair], by_crop: Mapping[str, Thresholds], today: date
    ) -> None:
        self._record, self._ways, self._today = record, by_crop, today
        # by crop: how many days ago -> degree-days and days told since then
        self._since: dict[str, list[tuple[float, int]]] = {}

    @classmethod
    async def since(
        cls, conn: Connection, site: str, rows: Iterable[asyncpg.Record], today: date
    ) -> "_Warmth":
        """Of all days since the first that something of `rows` became due."""
        due = [row["due_on"] for row in rows if row["crop"]]
        if not due:
            return cls({}, {}, today)
        first = max(min(due), today - LONGEST_COUNTED)
        told = await conn.fetch(SQL.temperatures, site, first, today - DAY)
        record = {row["day"]: (row["min_c"], row["max_c"]) for row in told}
        return cls(record, await ways(conn) if record else {}, today)

    def of(self, crop: str | None, due_on: date) -> tuple[float | None, int]:
        """Degree-days and how many days are not known of; None where nothing can be said."""
        if crop is None:
            return None, 0
        days = min((self._today - due_on).days, LONGEST_COUNTED.days)
        if crop not in self._ways:
            return None, days
        if crop not in self._since:
            self._since[crop] = list(self._added_up(self._ways[crop]))
        total, told = self._since[crop][days]
        return (total if told or not days else None), days - told

    def _added_up(self, way: Thresholds) -> Iterator[tuple[float, int]]:
        total, told = 0.0, 0
        next_low: float | None = None
        yield total, told
        for ago in range(1, LONGEST_COUNTED.days + 1):
            low, high = self._record.get(self._today - ago * DAY, (None, None))
            if low is not None and high is not None:
                told += 1
                total += way.of_day(low, high, next_low)
            next_low = low
            yield total, told
