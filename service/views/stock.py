"""Stock: what stands where, now or at the end of a past day, as known now or at a past moment.

Answered from the writer's own books, so nothing lags: a past day is today's balance minus the legs
after it, and what was known then leaves out the legs recorded later. Both clocks combine. Where
neither place nor lot is asked for, a view's sums with the legs since stand for the balances:
emptied accounts gather over the years, sums of sites and kinds of tree don't.
"""

from datetime import date
from typing import Any, Literal, get_args

import asyncpg
import msgspec

from service.clock import Clock
from service.storage.pool import Pool
from service.storage.sql import load
from service.storage.walls import past_the_wall
from service.views.clocks import SQL as CLOCKS
from service.views.clocks import Asked, asking

SQL = load(__package__, "stock.sql")
BOOKS_NOW, BOOKS_THEN, SUMS, SUMS_THEN = (
    f"WITH accounts AS ({rows}) {SQL.grouped}"
    for rows in (SQL.books_now, SQL.books_then, SQL.sums, SQL.sums_then)
)
# The view that keeps the sums.
SUMMED_BY = "stock_by_day"

Group = Literal["site", "place", "cultivar", "rootstock", "size", "stage", "grade", "lot"]
Kind = Literal["bag", "liners", "trees", "transit"]
GROUPS: tuple[str, ...] = get_args(Group)
KINDS: tuple[str, ...] = get_args(Kind)


class StockQuery(msgspec.Struct, frozen=True, kw_only=True):
    """What to group by and keep. `kind` is always told apart: liners and trees never add up."""

    group_by: tuple[str, ...] = ("site",)
    site: str | None = None
    place: str | None = None
    cultivar: str | None = None
    rootstock: str | None = None
    size: str | None = None
    stage: str | None = None
    grade: str | None = None
    lot: str | None = None
    kind: str | None = None
    asked: Asked = Asked()


class StockRow(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One group. `quantity` in `commodity` (plants or buds); `failed`: those of dead scion in it.

    Parts that were not grouped by, or do not apply, are left out. For kind transit `place` is the
    consignment and `site` the site that it goes to.
    """

    kind: str
    commodity: str
    quantity: int
    failed: int = 0
    site: str | None = None
    place: str | None = None
    cultivar: str | None = None
    rootstock: str | None = None
    size: str | None = None
    stage: str | None = None
    grade: str | None = None
    lot: str | None = None


class StockAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Stock as of `as_of` (null: now), as known at position `known_at`.

    `days`, where `as_of` is a moment: the day at each site at whose end it was answered.
    """

    position: int
    as_of: str | None
    known_at: int
    days: dict[str, date] | None
    rows: list[StockRow]


def checked_words(given: tuple[str, ...], allowed: tuple[str, ...], what: str) -> list[str]:
    """`given` as a list; ValueError names the first word that is not allowed."""
    for word in given:
        if word not in allowed:
            raise ValueError(f"{word} is no {what}; there are {', '.join(allowed)}")
    return list(given)


async def stock(
    pool: Pool, query: StockQuery, sites: list[str] | None, *, clock: Clock
) -> StockAnswer:
    """Stock at the sites that may be seen (`sites`, None for all), in groups.

    Raises ValueError for an unknown group or kind, ClockError for clocks that can't be.
    """
    groups = checked_words(query.group_by, GROUPS, "group")
    kinds = checked_words((query.kind,), KINDS, "kind") if query.kind else list(KINDS)
    arguments = (
        groups,
        kinds,
        sites,
        query.site,
        query.place,
        query.cultivar,
        query.rootstock,
        query.size,
        query.stage,
        query.grade,
        query.lot,
    )
    by_place = {"place", "lot"}.intersection(groups) or query.place or query.lot
    async with asking(pool, sites, query.asked, clock) as (conn, clocks):
        await conn.execute(CLOCKS.plan_for_values)
        summed = None
        if not by_place and not clocks.changed.lots:
            async with past_the_wall(conn):
                summed = await conn.fetchval(SQL.sums_reflect, SUMMED_BY)
        if summed is not None and clocks.known is None and clocks.last_day and not clocks.left_out:
            records = await conn.fetch(SUMS_THEN, *arguments, clocks.last_day, summed)
        elif summed is not None:
            records = await conn.fetch(SUMS, *arguments, *clocks.legs, summed)
        elif clocks.are_now:
            records = await conn.fetch(BOOKS_NOW, *arguments)
        else:
            records = await conn.fetch(BOOKS_THEN, *arguments, *clocks.legs, clocks.changed.lots)
    return StockAnswer(
        **clocks.said(sites),
        rows=[_row(record) for record in records],
    )


def _row(record: asyncpg.Record) -> StockRow:
    # Empty text in the books means "does not apply"; so does an unknown cultivar.
    parts: dict[str, Any] = {n: None if value == "" else value for n, value in record.items()}
    return StockRow(**parts)
