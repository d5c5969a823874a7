"""Answers about ready dates: per tree lot and site, by the newest forecast or one before.

Rows are written by `refresh`. Of a past moment it is told what was told then, not what would be
worked out now: the last forecast of each of a site's days is kept.
"""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

import msgspec

from service.clock import Clock
from service.forecast.answers.telling import LotFigures, in_words, reasons
from service.storage.pool import Pool
from service.storage.sql import load
from service.views.clocks import Asked, Clocks, asking
from service.views.paging import cut_page, page_key

SQL = load(__package__, "ready_view.sql")
NAME = "ready_dates"
"""What the newest forecast reflects is told under this name among the views' checkpoints."""
_OR_NULL = (
    *("cultivar", "rootstock", "crop", "method"),
    *("counting", "fallback", "why", "weather_ahead"),
)


class ReadyDateRow(LotFigures, frozen=True, kw_only=True):
    """When the trees of a lot at a site should be ready: an estimate, and how wide it is.

    `words` say it in a sentence, `reasons` what it rests on; all else is for programs. `p20`,
    `p50`, `p80`: half of the trees that will be fit for sale are ready by then with probability
    0.2, 0.5, 0.8; null where it cannot be told, `why` then says the reason. A day before `as_of`
    (the site's day on which it was told) means that trees wait to be graded. `ready_expected` of
    `trees` will be ready, `ready_low` to `ready_high` with probability 0.6; null where it cannot be
    told. `counted` degree-days (Cd) from the day after `counted_from` (`phase`: of the lot's
    grafting, or of its middle push) to the end of the day before `as_of`, of `needed`
    (`needed_low` to `needed_high` with probability 0.6), in the way `counting` between `lower_c`
    and `upper_c` (degrees Celsius); `gap_days` of them were filled. It rests on `based_on_trees`
    in `based_on_lots`, `fallback` says where it borrows, and on `years` of weather. `position` is
    that of the log, `temperature_version` that of the site's record, that it reflects.
    """

    words: str
    reasons: list[str]


class ReadyQuery(msgspec.Struct, frozen=True, kw_only=True):
    """Filters; `ready_from`, `ready_by`: the middle day (`p50`) lies between these, both included.
    `after`: `next_after` of the page before."""

    site: str | None = None
    lot: str | None = None
    cultivar: str | None = None
    rootstock: str | None = None
    size: str | None = None
    ready_from: date | None = None
    ready_by: date | None = None
    asked: Asked = Asked()
    limit: int = 100
    after: list[Any] | None = None


class ReadyPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page of ready dates, soonest first, those that cannot be told last."""

    clocks: Clocks
    rows: list[ReadyDateRow]
    next_after: list[Any] | None


async def ready_dates(
    pool: Pool, query: ReadyQuery, sites: list[str] | None, *, clock: Clock
) -> ReadyPage:
    """Ready dates at the sites that may be seen (None: all).

    Raises ValueError for a bad `after`, ClockError for clocks that can't be.
    """
    after = page_key(query.after, (date | None, str, str))  # type: ignore[arg-type]
    async with asking(pool, sites, query.asked, clock, view=NAME) as (conn, clocks):
        found = await conn.fetch(
            SQL.page,
            *(seen(query.site, sites), query.lot, query.cultivar, query.rootstock, query.size),
            *(query.ready_from, query.ready_by, *after, query.limit + 1),
            *then(clocks, query.asked),
        )
    rows, more = cut_page(
        [told(row, clocks.days.get(row["site"])) for row in map(dict, found)],
        query.limit,
        lambda row: (row.p50, row.lot, row.site),
    )
    return ReadyPage(clocks=clocks, rows=rows, next_after=more)


def told(row: Mapping[str, Any], today: date | None) -> ReadyDateRow:
    """A row of the table as it is answered: in words, and null where the table has empty text.

    `today`: the site's day that is told of (None: not known).
    """
    unknown = {name: row[name] or None for name in _OR_NULL}
    figures = LotFigures(**{**row, **unknown})
    said = {name: getattr(figures, name) for name in figures.__struct_fields__}
    return ReadyDateRow(
        **said, words=in_words(figures), reasons=reasons(figures, today or figures.as_of)
    )


def seen(site: str | None, sites: list[str] | None) -> list[str] | None:
    """The sites to look at: the one asked for, of those that may be seen (None: all)."""
    if site is None:
        return sites
    return [site] if sites is None or site in sites else []


def then(clocks: Clocks, asked: Asked) -> tuple[Any, ...]:
    """What `told_by_then` is asked with; nulls for a question of now.

    All sites together have the day of the site that is furthest ahead.
    """
    if clocks.are_now:
        return None, None, None, None
    days = {**clocks.days, "": max(clocks.days.values(), default=date.max)}
    until = asked.known_at if isinstance(asked.known_at, datetime) else None
    return list(days), list(days.values()), clocks.known, until
