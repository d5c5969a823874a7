"""How many of each item will be ready by which day, at each site and at all: from the supply.

Sales and reservations are not taken off: what can still be promised is another question.
"""

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from typing import Any

import msgspec

from service.clock import Clock
from service.forecast.answers.ready_view import NAME, seen, then
from service.forecast.answers.telling import day_in_words
from service.storage.pool import Pool
from service.storage.sql import load
from service.trade.promising import STEP_DAYS, STEPS, at_level, level_of
from service.views.clocks import Asked, ClockError, Clocks, asking
from service.views.paging import cut_page, page_key

SQL = load(__package__, "counts_view.sql")
HORIZON = timedelta(days=STEP_DAYS * STEPS)
"""So far ahead of the day of the forecast numbers are told."""
SOON = timedelta(weeks=8)
_EACH = {"sure_9_in_10": 0.9, "sure_8_in_10": 0.8, "sure_5_in_10": 0.5}


class ReadyCount(msgspec.Struct, frozen=True, kw_only=True):
    """By the end of `day` so many are ready and free: at least `sure_9_in_10` with probability 0.9
    and so on, `expected` on average."""

    day: date
    expected: float
    sure_9_in_10: int
    sure_8_in_10: int
    sure_5_in_10: int


class ReadyCountRow(msgspec.Struct, frozen=True, kw_only=True):
    """How many of an item will be ready by which day: an estimate, and how wide it is.

    `site` null: all sites together, drawn jointly; `grade` null: of any. Growing trees, those that
    are ready already, and deaths to be expected are in; held trees and trees grown for a customer
    are not, and sales and reservations after `position` are not taken off. It rests on `trees`.
    """

    cultivar: str
    rootstock: str
    size: str
    grade: str | None
    site: str | None
    trees: int
    words: str
    counts: list[ReadyCount]
    as_of: date
    position: int
    made_at: datetime


class CountsQuery(msgspec.Struct, frozen=True, kw_only=True):
    """Filters. `by`: told for that day alone; else for every `weeks` weeks ahead."""

    site: str | None = None
    cultivar: str | None = None
    rootstock: str | None = None
    size: str | None = None
    grade: str | None = None
    by: date | None = None
    weeks: int = 4
    asked: Asked = Asked()
    limit: int = 100
    after: list[Any] | None = None


class CountsPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page of items, by their codes; of each first all sites together, then each site."""

    clocks: Clocks
    rows: list[ReadyCountRow]
    next_after: list[Any] | None


async def ready_counts(
    pool: Pool, query: CountsQuery, sites: list[str] | None, *, clock: Clock
) -> CountsPage:
    """Numbers ready at the sites that may be seen (None: all, and all together).

    Raises ValueError for a bad `after`, ClockError for clocks that can't be, or a day `by` that is
    over by then or beyond what is told.
    """
    after = page_key(query.after, (str, str, str, str, str))
    item = (query.cultivar, query.rootstock, query.size, query.grade)
    async with asking(pool, sites, query.asked, clock, view=NAME) as (conn, clocks):
        _could_be_told(query.by, clocks)
        found = await conn.fetch(
            SQL.page,
            *(seen(query.site, sites), *item, *after, query.limit + 1),
            *then(clocks, query.asked),
        )
    page, more = cut_page(list(found), query.limit, lambda row: [row[name] for name in _KEY])
    rows = [_told(dict(row), query) for row in page]
    return CountsPage(clocks=clocks, rows=rows, next_after=more)


_KEY = ("cultivar", "rootstock", "size", "grade", "site")


def _could_be_told(by: date | None, clocks: Clocks) -> None:
    days = clocks.days.values()
    if by is None or not days:
        return
    if by < min(days):
        raise ClockError("by", f"{by} is over: the day told of is {min(days)}.", "in_the_past")
    last = max(days) + HORIZON
    if by > last:
        raise ClockError("by", f"Numbers are told until {last} at most.", "in_the_future")


def _told(row: Mapping[str, Any], query: CountsQuery) -> ReadyCountRow:
    counts = [_count(row, step) for step in _steps(row["first"], query)]
    return ReadyCountRow(
        **{name: row[name] for name in ("cultivar", "rootstock", "size", "trees")},
        grade=row["grade"] or None,
        site=row["site"] or None,
        words=_words(counts),
        counts=counts,
        as_of=row["first"],
        position=row["position"],
        made_at=row["made_at"],
    )


def _steps(first: date, query: CountsQuery) -> list[int]:
    """Which of the days told are asked for. A day between two counts as the earlier one."""
    if query.by is None:
        return list(range(0, STEPS, query.weeks))
    step = (query.by - first).days // STEP_DAYS
    return [step] if 0 <= step < STEPS else []


def _count(row: Mapping[str, Any], step: int) -> ReadyCount:
    sure = {
        name: at_level(row["quantities"], level_of(probability))[step]
        for name, probability in _EACH.items()
    }
    day = row["first"] + timedelta(days=step * STEP_DAYS)
    return ReadyCount(day=day, expected=round(row["mean"][step], 1), **sure)


def _words(counts: list[ReadyCount]) -> str:
    """Of one day in a sentence: of several the first that lies some eight weeks ahead."""
    if not counts:
        return "Nothing is told of that day."
    near = counts[0].day + SOON
    one = next((count for count in counts if count.day >= near), counts[-1])
    return (
        f"An estimate: by {day_in_words(one.day)} 8 in 10 sure at least {one.sure_8_in_10:,}, "
        f"9 in 10 sure at least {one.sure_9_in_10:,}, as likely as not {one.sure_5_in_10:,}."
    )
