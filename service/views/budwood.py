"""Budwood on hand: what is left in which bag, how old it is and until when it keeps."""

from datetime import date
from typing import Any, Literal

import asyncpg
import msgspec

from service.clock import Clock
from service.storage.pool import Connection, Pool
from service.storage.sql import load
from service.storage.walls import seeing
from service.trade.keeping import KEEPING_DAYS
from service.views.applying import Batch, Table
from service.views.paging import page_key
from service.views.positions import position
from service.views.site_days import site_days

SQL = load(__package__, "budwood.sql")
NAME = "budwood"
KEEPING_SOURCE = (
    "Upper end of common keeping times for wood kept cold and moist in plastic: common practice, "
    "from memory; a look at the wood decides"
)
NO_DAY = date(9999, 12, 31)


class BudwoodOnHand:
    """The per-subject view; subjects are budwood lots."""

    name: str = NAME
    kind: Literal["per_subject"] = "per_subject"
    follows: tuple[str, ...] = ()
    tables: tuple[Table, ...] = (Table("budwood_on_hand"),)

    async def touched(self, conn: Connection, batch: Batch) -> list[str]:
        if await conn.fetchval(SQL.cultivars_changed, batch.after, batch.through):
            return await self.everything(conn)
        rows = await conn.fetch(SQL.touched, batch.after, batch.through)
        return [row["code"] for row in rows]

    async def everything(self, conn: Connection) -> list[str]:
        return [row["code"] for row in await conn.fetch(SQL.everything)]

    async def recompute(self, conn: Connection, subjects: list[str]) -> None:
        await conn.execute(SQL.forget, subjects)
        crops, days = list(KEEPING_DAYS), list(KEEPING_DAYS.values())
        await conn.execute(SQL.fill, subjects, crops, days, KEEPING_SOURCE)


class BudwoodQuery(msgspec.Struct, frozen=True, kw_only=True):
    """Filters. `past_use_by`: true for wood past its day only, false for the rest only."""

    site: str | None = None
    place: str | None = None
    cultivar: str | None = None
    lot: str | None = None
    bag: str | None = None
    past_use_by: bool | None = None
    limit: int = 100
    after: list[Any] | None = None


class BudwoodRow(msgspec.Struct, frozen=True, kw_only=True):
    """Buds left of a bag at a place.

    `age_days` count from cutting, or from receipt where that is not known, to the site's today.
    `keep_days` and `use_by` are null for crops whose keeping time is not known.
    """

    bag: str
    place: str
    lot: str
    site: str
    cultivar: str | None
    crop: str | None
    source: str | None
    buds: int
    basis: str
    sticks: int | None
    pieces: int | None
    cut_on: date | None
    received_on: date
    age_days: int
    keep_days: int | None
    keep_days_source: str | None
    use_by: date | None
    past_use_by: bool


class BudwoodPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page, the first to be used on top. Reflects the log up to `position`."""

    position: int
    rows: list[BudwoodRow]
    next_after: list[Any] | None


async def budwood_on_hand(
    pool: Pool, query: BudwoodQuery, sites: list[str] | None, *, clock: Clock
) -> BudwoodPage:
    """Bags at the sites that may be seen (None: all). Raises ValueError for a bad `after`."""
    key = page_key(query.after, (date, str, str))
    async with seeing(pool, sites) as conn:
        reached = await position(conn, NAME)
        days = await site_days(conn, clock())
        records = await conn.fetch(
            SQL.page,
            list(days),
            list(days.values()),
            sites,
            query.site,
            query.place,
            query.cultivar,
            query.lot,
            query.bag,
            query.past_use_by,
            *key,
            query.limit + 1,
        )
    rows = [_row(record) for record in records[: query.limit]]
    more = None
    if len(records) > query.limit:
        more = [(rows[-1].use_by or NO_DAY).isoformat(), rows[-1].bag, rows[-1].place]
    return BudwoodPage(position=reached, rows=rows, next_after=more)


def _row(record: asyncpg.Record) -> BudwoodRow:
    parts: dict[str, Any] = dict(record)
    return BudwoodRow(**parts)
